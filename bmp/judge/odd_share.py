"""One methane share far from those around it and from the replicate jars'."""

from __future__ import annotations

import numpy as np

from bmp.judge.cause import Cause, with_values
from bmp.judge.look import Look
from bmp.judge.peers import jar_sets
from bmp.judge.reading_error import named
from bmp.trial import BoolArray, Trial

NAME = "methane share unlike its neighbours"
LEAST = 0.10
"""Shares that lie nearer than this are never told (measured between 0 and 1)."""


def odd_share(trial: Trial, seen: Look, claimed: BoolArray) -> Cause | None:
    """Return the share that lies furthest from its neighbours and its replicate jars' shares."""
    column = trial.readings.column("methane_share")
    if trial.setup.measured == "methane volume" or np.isfinite(column).sum() < 4:
        return None
    time_d = trial.readings.time_d
    best: tuple[float, int, float] | None = None
    for jars in jar_sets(trial, seen):
        known = {int(j): seen.of_jar[j][np.isfinite(column[seen.of_jar[j]])] for j in jars}
        for j, own in known.items():
            others = [k for n, k in known.items() if n != j and k.size >= 2]
            for place, i in enumerate(own):
                rest = np.delete(own, place)
                near = [np.interp(time_d[i], time_d[k], column[k]) for k in others]
                if rest.size >= 2 and 0 < place < own.size - 1:
                    around = column[own[[place - 1, place + 1]]]
                    near += [float(around.min()), float(around.max())]
                    if around.min() <= column[i] <= around.max():
                        continue
                elif rest.size >= 2 and time_d[i] > 3.0:
                    near.append(float(column[rest[-1 if place else 0]]))
                if len(near) < 2:
                    continue
                away = float(np.min(np.abs(np.array(near) - column[i])))
                apart = float(np.median(np.abs(np.array(near) - np.median(near))))
                if away > max(LEAST, 4.0 * apart) and (best is None or away > best[0]):
                    best = (away, int(i), float(np.median(near)))
    if best is None or claimed[best[1]]:
        return None
    _, i, usual = best
    text = (
        f"{100 * column[i]:.3g} % methane stands here; the readings around it and the replicate "
        f"jars lead to about {100 * usual:.0f} %."
    )
    return Cause(NAME, round(float(column[i]), 4), named(trial, [i]), text,
                 with_values(trial, "methane_share", {i: usual}))  # fmt: skip
