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
from collections.abc import Iterator, Mapping, Sequence
from datetime import date, datetime, time, timedelta
from pathlib import Path
from typing import TypeAlias

from bmp.problem import Problem, shown

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
    sheets, names = _sheets(path.name, _packed(parts), wanted, problems)
    _mark_cells(sheets, parts, titles)
    return sheets, names


def _sheets(
    name: str, packed: bytes, wanted: Sequence[str], problems: list[Problem]
) -> tuple[dict[str, Sequence[Sequence[Cell]]], list[str]]:
    import python_calamine

    try:
        with python_calamine.load_workbook(io.BytesIO(packed)) as book:
            names = {title.strip().lower(): title for title in book.sheet_names}
            problems.extend(_twice(name, book.sheet_names, wanted))
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


def _twice(name: str, titles: Sequence[str], wanted: Sequence[str]) -> Iterator[Problem]:
    """Return a problem for each wanted sheet that is there twice."""
    for one in wanted:
        same = [shown(title) for title in titles if title.strip().lower() == one]
        if len(same) > 1:
            what = f"{len(same)} sheets are called {one}: {' and '.join(same)}"
            yield Problem(name, what, "rename or remove all but one")


def why_no_workbook(path: Path) -> tuple[str, str] | None:
    """Return what a file is that is no .xlsx workbook, and the way out; `None` where it may be one.

    Raises
    ------
    OSError
        The file cannot be opened.
    """
    with path.open("rb") as file:
        start = file.read(4096)
        file.seek(0)
        rest = b"" if start.startswith(b"PK") else file.read(2_000_000)
    if path.name.startswith("~$"):
        return (
            "this is the mark of a workbook that is open in another program",
            f"give {shown(path.name[2:])} instead",
        )
    if start.startswith(b"\xd0\xcf\x11\xe0"):
        if "EncryptedPackage".encode("utf-16-le") in rest:
            return "the workbook is locked by a password", "save it anew without a password"
        return "this is an old Excel workbook (.xls)", "open it and save it as .xlsx"
    if b"mimetypeapplication/vnd.oasis.opendocument" in start[:200]:
        return "this is an OpenDocument file (.ods)", "open it and save it as .xlsx"
    if start.startswith(b"PK") and b"Index/Document.iwa" in start:
        return "this is a Numbers document", "export it as an Excel workbook (.xlsx)"
    return None


def _parts(path: Path, problems: list[Problem]) -> dict[str, bytes] | None:
    """Return the XML parts of a workbook; `None` where it is none or unfolds to too much."""
    try:
        other = why_no_workbook(path)
    except OSError as error:
        what = f"the workbook cannot be opened ({error.strerror})"
        wanted = "close it in other programs, and see that you may read it"
        problems.append(Problem(path.name, what, wanted))
        return None
    if other is not None:
        problems.append(Problem(path.name, *other))
        return None
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
# a place that no spreadsheet has: the compiled reader would ask for memory without end
_FAR_PLACE = re.compile(rb"\br\s{0,9}=\s{0,9}[\"'](?:[A-Za-z]{10}|[A-Za-z]{0,9}[0-9]{13})")
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
        if rows * columns > MOST_CELLS or cells > MOST_CELLS or _FAR_PLACE.search(xml):
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


_STYLED_CELL = re.compile(rb"<(?:\w{1,20}:)?c\s([^<>]{1,300})>")
_STYLE = re.compile(rb"\bs\s{0,9}=\s{0,9}[\"'](\d{1,6})[\"']")
_ERROR = re.compile(rb"\bt\s{0,9}=\s{0,9}[\"']e[\"']")
_OTHER_TYPE = re.compile(rb"\bt\s{0,9}=\s{0,9}[\"'][^n]")
_VALUE = re.compile(
    rb"\s{0,20}(?:<f[^>]{0,200}(?:/>|>[^<]{0,8000}</f>))?\s{0,20}<v[^<>]{0,40}>([^<]{1,60})</v>"
)


def _mark_cells(
    sheets: Mapping[str, Sequence[Sequence[Cell]]],
    parts: Mapping[str, bytes],
    titles: Mapping[str, str],
) -> None:
    """Put the text of a percentage (`68 %`) or of a formula's error into the cells that show it.

    The compiled reader hands out 0.68 for a cell whose format shows 68 %, and nothing at all for
    an error: both would change results without a word.
    """
    percent = _percent_styles(parts.get("xl/styles.xml", b""))
    part_of = {title.strip().lower(): part for part, title in titles.items()}
    for name, rows in sheets.items():
        for place, text in _marked(parts.get(part_of.get(name, ""), b""), percent):
            row, column = place
            if row < len(rows) and column < len(rows[row]):
                cells = rows[row]
                assert isinstance(cells, list)
                cells[column] = text


def _marked(xml: bytes, percent: frozenset[bytes]) -> Iterator[tuple[tuple[int, int], str]]:
    """Return row, column (from 0) and text of the cells that show a percentage or an error."""
    if not percent and not _ERROR.search(xml):
        return
    for cell in _STYLED_CELL.finditer(xml):
        said = cell[1]
        style = _STYLE.search(said)
        error = _ERROR.search(said)
        shows_percent = style is not None and style[1] in percent and not _OTHER_TYPE.search(said)
        if not (error or shows_percent):
            continue
        place, value = _PLACE.search(said), _VALUE.match(xml, cell.end())
        if place is None or value is None or not place[1] or not place[2]:
            continue
        text = value[1].decode(errors="replace").strip()
        if not error:
            try:
                text = f"{100.0 * float(text):.12g} %"
            except ValueError:
                continue
        yield (int(place[2]) - 1, _column_number(place[1]) - 1), text


_FORMAT = re.compile(rb"<(?:\w{1,20}:)?numFmt\s([^<>]{1,1000})>")
_FORMATS = re.compile(
    rb"<(?:\w{1,20}:)?cellXfs[\s>](.{0,2000000}?)</(?:\w{1,20}:)?cellXfs>", re.DOTALL
)
_ONE_FORMAT = re.compile(rb"<(?:\w{1,20}:)?xf\s([^<>]{1,1000})>")
_NOT_SHOWN_AS_IS = re.compile(r'"[^"]*"|\\.|\[[^\]]*\]')


def _percent_styles(xml: bytes) -> frozenset[bytes]:
    """Return the numbers of the cell styles that show a number as a percentage."""
    codes = {"9": "0%", "10": "0.00%"}
    for said in map(_said, _FORMAT.findall(xml)):
        code = html.unescape(said.get(b"formatCode", b"").decode(errors="replace"))
        codes[said.get(b"numFmtId", b"").decode(errors="replace")] = code
    shown_percent = {key for key, code in codes.items() if "%" in _NOT_SHOWN_AS_IS.sub("", code)}
    block = _FORMATS.search(xml)
    styles = map(_said, _ONE_FORMAT.findall(block[1] if block else b""))
    return frozenset(
        str(number).encode()
        for number, said in enumerate(styles)
        if said.get(b"numFmtId", b"").decode(errors="replace") in shown_percent
    )
