"""Workbooks and folders of CSV files as plain tables of cells; nothing is interpreted here."""

from __future__ import annotations

import csv
import io
import re
import zipfile
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from pathlib import Path
from typing import TypeAlias

from bmp.problem import Problem, UnusableInput, shown

Cell: TypeAlias = str | float | int | bool | datetime | date | time | timedelta | None

# More than any jar trial holds; keeps a hostile file from filling the memory.
LARGEST_FILE_BYTES = 200_000_000
LARGEST_UNPACKED_BYTES = 400_000_000
MOST_COLUMNS = 2_000
MOST_ROWS = 1_000_000
LONGEST_CELL = 10_000


@dataclass(frozen=True, eq=False)
class Table:
    """One sheet or file: a header and the rows below it that hold anything at all."""

    name: str
    """As messages call it: `sheet readings` or `readings.csv`."""
    header: tuple[str, ...]
    rows: tuple[tuple[Cell, ...], ...]
    row_numbers: tuple[int, ...]
    """Row of the sheet or file, the header's being 1."""
    semicolons: bool = False
    """The file separates cells by semicolons and does not show points to be its decimal mark, so
    a comma in a number is a decimal comma."""


def read_tables(place: Path, wanted: tuple[str, ...]) -> dict[str, Table]:
    """Read the tables named in `wanted` from a workbook or a folder; others are left alone.

    Raises
    ------
    UnusableInput
        Where the place is neither, cannot be opened, or holds more than any trial would.
    """
    if place.is_dir():
        found = {path.stem.strip().lower(): path for path in sorted(place.glob("*.[cC][sS][vV]"))}
        if not found:
            raise _unusable(place.name, "the folder holds no .csv file", _layout_words(wanted))
        return {name: _read_csv(found[name]) for name in wanted if name in found}
    if place.suffix.lower() == ".xlsx" and place.is_file():
        return _read_workbook(place, wanted)
    if not place.exists():
        raise _unusable(str(place), "there is no such file or folder", _layout_words(wanted))
    raise _unusable(place.name, "this is neither a folder nor an .xlsx file", _layout_words(wanted))


def _layout_words(wanted: tuple[str, ...]) -> str:
    return (
        f"give a workbook with the sheets {', '.join(wanted[:4])}, or a folder of such .csv files"
    )


def _unusable(table: str, what: str, wanted: str) -> UnusableInput:
    return UnusableInput([Problem(table, what, wanted)])


def _read_csv(path: Path) -> Table:
    if path.stat().st_size > LARGEST_FILE_BYTES:
        raise _unusable(path.name, "the file is over 200 MB", "one trial needs far less")
    text = _decode(path.read_bytes())
    first_line = text.partition("\n")[0]
    semicolons = _outside_quotes(first_line, ";") > _outside_quotes(first_line, ",")
    separator = ";" if semicolons else ("\t" if "\t" in first_line else ",")
    try:
        reader = csv.reader(io.StringIO(text, newline=""), delimiter=separator)
        lines = list(_numbered_lines(reader, path.name))
    except csv.Error as error:
        raise _unusable(
            path.name, f"this is no CSV text ({error})", "save it as CSV UTF-8"
        ) from None
    return _table(path.name, lines, semicolons and not _points_are_decimal(lines))


_CLEAR_POINT = re.compile(r"[+-]?(\d*\.(\d{1,2}|\d{4,})|0?\.\d+|\d{4,}\.\d+)")
_ANY_COMMA = re.compile(r"[+-]?[\d.]*,\d+")


def _points_are_decimal(lines: list[tuple[int, list[Cell]]]) -> bool:
    """Whether the numbers of a file show by themselves that a point is its decimal mark."""
    texts = [cell for _, cells in lines[1:] for cell in cells if isinstance(cell, str)]
    return any(map(_CLEAR_POINT.fullmatch, texts)) and not any(map(_ANY_COMMA.fullmatch, texts))


def _numbered_lines(reader: Iterator[list[str]], name: str) -> Iterator[tuple[int, list[Cell]]]:
    for number, cells in enumerate(reader, start=1):
        if number > MOST_ROWS + 1:
            raise _unusable(name, f"more than {MOST_ROWS:,} rows", "one trial needs far fewer")
        if any(cells):
            yield number, [text.strip() or None for text in cells]


def _decode(raw: bytes) -> str:
    """UTF-8 with or without a mark, else the Windows code page of western Europe."""
    if raw.startswith((b"\xff\xfe", b"\xfe\xff")):
        return raw.decode("utf-16", errors="replace")
    try:
        return raw.decode("utf-8-sig")
    except UnicodeDecodeError:
        return raw.decode("cp1252", errors="replace")


