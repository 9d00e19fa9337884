"""Kinetics of an archive's series: `bmp.fit.series` over the jars of many trials."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final, NamedTuple

import numpy as np

from bmp.fit.choice import CANDIDATES
from bmp.fit.common_errors import parameter_moves
from bmp.fit.curves import Curves, table
from bmp.fit.interval import series_limits
from bmp.fit.jarwise import Jarwise
from bmp.fit.models import MODELS
from bmp.fit.series import SeriesFits
from bmp.fit.series import fit_series as fit_packed
from bmp.fit.times import errors_of_days, named_without, share_days
from bmp.jar_columns import JarColumns
from bmp.net import COMMON_FACTORS, NetCurves, Yields, blank_moves_of_rows
from bmp.normalise import JarGas
from bmp.runs import first
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


class Limits(NamedTuple):
    """A quantity of every series and its 95 % limits; NaN where it is not determined."""

    value: FloatArray
    low: FloatArray
    high: FloatArray


@dataclass(frozen=True, eq=False)
class Kinetics:
    """Fits of all series. Arrays of shape (series,)."""

    columns: Mapping[str, Limits]
    """By column of `PARAMETERS` and `TIMES`."""
    chosen: list[str | None]


def fit_series(
    curves: NetCurves, yields: Yields, blanks: tuple[JarGas, JarColumns] | None = None
) -> Kinetics:
    """Fit every series whose jars all have a reading after closing.

    `blanks` holds the gas and the jars that the curves were made from, for what all jars of a
    series have in common; without it the limits hold the scatter between jars alone.
    """
    size = yields.count.size
    columns = {
        name: Limits(*(np.full(size, np.nan) for _ in Limits._fields))
        for name in (*PARAMETERS, *TIMES)
    }
    chosen: list[str | None] = [None] * size
    packed = _pack(curves, yields)
    if packed is None:
        return Kinetics(columns, chosen)
    rows, series, fitted, jar = packed
    shown = {model for model, _ in PARAMETERS.values()}
    fits = fit_packed(rows, series, CANDIDATES, shown)
    none = _SharedErrors(
        np.zeros((0, *rows.time_d.shape)), np.zeros(len(fitted), dtype=np.int64), ()
    )
    common = none if blanks is None else _common(*blanks, jar, fits, yields, fitted)
    moved = {model: _moved(fits, common, model) for model in shown}
    found = _times(fits, common) | {
        name: _parameter(fits, common, moved[model], model, parameter)
        for name, (model, parameter) in PARAMETERS.items()
    }
    for name, whole in columns.items():
        for column, values in zip(whole, found[name], strict=True):
            column[fitted] = values
    for place, model in zip(fitted.tolist(), fits.chosen, strict=True):
        chosen[place] = model
    return Kinetics(columns, chosen)


@dataclass(frozen=True, eq=False)
class _SharedErrors:
    """What the jars of each series have in common."""

    moves: FloatArray
    """How far each blank moves each reading, shape (blanks, jars, readings)."""
    blanks: IntArray
    """Blanks of each series; nothing where their error is not known."""
    factors: Sequence[tuple[FloatArray, FloatArray]]
    """Relative variance and degrees of freedom of each factor, shape (series,) each."""

    def of_blank(self, moved: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Return variance and freedom from the blanks' moves of a mean, (blanks, series)."""
        few = np.maximum(self.blanks, 2)
        variance = (moved**2).sum(axis=0) / (few * (few - 1.0))
        return np.where(self.blanks > 1, variance, 0.0), few - 1.0


def _common(
    gas: JarGas,
    jars: JarColumns,
    jar: IntArray,
    fits: SeriesFits,
    yields: Yields,
    fitted: IntArray,
) -> _SharedErrors:
    moves, blanks = blank_moves_of_rows(gas, jars, jar, fits.curves.time_d)
    value = yields.value[fitted]
    parts = [yields.parts[name] for name in COMMON_FACTORS]
    factors = [
        ((part.u[fitted] / np.where(value != 0, value, np.inf)) ** 2, part.freedom[fitted])
        for part in parts
    ]
    return _SharedErrors(moves, blanks[np.flatnonzero(first(fits.series))], factors)


def _parameter(
    fits: SeriesFits, common: _SharedErrors, moved: FloatArray, model: str, name: str
) -> Limits:
    index = MODELS[model].names.index(name)
    jarwise = fits.jarwise[model]
    value = np.where(fits.left_open[model], np.nan, fits.pooled[model])[:, index]
    parameter = MODELS[model].parameters[index]
    parts = [common.of_blank(moved[:, :, index])]
    if parameter.unit.startswith("yield"):
        mean = np.where(np.isnan(value), 0.0, _mean(jarwise.named[:, index], fits.series))
        parts += [(relative * mean**2, freedom) for relative, freedom in common.factors]
    low, high = series_limits(
        value, jarwise.named[:, index], jarwise.standard_error[:, index], jarwise.degrees,
        fits.series, positive=parameter.positive, common=parts,
    )  # fmt: skip
    return _where(~np.isnan(value), value, low, high)


