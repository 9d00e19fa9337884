"""Curves of many jars as padded arrays, the form in which every fit takes them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from bmp.trial import BoolArray, FloatArray, IntArray


@dataclass(frozen=True, eq=False)
class Curves:
    """Yield against time of several jars, one row a jar.

    A jar with fewer readings than the longest is padded by repeating its last reading; `valid`
    is False there and nothing counts it.
    """

    time_d: FloatArray
    """Shape (jars, readings), rising along each row."""
    value: FloatArray
    """Cumulative net yield (or any cumulative amount), shape (jars, readings)."""
    valid: BoolArray
    """Shape (jars, readings)."""

    @property
    def count(self) -> IntArray:
        """Readings of each jar. Shape (jars,)."""
        count: IntArray = self.valid.sum(axis=1)
        return count

    @property
    def end_d(self) -> FloatArray:
        """Time of each jar's last reading. Shape (jars,)."""
        return self.time_d[:, -1]

    def rows(self, index: IntArray | BoolArray | slice) -> Curves:
        """Return the jars of that index."""
        return Curves(self.time_d[index], self.value[index], self.valid[index])


def pack(time_d: Sequence[FloatArray], value: Sequence[FloatArray]) -> Curves:
    """Put the curves of jars with different readings into padded arrays.

    Parameters
    ----------
    time_d, value
        One pair of one-dimensional arrays a jar, of equal length within the pair. Gaps (NaN) are
        left out, readings are sorted by time.

    Raises
    ------
    ValueError
        If a jar has no finite reading, or its two arrays differ in length.
    """
    kept = [_finite(t, v, i) for i, (t, v) in enumerate(zip(time_d, value, strict=True))]
    width = max((len(t) for t, _ in kept), default=0)
    times = np.empty((len(kept), width))
    values = np.empty((len(kept), width))
    valid = np.zeros((len(kept), width), dtype=np.bool_)
    for row, (t, v) in enumerate(kept):
        times[row, : len(t)], times[row, len(t) :] = t, t[-1]
        values[row, : len(t)], values[row, len(t) :] = v, v[-1]
        valid[row, : len(t)] = True
    return Curves(times, values, valid)


def _finite(time_d: FloatArray, value: FloatArray, jar: int) -> tuple[FloatArray, FloatArray]:
    t, v = np.asarray(time_d, dtype=np.float64), np.asarray(value, dtype=np.float64)
    if t.shape != v.shape or t.ndim != 1:
        raise ValueError(f"curve {jar}: {t.shape} times but {v.shape} values")
    keep = np.isfinite(t) & np.isfinite(v)
    if not keep.any():
        raise ValueError(f"curve {jar} has no finite reading")
    order = np.argsort(t[keep], kind="stable")
    return t[keep][order], v[keep][order]


def joined(curves: Curves) -> Curves:
    """Return one row whose least-squares curve is the one through every reading of all jars.

    Where all jars were read at the same times that is their mean curve, otherwise all readings.
    """
    keep = curves.valid
    if keep.all() and (curves.time_d == curves.time_d[0]).all():
        return Curves(curves.time_d[:1], curves.value.mean(axis=0, keepdims=True), keep[:1])
    order = np.argsort(curves.time_d[keep], kind="stable")
    times, values = curves.time_d[keep][order], curves.value[keep][order]
    return Curves(times[None], values[None], np.ones((1, times.size), dtype=np.bool_))


def plateau(curves: Curves) -> FloatArray:
    """Return the mean of each jar's last three readings. Shape (jars,)."""
    last = curves.count[:, None] - np.arange(1, 4)
    rows = np.take_along_axis(curves.value, np.maximum(last, 0), axis=1)
    mean: FloatArray = rows.mean(axis=1)
    return mean


def crossing(curves: Curves, level: FloatArray) -> FloatArray:
    """Return when each curve first reaches its level, linear between readings, from (0, 0).

    Parameters
    ----------
    level
        Shape (jars,). A curve that never reaches it gives its last time.
    """
    above = curves.value >= level[:, None]
    reached = above.any(axis=1)
    hit = np.where(reached, above.argmax(axis=1), curves.value.shape[1] - 1)
    rows = np.arange(len(hit))
    before = np.maximum(hit - 1, 0)
    t0 = np.where(hit > 0, curves.time_d[rows, before], np.minimum(0.0, curves.time_d[rows, hit]))
    v0 = np.where(hit > 0, curves.value[rows, before], 0.0)
    t1, v1 = curves.time_d[rows, hit], curves.value[rows, hit]
    rise = np.where(v1 > v0, v1 - v0, 1.0)
    share = np.clip(np.where(v1 > v0, (level - v0) / rise, 1.0), 0.0, 1.0)
    when: FloatArray = np.where(reached, t0 + share * (t1 - t0), t1)
    return when