def _outside_quotes(line: str, letter: str) -> int:
    return re.sub(r'"[^"]*"', "", line[:100_000]).count(letter)


def _read_workbook(path: Path, wanted: tuple[str, ...]) -> dict[str, Table]:
    _refuse_hostile_workbook(path)
    import python_calamine

    try:
        with python_calamine.load_workbook(str(path)) as book:
            names = {name.strip().lower(): name for name in book.sheet_names}
            cells = {
                name: book.get_sheet_by_name(names[name]).to_python(skip_empty_area=False)
                for name in wanted
                if name in names
            }
    # the reader is compiled code: whatever it raises means that the file is damaged
    except BaseException as error:
        if isinstance(error, KeyboardInterrupt | SystemExit | MemoryError):
            raise
        raise _unusable(path.name, "the workbook is damaged", "save it anew as .xlsx") from None
    if not cells:
        raise _unusable(path.name, "no sheet has a known name", _layout_words(wanted))
    return {name: _table(f"sheet {name}", _filled(rows)) for name, rows in cells.items()}


def _filled(rows: Sequence[Sequence[Cell]]) -> list[tuple[int, list[Cell]]]:
    tidy = ([_tidy(cell) for cell in cells] for cells in rows)
    return [
        (number, cells) for number, cells in enumerate(tidy, 1) if cells.count(None) < len(cells)
    ]


def _tidy(cell: Cell) -> Cell:
    return cell.strip() or None if isinstance(cell, str) else cell


def _refuse_hostile_workbook(path: Path) -> None:
    """Refuse what is no workbook, unfolds to gigabytes, or holds formulas never calculated."""
    try:
        with zipfile.ZipFile(path) as archive:
            sizes = [part.file_size for part in archive.infolist()]
            if sum(sizes) > LARGEST_UNPACKED_BYTES or len(sizes) > 10_000:
                raise _unusable(
                    path.name, "the workbook unfolds to over 400 MB", "one trial needs far less"
                )
            problems = [
                Problem(
                    path.name,
                    f"the formula in {cell} has no calculated value",
                    "open and save the workbook in a spreadsheet program, or type the value",
                )
                for part in archive.namelist()
                if re.fullmatch(r"xl/worksheets/sheet\d+\.xml", part)
                for cell in _formulas_without_value(archive.read(part))
            ]
    except (zipfile.BadZipFile, OSError, RuntimeError, NotImplementedError, EOFError, ValueError):
        raise _unusable(path.name, "this is no .xlsx workbook", "save it anew as .xlsx") from None
    if problems:
        raise UnusableInput(problems)


_FORMULA_ONLY = re.compile(
    rb'<c r="([A-Z]{1,3}\d{1,7})"[^>]{0,200}>\s*'
    rb"<f[^>]{0,200}(?:/>|>[^<]{0,8000}</f>)\s*(?:<v\s*/>|<v></v>)?\s*</c>"
)


def _formulas_without_value(xml: bytes) -> list[str]:
    return [cell.decode() for cell in _FORMULA_ONLY.findall(xml)]


def _table(name: str, lines: list[tuple[int, list[Cell]]], semicolons: bool = False) -> Table:
    if not lines:
        raise _unusable(name, "the table is empty", "give it a header row")
    header_cells = lines[0][1]
    header = tuple("" if cell is None else str(cell) for cell in header_cells)
    while header and not header[-1]:
        header = header[:-1]
    if len(header) > MOST_COLUMNS or any(len(text) > LONGEST_CELL for text in header):
        raise _unusable(
            name, "the header is longer than any trial's", f"at most {MOST_COLUMNS} columns"
        )
    width = len(header)
    problems = [
        Problem(
            name,
            f"{shown(next(cell for cell in cells[width:] if cell is not None))} stands in a "
            "column without a header",
            "give the column a name or clear the cell",
            number,
        )
        for number, cells in lines[1:]
        if any(cell is not None for cell in cells[width:])
    ]
    if problems:
        raise UnusableInput(problems)
    rows = tuple(tuple((cells + [None] * width)[:width]) for _, cells in lines[1:])
    return Table(name, header, rows, tuple(number for number, _ in lines[1:]), semicolons)


def items(table: Table) -> Mapping[str, tuple[str, Cell, int]]:
    """Return an `item`, `value` table as lower-case item -> (as written, value, row)."""
    return {
        str(row[0]).strip().lower(): (str(row[0]).strip(), row[1] if len(row) > 1 else None, number)
        for row, number in zip(table.rows, table.row_numbers, strict=True)
        if row and row[0] is not None
    }
