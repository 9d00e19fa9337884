"""First order and modified Gompertz of every series, and which of the two serves.

`bmp.fit.material` without the records of single jars and without the models that no archive is
asked for. These other models also tell how far a jar's errors are correlated, and with that may
tip the choice; they are fitted only where the choice would differ between the correlation that the
candidates leave, none at all, and half the way from the former to errors wholly alike.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from bmp.archive.net import Curves as NetCurves
from bmp.archive.net import Yields
from bmp.fit.choice import LEAST_SPARE, POOREST_FIT, TOO_CLOSE
from bmp.fit.curves import Curves
from bmp.fit.engine import fit_curves
from bmp.fit.identify import jars_agree, reason_table
from bmp.fit.jarwise import Jarwise, fit_jarwise
from bmp.fit.models import MODELS
from bmp.runs import first, padded
from bmp.trial import BoolArray, FloatArray, IntArray

CANDIDATES = tuple(name for name, model in MODELS.items() if model.candidate)
DEAR = tuple(name for name in MODELS if name not in CANDIDATES)


@dataclass(frozen=True, eq=False)
class Kinetics:
    """Fits of all series. Arrays of shape (series,)."""

    parameters: Mapping[str, Mapping[str, FloatArray]]
    """By model and parameter; NaN where the readings do not determine it."""
    chosen: list[str | None]


def fit_series(curves: NetCurves, yields: Yields) -> Kinetics:
    """Fit every series whose jars all have a reading after closing."""
    packed, jar_series, fitted = _pack(curves, yields)
    parameters = {
        name: {p.name: np.full(len(yields.jars), np.nan) for p in MODELS[name].parameters}
        for name in CANDIDATES
    }
    chosen: list[str | None] = [None] * len(yields.jars)
    if not fitted.size:
        return Kinetics(parameters, chosen)
    jarwise = {name: fit_jarwise(MODELS[name], packed) for name in CANDIDATES}
    left_open = np.zeros((len(CANDIDATES), fitted.size), dtype=bool)
    for number, (name, fits) in enumerate(jarwise.items()):
        pooled = _pooled(fits, packed, jar_series, fitted.size)
        open_ones = _undetermined(fits, jar_series, fitted.size)
        left_open[number] = open_ones.any(axis=1)
        for index, parameter in enumerate(MODELS[name].parameters):
            values = np.where(open_ones[:, index], np.nan, pooled[:, index])
            parameters[name][parameter.name][fitted] = values
    barred = _barred(jarwise, jar_series, left_open)
    choice = _choice(jarwise, packed, jar_series, barred)
    for place, best in zip(fitted, choice, strict=True):
        chosen[place] = best
    return Kinetics(parameters, chosen)


def _pack(curves: NetCurves, yields: Yields) -> tuple[Curves, IntArray, IntArray]:
    """Return the counted jars' curves after day 0, the series of each, and which series these are.

    Series are numbered anew, from 0 over those that can be fitted.
    """
    after = curves.time_d > 0.0
    jar, time_d, net = curves.jar[after], curves.time_d[after], curves.net[after]
    read = np.bincount(jar, minlength=int(curves.jar.max(initial=-1)) + 1) > 0
    some = [i for i, jars in enumerate(yields.jars) if jars.size and read[jars].all()]
    if not some:
        none = np.zeros(0, dtype=np.int64)
        empty = np.zeros((0, 0))
        return Curves(empty, empty, np.zeros((0, 0), dtype=bool)), none, none
    jars = np.concatenate([yields.jars[i] for i in some])
    row = np.full(read.size, -1)
    row[jars] = np.arange(jars.size)
    here = row[jar] >= 0
    order = np.argsort(row[jar[here]], kind="stable")
    run, time_d, net = row[jar[here]][order], time_d[here][order], net[here][order]
    sizes = [yields.jars[i].size for i in some]
    return _padded(run, time_d, net), np.repeat(np.arange(len(some)), sizes), np.array(some)


def _padded(run: IntArray, time_d: FloatArray, value: FloatArray) -> Curves:
    """Return runs as rows, short ones filled up with their last reading."""
    valid = padded(np.ones(run.size), run, 0.0) > 0.0
    last = valid.sum(axis=1, keepdims=True) - 1
    tables = []
    for flat in (time_d, value):
        table = padded(flat, run, 0.0)
        tables.append(np.where(valid, table, np.take_along_axis(table, last, axis=1)))
    return Curves(tables[0], tables[1], valid)


def _pooled(fits: Jarwise, curves: Curves, series: IntArray, size: int) -> FloatArray:
    """Return the named parameters of the curve through all jars of each series.

    As in `bmp.fit.curves.joined` it is that of the mean where all jars were read at the same times,
    otherwise that of all readings.
    """
    starts, count = np.flatnonzero(first(series)), np.bincount(series, minlength=size)
    named = fits.named[starts].copy()
    several = count > 1
    alike = several & _read_together(curves, series, starts)
    if alike.any():
        mean = np.add.reduceat(curves.value, starts, axis=0) / count[:, None]
        lead = curves.rows(starts[alike])
        together = Curves(lead.time_d, mean[alike], lead.valid)
        named[alike] = fit_curves(fits.model, together).named
    apart = several & ~alike
    if apart.any():
        part, own = curves.rows(apart[series]), series[apart[series]]
        rows = np.repeat(own, part.count)
        time_d, value = part.time_d[part.valid], part.value[part.valid]
        order = np.lexsort((time_d, rows))
        all_readings = _padded(rows[order], time_d[order], value[order])
        named[apart] = fit_curves(fits.model, all_readings).named
    return named


def _read_together(curves: Curves, series: IntArray, starts: IntArray) -> BoolArray:
    """Tell of which series all jars were read at the same times. Shape (series,)."""
    lead = curves.rows(starts[series])
    same = ((curves.time_d == lead.time_d) & (curves.valid == lead.valid)).all(axis=1)
    return np.logical_and.reduceat(same, starts)


def _undetermined(fits: Jarwise, series: IntArray, size: int) -> BoolArray:
    """Tell which parameters of each series its jars leave open. Shape (series, p)."""
    why = reason_table(fits)
    starts = np.flatnonzero(first(series))
    ends = np.append(starts[1:], series.size)
    found = np.logical_or.reduceat(why != "", starts, axis=0)
    for one, index in zip(*np.nonzero(found), strict=True):
        rows = slice(starts[one], ends[one])
        found[one, index] = not jars_agree(list(why[rows, index]), fits.named[rows, index])
    return found


# --- the choice ----------------------------------------------------------------------------------


def _barred(jarwise: Mapping[str, Jarwise], series: IntArray, left_open: BoolArray) -> BoolArray:
    """Tell which candidates may not be chosen: left open where another is determined.

    Shapes (candidates, series).
    """
    fitted = np.stack(
        [
            np.bincount(series, ~fits.fitted, minlength=left_open.shape[1]) == 0
            for fits in jarwise.values()
        ]
    )
    barred: BoolArray = left_open & (fitted & ~left_open).any(axis=0)
    return barred


def _choice(
    jarwise: Mapping[str, Jarwise], curves: Curves, series: IntArray, barred: BoolArray
) -> list[str | None]:
    """Return the candidate that `bmp.fit.choice.choose` chooses for each series."""
    size = barred.shape[1]
    rho = _correlation(jarwise, series, size)
    chosen = _decide(jarwise, rho, series, barred)
    # half the way to errors that are wholly correlated, and to none at all
    others_may_tell = [
        _decide(jarwise, end, series, barred) for end in (0.0 * rho, (1.0 + rho) / 2)
    ]
    unsure = np.flatnonzero(np.any(chosen != np.stack(others_may_tell), axis=0))
    if unsure.size:
        rows = np.flatnonzero(np.isin(series, unsure))
        part = curves.rows(rows)
        own = np.searchsorted(unsure, series[rows])
        some = {name: _rows(fits, rows) for name, fits in jarwise.items()}
        others = {name: fit_jarwise(MODELS[name], part) for name in DEAR}
        better = _correlation({**some, **others}, own, unsure.size)
        chosen[unsure] = _decide(some, better, own, barred[:, unsure])
    names: list[str | None] = [None, *CANDIDATES]
    return [names[number + 1] for number in chosen]


@dataclass(frozen=True, eq=False)
class _Figures:
    """What the choice takes of the fits of one model."""

    fitted: BoolArray
    rmse: FloatArray
    autocorrelation: FloatArray
    count: IntArray
    last: FloatArray
    missed: BoolArray
    """Whether the model misses the jar's curve."""


