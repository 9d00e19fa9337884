"""One methane share far from those around it and from the replicate jars'."""

from __future__ import annotations

import numpy as np

from bmp.judge.cause import Cause, with_values
from bmp.judge.peers import jar_sets, median_of_rows
from bmp.judge.reading_error import named
from bmp.judge.rough_gas import RoughGas
from bmp.trial import BoolArray, FloatArray, IntArray, Trial

NAME = "methane share unlike its neighbours"
LEAST = 0.10
"""Shares that lie nearer than this are never told (measured between 0 and 1)."""


def odd_share(trial: Trial, seen: RoughGas, claimed: BoolArray) -> Cause | None:
    """Return the share that lies furthest from its neighbours and its replicate jars' shares."""
    column = trial.readings.column("methane_share")
    if trial.setup.measured == "methane volume" or np.isfinite(column).sum() < 4:
        return None
    time_d = trial.readings.time_d
    best: tuple[float, int, float] | None = None
    for jars in jar_sets(trial, seen):
        known = {int(j): seen.of_jar[j][np.isfinite(column[seen.of_jar[j]])] for j in jars}
        for j, own in known.items():
            if not own.size:
                continue
            near = _near(column, time_d, own, [k for n, k in known.items() if n != j])
            off = np.abs(near - column[own])
            away = np.min(np.where(np.isfinite(off), off, np.inf), axis=0)
            middle = median_of_rows(near)
            apart = median_of_rows(np.abs(near - middle))
            enough = np.isfinite(near).sum(axis=0) >= 2
            odd = np.where(enough & (away > np.maximum(LEAST, 4.0 * apart)), away, 0.0)
            k = int(np.argmax(odd))
            if odd[k] > 0 and (best is None or odd[k] > best[0]):
                best = (float(odd[k]), int(own[k]), float(middle[k]))
    if best is None or claimed[best[1]]:
        return None
    _, i, usual = best
    text = (
        f"{100 * column[i]:.3g} % methane stands here; the readings around it and the replicate "
        f"jars lead to about {100 * usual:.0f} %."
    )
    return Cause(NAME, round(float(column[i]), 4), named(trial, [i]), text,
                 with_values(trial, "methane_share", {i: usual}))  # fmt: skip


def _near(
    column: FloatArray, time_d: FloatArray, own: IntArray, replicates: list[IntArray]
) -> FloatArray:
    """Return the shares that a jar's shares are held against; NaN where there is none.

    Those of each replicate jar at the same time, and the jar's own before and after. A share
    between the two around it is near them, whatever the others say. Shape (shares, readings).
    """
    share, at_d = column[own], time_d[own]
    rows = [np.interp(at_d, time_d[k], column[k]) for k in replicates if k.size >= 2]
    around = np.full((2, own.size), np.nan)
    if own.size >= 3:
        around[:, 1:-1] = share[:-2], share[2:]
        between = (share >= around.min(axis=0)) & (share <= around.max(axis=0))
        around[:, between] = share[between]
        around[0, 0] = share[1] if at_d[0] > 3.0 else np.nan
        around[0, -1] = share[-2] if at_d[-1] > 3.0 else np.nan
    return np.stack([*rows, *around])
