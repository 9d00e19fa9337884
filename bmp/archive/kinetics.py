"""Kinetics of an archive's series: `bmp.fit.series` over the jars of a batch."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from bmp.fit.choice import CANDIDATES
from bmp.fit.curves import Curves, table
from bmp.fit.models import MODELS
from bmp.fit.series import fit_series as fit_packed
from bmp.net import NetCurves, Yields
from bmp.trial import FloatArray, IntArray


@dataclass(frozen=True, eq=False)
class Kinetics:
    """Fits of all series. Arrays of shape (series,)."""

    parameters: Mapping[str, Mapping[str, FloatArray]]
    """By model and parameter; NaN where the readings do not determine it."""
    chosen: list[str | None]


def fit_series(curves: NetCurves, yields: Yields) -> Kinetics:
    """Fit every series whose jars all have a reading after closing."""
    parameters = {
        name: {p.name: np.full(len(yields.jars), np.nan) for p in MODELS[name].parameters}
        for name in CANDIDATES
    }
    chosen: list[str | None] = [None] * len(yields.jars)
    packed = _pack(curves, yields)
    if packed is None:
        return Kinetics(parameters, chosen)
    jars, series, fitted = packed
    fits = fit_packed(jars, series, CANDIDATES)
    for name, columns in parameters.items():
        known = np.where(fits.left_open[name], np.nan, fits.pooled[name])
        for values, column in zip(known.T, columns.values(), strict=True):
            column[fitted] = values
    for place, model in zip(fitted.tolist(), fits.chosen, strict=True):
        chosen[place] = model
    return Kinetics(parameters, chosen)


def _pack(curves: NetCurves, yields: Yields) -> tuple[Curves, IntArray, IntArray] | None:
    """Return the counted jars' curves after day 0, the series of each, and which series these are.

    Series are numbered anew, from 0 over those that can be fitted; `None` where there is none.
    """
    after = curves.time_d > 0.0
    jar, time_d, net = curves.jar[after], curves.time_d[after], curves.net[after]
    read = np.bincount(jar, minlength=int(curves.jar.max(initial=-1)) + 1) > 0
    some = [i for i, jars in enumerate(yields.jars) if jars.size and read[jars].all()]
    if not some:
        return None
    jars = np.concatenate([yields.jars[i] for i in some])
    row = np.full(read.size, -1)
    row[jars] = np.arange(jars.size)
    here = row[jar] >= 0
    order = np.argsort(row[jar[here]], kind="stable")
    packed = table(row[jar[here]][order], time_d[here][order], net[here][order])
    series = np.repeat(np.arange(len(some)), [yields.jars[i].size for i in some])
    return packed, series, np.array(some)
