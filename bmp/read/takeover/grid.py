"""Any workbook or CSV as plain grids of cells, before anybody knows what stands in them."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path

from bmp.problem import Problem, UnusableInput
from bmp.read.tables import Cell, csv_lines
from bmp.read.workbook import read_sheets

MOST_ROWS, MOST_COLUMNS = 20_000, 400


@dataclass(frozen=True)
class Grid:
    """The cells of one sheet or file, from its first row and column on."""

    title: str
    """Name of the sheet, or of the file without its ending."""
    name: str
    """As messages call it: `sheet Week 1` or `gas.csv`."""
    rows: tuple[tuple[Cell, ...], ...]
    semicolons: bool = False
    """A comma in a number is a decimal comma: its file separates cells by semicolons, or its
    figures are texts of which some can be read in no other way."""


def read_grids(place: Path) -> tuple[Grid, ...]:
    """Return every sheet of a workbook, a CSV file, or all CSV files of a folder.

    Raises
    ------
    UnusableInput
        The place is none of these, or cannot be read.
    """
    if place.is_dir():
        paths = sorted(p for p in place.glob("*.[cC][sS][vV]") if p.is_file())
        grids = tuple(grid for path in paths for grid in _csv_grid(path))
    elif place.suffix.lower() in (".csv", ".txt", ".tsv") and place.is_file():
        grids = _csv_grid(place)
    else:
        grids = _workbook_grids(place)
    if not grids:
        raise UnusableInput([Problem(place.name, "there is no sheet in it", _WANTED)])
    return grids


_WANTED = "give a workbook (.xlsx), a .csv file, or a folder of .csv files"


def _csv_grid(path: Path) -> tuple[Grid, ...]:
    lines, semicolons = csv_lines(path, MOST_ROWS)
    rows: list[Sequence[Cell]] = []
    for number, cells in lines:
        rows += [()] * (number - len(rows) - 1)
        rows.append(cells)
    return (Grid(path.stem, path.name, _square(rows), semicolons),) if rows else ()


def _workbook_grids(place: Path) -> tuple[Grid, ...]:
    if not place.exists():
        raise UnusableInput([Problem(str(place), "there is no such file or folder", _WANTED)])
    problems: list[Problem] = []
    _, names = read_sheets(place, ("\0",), problems)
    if not problems and names:
        sheets, _ = read_sheets(place, [name.strip().lower() for name in names], problems)
    if problems and not names:
        raise UnusableInput(problems)
    titles = {name.strip().lower(): name.strip() for name in names}
    empty = _formulas_without_value(problems)
    commas = _decimal_commas(sheets.values())
    return tuple(
        Grid(
            titles[name],
            f"sheet {titles[name]}",
            _square(_marked(rows, empty.get(f"sheet {name}", set()))),
            commas,
        )
        for name, rows in sheets.items()
    )


def _decimal_commas(sheets: Iterable[Sequence[Sequence[Cell]]]) -> bool:
    """Tell whether figures that stand as text have a decimal comma, all over a workbook."""
    texts = [c.strip() for rows in sheets for row in rows for c in row if isinstance(c, str)]
    commas = [text for text in texts if re.fullmatch(r"[-+\u2212]?\d+,\d{1,2}", text)]
    points = [text for text in texts if re.fullmatch(r"[-+\u2212]?\d+\.\d+", text)]
    return len(commas) > len(points)


NO_VALUE = "formula without a value"
_PLACE = re.compile(r"“([A-Z]{1,3})(\d{1,7})”")


def _formulas_without_value(problems: Sequence[Problem]) -> dict[str, set[tuple[int, int]]]:
    """Return the cells (row, column from 0) that hold a formula nobody has calculated, by table."""
    found: dict[str, set[tuple[int, int]]] = {}
    for problem in problems:
        match = _PLACE.search(problem.what) if "no calculated value" in problem.what else None
        if match is not None:
            column = 0
            for letter in match[1]:
                column = 26 * column + ord(letter) - 64
            found.setdefault(problem.table.lower(), set()).add((int(match[2]) - 1, column - 1))
    return found


def _marked(
    rows: Sequence[Sequence[Cell]], empty: set[tuple[int, int]]
) -> Sequence[Sequence[Cell]]:
    """Return rows with a text where a formula has no value: where it matters, it is asked about."""
    if not empty:
        return rows
    return [
        [NO_VALUE if (r, c) in empty else cell for c, cell in enumerate(row)]
        for r, row in enumerate(rows)
    ]


def _square(rows: Sequence[Sequence[Cell]]) -> tuple[tuple[Cell, ...], ...]:
    """Return rows of one length, empty text as no cell, without what is empty at the end."""
    tidy = [[_tidy(cell) for cell in row[:MOST_COLUMNS]] for row in rows[:MOST_ROWS]]
    while tidy and not any(cell is not None for cell in tidy[-1]):
        tidy.pop()
    width = max(
        (i + 1 for row in tidy for i, cell in enumerate(row) if cell is not None), default=0
    )
    return tuple(tuple((row + [None] * width)[:width]) for row in tidy)


def _tidy(cell: Cell) -> Cell:
    return " ".join(cell.split()) or None if isinstance(cell, str) else cell
