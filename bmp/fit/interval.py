"""95 % intervals: between jars from three jars on, within the jar only for one or two.

Jars are the independent unit: the t-interval over per-jar values holds whatever the noise within
a jar looks like, which no interval from one fit to cumulative readings does.
"""

from __future__ import annotations

from typing import Final

import numpy as np

from bmp.estimate import Estimate
from bmp.statistics import critical_t
from bmp.trial import BoolArray, FloatArray

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
