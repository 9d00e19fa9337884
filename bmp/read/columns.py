"""The columns and items that a trial may have, as tables, and how headers are matched to them."""

from __future__ import annotations

import csv
import difflib
import re
from collections.abc import Container, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from importlib.resources import files

import numpy as np

from bmp.problem import Problem, shown
from bmp.read.cells import ERROR_WANTED, Unreadable, is_error, quantity
from bmp.read.tables import Cell, CellTable
from bmp.trial import FloatArray
from bmp.units import EXAMPLES, Conversion, UnknownUnit, conversion, near_unit

BARE_NUMBERS = ("pH", "solids_replicates")
"""Numbers without a unit."""


@dataclass(frozen=True)
class KnownColumn:
    """One column or item that the tool knows."""

    name: str
    field: str
    """Where its value goes: a field of the record, or a name of `READING_QUANTITIES`."""
    unit: str | None = None
    """The project's own unit (pint's spelling); `None`: text or a bare number."""
    of: tuple[str, ...] = ()
    """What a share can be a share of; the first is meant where nothing is said, unless `say_of`."""
    say_of: bool = False
    """The header must say what the share is a share of."""
    means: str = ""
    """What it is, for people; the guide is made from it."""
    otherwise: str = ""
    """What holds where it is not given; `needed` where it must be."""

    @property
    def is_number(self) -> bool:
        """Whether its cells hold numbers."""
        return self.unit is not None or self.field in BARE_NUMBERS


_FRESH = "fresh mass"
_PLAIN_NAMES_OF: Mapping[str, str] = {
    "fresh": _FRESH,
    "fresh mass": _FRESH,
    "fresh matter": _FRESH,
    "fm": _FRESH,
    "wet mass": _FRESH,
    "ts": "TS",
    "dry matter": "TS",
    "total solids": "TS",
    "vs": "VS",
    "volatile solids": "VS",
}


def known_rows(text: str, table: str) -> tuple[KnownColumn, ...]:
    """Return the columns or items of one table from a file such as `columns.csv`."""
    return tuple(
        KnownColumn(
            row["name"],
            row["field"],
            row["unit"] or None,
            tuple(filter(None, row["of"].split(";"))),
            row["say_of"] == "yes",
            row["means"],
            row["otherwise"],
        )
        for row in csv.DictReader(text.splitlines())
        if row["table"] == table
    )


_TEXT = (files("bmp.read") / "columns.csv").read_text(encoding="utf-8")
ITEMS = known_rows(_TEXT, "trial")
MATERIALS = known_rows(_TEXT, "materials")
JARS = known_rows(_TEXT, "jars")
READINGS = known_rows(_TEXT, "readings")
CRUCIBLES = known_rows(_TEXT, "crucibles")
TANK = known_rows(_TEXT, "tank")
TANK_FEEDS = known_rows(_TEXT, "tank feeds")


@dataclass(frozen=True)
class Header:
    """A header or item as it is written: its name, its unit, and what it is a share of."""

    text: str
    name: str
    unit: str | None
    of: str | None


_HEADER = re.compile(r"\s*(?P<name>[^\[\]]*?)\s*(?:\[(?P<unit>[^\[\]]*)\])?\s*")
_SHARE_OF = re.compile(r"(?P<unit>.*?)\s*\bof\s+(?P<of>.+)", re.IGNORECASE)
_PER_WHAT = re.compile(r"(?P<unit>.*?/\s*\w+)\s+(?:of\s+)?(?P<of>[A-Za-z ]+)")


@lru_cache(maxsize=4096)
def parse_header(text: str) -> Header:
    """Split `VS [% of TS]` into its name, unit and what it is a share of."""
    match = _HEADER.fullmatch(text[:400])
    if match is None:
        return Header(text, text.strip(), None, None)
    name, unit, of = " ".join(match["name"].split()), match["unit"], None
    if unit is not None:
        part = _SHARE_OF.fullmatch(unit.strip()) or _PER_WHAT.fullmatch(unit.strip())
        if part is not None and part["of"].strip().lower() in _PLAIN_NAMES_OF:
            unit, of = part["unit"], _PLAIN_NAMES_OF[part["of"].strip().lower()]
    return Header(text, name, None if unit is None else unit.strip(), of)


