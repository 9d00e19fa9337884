"""An .xlsx workbook as rows of cells, after a look at how large it would become.

The compiled reader keeps a sheet as one block of cells, from A1 to the furthest one, and a copy of
its text in each cell. What a small file could unfold to is therefore counted before it is read,
and the reader is handed those parts only that were counted.
"""

from __future__ import annotations

import html
import io
import re
import zipfile
import zlib
from collections.abc import Iterator, Sequence
from datetime import date, datetime, time, timedelta
from pathlib import Path
from typing import TypeAlias

from bmp.problem import Problem

Cell: TypeAlias = str | float | int | bool | datetime | date | time | timedelta | None

LARGEST_UNPACKED_BYTES = 200_000_000
MOST_PARTS = 10_000
MOST_CELLS = 24_000_000
MOST_TEXT_BYTES = 200_000_000

_DAMAGED = (
    zipfile.BadZipFile, OSError, RuntimeError, NotImplementedError, EOFError, ValueError,
    zlib.error, OverflowError,
)  # fmt: skip


def read_sheets(
    path: Path, wanted: Sequence[str], problems: list[Problem]
) -> tuple[dict[str, Sequence[Sequence[Cell]]], list[str]]:
    """Return the rows of the wanted sheets by name in lower case, and the names of all sheets.

    What is wrong goes to the list; nothing is returned where the workbook cannot be read at all.
    """
    parts = _parts(path, problems)
    if parts is None:
        return {}, []
    titles = _titles(parts)
    formulas = [
        Problem(
            f"sheet {titles[name]}" if name in titles else path.name,
            f"the formula in “{cell}” has no calculated value",
            "open and save the workbook in a spreadsheet program, or type the value",
        )
        for name, xml in parts.items()
        if re.fullmatch(r"xl/worksheets/sheet\d+\.xml", name)
        and titles.get(name, wanted[0]).strip().lower() in wanted
        for cell in _formulas_without_value(xml)
    ]
    problems.extend(formulas)
    too_large = _too_large(parts)
    if too_large:
        problems.append(Problem(path.name, too_large, "one trial needs far less"))
        return {}, []
    return _sheets(path.name, _packed(parts), wanted, problems)


def _sheets(
    name: str, packed: bytes, wanted: Sequence[str], problems: list[Problem]
) -> tuple[dict[str, Sequence[Sequence[Cell]]], list[str]]:
    import python_calamine

    try:
        with python_calamine.load_workbook(io.BytesIO(packed)) as book:
            names = {title.strip().lower(): title for title in book.sheet_names}
            rows: dict[str, Sequence[Sequence[Cell]]] = {
                title: book.get_sheet_by_name(names[title]).to_python(skip_empty_area=False)
                for title in wanted
                if title in names
            }
            return rows, list(book.sheet_names)
    # the reader is compiled code: whatever it raises means that the file is damaged
    except BaseException as error:
        if isinstance(error, KeyboardInterrupt | SystemExit | MemoryError):
            raise
        problems.append(Problem(name, "the workbook is damaged", "save it anew as .xlsx"))
        return {}, []


def _parts(path: Path, problems: list[Problem]) -> dict[str, bytes] | None:
    """Return the XML parts of a workbook; `None` where it is none or unfolds to too much."""
    try:
        with zipfile.ZipFile(path) as archive:
            inside = archive.infolist()
            sizes = [part.file_size for part in inside]
            if sum(sizes) > LARGEST_UNPACKED_BYTES or len(sizes) > MOST_PARTS:
                what = f"the workbook unfolds to over {LARGEST_UNPACKED_BYTES // 10**6} MB"
                problems.append(Problem(path.name, what, "one trial needs far less"))
                return None
            return {
                part.filename: archive.read(part)
                for part in inside
                if part.filename.lower().endswith((".xml", ".rels"))
            }
    except _DAMAGED:
        problems.append(Problem(path.name, "this is no .xlsx workbook", "save it anew as .xlsx"))
        return None


def _packed(parts: dict[str, bytes]) -> bytes:
    whole = io.BytesIO()
    with zipfile.ZipFile(whole, "w", zipfile.ZIP_STORED) as archive:
        for name, content in parts.items():
            archive.writestr(zipfile.ZipInfo(name), content)
    return whole.getvalue()


