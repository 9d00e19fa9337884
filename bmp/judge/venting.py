"""Pressures before and after venting that were written in each other's place."""

from __future__ import annotations

import numpy as np

from bmp.judge.cause import Cause
from bmp.judge.cause import with_column as changed
from bmp.judge.reading_error import named
from bmp.judge.rough_gas import RoughGas
from bmp.normalise.state import filled
from bmp.trial import Trial

NAME = "venting"


def before_and_after(trial: Trial, seen: RoughGas) -> Cause | None:
    """Return the rows in which there is more pressure (or mass) after venting than before."""
    for kind, least in (("gauge_{}_kPa", 1.5), ("absolute_{}_kPa", 1.5), ("mass_{}_g", 0.25)):
        before = trial.readings.column(kind.format("before"))
        after = trial.readings.column(kind.format("after"))
        with np.errstate(invalid="ignore"):
            wrong = after - before > least
            if kind.startswith("gauge"):
                wrong &= after > 3.0  # below the air's pressure opening lets air in
            elif kind.startswith("absolute"):
                air = filled(trial.readings.column("ambient_kPa"), trial.setup.ambient_kPa)
                wrong &= after > filled(air, 101.325) + 3.0
            rows = np.flatnonzero(wrong)
        if not rows.size or rows.size > 0.3 * max(np.isfinite(after).sum(), 1):
            continue
        if kind.startswith("mass") and not _each_way(trial, seen, before, after, rows):
            continue
        one, two = before.copy(), after.copy()
        one[rows], two[rows] = after[rows], before[rows]
        without = changed(changed(trial, kind.format("before"), one), kind.format("after"), two)
        text = (
            "There is more after venting than before: the two figures probably stand in each "
            "other's place."
        )
        gap = float((after - before)[rows].max())
        return Cause(NAME, round(gap, 3), named(trial, rows), text, without)
    return None


def _each_way(
    trial: Trial, seen: RoughGas, before: np.ndarray, after: np.ndarray, rows: np.ndarray
) -> bool:
    """Tell whether masses fit the weighings before and after them once they are exchanged."""
    for i in rows:
        p = int(seen.previous[i])
        if p < 0 or not abs(after[p] - after[i]) < 0.5 * abs(after[p] - before[i]):
            return False
        later = np.flatnonzero(seen.previous == i)
        if later.size and not (
            abs(before[later[0]] - before[i]) < 0.5 * abs(before[later[0]] - after[i])
        ):
            return False
    return True
