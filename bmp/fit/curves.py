"""Curves of many jars as padded arrays, the form in which every fit takes them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from bmp.runs import first, lengths, padded
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


def joined(curves: Curves, series: IntArray) -> list[tuple[IntArray, Curves]]:
    """Return curves whose least-squares fit is the one through every reading of a series' jars.

    Where all jars of a series were read at the same times that is their mean curve, otherwise all
    their readings.

    Parameters
    ----------
    curves, series
        The jars and the series of each, shape (jars,), rising from 0.

    Returns
    -------
    list of (ndarray, Curves)
        The series of either kind that have several jars, and their curves, one row each.
    """
    starts, count = np.flatnonzero(first(series)), lengths(series)
    lead = curves.rows(starts[series])
    same = ((curves.time_d == lead.time_d) & (curves.valid == lead.valid)).all(axis=1)
    alike = np.logical_and.reduceat(same, starts) & (count > 1)
    apart = (count > 1) & ~alike
    found = []
    if alike.any():
        mean = np.add.reduceat(curves.value, starts, axis=0) / count[:, None]
        rows = curves.rows(starts[alike])
        found.append((np.flatnonzero(alike), Curves(rows.time_d, mean[alike], rows.valid)))
    if apart.any():
        part = curves.rows(apart[series])
        run = np.repeat(series[apart[series]], part.count)
        time_d, value = part.time_d[part.valid], part.value[part.valid]
        order = np.lexsort((time_d, run))
        found.append((np.flatnonzero(apart), table(run[order], time_d[order], value[order])))
    return found


def table(run: IntArray, time_d: FloatArray, value: FloatArray) -> Curves:
    """Return flat readings, sorted by run and time, as curves, one row a run that is present."""
    valid = padded(np.ones(run.size), run, 0.0) > 0.0
    last = valid.sum(axis=1, keepdims=True) - 1
    time, values = (
        np.where(valid, filled, np.take_along_axis(filled, last, axis=1))
        for filled in (padded(flat, run, 0.0) for flat in (time_d, value))
    )
    return Curves(time, values, valid)


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
    return crossing_and_reading(curves, level)[0]


def crossing_and_reading(curves: Curves, level: FloatArray) -> tuple[FloatArray, IntArray]:
    """Return what `crossing` does, and the reading at or after each of those times.

    `curves.value` may have leading axes, for other values at the same times; `level` has them too.
    """
    above, jar = curves.value >= level[..., None], np.arange(level.shape[-1])
    hit = above.argmax(axis=-1)
    reached = at_reading(above, hit)
    hit = np.where(reached, hit, curves.value.shape[-1] - 1)
    before = np.maximum(hit - 1, 0)
    t1, v1 = curves.time_d[jar, hit], at_reading(curves.value, hit)
    t0 = np.where(hit > 0, curves.time_d[jar, before], np.minimum(0.0, t1))
    v0 = np.where(hit > 0, at_reading(curves.value, before), 0.0)
    rise = np.where(v1 > v0, v1 - v0, 1.0)
    share = np.clip(np.where(v1 > v0, (level - v0) / rise, 1.0), 0.0, 1.0)
    return np.where(reached, t0 + share * (t1 - t0), t1), hit


def at_reading(values: np.ndarray, reading: IntArray) -> np.ndarray:
    """Return a value of each jar, shape (..., jars); `values` has its readings in a last axis."""
    return np.take_along_axis(values, reading[..., None], axis=-1)[..., 0]
