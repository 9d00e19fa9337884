"""Tables in a grid of cells: a header, perhaps a line of units, rows of figures; and loose facts.

What people put around their figures is recognised by its shape: title lines, group headers above
merged cells, blank rows, totals, notes. It is kept apart and said, never read as a figure.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date, datetime, time
from itertools import pairwise

from bmp.read.tables import Cell
from bmp.read.takeover.grid import Grid
from bmp.read.takeover.vocabulary import (
    TOTALS,
    is_header_word,
    is_missing,
    meanings,
    unit_words,
)

Row = Sequence[Cell]


@dataclass(frozen=True)
class FoundColumn:
    """One column of a table as its owner wrote it."""

    index: int
    """Place in the grid, 0 being the first."""
    header: str
    """With the group above it, where there is one."""
    unit: str
    """From a line of units below the header; else empty."""
    nth: int = 1
    """Which of the columns with this very header it is."""

    @property
    def letter(self) -> str:
        """Return the letter over the column in a spreadsheet."""
        left, letters = self.index, ""
        while left >= 0:
            letters = chr(65 + left % 26) + letters
            left = left // 26 - 1
        return letters

    @property
    def key(self) -> str:
        """Return what the column is known by in next week's version of the sheet."""
        return self.header if self.nth == 1 else f"{self.header} ({self.nth})"


@dataclass(frozen=True)
class FoundTable:
    """A header and the rows of figures that belong to it."""

    grid: Grid
    header_row: int
    """As the spreadsheet counts, from 1."""
    columns: tuple[FoundColumn, ...]
    rows: tuple[int, ...]
    """Places of its rows in the grid, from 0."""
    top_row: int = 0
    """Of a line above the header that groups its columns; else that of the header."""
    above: str = ""
    """What stands in that line over all of its columns: the jar, of tables side by side."""
    left_out: tuple[tuple[int, str], ...] = ()
    """Rows below the header that hold no figures of it, as (row from 1, what they say)."""

    def cells(self, column: FoundColumn) -> list[Cell]:
        """Return the cells of a column."""
        return [self.grid.rows[row][column.index] for row in self.rows]


@dataclass(frozen=True)
class Fact:
    """Something said once, outside of the tables: `Barometer | 29.9`, `room: 68 °F`."""

    label: str
    value: Cell
    place: str
    """Where it stands, for remarks: `sheet Log, row 3`."""


def find_tables(grid: Grid) -> tuple[FoundTable, ...]:
    """Return the tables of a grid from above, those side by side from the left."""
    tables: list[FoundTable] = []
    row = 0
    while row < len(grid.rows):
        found = list(_tables_at(grid, row)) if _is_header(grid, row) else []
        tables += found
        row = max((table.rows[-1] for table in found), default=row) + 1
    return tuple(tables)


def find_facts(grid: Grid, tables: Sequence[FoundTable]) -> tuple[Fact, ...]:
    """Return labels with their values that stand outside the tables."""
    inside = {row for table in tables for row in table.rows}
    inside |= {row - 1 for table in tables for row, _ in table.left_out}
    inside |= {row - 1 for table in tables for row in (table.header_row, table.top_row)}
    return tuple(
        fact
        for number, row in enumerate(grid.rows)
        if number not in inside
        for fact in _facts_of(row, f"{grid.name}, row {number + 1}")
    )


_IN_A_SENTENCE = re.compile(
    r"(?P<label>[^\d:=]{4,60}?)\s*(?P<value>\d[\d.,]*\s?[^\d\s.,;]{1,6}[²2]?)(?!\w).*"
)
_LABELLED = re.compile(r"([^:=]{2,40})[:=]\s*(\S.{0,80})")


def _facts_of(row: Row, place: str) -> Iterator[Fact]:
    if sum(map(_is_figure, row)) > 2:
        # figures side by side are of several things, and nothing that is said once
        return
    for index, cell in enumerate(row):
        if not isinstance(cell, str) or _is_figure(cell):
            continue
        told = list(_facts_in(cell, place))
        if told:
            yield from told
            continue
        following = next((other for other in row[index + 1 :] if other is not None), None)
        if following is not None:
            yield Fact(cell.rstrip(" :="), following, place)


def _facts_in(text: str, place: str) -> Iterator[Fact]:
    """Yield what a text says by itself: `room: 68 °F; water bath 98.6 °F`."""
    labelled = _LABELLED.fullmatch(text)
    if labelled:
        yield Fact(labelled[1].strip(), labelled[2].strip(), place)
        return
    for part in re.split(r"[;|]\s", text):
        sentence = _IN_A_SENTENCE.fullmatch(part.strip())
        if sentence:
            yield Fact(sentence["label"].strip(), sentence["value"], place)


def title_of(grid: Grid) -> str:
    """Return the first line that is a text alone; empty where there is none."""
    for row in grid.rows[:5]:
        filled = [cell for cell in row if cell is not None]
        if len(filled) == 1 and isinstance(filled[0], str):
            return filled[0]
        if filled:
            break
    return ""