def _mean(values: FloatArray, series: IntArray) -> FloatArray:
    mean: FloatArray = np.bincount(series, values) / np.bincount(series)
    return mean


def _moved(fits: SeriesFits, common: _SharedErrors, model: str) -> FloatArray:
    """Return how far each blank moves each series' mean parameters, (blanks, series, p)."""
    jarwise = fits.jarwise[model]
    size, names = len(fits.chosen), MODELS[model].names
    moved = np.zeros((len(common.moves), size, len(names)))
    with np.errstate(all="ignore"):
        by_jar = parameter_moves(MODELS[model], fits.curves, jarwise.named, common.moves)
    for i, one in enumerate(by_jar):
        for p in range(len(names)):
            moved[i, :, p] = _mean(np.nan_to_num(one[:, p]), fits.series)
    return moved


def _times(fits: SeriesFits, common: _SharedErrors) -> dict[str, Limits]:
    """Return the times to shares of the yield, the errors of the model chosen for each series.

    How far each blank moves a time is told by leaving each out in turn.
    """
    curves, jars = fits.curves, fits.series.size
    blanks = common.blanks[fits.series]
    less = common.moves / np.maximum(blanks - 1, 1)[:, None]
    values = np.empty((1 + len(less), *curves.value.shape))
    values[0] = curves.value
    np.subtract(curves.value, less, out=values[1:])
    days = np.full((len(TIMES), len(values), jars), np.nan)
    error, degrees = np.full((len(TIMES), jars), np.inf), np.ones(jars)
    by_jar = np.array([model or "" for model in fits.chosen])[fits.series]
    for model in set(fits.chosen):
        rows = np.flatnonzero(by_jar == (model or ""))
        chosen, part = None if model is None else fits.jarwise[model], curves.rows(rows)
        named = None if chosen is None else _named(chosen, rows, part, less[:, rows])
        each = Curves(part.time_d, values[:, rows], part.valid)
        for i, share in enumerate(TIMES.values()):
            days[i][:, rows] = share_days(each, share, chosen, rows, named)
            error[i, rows], degrees[rows] = errors_of_days(
                part, share, days[i, 0, rows], chosen, rows
            )
    below = np.stack([_mean(last <= 0, fits.series) > 0 for last in values[:, :, -1]])
    found = {}
    for name, by_blank, own in zip(TIMES, days, error, strict=True):
        value, *without = (_mean(one, fits.series) for one in by_blank)
        moved = _influence(np.array(without).reshape(-1, value.size), common.blanks)
        moved = np.where(below.any(axis=0) | ~np.isfinite(moved).all(axis=0), 0.0, moved)
        limits = series_limits(
            value, by_blank[0], own, degrees, fits.series, common=[common.of_blank(moved)]
        )
        found[name] = _where(~below[0], value, *limits)
    return found


def _named(fits: Jarwise, rows: IntArray, curves: Curves, less: FloatArray) -> FloatArray:
    """Return the jars' parameters, then those without each blank, (1 + blanks, jars, p)."""
    return np.concatenate([fits.named[rows][None], named_without(fits, rows, curves, less)])


def _influence(without: FloatArray, blanks: IntArray) -> FloatArray:
    """Return how far each blank moves a mean, from the means without each; shape (blanks, series).

    `blanks` is the number of each series; what stands beyond it is not looked at.
    """
    here = np.arange(len(without))[:, None] < blanks
    few = np.maximum(blanks, 1)
    middle = np.where(here, without, 0.0).sum(axis=0) / few
    return np.where(here, -(few - 1.0) * (without - middle), 0.0)


def _where(told: BoolArray, *columns: FloatArray) -> Limits:
    return Limits(*(np.where(told, column, np.nan) for column in columns))


def _pack(curves: NetCurves, yields: Yields) -> tuple[Curves, IntArray, IntArray, IntArray] | None:
    """Return the counted jars' curves after day 0, the series of each, which series, which jars.

    Series are numbered anew, from 0 over those that can be fitted; `None` where there is none.
    """
    after = curves.time_d > 0.0
    jar, time_d, net = curves.jar[after], curves.time_d[after], curves.net[after]
    read = np.bincount(jar, minlength=int(curves.jar.max(initial=-1)) + 1) > 0
    whole = np.bincount(yields.series, ~read[yields.jar], minlength=yields.count.size) == 0
    fitted = np.flatnonzero(whole & (yields.count > 0))
    if not fitted.size:
        return None
    jars = yields.jar[whole[yields.series]]
    row = np.full(read.size, -1)
    row[jars] = np.arange(jars.size)
    here = row[jar] >= 0
    order = np.argsort(row[jar[here]], kind="stable")
    packed = table(row[jar[here]][order], time_d[here][order], net[here][order])
    return packed, np.repeat(np.arange(fitted.size), yields.count[fitted]), fitted, jars
