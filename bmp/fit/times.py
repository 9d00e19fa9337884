"""Times to half and 90 % of the yield, and the highest daily rate and its day.

The times are read off the jars' own curves, so they hold whatever the shape; the highest rate is
the model's, since the largest of many noisy intervals is always too large.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import Final

import numpy as np

from bmp.estimate import Estimate
from bmp.fit.common_errors import Factor, mean_moves, parameter_moves
from bmp.fit.curves import Curves, at_reading, crossing_and_reading
from bmp.fit.interval import estimate
from bmp.fit.jarwise import Jarwise
from bmp.statistics import jackknife_influence
from bmp.trial import FloatArray, IntArray

STEPS_AT_MOST: Final = 90
STEPS_OF_SMOOTH: Final = 10
NEAR: Final = 1e-13
"""Of the interval between two readings: as near as a day is told."""
NO_MODEL = "no model could be fitted"
DAY_OPEN = "the readings leave open on which day the rate was highest"


def time_to_share(
    curves: Curves,
    share: float,
    fits: Jarwise | None,
    rows: IntArray,
    shifts: Sequence[FloatArray] = (),
) -> Estimate:
    """Return when a material first reached a share of the yield measured at its end.

    Parameters
    ----------
    curves
        Its jars.
    share
        Between 0 and 1.
    fits, rows
        The chosen model's fits and the jars' rows in them, for the error within a jar; `None`
        where no model could be fitted.
    shifts
        How far each blank moves each reading, shape (jars, readings) each.

    Notes
    -----
    Within a jar, the reading errors e_k up to the time t weigh (1 − share), those after it share:
    Var(t) = ((1 − s)² Σ_{k≤t} σ_k² + s² Σ_{k>t} σ_k²) / rate(t)².
    """
    if (curves.value[:, -1] <= 0).any():
        return Estimate(None, "d", why="a jar ended without net gas")
    days = share_days(curves, share, fits, rows)
    error, degrees = errors_of_days(curves, share, days, fits, rows)
    moves = moves_of_days(curves, share, fits, rows, shifts)
    common = np.array(moves) if moves else None
    return estimate(float(days.mean()), "d", days, error, degrees, blank_moves=common)


def moves_of_days(
    curves: Curves,
    share: float,
    fits: Jarwise | None,
    rows: IntArray,
    shifts: Sequence[FloatArray],
) -> tuple[float, ...]:
    """Return how far each blank moves the mean of `share_days`, by leaving each out in turn.

    Empty where there are fewer than two blanks, or a jar ends without net gas.
    """
    blanks = len(shifts)
    if blanks < 2 or (curves.value[:, -1] <= 0).any():
        return ()
    less = np.stack(shifts) / (blanks - 1)
    named = None if fits is None else named_without(fits, rows, curves, less)
    without = Curves(curves.time_d, curves.value - less, curves.valid)
    if (without.value[..., -1] <= 0).any():
        return ()
    means = share_days(without, share, fits, rows, named).mean(axis=-1)
    return tuple(jackknife_influence(means).tolist())


def named_without(fits: Jarwise, rows: IntArray, curves: Curves, less: FloatArray) -> FloatArray:
    """Return the jars' parameters without each blank, to first order. Shape (blanks, jars, p).

    Parameters
    ----------
    fits, rows, curves
        Fits of a model, the jars' rows in them, and their curves.
    less
        What falls away from each reading without each blank, shape (blanks, jars, readings).
    """
    named = fits.named[rows]
    with np.errstate(all="ignore"):
        moved = named + parameter_moves(fits.model, curves, named, -less)
    # where a parameter would turn round, the curve is not near enough to a line to say
    sound: FloatArray = np.where(moved * named > 0, moved, named)
    return sound


def share_days(
    curves: Curves,
    share: float,
    fits: Jarwise | None,
    rows: IntArray | None = None,
    named: FloatArray | None = None,
) -> FloatArray:
    """Return when each jar first reached a share of its last reading. Shape (jars,).

    Parameters
    ----------
    curves
        The jars, each ending above zero. Their values may have leading axes, for other values at
        the same times; what is returned has them too.
    share
        Between 0 and 1.
    fits, rows
        The chosen model's fits and the jars' rows in them (all of them by default): between two
        readings the jar bends as its model does, what it misses interpolated. `None`: straight.
    named
        Parameters by which the jars bend, shape (..., jars, p); those of the fits by default.

    Notes
    -----
    A straight line between readings three days apart puts t50 of a feed with k = 0.3 a fifth of a
    day late, many times the scatter of the jars.
    """
    level = share * curves.value[..., -1]
    straight, after = crossing_and_reading(curves, level)
    if fits is None:
        return straight
    if named is None:
        named = fits.named if rows is None else fits.named[rows]
    each = np.broadcast_to(named, (*level.shape, named.shape[-1])).reshape(-1, named.shape[-1])
    jar = np.arange(level.shape[-1])
    first, before = after == 0, np.maximum(after - 1, 0)
    high, v1 = curves.time_d[jar, after], at_reading(curves.value, after)
    low = np.where(first, 0.0, curves.time_d[jar, before])
    v0 = np.where(first, 0.0, at_reading(curves.value, before))

    def model(day: FloatArray) -> FloatArray:
        value: FloatArray = fits.model.value(day.reshape(-1, 1), each).reshape(day.shape)
        return value

    miss0, miss1 = v0 - model(low), v1 - model(high)
    width = np.where(high > low, high - low, 1.0)

    def above(day: FloatArray) -> FloatArray:
        part = (day - low) / width
        difference: FloatArray = model(day) + (1 - part) * miss0 + part * miss1 - level
        return difference

    found = _root(above, low, high, v0 - level, v1 - level, NEAR * width)
    bent_day: FloatArray = np.where(v1 > v0, found, straight)
    return np.where(np.isfinite(named).all(axis=-1), bent_day, straight)


def _root(
    above: Callable[[FloatArray], FloatArray],
    low: FloatArray,
    high: FloatArray,
    at_low: FloatArray,
    at_high: FloatArray,
    near: FloatArray,
) -> FloatArray:
    """Return where rising functions cross nought between two ends, all at once.

    Regula falsi; the value of an end that stays for a second time is halved (Dowell & Jarratt 1971,
    BIT 11:168, from memory), so that both ends close in, four to six steps for a smooth curve; a
    curve that is all but a stair is halved in between.
    """
    stayed, day, done = np.zeros(low.shape), low, np.zeros(low.shape, dtype=bool)
    for step in range(STEPS_AT_MOST):
        rise = at_high - at_low
        share = np.where(rise > 0, -at_low / np.where(rise > 0, rise, 1.0), 0.5)
        if step > STEPS_OF_SMOOTH and step % 2:
            share = np.full(low.shape, 0.5)
        new = low + np.clip(share, 0.0, 1.0) * (high - low)
        # what is found stays: a jar's day must not depend on its company
        moved, day = np.abs(new - day), np.where(done, day, new)
        done |= moved <= near
        if done.all():
            break
        value = above(day)
        below = value < 0
        # 1 where the upper end stays once more, -1 where the lower one does
        again = np.where(below, 1.0, -1.0)
        halve = again == stayed
        at_high = np.where(below, np.where(halve, at_high / 2, at_high), value)
        at_low = np.where(below, value, np.where(halve, at_low / 2, at_low))
        low, high, stayed = np.where(below, day, low), np.where(below, high, day), again
    return day


def errors_of_days(
    curves: Curves, share: float, days: FloatArray, fits: Jarwise | None, rows: IntArray
) -> tuple[FloatArray, FloatArray]:
    """Return the standard error and degrees of freedom of each jar's time, as `time_to_share`.

    The error is infinite where none can be told. Shapes (jars,).
    """
    if fits is None:
        return np.full(len(rows), np.inf), np.ones(len(rows))
    weight = np.where(curves.time_d <= days[:, None], 1.0 - share, share)
    spread = np.sqrt(np.einsum("ij,ij,ij->i", weight, weight, fits.variance[rows]))
    rate = fits.model.rate(days[:, None], fits.named[rows])[:, 0]
    rising = rate * curves.end_d > 1e-6 * curves.value[:, -1]
    error = np.where(rising, spread / np.where(rising, rate, 1.0), np.inf)
    return error, fits.degrees[rows]


def peak(
    models: Sequence[Jarwise],
    rows: IntArray,
    rate_unit: str,
    no_model: str = NO_MODEL,
    shifts: Sequence[FloatArray] = (),
    factors: Sequence[Factor] = (),
) -> tuple[Estimate, Estimate]:
    """Return the highest daily rate of a material and its day.

    Readings days apart leave open how steep the curve is between them: the interval spans what all
    models say that the readings do not rule out.

    Parameters
    ----------
    models, rows
        Fits of the models that the readings do not rule out, the chosen one first, and the
        material's rows in them; none: no model follows the curve.
    rate_unit
        Unit of the rate.
    no_model
        Why there is none.
    shifts, factors
        How far each blank moves each reading, shape (jars, readings) each, and relative errors of
        the yield: what the jars have in common.
    """
    if not models:
        return Estimate(None, rate_unit, why=no_model), Estimate(None, "d", why=no_model)
    found = (_peak_of(fits, rows, rate_unit, shifts, factors) for fits in models)
    rates, days = zip(*found, strict=True)
    return _spanning(rates), _of_the_trial(_spanning(days), models[0].curves.rows(rows))


def _spanning(estimates: Sequence[Estimate]) -> Estimate:
    """Return the first estimate with the interval that spans those of all."""
    limits = [one.ci95 for one in estimates if one.ci95 is not None]
    if estimates[0].ci95 is None:
        return estimates[0]
    lows = [low for low, _ in limits if low is not None]
    highs = [high for _, high in limits if high is not None]
    return replace(estimates[0], ci95=(min(lows, default=None), max(highs, default=None)))


def _of_the_trial(day: Estimate, curves: Curves) -> Estimate:
    """Return the day of the highest rate with no more said of it than the readings can tell.

    Nothing is seen before the first reading, so a day before it may be any up to it: curves that
    fall from the start have it at day 0 by their form. Where the interval runs past the last
    reading no day is told.
    """
    if day.value is None or day.ci95 is None:
        return day
    first, end = float(curves.time_d[:, 0].max()), float(curves.end_d.max())
    low, high = day.ci95
    if low is None or high is None or not high <= end:
        return replace(day, value=None, ci95=None, interval_from="", why=DAY_OPEN)
    early = day.value <= first
    return replace(day, ci95=(0.0 if early else max(low, 0.0), max(high, first) if early else high))


def _peak_of(
    fits: Jarwise,
    rows: IntArray,
    rate_unit: str,
    shifts: Sequence[FloatArray],
    factors: Sequence[Factor],
) -> tuple[Estimate, Estimate]:
    named = fits.named[rows]
    rate, day = fits.model.peak(named)
    rate_error, day_error = _carried(fits, rows, named)
    degrees = fits.degrees[rows]
    rate_moves = day_moves = None
    if shifts:
        moves = mean_moves(fits, rows, fits.curves.rows(rows), shifts)
        moved = [fits.model.peak(named + move) for move in moves]
        rate_moves, day_moves = (
            np.array([(one[i] - at).mean() for one in moved]) for i, at in enumerate((rate, day))
        )
    return (
        estimate(
            float(rate.mean()), rate_unit, rate, rate_error, degrees,
            blank_moves=rate_moves, factors=factors,
        ),
        estimate(
            float(day.mean()), "d", day, day_error, degrees,
            positive=False, blank_moves=day_moves,
        ),
    )  # fmt: skip


def _carried(fits: Jarwise, rows: IntArray, named: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return the standard errors of rate and day that the parameters' errors leave."""
    count = named.shape[1]
    by_parameter = np.empty((2, len(rows), count))
    for i in range(count):
        step = 1e-5 * np.maximum(np.abs(named[:, i]), 1e-3)
        shift = np.zeros_like(named)
        shift[:, i] = step
        up, down = fits.model.peak(named + shift), fits.model.peak(named - shift)
        by_parameter[:, :, i] = [(u - d) / (2 * step) for u, d in zip(up, down, strict=True)]
    variance = np.einsum("qji,jik,qjk->qj", by_parameter, fits.covariance[rows], by_parameter)
    error = np.sqrt(np.maximum(variance, 0.0))
    return error[0], error[1]
