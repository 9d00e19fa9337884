"""The tank's answer for the terminal."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import chain
from typing import Final

from bmp.cautions import cautions_for
from bmp.report.shown_units import beside, folded
from bmp.report.tank_rows import ESTIMATE, WEEK_BY_WEEK, TankTable, tank_tables
from bmp.tank.result import TankResult
from bmp.tank.verdict import TANK_HAZARDS

WIDTH = 100
# A column is never wider than this; longer words go on in the next line.
WIDEST_COLUMN = 40


SHORT: Final = (
    "methane a day", "biogas a day", "organic load", "retention", "C:N of the mixture",
    "free ammonia N", "own flame covers", "empty bag full after",
)  # fmt: skip
"""Rows of the first table that the short answer shows."""
MOST_WEEKS: Final = 5


def tank_text(result: TankResult, everything: bool = False, units: Sequence[str] = ()) -> str:
    """Return the answer as text, the gas first; at most forty lines unless all is asked for."""
    return _whole(result, units) if everything else _short(result, units)


def _short(result: TankResult, units: Sequence[str]) -> str:
    first, *others = tank_tables(result, units)
    rows = tuple(row for row in first.rows if row[0] in SHORT)
    parts = [
        *folded(result.verdict, units, WIDTH),
        "",
        *_table(TankTable(first.title, first.header, rows)),
    ]
    ramp = [table for table in others if table.title == WEEK_BY_WEEK]
    for table in ramp:
        parts += _table(TankTable(table.title, table.header[:3], _weeks(table)))
    parts += ["Safety"]
    parts += [f"  - {beside(caution.line, units)}" for caution in cautions_for(TANK_HAZARDS)]
    parts += ["Everything else: add --all, or see the report that bmp analyze writes."]
    return "\n".join(parts) + "\n"


def _weeks(table: TankTable) -> tuple[tuple[str, ...], ...]:
    """Return the weeks of a ramp, the middle ones of a long one left out."""
    rows = [row[:3] for row in table.rows]
    if len(rows) > MOST_WEEKS:
        rows = [*rows[: MOST_WEEKS - 2], ("…", "", ""), rows[-1]]
    return tuple(rows)


def _whole(result: TankResult, units: Sequence[str]) -> str:
    parts = [
        *folded(result.verdict, units, WIDTH),
        "",
        *_list("Safety and cautions", result.cautions, units),
        ESTIMATE,
        "",
        *chain.from_iterable(_table(table) for table in tank_tables(result, units)),
        *folded(result.ramp_words, units, WIDTH),
        "",
        *folded(result.carbon_to_nitrogen, units, WIDTH),
        "",
        *_list("Assumed", result.assumed, units),
    ]
    return "\n".join(parts).rstrip() + "\n"


def _list(title: str, items: tuple[str, ...], units: Sequence[str]) -> Iterator[str]:
    yield title
    for item in items:
        yield from folded(item, units, WIDTH, "  - ", "    ")
    yield ""


def _table(table: TankTable) -> Iterator[str]:
    cells = [
        [folded(cell, (), WIDEST_COLUMN) or [""] for cell in row]
        for row in (table.header, *table.rows)
    ]
    widths = [
        max(len(line) for row in cells for line in row[column])
        for column in range(len(table.header))
    ]
    yield table.title
    for row in cells:
        for number in range(max(map(len, row))):
            line = [
                (cell[number] if number < len(cell) else "").ljust(width)
                for cell, width in zip(row, widths, strict=True)
            ]
            yield ("  " + "  ".join(line)).rstrip()
    yield ""
