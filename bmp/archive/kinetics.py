"""Kinetics of an archive's series: `bmp.fit.series` over the jars of many trials."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final, NamedTuple

import numpy as np

from bmp.fit.choice import CANDIDATES
from bmp.fit.curves import Curves, table
from bmp.fit.interval import series_limits
from bmp.fit.models import MODELS
from bmp.fit.series import SeriesFits
from bmp.fit.series import fit_series as fit_packed
from bmp.fit.times import times_of_jars
from bmp.net import NetCurves, Yields
from bmp.trial import BoolArray, FloatArray, IntArray

PARAMETERS: Final = {
    "B0_first_order": ("first order", "B0"),
    "k": ("first order", "k"),
    "B0_gompertz": ("modified Gompertz", "B0"),
    "Rm": ("modified Gompertz", "Rm"),
    "lag": ("modified Gompertz", "lag"),
}
"""Columns of the table of materials, and the model and parameter that each shows."""
TIMES: Final = {"t50_d": 0.5, "t90_d": 0.9}
"""Columns that are times, and the share of the measured yield that each speaks of."""


class Known(NamedTuple):
    """A quantity of every series and its 95 % limits; NaN where it is not determined."""

    value: FloatArray
    low: FloatArray
    high: FloatArray


@dataclass(frozen=True, eq=False)
class Kinetics:
    """Fits of all series. Arrays of shape (series,)."""

    columns: Mapping[str, Known]
    """By column of `PARAMETERS` and `TIMES`."""
    chosen: list[str | None]


def fit_series(curves: NetCurves, yields: Yields) -> Kinetics:
    """Fit every series whose jars all have a reading after closing."""
    size = len(yields.jars)
    columns = {
        name: Known(*(np.full(size, np.nan) for _ in Known._fields))
        for name in (*PARAMETERS, *TIMES)
    }
    chosen: list[str | None] = [None] * size
    packed = _pack(curves, yields)
    if packed is None:
        return Kinetics(columns, chosen)
    jars, series, fitted = packed
    fits = fit_packed(jars, series, CANDIDATES)
    for name, whole in columns.items():
        found = _parameter(fits, *PARAMETERS[name]) if name in PARAMETERS else _time(fits, name)
        for column, values in zip(whole, found, strict=True):
            column[fitted] = values
    for place, model in zip(fitted.tolist(), fits.chosen, strict=True):
        chosen[place] = model
    return Kinetics(columns, chosen)


def _parameter(fits: SeriesFits, model: str, name: str) -> Known:
    index = MODELS[model].names.index(name)
    jarwise = fits.jarwise[model]
    value = np.where(fits.left_open[model], np.nan, fits.pooled[model])[:, index]
    low, high = series_limits(
        value, jarwise.named[:, index], jarwise.standard_error[:, index], jarwise.degrees,
        fits.series, positive=MODELS[model].parameters[index].positive,
    )  # fmt: skip
    return _where(~np.isnan(value), value, low, high)


def _time(fits: SeriesFits, name: str) -> Known:
    """Return the times to a share of the yield, the errors of the model chosen for each series."""
    days, error, degrees = (np.full(fits.series.size, np.nan) for _ in range(3))
    by_jar = np.array([model or "" for model in fits.chosen])[fits.series]
    for model in set(fits.chosen):
        rows = np.flatnonzero(by_jar == (model or ""))
        chosen = None if model is None else fits.jarwise[model]
        found = times_of_jars(fits.curves.rows(rows), TIMES[name], chosen, rows)
        days[rows], error[rows], degrees[rows] = found
    size = len(fits.chosen)
    ended_below = np.bincount(fits.series, fits.curves.value[:, -1] <= 0, minlength=size) > 0
    value = np.bincount(fits.series, days) / np.bincount(fits.series)
    return _where(~ended_below, value, *series_limits(value, days, error, degrees, fits.series))


def _where(told: BoolArray, *columns: FloatArray) -> Known:
    return Known(*(np.where(told, column, np.nan) for column in columns))


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
