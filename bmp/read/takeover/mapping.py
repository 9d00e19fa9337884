"""Tables with what a person says of them: every column has a meaning, a unit, an order of dates."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from bmp.problem import Problem, shown
from bmp.read.columns import parse_header
from bmp.read.tables import Cell
from bmp.read.takeover.answers import Answers, AnswerSection, Line, quoted
from bmp.read.takeover.columns import (
    KINDS,
    NOT_USED,
    OF_A_JAR,
    UNITS,
    UNKNOWN,
    Proposal,
    TableProposal,
    shown_unit,
)
from bmp.read.takeover.figures import DIGITS, ORDERS
from bmp.read.takeover.find import FoundColumn, FoundTable
from bmp.read.takeover.jar_columns import AFTER
from bmp.read.takeover.vocabulary import is_missing

HOLDS, HELD = "holds", "the columns of jars hold"
SHEET, WHICH = "sheet", "the trial to read is"


@dataclass(frozen=True)
class Meaning:
    """What one column is."""

    name: str
    unit: str = ""
    """Unit of its figures, order of its dates, or its day where every day has a column."""
    jar: str = ""
    """The jar, or the material, whose column it is."""
    quantity: str = ""
    """What it holds of them; empty: what the columns of jars hold; `AFTER`: that, after venting."""


@dataclass(frozen=True)
class Mapped:
    """A table of the sheet with what it holds."""

    table: FoundTable
    kind: str
    columns: tuple[tuple[FoundColumn, Meaning], ...]
    held: Meaning | None = None
    """What the columns of jars hold, where every jar or day has one."""
    only: tuple[FoundColumn, str] | None = None
    """Only rows in which this column says this."""
    section: str = ""

    def column(self, name: str) -> FoundColumn | None:
        """Return the column of that meaning; `None` where there is none."""
        return next((column for column, meaning in self.columns if meaning.name == name), None)

    def meaning(self, name: str) -> Meaning | None:
        """Return how a column of that meaning is written; `None` where there is none."""
        return next((meaning for _, meaning in self.columns if meaning.name == name), None)

    def rows(self) -> Iterator[int]:
        """Return the places of the rows that count."""
        for row in self.table.rows:
            if self.only is None or as_words(self.cell(row, self.only[0])) == self.only[1]:
                yield row

    def cell(self, row: int, column: FoundColumn) -> Cell:
        """Return a cell; one that says that nothing was read is empty."""
        cell = self.table.grid.rows[row][column.index]
        return None if is_missing(cell) else cell


def as_words(cell: Cell) -> str:
    """Return a cell as a name: 1.0 is `1`."""
    if cell is None:
        return ""
    return str(int(cell)) if isinstance(cell, float) and cell.is_integer() else str(cell).strip()


def section_title(table: FoundTable) -> str:
    """Return what a table is called in the file of answers."""
    title = f"table in {table.grid.name}, row {table.header_row}"
    first = table.columns[0]
    # tables side by side have their header in one row
    return f"{title}, from column {first.letter} on" if first.index else title


def table_section(proposal: TableProposal) -> AnswerSection:
    """Return the lines about one table, with what is proposed."""
    table = proposal.table
    lines = [Line(HOLDS, proposal.kind)]
    if proposal.jar_columns_hold:
        lines.append(Line(HELD, proposal.jar_columns_hold, proposal.why))
    lines += [
        Line(f"column {one.column.letter} {quoted(one.column.key)}", _value(one), one.why)
        for one in proposal.columns
    ]
    rows = f"{len(table.rows)} rows, {table.rows[0] + 1} to {table.rows[-1] + 1}"
    left = ", ".join(f"row {row} “{text}”" for row, text in table.left_out[:6])
    more = f" and {len(table.left_out) - 6} more" if len(table.left_out) > 6 else ""
    remark = rows + (f"; left out: {left}{more}" if left else "")
    return AnswerSection(section_title(table), tuple(lines), remark)


def sheet_section(proposals: Sequence[TableProposal]) -> AnswerSection:
    """Return what is asked of the sheet as a whole: which of several trials in it is to be read."""
    names: set[str] = set()
    for one in proposals:
        own = one.of("trial of")
        if own is not None and one.kind != NOT_USED:
            names |= {
                as_words(cell) for cell in one.table.cells(own.column) if not is_missing(cell)
            }
    if not 1 < len(names) <= 20:
        return AnswerSection(SHEET, ())
    remark = "several trials stand in one table"
    return AnswerSection(SHEET, (Line(WHICH, UNKNOWN, remark, tuple(sorted(names))),))


def _value(one: Proposal) -> str:
    if one.jar:
        unit = f" [{one.unit}]" if one.unit else ""
        part = f", {one.quantity}{unit}" if one.quantity else ""
        return f"{one.meaning.removeprefix('a ')} {one.jar}{part}"
    if one.meaning == "a day":
        return one.unit if one.unit.startswith("day") and one.unit not in ORDERS else (
            f"date, {one.unit}")  # fmt: skip
    if one.meaning == "date":
        return f"date, {one.unit}" if one.unit else "date"
    return f"{one.meaning} [{one.unit}]" if one.unit else one.meaning


def map_tables(
    proposals: Sequence[TableProposal], answers: Answers, name: str, problems: list[Problem]
) -> tuple[Mapped, ...]:
    """Return the tables as the answers have them; answers that say nothing known are problems."""
    return tuple(_mapped(one, answers, name, problems) for one in proposals)


def _mapped(
    proposal: TableProposal, answers: Answers, name: str, problems: list[Problem]
) -> Mapped:
    section = section_title(proposal.table)

    def wrong(key: str, value: str, wanted: str) -> None:
        what = f"{shown(value)} stands for {key}"
        problems.append(Problem(name, what, wanted, answers.line(section, key)))

    kind = answers.get(section, HOLDS) or NOT_USED
    if kind not in KINDS:
        wrong(HOLDS, kind, f"write one of: {', '.join(KINDS)}")
        kind = NOT_USED
    columns = []
    for one in proposal.columns:
        key = f"column {one.column.letter} {quoted(one.column.key)}"
        text = answers.get(section, key) or NOT_USED
        meaning = meaning_of(text)
        if isinstance(meaning, str):
            wrong(key, text, meaning)
        elif meaning.name != NOT_USED:
            columns.append((one.column, meaning))
    held = answers.get(section, HELD)
    about = meaning_of(held) if held else None
    if isinstance(about, str) or (about and about.name not in OF_A_JAR):
        if UNKNOWN not in str(held):
            wrong(HELD, str(held), f"write one of: {', '.join(OF_A_JAR)}, with its unit")
        # what is asked meanwhile is asked as for volumes: they need the most
        gauge = str(held).startswith("gauge or absolute")
        about = Meaning("gauge before" if gauge else "volume", UNKNOWN)
    which = answers.get(SHEET, WHICH)
    told = next((column for column, meaning in columns if meaning.name == "trial of"), None)
    only = (told, which) if told and which and UNKNOWN not in which else None
    return Mapped(proposal.table, kind, tuple(columns), about, only, section)


_ONE = re.compile(
    r"(?P<of>jar|material) (?!volume(?: \[|$))(?P<name>.+?)"
    rf"(?:, (?P<quantity>{AFTER}|{'|'.join(OF_A_JAR)})(?: \[(?P<unit>[^\]]*)\])?)?"
)
_NAMES = {name for names in KINDS.values() for name in names} | set(UNITS)


def meaning_of(text: str) -> Meaning | str:
    """Return what an answer about a column says, or what would be right."""
    if text in (NOT_USED, UNKNOWN, "not known"):
        return Meaning(NOT_USED)
    name, _, order = (part.strip() for part in text.partition(","))
    if name == "date":
        right = order in ("", *ORDERS, *DIGITS)
        return Meaning("date", order) if right or UNKNOWN in order else _WANTED_ORDER
    if match := re.fullmatch(r"day (\d+(?:\.\d+)?)", text):
        return Meaning("a day", match[1])
    if match := _ONE.fullmatch(text):
        unit = match["unit"] or ""
        if match["quantity"] in ("methane", "temperature") and not unit:
            return f"write its unit too, such as {text} [{shown_unit(match['quantity'])}]"
        return Meaning(f"a {match['of']}", unit, match["name"].strip(' "'), match["quantity"] or "")
    header = parse_header(text)
    if header.name not in _NAMES:
        return f"write what it is and its unit, such as volume [mL], or {NOT_USED}"
    unit = text[len(header.name) :].strip().removeprefix("[").removesuffix("]")
    if UNITS.get(header.name) is not None and not unit:
        return f"write its unit too, such as {header.name} [{shown_unit(header.name)}]"
    return Meaning(header.name, unit)


_WANTED_ORDER = f"write one of: {', '.join(f'date, {order}' for order in (*ORDERS, *DIGITS))}"