# ---------------------------------------------------------------- what a cell and a row look like

_FIGURE = re.compile(r"[~<>]?\s*[+\-\u2212]?\d[\d.,'\u00a0 ]*(?:[eE][+-]?\d+)?\s*[^\d\s]{0,6}")
_DATE = re.compile(
    r"\d{1,4}[-/.]\d{1,2}[-/.]\d{2,4}.*|\d{1,2}[. ]+[^\W\d]{3,9}[. ,]+\d{2,4}.*", re.DOTALL
)


def _is_figure(cell: Cell) -> bool:
    """Tell whether a cell holds a number, a date or a time."""
    if isinstance(cell, bool) or cell is None:
        return False
    if isinstance(cell, str):
        return len(cell) < 40 and bool(_FIGURE.fullmatch(cell) or _DATE.fullmatch(cell))
    return True


def _filled(row: Row, span: Sequence[int]) -> list[int]:
    return [index for index in span if index < len(row) and row[index] is not None]


def _all_text(row: Row, filled: Sequence[int]) -> bool:
    return all(isinstance(row[i], str) and not _is_figure(row[i]) for i in filled)


def _is_header(grid: Grid, at: int) -> bool:
    """Tell whether a row may name the columns of figures below it."""
    row = grid.rows[at]
    filled = _filled(row, range(len(row)))
    if len(filled) < 2 or not isinstance(row[filled[0]], str) or _is_figure(row[filled[0]]):
        return False
    known = sum(is_header_word(str(row[i])) for i in filled)
    if not _all_text(row, filled) and not _names_by_number(row, filled):
        return False
    below = next((r for r in grid.rows[at + 1 : at + 5] if any(_is_figure(c) for c in r)), None)
    if below is None:
        return known >= 2 and at + 1 < len(grid.rows)
    if len(filled) == 2 or sum(cell is not None for cell in below) < 3:
        # two columns are labels with their values, unless the names of columns stand above them
        return known >= 2
    return known >= 1 or len(filled) >= 4


def _names_by_number(row: Row, filled: Sequence[int]) -> bool:
    """Tell whether texts are followed by numbers or dates that rise: jars `1 2 3`, days."""
    figures = [i for i in filled if not isinstance(row[i], str) or _is_figure(row[i])]
    values = [row[i] for i in figures]
    texts = [str(row[i]) for i in filled if i not in figures and figures and i > figures[0]]
    told = (TOTALS.search(text) or "note" in meanings(text) for text in texts)
    if len(values) < 2 or not all(told):
        return False
    numbers = [number for value in values if (number := _plain_number(value)) is not None]
    if len(numbers) == len(values):
        # jars or days: 1 2, or 0 3 7; masses and volumes beside each other are none
        close = len(numbers) > 2 or numbers[1] - numbers[0] == 1.0
        whole = all(number.is_integer() for number in numbers)
        return whole and close and all(a < b for a, b in pairwise(numbers))
    kinds = {type(v) for v in values}
    return len(kinds) == 1 and len({str(v) for v in values}) == len(values)


def _plain_number(value: Cell) -> float | None:
    if isinstance(value, int | float):
        return float(value)
    text = str(value).strip().replace(",", ".")
    return float(text) if re.fullmatch(r"-?\d+(?:\.\d+)?", text) else None


# ---------------------------------------------------------------- one table


def _tables_at(grid: Grid, at: int) -> Iterator[FoundTable]:
    """Return the tables whose header begins in a row, split where a column is empty throughout."""
    upper, units, first = _header_rows(grid, at)
    header = first - 1 if units is None else first - 2
    width = len(grid.rows[header])
    named = [
        grid.rows[header][i] is not None or (upper is not None and grid.rows[at][i] is not None)
        for i in range(width)
    ]
    reach = grid.rows[first : first + 8]
    used = [named[i] or any(row[i] is not None for row in reach) for i in range(width)]
    span: list[int] = []
    for index in range(width + 1):
        if index < width and used[index]:
            span.append(index)
            continue
        if span and any(named[i] for i in span):
            table = _table(grid, at if upper is not None else header, header, units, first, span)
            if table is not None:
                yield table
        span = []


def _header_rows(grid: Grid, at: int) -> tuple[int | None, int | None, int]:
    """Return the row of a group header, that of the units, and the first row below them."""
    rows, upper, header = grid.rows, None, at
    filled = _filled(rows[at], range(len(rows[at])))
    if at + 1 < len(rows):
        below = _filled(rows[at + 1], range(len(rows[at + 1])))
        texts = len(below) >= 2 and _all_text(rows[at + 1], below)
        figures_follow = at + 2 < len(rows) and any(map(_is_figure, rows[at + 2]))
        is_units = texts and 2 * sum(unit_words(str(rows[at + 1][i])) for i in below) >= len(below)
        alone = len(set(below) - set(filled))
        # units stand below names; where they stand below none, the names are of several columns
        grouped = alone > 0 and (not is_units or 3 * alone > len(below))
        if texts and figures_follow and grouped:
            upper, header = at, at + 1
    units = header + 1 if header + 1 < len(rows) and _is_units(rows[header + 1]) else None
    return upper, units, (header if units is None else units) + 1


