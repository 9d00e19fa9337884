"""The published rule for when a trial may stop.

Standard BMP Methods, document 100 v1.9 (2021), "1 % net 3 d": a trial stops only when the daily
methane of each single jar is below 1.0 % of its net accumulated methane on three consecutive days.
With readings further apart: one interval of at least three days, or several that add up to three
days, each below that rate. The slowest jar of a material decides. The rule speaks of days: readings
that follow each other faster are taken once a day.
"""

from __future__ import annotations

from typing import Final

import numpy as np

from bmp.constants import STOP_RATE_PERCENT_PER_DAY, STOP_SPAN_D
from bmp.trial import FloatArray, IntArray

# A reading that comes a little before the day is full still is that day's.
LEAST_DAY_D: Final = 0.9


def three_day_rate_percent(
    time_d: FloatArray, methane_NmL: FloatArray, net_NmL: FloatArray, span_d: float = STOP_SPAN_D
) -> FloatArray:
    """Return the highest daily rate over the last three days, in percent of the net methane.

    Parameters
    ----------
    time_d : array, shape (times,)
        Reading times after closing, rising.
    methane_NmL : array, shape (jars, times)
        Each jar's own cumulative methane; NaN where it was not read.
    net_NmL : array, shape (jars, times)
        The same less the mean blank's share. Only its ratio to `methane_NmL` matters.
    span_d : float
        Length that the last intervals must add up to.

    Returns
    -------
    array, shape (jars, times)
        At each reading, the highest rate among the fewest last intervals that add up to `span_d`;
        infinite while the net methane is not above zero, NaN where there is no reading, where one
        of the same day follows, or where the intervals do not reach back far enough. The stop rule
        holds where it is below the limit.
    """
    out = np.full(methane_NmL.shape, np.nan)
    gaps = ~np.isfinite(methane_NmL + net_NmL)
    whole = ~gaps.any(axis=1)
    chosen = _once_a_day(time_d)
    if whole.any():
        rows = np.flatnonzero(whole)[:, None]
        out[rows, chosen] = _complete(
            time_d[chosen], methane_NmL[rows, chosen], net_NmL[rows, chosen], span_d
        )
    for jar in np.flatnonzero(~whole):
        read = np.flatnonzero(~gaps[jar])
        read = read[_once_a_day(time_d[read])]
        one = methane_NmL[jar, read][None], net_NmL[jar, read][None]
        out[jar, read] = _complete(time_d[read], *one, span_d)[0]
    return out


def _once_a_day(time_d: FloatArray) -> IntArray:
    """Return the readings that lie about a day or more apart, counted back from the last one."""
    kept: list[int] = []
    for i in range(len(time_d) - 1, -1, -1):
        if not kept or time_d[kept[-1]] - time_d[i] >= LEAST_DAY_D:
            kept.append(i)
    return np.array(kept[::-1], dtype=np.int64)


def _complete(
    time_d: FloatArray, methane: FloatArray, net: FloatArray, span_d: float
) -> FloatArray:
    """As `three_day_rate_percent`, for jars that were read at every time."""
    start = np.concatenate([[0.0], time_d]) if len(time_d) and time_d[0] > 0 else time_d
    before = len(start) - len(time_d)
    own = np.pad(methane, ((0, 0), (before, 0)))
    length = np.diff(start)
    daily = np.diff(own, axis=1) / np.where(length > 0, length, np.nan)
    accumulated = np.pad(net, ((0, 0), (before, 0)))[:, 1:]
    with np.errstate(divide="ignore", invalid="ignore"):
        rate = np.where(accumulated > 0, 100.0 * daily / accumulated, np.inf)
    out = np.full(own.shape, np.nan)
    # The latest start from which the intervals add up to the span; a millionth of it is rounding.
    first = np.searchsorted(start, start - span_d * (1 - 1e-6), side="right") - 1
    for i in np.flatnonzero(first >= 0):
        if i > first[i]:
            out[:, i] = rate[:, first[i] : i].max(axis=1)
    return out[:, before:]


def stop_day(
    time_d: FloatArray, rate_percent: FloatArray, limit_percent: float = STOP_RATE_PERCENT_PER_DAY
) -> FloatArray:
    """Return the first time at which each jar may stop; NaN where it never does.

    `rate_percent` comes from `three_day_rate_percent`, shape (jars, times). Exactly the limit is
    not below it: the jar goes on.
    """
    below = np.nan_to_num(rate_percent, nan=np.inf) < limit_percent
    first = below.argmax(axis=1)
    return np.where(below.any(axis=1), time_d[first], np.nan)
