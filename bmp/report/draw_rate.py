"""Methane a day: how fast each feed gave its gas."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from matplotlib.axes import Axes

from bmp.net import MaterialYield
from bmp.report.lines import mean_curve, series_look
from bmp.report.quantities import yield_unit_short
from bmp.results import Results

LEAST_INTERVAL_D = 0.8
"""Readings closer together than this are put together: their rate is mostly noise."""


def daily_rate(axes: Axes, results: Results, yields: Sequence[MaterialYield]) -> Axes:
    """Draw the mean rate of each series between its readings, as steps.

    Parameters
    ----------
    axes : matplotlib.axes.Axes
    results : Results
    yields : sequence of MaterialYield
        Series of one unit, those to draw.
    """
    for one in yields:
        time_d, net = mean_curve(results, one)
        kept = _apart(time_d)
        if kept.size < 2:
            continue
        time_d, net = time_d[kept], net[kept]
        look = series_look(results, one.series)
        rate = np.diff(net) / np.diff(time_d)
        axes.stairs(
            rate, time_d, baseline=None, color=look.colour, linestyle=look.line, linewidth=1.5,
            label=one.series,
        )  # fmt: skip
    axes.axhline(0.0, color="#9a9a9a", linewidth=0.6)
    axes.set_xlabel("Time [d]")
    axes.set_ylabel(f"Methane a day [{yield_unit_short(yields[0])}]")
    axes.set_xlim(left=0.0)
    return axes


def _apart(time_d: np.ndarray) -> np.ndarray:
    """Return the places of times that lie far enough apart for a rate."""
    kept = [0]
    for place in range(1, time_d.size):
        if time_d[place] - time_d[kept[-1]] >= LEAST_INTERVAL_D:
            kept.append(place)
    return np.array(kept, dtype=np.int64)
