"""How a series of jars looks in every picture: by colour, by marker and by dashes.

Colours: Okabe & Ito 2008, Color Universal Design (from memory), which people with any common
colour blindness tell apart; markers and dashes tell series apart in grey.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Final, TypeAlias

LineStyle: TypeAlias = str | tuple[float, tuple[float, ...]]

INK: Final = "#222222"
"""Text, axes and blanks. The page swaps it and the colours below for its own, light or dark."""
FAINT: Final = "#9a9a9a"
"""Jars that do not count."""
DOTTED: Final[LineStyle] = (0.0, (1.0, 1.5))

WIDTH_IN: Final = 4.5
TEXT_PT: Final = 10.5
"""All words of a picture: at a telephone's width of 390 px, of which the page gives a picture 371,
they are 12 px high."""

STYLE: Final[Any] = {
    "font.family": "DejaVu Sans",
    "font.size": TEXT_PT,
    "axes.labelsize": TEXT_PT,
    "axes.titlesize": TEXT_PT,
    "xtick.labelsize": TEXT_PT,
    "ytick.labelsize": TEXT_PT,
    "legend.fontsize": TEXT_PT,
    "text.color": INK,
    "text.parse_math": False,  # a name may hold a dollar sign
    "axes.edgecolor": INK,
    "axes.labelcolor": INK,
    "axes.linewidth": 0.7,
    "axes.spines.top": False,
    "axes.spines.right": False,
    "xtick.color": INK,
    "ytick.color": INK,
    "svg.fonttype": "none",
    "svg.hashsalt": "bmp",
}
"""Of every picture, as matplotlib takes it."""


@dataclass(frozen=True)
class SeriesStyle:
    """Colour, marker and dashes of one series."""

    colour: str
    marker: str
    dashes: tuple[float, ...]
    """On, off … in line widths; empty: a solid line."""

    @property
    def line(self) -> LineStyle:
        """Return the line style."""
        return (0.0, self.dashes) if self.dashes else "-"


LOOKS: Final = (
    SeriesStyle("#0072b2", "o", ()),
    SeriesStyle("#d55e00", "s", (5.0, 1.6)),
    SeriesStyle("#009e73", "^", (6.0, 1.5, 1.5, 1.5)),
    SeriesStyle("#7b4ba0", "D", (1.6, 1.3)),
    SeriesStyle("#c98a00", "v", (8.0, 2.5)),
    SeriesStyle("#3a9bd9", "P", (4.0, 1.4, 1.2, 1.4, 1.2, 1.4)),
    SeriesStyle("#c5628f", "X", (2.8, 2.2)),
    SeriesStyle("#75705f", "*", (9.0, 1.6, 3.0, 1.6)),
)


def look_of(index: int) -> SeriesStyle:
    """Return the look of the series of that number; colours come round again after the last.

    Coming round, dashes and markers shift by one, so that no two series share both.
    """
    turn = index // len(LOOKS)
    shape = LOOKS[(index + turn) % len(LOOKS)]
    return SeriesStyle(LOOKS[index % len(LOOKS)].colour, shape.marker, shape.dashes)