_ROUND = re.compile(r"(.*\S)\s*\(([^()]*)\)\s*")


def parse_known(text: str, names: Container[str]) -> Header:
    """Split a header; round brackets hold a unit where what stands before them is a known name."""
    header = parse_header(text)
    if header.unit is None and header.name.lower() not in names:
        match = _ROUND.fullmatch(text[:400])
        if match is not None and match[1].strip().lower() in names:
            return replace(parse_header(f"{match[1]} [{match[2]}]"), text=text)
    return header


@dataclass(frozen=True)
class Found:
    """A known column, where it stands and how its numbers become the project's."""

    known: KnownColumn
    index: int
    header: str
    conversion: Conversion
    of: str | None = None


def match_columns(
    table: CellTable, known: Iterable[KnownColumn], problems: list[Problem], ignored: list[str]
) -> dict[str, Found]:
    """Match the header of `table`; tell of unknown columns in `ignored`.

    Returns
    -------
    dict
        KnownColumn field -> where it stands.
    """
    by_name = {column.name.lower(): column for column in known}
    found: dict[str, Found] = {}
    for index, text in enumerate(table.header):
        header = parse_known(text, by_name)
        column = by_name.get(header.name.lower())
        if column is None:
            if header.text:
                ignored.append(ignored_words(table.name, "column", text, by_name))
        elif column.field in found:
            what = f"there are two columns “{column.name}”"
            problems.append(Problem(table.name, what, "keep one", 1, text))
        else:
            match = match_unit(column, header, table.name, problems, row=1)
            if match is not None:
                found[column.field] = Found(column, index, text, match, header.of)
    for one in found.values():
        if not one.known.is_number:
            problems.extend(_errors_of_formulas(table, one))
    return found


def _errors_of_formulas(table: CellTable, column: Found) -> Iterator[Problem]:
    """Return the cells of a column of words that hold the error of a formula."""
    for row, number_of_row in zip(table.rows, table.row_numbers, strict=True):
        cell = row[column.index]
        if is_error(cell):
            what = f"{shown(cell)} is the error of a formula"
            yield Problem(table.name, what, ERROR_WANTED, number_of_row, column.header)


def ignored_words(table: str, kind: str, text: str, known: Iterable[str]) -> str:
    """Say that a column or item is not used, with the known name that it looks like."""
    near = difflib.get_close_matches(parse_header(text).name.lower()[:60], list(known), 1, 0.7)
    hint = f" (did you mean “{near[0]}”?)" if near else ""
    return f"{table}: the {kind} {shown(text)} is not known and not used{hint}"


def one_of(names: Sequence[str], most: int = 8) -> str:
    """Return what would be right where one of the table's materials is to be named."""
    if not names:
        return "add it to the table materials"
    more = f" … ({len(names)} in all)" if len(names) > most else ""
    return f"write one of: {', '.join(name[:40] for name in names[:most])}{more}"


def nearest_name(text: str, names: Sequence[str]) -> str | None:
    """Return the name that a text which is none of them looks like; `None` where none does.

    `n-1` and `N01` look like `N1` before any other; what fits two names alike is no answer.
    """
    plain = [name for name in names if _bare(name) == _bare(text)]
    if text and len(plain) == 1:
        return plain[0]
    lower = {name.lower(): name for name in names}
    near = difflib.get_close_matches(text.lower()[:60], list(lower), 2, 0.6)
    ratios = [difflib.SequenceMatcher(None, one, text.lower()[:60]).ratio() for one in near]
    if not near or (len(near) > 1 and ratios[0] == ratios[1]):
        return None
    return lower[near[0]]


def _bare(name: str) -> str:
    """Return letters and digits of a name in lower case, without zeros before a number."""
    return re.sub(r"(?<!\d)0+(?=\d)", "", re.sub(r"[\W_]", "", name.lower()))


