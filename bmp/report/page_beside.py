"""Pages and their tables in the units that were asked for, beside the SI ones."""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from itertools import count
from typing import Final

from bmp.report.shown_units import AIR, NUMBER, OWN_UNITS, beside, converted
from bmp.shown_units import Beside, wanted

_TEXT: Final = re.compile(r"(<svg.*?</svg>|<style.*?</style>|<script.*?</script>|<[^>]*>)", re.S)


def page_beside(page: str, units: Sequence[str]) -> str:
    """Return HTML with the wanted units beside its figures; pictures stay as they are."""
    if not units:
        return page
    page = _TABLE.sub(lambda match: _table_beside(match[0], units), page)
    parts = _TEXT.split(page)
    return "".join(part if place % 2 else beside(part, units) for place, part in enumerate(parts))


_TABLE: Final = re.compile(r"<table\b.*?</table>", re.S)
_ROW: Final = re.compile(r"<tr\b.*?</tr>", re.S)
_CELL: Final = re.compile(
    r"(?P<open><(?P<tag>t[hd])\b[^>]*>)(?P<inside>.*?)(?P<close></(?P=tag)>)", re.S
)
_ALONE: Final = re.compile(
    rf"(?:^|(?<=: ))(?:<strong>)?(?P<value>{NUMBER})(?: (?P<how>±|to) (?P<other>{NUMBER}))?"
    rf"(?: \((?P<low>{NUMBER}) to (?P<high>{NUMBER})\))?(?=$|;|</strong>)"
)
"""Figures whose unit stands above them: all of a cell, or those behind names: `B1: 3.2; B2: 3`."""


def _table_beside(table: str, units: Sequence[str]) -> str:
    """Return a table in which figures also have the unit wanted where the header names theirs."""
    head, end, rest = table.partition("</thead>")
    columns: list[Beside | None] = []

    def header(_: int, inside: str) -> str:
        text = " ".join(re.sub(r"<[^>]*>", " ", inside).split())
        # a standard deviation has the unit of the column before it
        own = columns[-1] if columns and text == "SD" else _unit_at_end(text, units)
        columns.append(own)
        return inside if own is None or text == "SD" else f"{inside} ({own.wanted})"

    def figure(place: int, inside: str) -> str:
        row = columns[place] if place < len(columns) else None
        if row is None:
            return inside
        return _ALONE.sub(lambda match: f"{match[0]} ({converted(match, row, '')})", inside)

    head = _each_cell(head, header)
    if not any(columns):
        return table
    return head + end + _ROW.sub(lambda match: _each_cell(match[0], figure), rest)


def _each_cell(row: str, change: Callable[[int, str], str]) -> str:
    """Return a row with the inside of each cell, by its place, as `change` makes it."""
    place = count()
    return _CELL.sub(lambda m: f"{m['open']}{change(next(place), m['inside'])}{m['close']}", row)


def _unit_at_end(text: str, units: Sequence[str]) -> Beside | None:
    """Return the row of the unit that a header ends with."""
    match = _HEADER.search(text)
    return None if match is None else wanted(match["unit"], units, bool(AIR.search(text)))


_HEADER: Final = re.compile(
    rf"(?:^|(?<!\d)[ ,(\[])(?P<unit>{'|'.join(map(re.escape, OWN_UNITS))})[)\]]?$"
)
