"""Workbooks and folders of CSV files as plain tables of cells; nothing is interpreted here."""

from __future__ import annotations

import csv
import io
import re
import zipfile
from collections.abc import Container, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from bmp.problem import Problem, UnusableInput, shown
from bmp.read.workbook import Cell, read_sheets, why_no_workbook

__all__ = [
    "Cell",
    "CellTable",
    "csv_files",
    "csv_lines",
    "items",
    "missing_tables",
    "most_rows_of",
    "read_csv",
    "read_lines",
    "read_tables",
]

# More than any jar trial holds; keeps a hostile file from filling the memory.
LARGEST_FILE_BYTES = 60_000_000
WORKBOOKS = (".xlsx", ".xlsm")
"""Endings of workbooks that can be read; macros are left alone."""
MOST_COLUMNS = 2_000
LONGEST_CELL = 10_000
MOST_ROWS: Mapping[str, int] = {"materials": 2_000, "jars": 5_000, "readings": 1_000_000}
MOST_ROWS_ELSEWHERE = 2_000


@dataclass(frozen=True, eq=False)
class CellTable:
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


def read_tables(
    place: Path, wanted: tuple[str, ...], problems: list[Problem] | None = None
) -> dict[str, CellTable]:
    """Read the tables named in `wanted` from a workbook or a folder; others are left alone.

    Parameters
    ----------
    problems : list, optional
        Takes what is wrong with single tables; those that cannot be read at all are left out.

    Raises
    ------
    UnusableInput
        Where the place is neither a folder nor a workbook. Without `problems` also where a table
        cannot be read, with all that is wrong.
    """
    told: list[Problem] = [] if problems is None else problems
    if place.is_dir():
        read = _read_folder(place, wanted, told)
    elif place.suffix.lower() in WORKBOOKS and place.is_file():
        read = _read_workbook(place, wanted, told)
    elif not place.exists():
        raise _unusable(str(place), "there is no such file or folder", _layout_words(wanted))
    else:
        other = why_no_workbook(place) if place.is_file() else None
        if other is None and place.is_file() and zipfile.is_zipfile(place):
            other = (
                "this may be an .xlsx workbook under another ending",
                f"rename it to {shown(place.stem + '.xlsx')}",
            )
        what = "this is neither a folder nor an .xlsx file"
        raise _unusable(place.name, *(other or (what, _layout_words(wanted))))
    if problems is None and told:
        raise UnusableInput(told)
    return read


def _layout_words(wanted: tuple[str, ...]) -> str:
    return (
        f"give a workbook with the sheets {', '.join(wanted[:4])}, or a folder of such .csv files"
    )


def _unusable(table: str, what: str, wanted: str) -> UnusableInput:
    return UnusableInput([Problem(table, what, wanted)])


def csv_files(place: Path) -> dict[str, Path]:
    """Return the .csv files of a folder by the name of the table that each holds."""
    return {path.stem.strip().lower(): path for path in _csv_paths(place)}


def _csv_paths(place: Path) -> list[Path]:
    # a pipe or a device of that name would never end
    return sorted(path for path in place.glob("*.[cC][sS][vV]") if path.is_file())


def missing_tables(
    place: Path,
    wanted: Iterable[str],
    found: Container[str],
    as_what: str = "a sheet or a .csv file",
) -> list[Problem]:
    """Return a problem for each wanted table that was not found."""
    return [
        Problem(place.name, f"there is no table “{name}”", f"add it as {as_what}")
        for name in wanted
        if name not in found
    ]


def _read_folder(
    place: Path, wanted: tuple[str, ...], problems: list[Problem]
) -> dict[str, CellTable]:
    found = csv_files(place)
    if not found:
        raise _unusable(place.name, "the folder holds no .csv file", _layout_words(wanted))
    read = {}
    for name in wanted:
        same = [shown(p.name) for p in _csv_paths(place) if p.stem.strip().lower() == name]
        if len(same) > 1:
            what = f"{len(same)} files are called {name}: {' and '.join(same)}"
            problems.append(Problem(place.name, what, "rename or remove all but one"))
        if name in found:
            try:
                read[name] = read_csv(found[name], problems, most_rows_of(name))
            except UnusableInput as unusable:
                problems.extend(unusable.problems)
    return read


