"""When a curve has met the stop rule, for readings and for forecast curves alike.

Standard BMP Methods, document 100 v1.9 (2021): daily methane below 1.0 % of the net accumulated
methane on three consecutive days; with readings further apart, intervals below that rate that
add up to three days.
"""

from __future__ import annotations

import numpy as np

from bmp.constants import STOP_RATE_PERCENT_PER_DAY, STOP_SPAN_D
from bmp.trial import BoolArray, FloatArray


def stop_rule_met_d(
    time_d: FloatArray, net: FloatArray, valid: BoolArray | None = None
) -> FloatArray:
    """Return the time at which each curve first meets the stop rule.

    Parameters
    ----------
    time_d
        Shape (curves, readings) or (readings,), rising.
    net
        Cumulative net methane, shape (curves, readings). The first interval runs from day 0.
    valid
        Readings that count, `None`: all.

    Returns
    -------
    numpy.ndarray
        Days, shape (curves,); infinite for a curve that does not meet it.
    """
    time = np.broadcast_to(np.atleast_2d(time_d), net.shape)
    days = np.diff(time, axis=1, prepend=0.0)
    gas = np.diff(net, axis=1, prepend=0.0)
    quiet = (gas < STOP_RATE_PERCENT_PER_DAY / 100.0 * net * days) & (net > 0)
    broken = np.maximum.accumulate(np.where(quiet, 0.0, time), axis=1)
    met = quiet & (time - broken >= STOP_SPAN_D - 1e-9)
    if valid is not None:
        met &= valid
    first: FloatArray = np.where(
        met.any(axis=1), np.take_along_axis(time, met.argmax(axis=1)[:, None], 1)[:, 0], np.inf
    )
    return first