_ROW = re.compile(rb"<(?:\w{1,20}:)?row[\s/>]")
_CELL = re.compile(rb"<(?:\w{1,20}:)?c[\s/>]")
_PLACE = re.compile(rb"\br\s{0,9}=\s{0,9}[\"']([A-Za-z]{0,9})([0-9]{0,12})[\"']")
_TEXT = re.compile(rb"<(?:\w{1,20}:)?si[\s/>]")
_SHARES_TEXT = re.compile(rb"\bt\s{0,9}=\s{0,9}[\"']s[\"']")
_TEXT_OF_CELL = re.compile(rb"<c[^<>]{0,200}\bt=\"s\"[^<>]{0,200}><v>(\d{1,9})</v></c>")


def _too_large(parts: dict[str, bytes]) -> str:
    """Say what of a workbook would not fit into the memory; nothing where all does."""
    lengths = max(map(_text_lengths, parts.values()), key=len, default=[])
    for xml in parts.values():
        if b"\0" in xml:
            return "a part of the workbook is no UTF-8 text"
        rows, columns, cells = _reach(xml)
        if rows * columns > MOST_CELLS or cells > MOST_CELLS:
            return "a sheet reaches over more cells than any trial fills"
        if _text_bytes(xml, cells, lengths) > MOST_TEXT_BYTES:
            return "the workbook's text unfolds to over 200 MB"
    return ""


def _reach(xml: bytes) -> tuple[int, int, int]:
    """Return upper bounds of a sheet's rows and columns, and its number of cells.

    A row or cell without its place comes after the one before.
    """
    if b"<" not in xml:
        return 0, 0, 0
    in_rows = [sum(1 for _ in _CELL.finditer(row)) for row in _ROW.split(xml)]
    last_row = last_column = 0
    for place in _PLACE.finditer(xml):
        letters, digits = place.groups()
        last_row = max(last_row, int(digits or 0))
        if letters:
            last_column = max(last_column, _column_number(letters))
    return last_row + len(in_rows) - 1, last_column + max(in_rows), sum(in_rows)


def _column_number(letters: bytes) -> int:
    number = 0
    for letter in letters.upper():
        number = 26 * number + letter - 64
    return number


def _text_lengths(xml: bytes) -> list[int]:
    return [len(text) for text in _TEXT.split(xml)[1:]]


def _text_bytes(xml: bytes, cells: int, lengths: list[int]) -> int:
    """Return how much shared text a sheet's cells would hold, each its own copy."""
    longest = max(lengths, default=0)
    if longest * cells <= MOST_TEXT_BYTES:
        return 0
    total = seen = 0
    for number in _numbers(xml):
        seen += 1
        total += lengths[number] if number < len(lengths) else 0
    others = sum(1 for _ in _SHARES_TEXT.finditer(xml)) - seen
    return total + max(others, 0) * longest


def _numbers(xml: bytes) -> Iterator[int]:
    return (int(found[1]) for found in _TEXT_OF_CELL.finditer(xml))


_SHEET = re.compile(rb"<(?:\w{1,20}:)?sheet\s[^<>]{0,1000}>")
_LINK = re.compile(rb"<(?:\w{1,20}:)?Relationship\s[^<>]{0,1000}>")
_SAID = re.compile(rb"([\w:]{1,40})\s{0,9}=\s{0,9}\"([^\"]{0,500})\"")


def _titles(parts: dict[str, bytes]) -> dict[str, str]:
    """Return the names of the sheets by the part that holds each, as far as they can be told."""
    links = {
        said.get(b"Id"): said.get(b"Target", b"").decode(errors="replace").lstrip("/")
        for said in map(_said, _LINK.findall(parts.get("xl/_rels/workbook.xml.rels", b"")))
    }
    titles = {}
    for said in map(_said, _SHEET.findall(parts.get("xl/workbook.xml", b""))):
        place = links.get(next((v for k, v in said.items() if k.endswith(b":id")), None))
        if place:
            title = html.unescape(said.get(b"name", b"").decode(errors="replace"))
            titles[place if place.startswith("xl/") else f"xl/{place}"] = title
    return titles


def _said(element: bytes) -> dict[bytes, bytes]:
    return dict(_SAID.findall(element))


_FORMULA_ONLY = re.compile(
    rb'<c r="([A-Z]{1,3}\d{1,7})"[^>]{0,200}>\s{0,20}'
    rb"<f[^>]{0,200}(?:/>|>[^<]{0,8000}</f>)\s{0,20}(?:<v\s{0,20}/>|<v></v>)?\s{0,20}</c>"
)


def _formulas_without_value(xml: bytes) -> list[str]:
    return [cell.decode() for cell in _FORMULA_ONLY.findall(xml)]