def _read_workbook(
    path: Path, wanted: tuple[str, ...], problems: list[Problem]
) -> dict[str, CellTable]:
    sheets, names = read_sheets(path, wanted, problems)
    if names and not sheets:
        found = ", ".join(shown(name) for name in names[:8])
        what = f"no sheet has a known name; there is {found}"
        own = f"if it is a sheet of your own making, type  bmp start “{path.name}”"
        problems.append(Problem(path.name, what, f"{_layout_words(wanted)}; {own}"))
    read = {}
    for name, rows in sheets.items():
        try:
            read[name] = _table(f"sheet {name}", most_rows_of(name), _filled(rows), problems)
        except UnusableInput as unusable:
            problems.extend(unusable.problems)
    return read


def most_rows_of(table: str) -> int:
    """Return how many rows a table of one trial may have."""
    return MOST_ROWS.get(table, MOST_ROWS_ELSEWHERE)


def _filled(rows: Sequence[Sequence[Cell]]) -> list[tuple[int, list[Cell]]]:
    tidy = ([_tidy(cell) for cell in cells] for cells in rows)
    return [
        (number, cells) for number, cells in enumerate(tidy, 1) if cells.count(None) < len(cells)
    ]


def _tidy(cell: Cell) -> Cell:
    return cell.strip() or None if isinstance(cell, str) else cell


def read_csv(
    path: Path,
    problems: list[Problem],
    most_rows: int,
    most_bytes: int = LARGEST_FILE_BYTES,
) -> CellTable:
    """Read one CSV file, in any of the dialects that people write; what cannot be is told.

    Raises
    ------
    UnusableInput
        It is no CSV text, is empty, or holds more than `most_rows` filled rows or `most_bytes`.
    """
    try:
        with path.open("rb") as file:
            raw = file.read(most_bytes + 1)
    except OSError as error:
        what = f"the file cannot be opened ({error.strerror})"
        wanted = "close it in other programs, and see that you may read it"
        raise _unusable(path.name, what, wanted) from None
    if raw.startswith((b"PK\x03\x04", b"\xd0\xcf\x11\xe0")):
        what = "this is a workbook under the name of a .csv file"
        raise _unusable(path.name, what, "save the sheet as CSV, or give the workbook itself")
    if len(raw) > most_bytes:
        what = f"the file is over {most_bytes // 10**6} MB"
        raise _unusable(path.name, what, "one trial needs far less")
    text = _decode(raw)
    first_line = next((line for line in text.split("\n")[:10] if re.search("[;,\t]", line)), "")
    semicolons = _outside_quotes(first_line, ";") > _outside_quotes(first_line, ",")
    separator = ";" if semicolons else ("\t" if "\t" in first_line else ",")
    lines = _lines(text, separator, path.name, most_rows)
    return _table(
        path.name, most_rows, lines, problems, semicolons and not _points_are_decimal(lines)
    )


def read_lines(
    raw: bytes, name: str, header: Sequence[str], first_row: int, problems: list[Problem]
) -> CellTable:
    """Return some lines of a CSV file with commas as a table of their own.

    Parameters
    ----------
    raw
        Whole lines, without the header.
    header
        That of the file.
    first_row
        Row of the first line.
    problems
        Takes what cannot be.

    Raises
    ------
    UnusableInput
        They are no CSV text.
    """
    most = len(raw)
    lines = _lines(_decode(raw), ",", name, most, first_row)
    return _table(name, most, [(1, list(header)), *lines], problems)


def csv_lines(path: Path, most_rows: int) -> tuple[list[tuple[int, list[Cell]]], bool]:
    """Return the filled lines of any CSV file with their rows, and whether commas are decimal.

    Title lines may stand above the table: the separator is what most of the first lines hold.

    Raises
    ------
    UnusableInput
        It is no CSV text or holds too much.
    """
    with path.open("rb") as file:
        raw = file.read(LARGEST_FILE_BYTES + 1)
    if len(raw) > LARGEST_FILE_BYTES:
        what = f"the file is over {LARGEST_FILE_BYTES // 10**6} MB"
        raise _unusable(path.name, what, "one trial needs far less")
    text = _decode(raw)
    begin = text.split("\n")[:40]
    counts = {one: sum(_outside_quotes(line, one) for line in begin) for one in ";\t,"}
    separator = max(counts, key=lambda one: counts[one])
    lines = _lines(text, separator, path.name, most_rows)
    return lines, separator == ";" and not _points_are_decimal(lines)


