"""A table with every problem shown at its cell."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path

from bmp.problem import Problem, UnusableInput
from bmp.read.cells import words
from bmp.read.tables import CellTable, read_tables

ALL_TABLES = ("trial", "materials", "jars", "readings", "crucibles", "tank", "tank feeds")
MOST_ROWS = 60
"""Rows with a problem that are shown of one table."""


@dataclass(frozen=True)
class Cell:
    """One cell and what is wrong with it."""

    text: str
    problems: tuple[Problem, ...] = ()


@dataclass(frozen=True)
class Row:
    """One row and what is wrong with the whole of it."""

    number: int
    cells: tuple[Cell, ...]
    problems: tuple[Problem, ...] = ()


@dataclass(frozen=True)
class MarkedTable:
    """The rows of one table that have problems, under its header."""

    name: str
    header: tuple[Cell, ...]
    rows: tuple[Row, ...]
    problems: tuple[Problem, ...]
    """Of the whole table."""
    more: int
    """Rows with problems that are not shown."""


def marked(place: Path, problems: Sequence[Problem]) -> list[MarkedTable]:
    """Return every table that has a problem, and under its own name what belongs to none."""
    tables = _tables(place)
    names = dict.fromkeys(problem.table for problem in problems)
    return [
        _marked(name, tables.get(name), [p for p in problems if p.table == name]) for name in names
    ]


def _tables(place: Path) -> dict[str, CellTable]:
    try:
        found = read_tables(place, ALL_TABLES)
    except UnusableInput:
        return {}
    return {table.name: table for table in found.values()}


def _marked(name: str, table: CellTable | None, problems: Iterable[Problem]) -> MarkedTable:
    problems = list(problems)
    if table is None:
        return MarkedTable(name, (), (), tuple(problems), 0)
    placed = [p for p in problems if p.row is not None]
    heads = tuple(
        Cell(text, tuple(p for p in placed if p.row == 1 and p.column == text))
        for text in table.header
    )
    rows = [
        _row(number, cells, table.header, here)
        for number, cells in zip(table.row_numbers, table.rows, strict=True)
        if (here := [p for p in placed if p.row == number])
    ]
    shown = {id(p) for row in rows for p in _all(row)}
    shown |= {id(p) for cell in heads for p in cell.problems}
    rest = tuple(p for p in problems if id(p) not in shown)
    return MarkedTable(name, heads, tuple(rows[:MOST_ROWS]), rest, max(len(rows) - MOST_ROWS, 0))


def _row(
    number: int, cells: Sequence[object], header: Sequence[str], problems: Sequence[Problem]
) -> Row:
    at = {text.lower(): index for index, text in enumerate(header)}
    names = {text.partition("[")[0].strip().lower(): i for i, text in enumerate(header)}
    placed: dict[int, list[Problem]] = {}
    whole = []
    for problem in problems:
        column = (problem.column or "").lower()
        index = at.get(column, names.get(column))
        # the tables of items have their values in the second column
        if index is None and list(at)[:2] == ["item", "value"]:
            index = 1
        if index is None:
            whole.append(problem)
        else:
            placed.setdefault(index, []).append(problem)
    return Row(
        number,
        tuple(
            Cell(words(cell), tuple(placed.get(i, ())))  # type: ignore[arg-type]
            for i, cell in enumerate(cells)
        ),
        tuple(whole),
    )


def _all(row: Row) -> list[Problem]:
    return [*row.problems, *(p for cell in row.cells for p in cell.problems)]
