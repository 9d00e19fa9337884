"""The right edge of a picture of curves: values at the end, their intervals, and labels."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from bmp.report.labels import spread
from bmp.report.series_style import INK, SeriesStyle

LINE_IN: Final = 0.18
"""Height of a line of a label."""
STEP: Final = 0.024
"""From one value at the edge to the next, in spans of time, where there is room."""
WIDEST: Final = 0.25
"""All values at the edge, in spans of time."""


@dataclass(frozen=True)
class Mark:
    """A value at the right edge of a picture, to be labelled there."""

    value: float
    lines: tuple[str, ...]
    colour: str
    time_d: float | None = None
    """Where the curve ends; `None`: where all do."""
    look: SeriesStyle | None = None
    """Given: the value gets a marker, and its interval a bar."""
    half_width: float | None = None
    """Of the interval."""


def finish(axes: Axes, marks: Sequence[Mark]) -> None:
    """Set limits that show all curves and bars, and label the ends at the right.

    Raises
    ------
    ValueError
        Nothing has been drawn on the axes.
    """
    x_all = [np.asarray(line.get_xdata(), dtype=float) for line in axes.get_lines()]
    y_all = [np.asarray(line.get_ydata(), dtype=float) for line in axes.get_lines()]
    bars = [mark.value + sign * (mark.half_width or 0.0) for mark in marks for sign in (-1, 1)]
    low = min(0.0, min(float(np.nanmin(y)) for y in y_all), *bars)
    high = max(0.0, max(float(np.nanmax(y)) for y in y_all), *bars)
    room = 0.04 * (high - low or 1.0)
    axes.set_ylim(low - room if low < 0.0 else 0.0, high + room)
    end_d = max(float(np.nanmax(x)) for x in x_all)
    with_bars = sum(mark.look is not None for mark in marks)
    step = end_d * min(STEP, WIDEST / max(with_bars, 1))
    edge = end_d + step * (with_bars + 1 if with_bars else 0.5)
    axes.set_xlim(0.0, edge)
    axes.spines["bottom"].set_bounds(0.0, end_d)
    axes.set_xticks([tick for tick in axes.get_xticks() if 0.0 <= tick <= end_d * 1.001])
    if low < 0.0:
        axes.plot([0.0, end_d], [0.0, 0.0], color=INK, linewidth=0.6, label="_zero")
    _label(axes, marks, end_d, step, edge)


def _label(axes: Axes, marks: Sequence[Mark], end_d: float, step: float, edge: float) -> None:
    low, high = axes.get_ylim()
    per_line = LINE_IN * (high - low) / height_in(axes)
    heights = [per_line * (len(mark.lines) + 0.35) for mark in marks]
    places = spread([mark.value for mark in marks], heights, low, high)
    bar_d = end_d
    for mark, place in zip(marks, places, strict=True):
        start_d = end_d if mark.time_d is None else mark.time_d
        if mark.look is not None:
            bar_d += step
            start_d = bar_d
            _bar(axes, mark, bar_d)
        axes.plot(
            [start_d, edge, edge + 2.0 * step, edge + 2.6 * step],
            [mark.value, mark.value, place, place],
            color=mark.colour, linewidth=0.6, alpha=0.8, clip_on=False, label="_leader",
        )  # fmt: skip
        axes.text(
            edge + 3.2 * step, place, "\n".join(mark.lines), va="center",
            linespacing=1.15,
        )  # fmt: skip


def _bar(axes: Axes, mark: Mark, time_d: float) -> None:
    """Draw a value with its interval, as one line with caps."""
    assert mark.look is not None
    half = mark.half_width or 0.0
    axes.plot(
        [time_d] * 3, [mark.value - half, mark.value, mark.value + half], color=mark.colour,
        linewidth=1.3, marker="_", markersize=4.5, label="_interval",
    )  # fmt: skip
    axes.plot(
        [time_d], [mark.value], mark.look.marker, color=mark.colour, markersize=4.2,
        markeredgewidth=0.0, label="_end",
    )  # fmt: skip


def height_in(axes: Axes) -> float:
    """Return the height of axes [inch]."""
    figure = axes.get_figure()
    assert isinstance(figure, Figure)
    return float(axes.get_position().height * figure.get_size_inches()[1])