_CLEAR_POINT = re.compile(r"[+-]?(\d*\.(\d{1,2}|\d{4,})|0?\.\d+|\d{4,}\.\d+)")
_ANY_COMMA = re.compile(r"[+-]?[\d.]*,\d+")


def _points_are_decimal(lines: list[tuple[int, list[Cell]]]) -> bool:
    """Whether the numbers of a file show by themselves that a point is its decimal mark."""
    texts = [cell for _, cells in lines[1:] for cell in cells if isinstance(cell, str)]
    return any(map(_CLEAR_POINT.fullmatch, texts)) and not any(map(_ANY_COMMA.fullmatch, texts))


def _lines(
    text: str, separator: str, name: str, most: int, first_row: int = 1
) -> list[tuple[int, list[Cell]]]:
    """Return the lines that hold anything, each with its row."""
    try:
        reader = csv.reader(io.StringIO(text, newline=""), delimiter=separator)
        return list(_numbered_lines(reader, name, most, first_row))
    except csv.Error as error:
        raise _unusable(name, f"this is no CSV text ({error})", "save it as CSV UTF-8") from None


def _numbered_lines(
    reader: Iterator[list[str]], name: str, most: int, first_row: int
) -> Iterator[tuple[int, list[Cell]]]:
    filled = 0
    for number, cells in enumerate(reader, start=first_row):
        if any(cells):
            filled += 1
            if filled > most + 1:
                raise _unusable(name, f"more than {most:,} rows", "one trial needs far fewer")
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


def _table(
    name: str,
    most: int,
    lines: list[tuple[int, list[Cell]]],
    problems: list[Problem],
    semicolons: bool = False,
) -> CellTable:
    if not lines:
        raise _unusable(name, "the table is empty", "give it a header row")
    if len(lines) > most + 1:
        raise _unusable(name, f"more than {most:,} rows", "one trial needs far fewer")
    lines = _below_titles(lines)
    header = tuple("" if cell is None else str(cell) for cell in lines[0][1])
    header = header[: max((place for place, text in enumerate(header, 1) if text), default=0)]
    if len(header) > MOST_COLUMNS or any(len(text) > LONGEST_CELL for text in header):
        raise _unusable(
            name, "the header is longer than any trial's", f"at most {MOST_COLUMNS} columns"
        )
    width = len(header)
    for number, cells in lines[1:]:
        beyond = next((cell for cell in cells[width:] if cell is not None), None)
        if beyond is not None:
            what = f"{shown(beyond)} stands in a column without a header"
            problems.append(Problem(name, what, "give the column a name, such as note", number))
    rows = tuple(tuple((cells + [None] * width)[:width]) for _, cells in lines[1:])
    return CellTable(name, header, rows, tuple(number for number, _ in lines[1:]), semicolons)


MOST_TITLES = 6


def _below_titles(lines: list[tuple[int, list[Cell]]]) -> list[tuple[int, list[Cell]]]:
    """Return lines without the titles above the header: single cells above a row of names."""
    for place in range(min(MOST_TITLES + 1, len(lines))):
        filled = [cell for cell in lines[place][1] if cell is not None]
        if len(filled) > 2 and all(isinstance(cell, str) for cell in filled):
            return lines[place:]
        if len(filled) > 1:
            break
    return lines


def items(table: CellTable) -> Mapping[str, tuple[str, Cell, int]]:
    """Return an `item`, `value` table as lower-case item -> (as written, value, row)."""
    return {
        str(row[0]).strip().lower(): (str(row[0]).strip(), row[1] if len(row) > 1 else None, number)
        for row, number in zip(table.rows, table.row_numbers, strict=True)
        if row and row[0] is not None
    }
