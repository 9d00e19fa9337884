"""Curves as lines of a picture."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any, TypeAlias

import numpy as np
from matplotlib.axes import Axes

from bmp.net import MaterialYield
from bmp.report.series_style import SeriesStyle, look_of
from bmp.results import Results
from bmp.trial import FloatArray

Curve: TypeAlias = tuple[FloatArray, FloatArray]
"""Times [d] and values, one shape."""


def series_look(results: Results, series: str) -> SeriesStyle:
    """Return the look that a series has in every picture."""
    return look_of([one.series for one in results.yields].index(series))


def from_nought(time_d: FloatArray, value: FloatArray) -> Curve:
    """Return a curve that starts with nought at closing."""
    if time_d.size and time_d[0] <= 0.0:
        return time_d, value
    return np.concatenate([[0.0], time_d]), np.concatenate([[0.0], value])


def mean_curve(results: Results, one: MaterialYield) -> Curve:
    """Return the mean net curve of a series' counted jars at all their times up to its end."""
    curves = [from_nought(*results.curves.of(jar)) for jar in one.jars]
    time_d = np.unique(np.concatenate([time for time, _ in curves]))
    time_d = time_d[time_d <= one.time_d]
    return time_d, np.mean([np.interp(time_d, *curve) for curve in curves], axis=0)


def plot_curves(axes: Axes, curves: Iterable[Curve], **style: Any) -> None:
    """Draw curves as one line with gaps, far quicker than a line each."""
    gap = np.array([np.nan])
    parts = [(np.append(time_d, gap), np.append(value, gap)) for time_d, value in curves]
    if parts:
        x, y = (np.concatenate(part) for part in zip(*parts, strict=True))
        axes.plot(x, y, **style)
