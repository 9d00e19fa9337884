"""Two versions of the readings put together: what other hands changed, and what was typed here.

Both are compared with what they began from. What only one side changed is taken; where both changed
one cell, the page's own stays, since it was acknowledged.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TypeVar

from bmp.page.readings_table import Cells, ReadingsTable, from_text, to_csv

Name = TypeVar("Name")


def as_written(sheet: ReadingsTable, shelf: Sequence[str]) -> ReadingsTable:
    """Return a sheet as it is found again once it was written to the file."""
    return from_text(to_csv(sheet, shelf), shelf)


def merged(
    base: ReadingsTable, ours: ReadingsTable, theirs: ReadingsTable, shelf: Sequence[str]
) -> ReadingsTable:
    """Return our sheet with what others changed since the base."""
    base, mine = as_written(base, shelf), as_written(ours, shelf)
    columns = [*theirs.columns, *(h for h in mine.columns[2:] if h not in theirs.columns)]
    rounds = _each(base.rounds, mine.rounds, theirs.rounds)
    # what was typed for all jars before the first of them was read is in no file yet
    read = {time.strip() for _, time in mine.rows}
    rounds |= {time: cells for time, cells in ours.rounds.items() if time.strip() not in read}
    return ReadingsTable(
        columns=tuple(columns),
        rows=_each(base.rows, mine.rows, theirs.rows),
        rounds=rounds,
        planned=mine.planned if theirs.planned == base.planned else theirs.planned,
        versions=ours.versions,
    )


def same(one: ReadingsTable, other: ReadingsTable, shelf: Sequence[str]) -> bool:
    """Tell whether two sheets hold the same readings."""
    return one.rounds == other.rounds and to_csv(one, shelf) == to_csv(other, shelf)


def _each(
    base: Mapping[Name, Cells], ours: Mapping[Name, Cells], theirs: Mapping[Name, Cells]
) -> dict[Name, Cells]:
    out: dict[Name, Cells] = {}
    for name in dict.fromkeys([*ours, *theirs]):
        cells = _one(base.get(name), ours.get(name), theirs.get(name))
        if cells is not None:
            out[name] = cells
    return out


def _one(base: Cells | None, ours: Cells | None, theirs: Cells | None) -> Cells | None:
    if theirs in (base, ours):
        return ours
    if ours == base:
        return theirs
    # taken away on one side and changed on the other: the change stays
    if ours is None or theirs is None:
        return ours if theirs is None else theirs
    was = base or {}
    cells = {}
    for header in dict.fromkeys([*ours, *theirs]):
        mine, other = ours.get(header, ""), theirs.get(header, "")
        cell = other if mine == was.get(header, "") else mine
        if cell:
            cells[header] = cell
    return cells