def match_unit(
    known: KnownColumn, header: Header, table: str, problems: list[Problem], row: int
) -> Conversion | None:
    """Return how numbers under `header` become the project's; `None` with a problem told."""
    if known.unit is None:
        return Conversion(1.0)
    what = ""
    if header.unit is None or header.unit == "":
        what = "there is no unit"
    elif known.say_of and header.of not in known.of:
        what = f"the unit [{header.unit}] does not say of what"
    elif header.of is not None and header.of not in known.of:
        what = f"“of {header.of}” does not fit here"
    wanted = _unit_wanted(known)
    try:
        if not what:
            return conversion(_plain_unit(known, str(header.unit)), known.unit)
    except UnknownUnit as error:
        what, near = str(error), near_unit(str(header.unit), known.unit)
        if near is not None:
            wanted = f"did you mean [{near}]? If not, {wanted}"
    problems.append(Problem(table, what, wanted, row, header.text))
    return None


def _unit_wanted(known: KnownColumn) -> str:
    units = EXAMPLES[str(known.unit)]
    return f"write the unit that your figures are in, such as {example_header(known)}: {units}"


# A pressure whose unit says from where it counts: `psig`, `kPa (abs)`.
_COUNTED_FROM = re.compile(
    r"(psi|kpa|hpa|mbar|bar)\s*\(?\s*(g|gauge|a|abs|absolute)\s*\)?", re.IGNORECASE
)


def _plain_unit(known: KnownColumn, unit: str) -> str:
    """Take off what the column says already: N where a yield is normal, g where it is a gauge's.

    Raises
    ------
    UnknownUnit
        A gauge pressure stands where an absolute one does, or the other way round.
    """
    if known.unit == "mL/g":
        return unit.removeprefix("N")
    counted = _COUNTED_FROM.fullmatch(unit) if known.unit == "kPa" else None
    if counted is None:
        return unit
    gauge = counted[2].lower().startswith("g")
    if gauge == ("gauge" in known.name):
        return counted[1]
    kind = "a pressure above the air outside" if gauge else "an absolute pressure"
    raise UnknownUnit(f"“{unit}” is {kind}, and “{known.name}” is not")


def example_header(known: KnownColumn) -> str:
    """Return the header that a column of this kind would have, such as `VS [% of TS]`."""
    unit = {"dimensionless": "%", "degC": "°C", None: ""}.get(known.unit, known.unit)
    of = f" of {known.of[0]}" if known.of and known.unit == "dimensionless" else ""
    return f"“{known.name} [{unit}{of}]”" if unit else f"“{known.name}”"


def numbers(table: CellTable, found: Found, problems: list[Problem]) -> FloatArray:
    """Return the column as numbers in the project's unit, NaN where a cell is empty."""
    cells = [row[found.index] for row in table.rows]
    values = None if table.semicolons else _plain_numbers(cells)
    if values is not None:
        return values * found.conversion.factor + found.conversion.offset
    return np.array(
        [
            np.nan if cell is None else _number_or_problem(table, found, cell, row, problems)
            for cell, row in zip(cells, table.row_numbers, strict=True)
        ],
        dtype=float,
    )


_ALL_PLAIN = re.compile(r"(?:(?:[+-]?\d{1,12}(?:\.\d{0,12})?)?\n)*", re.ASCII)


def _plain_numbers(cells: Sequence[Cell]) -> FloatArray | None:
    """Return cells that are all empty or short text of digits, the usual case, in one go."""
    try:
        text = "\n".join(["" if cell is None else cell for cell in cells])  # type: ignore[misc]
    except TypeError:
        return None
    if text.count("\n") != len(cells) - 1 or not _ALL_PLAIN.fullmatch(text + "\n"):
        return None
    return np.array([float(cell) if cell else np.nan for cell in cells], dtype=float)  # type: ignore[arg-type]


def _number_or_problem(
    table: CellTable, found: Found, cell: Cell, row: int, problems: list[Problem]
) -> float:
    rule = found.conversion
    if type(cell) is float and -1e12 < cell < 1e12:
        return cell * rule.factor + rule.offset
    try:
        return quantity(cell, rule, str(found.known.unit), table.semicolons)
    except Unreadable as error:
        what = f"{shown(cell)} is not a number that can be read"
        wanted = str(error)
        if found.known.field.endswith("_after_kPa"):
            wanted += "; where the jar was left closed, write “not vented”"
        problems.append(Problem(table.name, what, wanted, row, found.header))
        return float("nan")
