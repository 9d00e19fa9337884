"""95 % intervals: between jars from three jars on, within the jar only for one or two.

Jars are the independent unit: the t-interval over per-jar values holds whatever the noise within
a jar looks like, which no interval from one fit to cumulative readings does.
"""

from __future__ import annotations

from typing import Final

import numpy as np

from bmp.estimate import Estimate
from bmp.statistics import critical_t
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
    value: float, jars: FloatArray, error: FloatArray, degrees: FloatArray, *, positive: bool
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
    """
    t = float(critical_t(float(degrees.sum())))
    if positive and value > 0 and (jars > 0).all():
        half = t * float(np.sqrt(((error / jars) ** 2).sum())) / len(jars)
        return value * float(np.exp(-half)), value * float(np.exp(min(half, 700.0)))
    half = t * float(np.sqrt((error**2).sum())) / len(jars)
    return value - half, value + half


def series_limits(
    value: FloatArray,
    jars: FloatArray,
    error: FloatArray,
    degrees: FloatArray,
    series: IntArray,
    *,
    positive: bool = True,
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
    spread = np.sqrt(total((jars - mean[series]) ** 2) / np.maximum(count - 1, 1) / some)
    half = critical_t(np.maximum(count - 1, 1)) * spread
    low = np.minimum(np.maximum(mean - half, 0.0) if positive else mean - half, value)
    high = np.maximum(mean + half, value)
    few = count < FEWEST_JARS
    if few.any():
        with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
            t = critical_t(total(degrees))
            plain = t * np.sqrt(total(error**2)) / some
            ratio = t * np.sqrt(total((error / jars) ** 2)) / some
            logged = (value > 0) & (total((jars <= 0).astype(np.float64)) == 0) & positive
            near = np.where(logged, value * np.exp(-ratio), value - plain)
            far = np.where(logged, value * np.exp(np.minimum(ratio, 700.0)), value + plain)
        unknown = total((~np.isfinite(error)).astype(np.float64)) > 0
        low = np.where(few, np.where(unknown, np.nan, near), low)
        high = np.where(few, np.where(unknown, np.nan, far), high)
    return low, high


def estimate(
    value: float,
    unit: str,
    jars: FloatArray,
    error: FloatArray,
    degrees: FloatArray,
    *,
    positive: bool = True,
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
    """
    if len(jars) >= FEWEST_JARS:
        low, high = between_jars(jars)
        low, high = min(max(low, 0.0) if positive else low, value), max(high, value)
        return Estimate(value, unit, (low, high), BETWEEN)
    sound: BoolArray = np.isfinite(error)
    if not sound.all():
        return Estimate(value, unit, why="fewer than three jars, and none shows its own error")
    low, high = within_jars(value, jars, error, degrees, positive=positive)
    return Estimate(value, unit, (low, high), WITHIN)