def _rows(fits: Jarwise | _Figures, rows: IntArray) -> _Figures:
    figures = _figures(fits)
    return _Figures(*(values[rows] for values in vars(figures).values()))


def _figures(fits: Jarwise | _Figures) -> _Figures:
    if isinstance(fits, _Figures):
        return fits
    highest = np.abs(fits.curves.value).max(axis=1)
    missed = fits.rmse / np.maximum(fits.curves.value[:, -1], 1e-300) > POOREST_FIT
    return _Figures(
        fits.fitted, fits.rmse, fits.autocorrelation, fits.curves.count, highest, missed
    )


def _correlation(
    jarwise: Mapping[str, Jarwise | _Figures], series: IntArray, size: int
) -> FloatArray:
    """Return the mean correlation of neighbouring residuals about each jar's best fit."""
    figures = [_figures(jarwise[name]) for name in MODELS if name in jarwise]
    rmse = np.stack([np.where(one.fitted, one.rmse, np.inf) for one in figures])
    rho = np.stack([one.autocorrelation for one in figures])
    best = rho[rmse.argmin(axis=0), np.arange(rho.shape[1])]
    mean = np.bincount(series, best, minlength=size) / np.bincount(series, minlength=size)
    return np.clip(mean, 0.0, 0.95)


def _decide(
    jarwise: Mapping[str, Jarwise | _Figures], rho: FloatArray, series: IntArray, barred: BoolArray
) -> IntArray:
    """Return the number of the candidate chosen at that correlation; -1 for none."""
    size = barred.shape[1]
    scores, parameters, misses = [], [], []
    for name in CANDIDATES:
        figures, k = _figures(jarwise[name]), len(MODELS[name].names) + 1
        effective = figures.count * ((1.0 - rho) / (1.0 + rho))[series]
        spare = np.maximum(effective - k - 1, LEAST_SPARE)
        floor = 1e-12 * figures.last + 1e-300
        aicc = 2 * effective * np.log(np.maximum(figures.rmse, floor)) + 2 * k
        aicc = np.where(figures.fitted, aicc + 2 * k * (k + 1) / spare, np.inf)
        scores.append(np.bincount(series, aicc, minlength=size))
        parameters.append(k)
        misses.append(np.bincount(series, figures.missed, minlength=size) > 0)
    score = np.where(barred, np.inf, np.stack(scores))
    missed, best = np.stack(misses), score.min(axis=0)
    close = (score <= np.where(np.isfinite(best), best, 0.0) + TOO_CLOSE) & ~missed
    cost = np.where(close, np.array(parameters)[:, None], 1_000)
    followed = ~missed[score.argmin(axis=0), np.arange(size)]
    return np.where(np.isfinite(best) & followed, cost.argmin(axis=0), -1)
