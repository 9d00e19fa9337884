"""95 % intervals: between jars from three jars on, within the jar only for one or two.

Jars are the independent unit: the t-interval over per-jar values holds whatever the noise within
a jar looks like, which no interval from one fit to cumulative readings does.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np

from bmp.estimate import Estimate
from bmp.fit.common_errors import Factor, common_parts, mean_over_jars
from bmp.statistics import critical_t, critical_value
from bmp.trial import BoolArray, FloatArray, IntArray

BETWEEN: Final = "between jars"
WITHIN: Final = "within the jar only"
FEWEST_JARS: Final = 3


def between_jars(values: FloatArray) -> tuple[float, float]:
    """Return the 95 % t-interval of the mean over three or more jars.

    Parameters
    ----------
    values
        One value a jar, shape (jars,).
    """
    mean = float(values.mean())
    half = float(critical_t(values.size - 1) * values.std(ddof=1) / np.sqrt(values.size))
    return mean - half, mean + half


def within_jars(
    value: float,
    jars: FloatArray,
    error: FloatArray,
    degrees: FloatArray,
    *,
    positive: bool,
    blank_moves: FloatArray | None = None,
    factors: Sequence[Factor] = (),
) -> tuple[float, float]:
    """Return the 95 % interval about a value from the standard errors of one or two jars alone.

    Parameters
    ----------
    value
        The value to set the interval about.
    jars, error, degrees
        Value, standard error and degrees of freedom of each jar, shape (jars,).
    positive
        Whether the quantity is above zero: the interval is then set on the logarithm, which
        holds its 95 % better where errors are large.
    blank_moves, factors
        What the jars have in common, as `bmp.fit.common_errors.mean_over_jars` takes it.
    """
    parts, dof = common_parts(np.asarray(value), blank_moves, factors)
    logarithm = positive and value > 0 and bool((jars > 0).all())
    own = ((error / jars if logarithm else error) ** 2).sum() / len(jars) ** 2
    scale = value**2 if logarithm else 1.0
    variances = np.array([own, *(part / scale for part in parts)])
    critical = critical_value(variances, np.array([float(degrees.sum()), *dof]))
    half = float(critical * np.sqrt(variances.sum()))
    if logarithm:
        return value * float(np.exp(-half)), value * float(np.exp(min(half, 700.0)))
    return value - half, value + half


def series_limits(
    value: FloatArray,
    jars: FloatArray,
    error: FloatArray,
    degrees: FloatArray,
    series: IntArray,
    *,
    positive: bool = True,
    common: Sequence[tuple[FloatArray, FloatArray]] = (),
) -> tuple[FloatArray, FloatArray]:
    """Return the 95 % limits of many series at once, as `estimate` does of one.

    Parameters
    ----------
    value
        The value of each series, shape (series,).
    jars, error, degrees, series
        Value, standard error and degrees of freedom of each jar, and its series, shape (jars,).
    positive
        Whether the quantity cannot be below zero.
    common
        Variance of each mean and its degrees of freedom, shape (series,) each, from every error
        that the jars have in common.

    Returns
    -------
    low, high
        Shape (series,); NaN where there is no interval.
    """
    size = value.size
    count = np.bincount(series, minlength=size)
    some = np.maximum(count, 1)

    def total(of: FloatArray) -> FloatArray:
        return np.bincount(series, of, minlength=size).astype(np.float64)

    mean = total(jars) / some
    few = count < FEWEST_JARS
    between = total((jars - mean[series]) ** 2) / np.maximum(count - 1, 1) / some
    within = total(error**2) / some**2
    own = np.where(few, within, between)
    freedom = np.where(few, total(degrees), np.maximum(count - 1, 1))
    half = _reach(own, freedom, common)
    centre = np.where(few, value, mean)
    low, high = centre - half, centre + half
    if positive and few.any():
        with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
            relative = total((error / jars) ** 2) / some**2
            ratio = _reach(relative, freedom, [(v / value**2, dof) for v, dof in common])
            logged = few & (value > 0) & (total((jars <= 0).astype(np.float64)) == 0)
            low = np.where(logged, value * np.exp(-ratio), low)
            high = np.where(logged, value * np.exp(np.minimum(ratio, 700.0)), high)
    if positive:
        low = np.where(few, low, np.maximum(low, 0.0))
    low, high = (
        np.where(few, low, np.minimum(low, value)),
        np.where(few, high, np.maximum(high, value)),
    )
    unknown = few & (total((~np.isfinite(error)).astype(np.float64)) > 0)
    return np.where(unknown, np.nan, low), np.where(unknown, np.nan, high)


def _reach(
    own: FloatArray, freedom: FloatArray, common: Sequence[tuple[FloatArray, FloatArray]]
) -> FloatArray:
    """Return half the interval of means with a variance of their own and common ones."""
    with np.errstate(invalid="ignore"):
        variances = np.stack([own, *(v for v, _ in common)], axis=-1)
        dof = np.stack([freedom, *(d for _, d in common)], axis=-1)
        half: FloatArray = critical_value(variances, dof) * np.sqrt(variances.sum(axis=-1))
    return half


def estimate(
    value: float,
    unit: str,
    jars: FloatArray,
    error: FloatArray,
    degrees: FloatArray,
    *,
    positive: bool = True,
    blank_moves: FloatArray | None = None,
    factors: Sequence[Factor] = (),
) -> Estimate:
    """Return a value with the interval that its number of jars allows.

    Parameters
    ----------
    value
        The value of the material.
    unit
        Its unit.
    jars, error, degrees
        Value, standard error and degrees of freedom of each jar, shape (jars,).
    positive
        Whether the quantity cannot be below zero.
    blank_moves, factors
        What the jars have in common, as `bmp.fit.common_errors.mean_over_jars` takes it.
    """
    if len(jars) >= FEWEST_JARS:
        found = mean_over_jars(jars, blank_moves, factors)
        low, high = float(found.low), float(found.high)
        low, high = min(max(low, 0.0) if positive else low, value), max(high, value)
        return Estimate(value, unit, (low, high), BETWEEN)
    sound: BoolArray = np.isfinite(error)
    if not sound.all():
        return Estimate(value, unit, why="fewer than three jars, and none shows its own error")
    low, high = within_jars(
        value, jars, error, degrees, positive=positive, blank_moves=blank_moves, factors=factors
    )
    return Estimate(value, unit, (low, high), WITHIN)