def _is_units(row: Row) -> bool:
    filled = _filled(row, range(len(row)))
    units = sum(isinstance(row[i], str) and unit_words(str(row[i])) for i in filled)
    return bool(filled) and 2 * units >= len(filled) and _all_text(row, filled)


def _table(
    grid: Grid, top: int, header: int, units: int | None, first: int, span: Sequence[int]
) -> FoundTable | None:
    above = _over_all(grid, top, span) if top != header else ""
    columns = _columns(grid, header if above else top, header, units, span)
    kinds = _kinds(grid, first, span)
    rows: list[int] = []
    left_out: list[tuple[int, str]] = []
    for number in range(first, len(grid.rows)):
        row = grid.rows[number]
        filled = _filled(row, span)
        if not filled:
            continue
        if number > first and _is_header(grid, number) and _another_header(row, span, kinds):
            break
        total = any(isinstance(row[i], str) and TOTALS.fullmatch(str(row[i])) for i in filled)
        if not total and _belongs(row, span, kinds):
            rows.append(number)
        elif rows or total:
            said = next((str(row[i]) for i in filled if isinstance(row[i], str)), "figures")
            left_out.append((number + 1, said[:60]))
    if not rows:
        return None
    columns = tuple(
        c for c in columns if c.header or any(grid.rows[row][c.index] is not None for row in rows)
    )
    left_out = [one for one in left_out if one[0] <= rows[-1] + 1 or TOTALS.fullmatch(one[1])]
    return FoundTable(grid, header + 1, columns, tuple(rows), top + 1, above, tuple(left_out))


def _over_all(grid: Grid, top: int, span: Sequence[int]) -> str:
    """Return the only text in a line over the columns of a table, where it begins with it."""
    filled = _filled(grid.rows[top], span)
    return _as_text(grid.rows[top][filled[0]]) if filled == [span[0]] and len(span) > 1 else ""


def _columns(
    grid: Grid, top: int, header: int, units: int | None, span: Sequence[int]
) -> tuple[FoundColumn, ...]:
    columns: list[FoundColumn] = []
    group = ""
    for index in span:
        own = grid.rows[header][index]
        text = "" if own is None else _as_text(own)
        if top != header:
            above = grid.rows[top][index]
            group = _as_text(above) if above is not None else group
            text = f"{group} {text}".strip()
        below = grid.rows[units][index] if units is not None else None
        unit = "" if below is None else str(below).strip("()[] ")
        if unit and not unit_words(unit):
            text, unit = f"{text} {unit}".strip(), ""
        nth = 1 + sum(column.header == text for column in columns)
        columns.append(FoundColumn(index, text, unit, nth))
    return tuple(columns)


def _as_text(cell: Cell) -> str:
    if isinstance(cell, float) and cell.is_integer():
        return str(int(cell))
    if isinstance(cell, datetime):
        return cell.isoformat(" ", "minutes") if cell.time() != time() else cell.date().isoformat()
    return cell.isoformat() if isinstance(cell, date | time) else str(cell)


def _kinds(grid: Grid, first: int, span: Sequence[int]) -> dict[int, bool]:
    """Return for each column whether it holds figures, from its first rows."""
    kinds = {}
    for index in span:
        cells = [row[index] for row in grid.rows[first : first + 12] if row[index] is not None]
        cells = [cell for cell in cells if not is_missing(cell)][:8]
        kinds[index] = bool(cells) and 2 * sum(map(_is_figure, cells)) > len(cells)
    return kinds


def _belongs(row: Row, span: Sequence[int], kinds: dict[int, bool]) -> bool:
    """Tell whether a row has figures where the table has them, and no sentence in their place."""
    filled = [i for i in _filled(row, span) if not is_missing(row[i])]
    if not any(kinds.values()):
        return len(filled) >= 2
    fits = sum(kinds[i] and _is_figure(row[i]) for i in filled)
    unplaced = sum(kinds[i] and not _is_figure(row[i]) for i in filled)
    # a row that has its names but not its figures yet is a row all the same
    first = next(iter(span))
    if fits == 0:
        return unplaced == 0 and len(filled) >= 2 and row[first] is not None
    return fits > unplaced and (not kinds[first] or row[first] is None or _is_figure(row[first]))


def _another_header(row: Row, span: Sequence[int], kinds: dict[int, bool]) -> bool:
    filled = _filled(row, span)
    return any(kinds[i] and not is_missing(row[i]) and not _is_figure(row[i]) for i in filled)
