"""The tank's answer for the terminal."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import chain
from textwrap import wrap

from bmp.report.tank_rows import ESTIMATE, TankTable, tank_tables
from bmp.tank.result import TankResult

WIDTH = 100
# A column is never wider than this; longer words go on in the next line.
WIDEST_COLUMN = 30


def tank_text(result: TankResult) -> str:
    """Return the whole answer as text, verdict first, cautions beside it."""
    parts = [
        *wrap(result.verdict, WIDTH),
        "",
        *_list("Cautions", result.cautions),
        ESTIMATE,
        "",
        *chain.from_iterable(_table(table) for table in tank_tables(result)),
        *wrap(result.ramp_words, WIDTH),
        "",
        *wrap(result.carbon_to_nitrogen, WIDTH),
        "",
        *_list("Assumed", result.assumed),
    ]
    return "\n".join(parts).rstrip() + "\n"


def _list(title: str, items: tuple[str, ...]) -> Iterator[str]:
    yield title
    for item in items:
        yield from wrap(item, WIDTH, initial_indent="  - ", subsequent_indent="    ")
    yield ""


def _table(table: TankTable) -> Iterator[str]:
    cells = [
        [wrap(cell, WIDEST_COLUMN) or [""] for cell in row] for row in (table.header, *table.rows)
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
