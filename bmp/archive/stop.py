"""The three-day rate of `bmp.judge.stop` for jars that are each read at their own times."""

from __future__ import annotations

import numpy as np

from bmp.constants import STOP_SPAN_D
from bmp.judge.stop import LEAST_DAY_D
from bmp.runs import first, padded
from bmp.trial import BoolArray, FloatArray, IntArray


def slowest_rates_percent(
    run: IntArray, time_d: FloatArray, net: FloatArray, from_blank: FloatArray
) -> FloatArray:
    """Return the lowest three-day rate that each jar has reached so far [% of net a day].

    Parameters
    ----------
    run, time_d, net, from_blank : ndarray, shape (readings,)
        Net curves, sorted by run and time, and what was taken off them.

    Returns
    -------
    ndarray, shape (runs present,)
        As `bmp.judge.facts` takes it: only where half of the net methane has formed; infinite where
        no rate can be told.
    """
    if not run.size:
        return np.zeros(0)
    starts = np.flatnonzero(first(run))
    last = net[np.append(starts[1:], run.size) - 1]
    valid = padded(np.ones(run.size), run, 0.0) > 0.0
    kept = _once_a_day(padded(time_d, run, 0.0), valid)
    flat = kept[valid]
    half = net >= 0.5 * np.repeat(last, valid.sum(axis=1))
    # a point at closing goes in front, unless the jar was read there
    chosen = run[flat]
    begins = first(chosen) & (time_d[flat] > 0.0)
    rows = np.insert(chosen, np.flatnonzero(begins), chosen[begins])

    def table(values: FloatArray, at_closing: float, fill: float) -> FloatArray:
        """Return the points kept, a row a reading: each step below takes all jars at once."""
        points = np.insert(values[flat], np.flatnonzero(begins), at_closing)
        return np.ascontiguousarray(padded(points, rows, fill).T)

    rate = _highest_recent(table(time_d, 0.0, np.inf), table(net + from_blank, 0.0, np.nan),
                           table(net, 0.0, np.nan))  # fmt: skip
    told = np.isfinite(rate) & (table(half.astype(float), 0.0, 0.0) > 0.0)
    lowest: FloatArray = np.where(told, rate, np.inf).min(axis=0)
    return lowest


def _once_a_day(time_d: FloatArray, valid: BoolArray) -> BoolArray:
    """Mark readings that lie about a day or more apart, counted back from each jar's last one."""
    kept = np.zeros_like(valid)
    later = np.full(time_d.shape[0], np.inf)
    for column in range(time_d.shape[1] - 1, -1, -1):
        kept[:, column] = valid[:, column] & (later - time_d[:, column] >= LEAST_DAY_D)
        later = np.where(kept[:, column], time_d[:, column], later)
    return kept


def _highest_recent(time_d: FloatArray, made: FloatArray, net: FloatArray) -> FloatArray:
    """Return at each reading the highest rate of the fewest last intervals that span three days.

    Padding has infinite time; shape (readings, jars), as what is returned.
    """
    with np.errstate(divide="ignore", invalid="ignore"):
        length = np.diff(time_d, axis=0)
        daily = np.diff(made, axis=0) / np.where(length > 0.0, length, np.nan)
        rate = np.where(net[1:] > 0.0, 100.0 * daily / net[1:], np.inf)
    out = np.full(time_d.shape, np.nan)
    for end in range(1, len(time_d)):
        since = time_d[end] - STOP_SPAN_D * (1 - 1e-6)
        highest = np.full(since.shape, -np.inf)
        open_ones = np.isfinite(time_d[end])
        for begin in range(end - 1, -1, -1):
            np.maximum(highest, rate[begin], out=highest, where=open_ones)
            reached = open_ones & (time_d[begin] <= since)
            np.copyto(out[end], highest, where=reached)
            open_ones &= ~reached
            if not open_ones.any():
                break
    return out
