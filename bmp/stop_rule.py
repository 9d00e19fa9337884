"""The published rule for when a trial may stop, over the jars of any number of trials at once.

Standard BMP Methods, document 100 v1.9 (2021), "1 % net 3 d": a trial stops only when the daily
methane of each single jar is below 1.0 % of its net accumulated methane on three consecutive days.
With readings further apart: one interval of at least three days, or several that add up to three
days, each below that rate. The slowest jar of a material decides. The rule speaks of days: readings
that follow each other faster are taken once a day. A pause in the first half of the gas is a lag,
not an end.

Verdict, forecast, plan, page and archive all ask here.
"""

from __future__ import annotations

from typing import Final

import numpy as np

from bmp.constants import STOP_RATE_PERCENT_PER_DAY, STOP_SPAN_D
from bmp.runs import first, lengths, padded
from bmp.trial import BoolArray, FloatArray, IntArray

# A reading that comes a little before the day is full still is that day's.
LEAST_DAY_D: Final = 0.9
# Common practice, no source: document 100 says nothing of a lag.
LEAST_PART_OF_THE_GAS: Final = 0.5
# Intervals that add up to the span but for rounding.
_SPAN_D: Final = STOP_SPAN_D * (1 - 1e-6)


def finished(rate_percent: float | None) -> bool | None:
    """Tell whether a jar or series has met the rule; `None` where no rate can be told yet.

    `rate_percent` is what `lowest_rates_percent` returns. Exactly the limit is not below it.
    """
    return None if rate_percent is None else rate_percent < STOP_RATE_PERCENT_PER_DAY


def lowest_rates_percent(
    run: IntArray, time_d: FloatArray, own: FloatArray, net: FloatArray
) -> FloatArray:
    """Return the lowest three-day rate that each jar has reached so far [% of net a day].

    The three-day rate of a reading is the highest daily rate among the fewest last intervals that
    add up to three days. The rule is met where the lowest of them is below the limit.

    Parameters
    ----------
    run
        The jar of each reading, sorted by jar and time. Shape (readings,).
    time_d
        Days since closing.
    own, net
        Each jar's own cumulative methane, and the same less the blank's share, in one unit. Only
        their ratio matters.

    Returns
    -------
    ndarray, shape (runs present,)
        Infinite where no rate can be told: no net methane, or fewer than three days.
    """
    if not run.size:
        return np.zeros(0)
    days, daily, late_enough = _steps(*_daily_tables(run, time_d, own, net))
    rate = _highest_of_three_days(days, daily)
    told = np.isfinite(rate) & late_enough
    lowest: FloatArray = np.where(told, rate, np.inf).min(axis=0)
    return lowest


def stop_days(run: IntArray, time_d: FloatArray, own: FloatArray, net: FloatArray) -> FloatArray:
    """Return the first reading [d] at which each jar may stop; infinite where it may not yet.

    Parameters as `lowest_rates_percent`. Shape (runs present,).
    """
    if not run.size:
        return np.zeros(0)
    return _first_day(*_steps(*_daily_tables(run, time_d, own, net)))


def stop_days_read_together(time_d: FloatArray, own: FloatArray, net: FloatArray) -> FloatArray:
    """Return what `stop_days` does, for curves that are all read at the same times.

    Parameters
    ----------
    time_d
        Rising, shape (times,).
    own, net
        Shape (curves, times).
    """
    kept = _once_a_day(time_d[:, None], np.ones((time_d.size, 1), dtype=bool))[:, 0]
    days, made, accumulated = time_d[kept][:, None], own[:, kept].T, net[:, kept].T
    if not days.size:
        return np.full(len(net), np.inf)
    if days[0, 0] > 0.0:
        days, made, accumulated = (
            np.concatenate([np.zeros((1, table.shape[1])), table])
            for table in (days, made, accumulated)
        )
    return _first_day(*_steps(days, made, accumulated, net[:, -1]))


def _daily_tables(
    run: IntArray, time_d: FloatArray, own: FloatArray, net: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
    """Return times, own and net methane about a day apart, from closing on, and the last net.

    Shapes (readings, jars): each later step takes all jars at once. Padding has infinite time.
    """
    valid = padded(np.ones(run.size), run, 0.0) > 0.0
    kept = _once_a_day(padded(time_d, run, 0.0).T, valid.T).T[valid]
    chosen = run[kept]
    # a point at closing goes in front, unless the jar was read there
    begins = np.flatnonzero(first(chosen) & (time_d[kept] > 0.0))
    rows = np.insert(chosen, begins, chosen[begins])

    def table(values: FloatArray, fill: float) -> FloatArray:
        points = np.insert(values[kept], begins, 0.0)
        return np.ascontiguousarray(padded(points, rows, fill).T)

    ends = np.cumsum(lengths(run)) - 1
    return table(time_d, np.inf), table(own, np.nan), table(net, np.nan), net[ends]


def _once_a_day(time_d: FloatArray, valid: BoolArray) -> BoolArray:
    """Mark readings that lie about a day or more apart, counted back from each jar's last one.

    Shapes (readings, jars).
    """
    kept = np.zeros_like(valid)
    later = np.full(time_d.shape[1], np.inf)
    for row in range(len(time_d) - 1, -1, -1):
        kept[row] = valid[row] & (later - time_d[row] >= LEAST_DAY_D)
        later = np.where(kept[row], time_d[row], later)
    return kept


def _steps(
    time_d: FloatArray, own: FloatArray, net: FloatArray, last_net: FloatArray
) -> tuple[FloatArray, FloatArray, BoolArray]:
    """Return the times, each interval's daily rate [% of net], and where half of the gas is there.

    Shapes (readings, jars), (readings - 1, jars), (readings, jars).
    """
    with np.errstate(divide="ignore", invalid="ignore"):
        length = np.diff(time_d, axis=0)
        daily = np.diff(own, axis=0) / np.where(length > 0.0, length, np.nan)
        rate = np.where(net[1:] > 0.0, 100.0 * daily / net[1:], np.inf)
        return time_d, rate, net >= LEAST_PART_OF_THE_GAS * last_net


def _highest_of_three_days(time_d: FloatArray, rate: FloatArray) -> FloatArray:
    """Return at each reading the highest rate of the fewest last intervals that span three days.

    NaN where they do not reach back far enough. Shape (readings, jars).
    """
    out = np.full(time_d.shape, np.nan)
    for end in range(1, len(time_d)):
        since = time_d[end] - _SPAN_D
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


def _first_day(time_d: FloatArray, rate: FloatArray, late_enough: BoolArray) -> FloatArray:
    """Return the first time at which the quiet days in a row span three. Shape (jars,)."""
    time = np.broadcast_to(time_d, late_enough.shape)
    quiet = rate < STOP_RATE_PERCENT_PER_DAY
    loud_until = np.maximum.accumulate(
        np.concatenate([time[:1], np.where(quiet, -np.inf, time[1:])]), axis=0
    )[1:]
    with np.errstate(invalid="ignore"):
        met = quiet & (time[1:] - loud_until >= _SPAN_D) & late_enough[1:] & np.isfinite(time[1:])
    day: FloatArray = np.where(met, time[1:], np.inf).min(axis=0, initial=np.inf)
    return day
