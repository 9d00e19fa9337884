"""Axes of pictures in the units that were asked for, in place of the SI ones."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING

from bmp.report.rounding import short
from bmp.report.shown_units import in_place
from bmp.shown_units import Beside, wanted

if TYPE_CHECKING:
    from matplotlib.axis import Axis
    from matplotlib.figure import Figure

_UNIT = re.compile(r"\[(?P<unit>[^\]]+)\]$")


def axes_in(figures: Iterable[Figure], units: Sequence[str]) -> None:
    """Have each axis that names its unit show the one that is wanted, at round numbers of it.

    What is drawn stays; only the numbers along the axes and their names change.
    """
    for figure in figures if units else ():
        for axes in figure.axes:
            for axis in (axes.xaxis, axes.yaxis):
                row = _axis_in(axis, units)
                if row is not None:
                    for text in axes.texts:
                        text.set_text(in_place(text.get_text(), row))


def _axis_in(axis: Axis, units: Sequence[str]) -> Beside | None:
    """Return the row by which an axis was changed; `None` where it was not."""
    from matplotlib.ticker import FixedFormatter, FixedLocator, FuncFormatter, MaxNLocator

    label = axis.get_label_text()
    match = _UNIT.search(label)
    row = None if match is None else wanted(match["unit"], units)
    if match is None or row is None:
        return None
    axis.set_label_text(f"{label[: match.start()]}[{row.wanted}]")
    if isinstance(axis.get_major_formatter(), FixedFormatter):
        names = [text.get_text() for text in axis.get_ticklabels()]
        axis.set_ticks(axis.get_ticklocs(), [in_place(name, row) for name in names])
        return row
    low, high = (edge * row.factor + row.offset for edge in axis.get_view_interval())
    ticks = MaxNLocator("auto", steps=[1, 2, 2.5, 5, 10]).tick_values(low, high)
    low, high = min(low, high), max(low, high)
    shown = [tick for tick in ticks if low - 1e-9 <= tick <= high + 1e-9]
    axis.set_major_locator(FixedLocator([(tick - row.offset) / row.factor for tick in shown]))
    axis.set_major_formatter(FuncFormatter(lambda x, _: short(x * row.factor + row.offset)))
    return row
