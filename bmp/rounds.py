"""Readings that belong together: a round goes from jar to jar and reads each of them once.

People read their jars one after the other, so the readings of a round lie minutes to hours apart.
Wherever jars are compared, counted as missing or shown, the round is the unit of time.
"""

from __future__ import annotations

import numpy as np

from bmp.trial import BoolArray, FloatArray, IntArray

LARGEST_PART: float = 0.3
"""A gap between readings that is a larger part than this of the time in which the jars around it
come up again ends a round (common practice, no source)."""


def rounds(jar: IntArray, time_d: FloatArray) -> IntArray:
    """Return the number of the round that each reading belongs to, from 0.

    A new round begins with a jar that was read in this round already, and after a gap that is long
    beside the time from one reading of a jar to its next.

    Parameters
    ----------
    jar, time_d : array, shape (readings,)
        In any order.
    """
    if not jar.size:
        return np.zeros(0, dtype=np.int64)
    order = np.lexsort((jar, time_d))
    own_d = _time_to_nearest(jar, time_d)[order]
    window = max(int(np.unique(jar).size), 3)
    gaps = np.diff(time_d[order], prepend=np.nan)
    least_d = LARGEST_PART * _running(0.5, own_d, window)
    # jars read evenly one after the other, day and night, have no gaps that tell anything
    least_d = np.maximum(least_d, 2.0 * _running(0.25, gaps, max(2 * window, 8)))
    ends = gaps > np.maximum(least_d, 1e-9)
    ends[0] = True
    number = np.empty(jar.size, dtype=np.int64)
    number[order] = np.cumsum(_with_repeats(jar[order], ends)) - 1
    return number


def _with_repeats(jar: IntArray, starts: BoolArray) -> BoolArray:
    """Return where rounds start, with those that start because a jar comes up again.

    Only between two gaps with a jar that does is there anything to go through one by one.
    """
    between = np.cumsum(starts)
    by_jar = np.lexsort((jar, between))
    again = (np.diff(between[by_jar]) == 0) & (np.diff(jar[by_jar]) == 0)
    starts = starts.copy()
    for part in np.unique(between[by_jar[1:][again]]):
        first, end = np.searchsorted(between, (part, part + 1))
        seen: set[int] = set()
        for place, one in enumerate(jar[first:end].tolist(), first):
            if one in seen:
                starts[place] = True
                seen = set()
            seen.add(one)
    return starts


def round_times(number: IntArray, time_d: FloatArray) -> FloatArray:
    """Return the middle time of each round, rising. Shape (rounds,)."""
    if not number.size:
        return np.zeros(0)
    order = np.lexsort((time_d, number))
    count = np.bincount(number)
    ends = np.cumsum(count)
    low, high = ends - (count + 2) // 2, ends - count + count // 2
    middle = (time_d[order][np.maximum(low, ends - count)] + time_d[order][high]) / 2.0
    return np.asarray(middle)


def _time_to_nearest(jar: IntArray, time_d: FloatArray) -> FloatArray:
    """Return the time from each reading to the nearest other one of its jar; NaN without one."""
    order = np.lexsort((time_d, jar))
    since = np.where(
        np.diff(jar[order], prepend=-1) != 0, np.inf, np.diff(time_d[order], prepend=np.nan)
    )
    nearest = np.minimum(since, np.append(since[1:], np.inf))
    out = np.empty_like(time_d)
    out[order] = np.where(np.isinf(nearest), np.nan, nearest)
    return out


def _running(part: float, values: FloatArray, window: int) -> FloatArray:
    """Return a quantile of the values around each; the overall one where none is known."""
    known = values[np.isfinite(values)]
    if not known.size:
        return np.full(values.shape, np.inf)
    usual = float(np.median(known))
    filled = np.where(np.isfinite(values), values, usual)
    if filled.size <= window:
        return np.full(values.shape, np.quantile(filled, part))
    half = window // 2
    padded = np.pad(filled, half, mode="edge")
    view = np.lib.stride_tricks.sliding_window_view(padded, 2 * half + 1)
    place = int(part * view.shape[1])
    return np.asarray(np.partition(view, place, axis=1)[:, place])
