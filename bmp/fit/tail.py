"""How a curve goes on from its last reading: its tail, and how far real tails differ from it.

Real curves end in tails whose rate falls as a power of time, about its inverse square: from the
last value B at the day c on, B(t) = B (1 + a (1 − c/t)), a straight line against 1/t. A fit to the
whole curve bends to the early readings and ends too low. The only number taken from the readings is
a, the share of B that a tail without end would still bring.

How far the gas still to come departs from that was measured on real curves: `bmp.fit.real_tails`.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from bmp.fit.curves import Curves
from bmp.fit.real_tails import TAILS
from bmp.trial import BoolArray, FloatArray

WINDOW: Final = 0.6
"""Readings from this share of the time on are taken for the tail; from real curves, where shares
from 0.5 to 0.7 served equally."""
FEWEST_BEFORE_LAST: Final = 2


@dataclass(frozen=True, eq=False)
class Tail:
    """The tails of some jars. Arrays have shape (jars,)."""

    day: FloatArray
    """Of the last reading."""
    last: FloatArray
    """The last value."""
    rest: FloatArray
    """Share of it that an endless tail would still bring."""
    error: FloatArray
    """Standard error of `rest` from the readings' own errors."""

    def gain(self, time_d: FloatArray) -> FloatArray:
        """Return the gas still to come by those days, over the last value. Shape (jars, times)."""
        share: FloatArray = self.rest[:, None] * (1.0 - self.day[:, None] / time_d)
        return share


def fit_tail(curves: Curves) -> Tail:
    """Return the tail of each jar by least squares against 1/t through its last reading.

    Parameters
    ----------
    curves
        The jars, each with three readings after day 0 or more and a last value above zero.
    """
    day, last = curves.end_d, curves.value[:, -1]
    late = _late(curves)
    x = np.where(late, day[:, None] / curves.time_d - 1.0, 0.0)
    z = np.where(late, 1.0 - curves.value / last[:, None], 0.0)
    square = np.maximum((x * x).sum(axis=1), 1e-300)
    rest = np.maximum((x * z).sum(axis=1) / square, 0.0)
    residual = np.where(late, z - rest[:, None] * x, 0.0)
    count = late.sum(axis=1)
    noise = np.sqrt((residual**2).sum(axis=1) / np.maximum(count - 1, 1))
    # the last reading's own error moves every z alike
    error = noise * np.sqrt(square + x.sum(axis=1) ** 2) / square
    return Tail(day, last, rest, error)


def reading_noise(curves: Curves, tail: Tail, jar: int) -> float:
    """Return the error of a jar's gas of one day over its last value.

    From how the late readings' steps differ from the tail's, each over the root of its length.
    """
    count = int(curves.count[jar])
    late = np.append(np.flatnonzero(_late(curves.rows(slice(jar, jar + 1)))[0]), count - 1)
    time, value = curves.time_d[jar, late], curves.value[jar, late]
    line = 1.0 - tail.rest[jar] * (tail.day[jar] / time - 1.0)
    step = np.diff(value / tail.last[jar] - line) / np.sqrt(np.maximum(np.diff(time), 1e-9))
    return float(np.sqrt((step**2).sum() / max(step.size - 1, 1)))


def _late(curves: Curves) -> BoolArray:
    """Mark the readings of the tail before the last one, two at least. Shape (jars, readings)."""
    place = np.arange(curves.value.shape[1])[None]
    count = curves.count[:, None]
    before = place < count - 1
    late = curves.time_d >= WINDOW * curves.end_d[:, None]
    marked: BoolArray = before & (late | (place >= count - 1 - FEWEST_BEFORE_LAST))
    return marked


@dataclass(frozen=True)
class Spread:
    """How the logarithm of real over expected gain is spread over feeds and laboratories."""

    mean: float
    sd: float

    def factor(self, deviations: float) -> float:
        """Return what the expected gain is multiplied by, so many standard deviations away."""
        return float(np.exp(self.mean + deviations * self.sd))


def spread(without_laboratory: str | None = None) -> Spread:
    """Return what real curves showed.

    Laboratories count alike: the spread is that of a feed in a laboratory not yet seen.

    Parameters
    ----------
    without_laboratory
        One to leave out, to try on it what the others teach.
    """
    rows = [row for row in TAILS if row.laboratory != without_laboratory]
    means, squares = [], []
    for laboratory in dict.fromkeys(row.laboratory for row in rows):
        own = [row for row in rows if row.laboratory == laboratory]
        weight = np.array([row.series for row in own])
        mean = np.array([row.mean_log_ratio for row in own])
        sd = np.array([row.sd_log_ratio for row in own])
        means.append(np.average(mean, weights=weight))
        squares.append(np.average(mean**2 + sd**2, weights=weight))
    centre = float(np.mean(means))
    return Spread(centre, float(np.sqrt(np.mean(squares) - centre**2)))
