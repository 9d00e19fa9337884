"""One cell as a number, a date, a word: read when it can mean one thing only, else refused."""

from __future__ import annotations

import math
import re
from datetime import date, datetime, time, timedelta

from bmp.read.tables import Cell
from bmp.units import Conversion, UnknownUnit, conversion

PLAIN_NUMBER = re.compile(r"[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d{1,3})?")
_COMMA_DECIMAL = re.compile(r"[+-]?\d*,\d+([eE][+-]?\d{1,3})?")
_GROUPED_BY_COMMA = re.compile(r"[+-]?[1-9]\d{0,2}(,\d{3})+(\.\d*)?")
_GROUPED_BY_POINT = re.compile(r"[+-]?[1-9]\d{0,2}(\.\d{3})+(,\d*)?")


PERCENTAGE = r"(\d{1,3}(?:[.,]\d+)?)\s*%"
"""Pattern of a percentage in running text, with a decimal point or comma."""


def percent(text: str) -> float:
    """Return the figure of a `PERCENTAGE`."""
    return float(text.replace(",", "."))


class Unreadable(ValueError):
    """The cell does not say what is wanted. The message says what would be right."""

    def __init__(self, wanted: str, why: str = "") -> None:
        super().__init__(wanted)
        self.why = why
        """What is wrong with the cell, as words that come after it."""


def number(cell: Cell, semicolons: bool = False) -> float:
    """Return the cell as a finite number.

    A comma is a decimal comma where it can be nothing else: in a file that separates its cells by
    semicolons, or where the digits about it cannot be thousands (`0,5`, `12,34`).

    Raises
    ------
    Unreadable
        Where the cell is no number, is not finite, or can be read in two ways (`1,500`).
    """
    if isinstance(cell, bool) or cell is None or isinstance(cell, datetime | date | time):
        raise Unreadable("write a number")
    if isinstance(cell, int | float):
        value = float(cell)
    elif isinstance(cell, timedelta):
        raise Unreadable("write a number, not a duration")
    else:
        value = _number_in_text(cell.replace("\u2212", "-").replace("\u00a0", " "), semicolons)
    if not math.isfinite(value) or abs(value) > 1e12:
        raise Unreadable("write a number that a jar trial can have")
    return value


def _number_in_text(text: str, semicolons: bool) -> float:
    text = text.strip()
    if PLAIN_NUMBER.fullmatch(text):
        if semicolons and _GROUPED_BY_POINT.fullmatch(text):
            raise Unreadable(
                "this can mean a decimal point or thousands: write it with a comma or none"
            )
        return float(text)
    if _COMMA_DECIMAL.fullmatch(text):
        if not semicolons and _GROUPED_BY_COMMA.fullmatch(text):
            raise Unreadable(
                "this can mean thousands or a decimal comma: write it with a point or none"
            )
        return float(text.replace(",", "."))
    if _GROUPED_BY_COMMA.fullmatch(text) and ("." in text or text.count(",") > 1):
        return float(text.replace(",", ""))
    if _GROUPED_BY_POINT.fullmatch(text) and ("," in text or text.count(".") > 1):
        return float(text.replace(".", "").replace(",", "."))
    raise Unreadable(
        "write a number alone (the unit goes into the header), or leave the cell empty"
    )


# What a spreadsheet program leaves where a formula found no value.
ERROR_VALUES = frozenset(
    ("#N/A", "#REF!", "#VALUE!", "#DIV/0!", "#NAME?", "#NUM!", "#NULL!", "#SPILL!", "#CALC!")
)
ERROR_WANTED = "correct the formula, type the value, or clear the cell"


def is_error(cell: Cell) -> bool:
    """Tell whether a cell holds the error of a formula."""
    return isinstance(cell, str) and cell.upper() in ERROR_VALUES


_PERCENT_SIGN = re.compile(r"(.*\d)\s*%", re.DOTALL)


def quantity(cell: Cell, rule: Conversion, unit: str, semicolons: bool = False) -> float:
    """Return the cell in the project's own `unit`.

    A cell that says itself that it is a percentage (`68 %`, as text or by the format of a
    workbook's cell) is taken at its word, whichever unit of a share the header names.

    Raises
    ------
    Unreadable
        As `number` does.
    """
    if is_error(cell):
        raise Unreadable(ERROR_WANTED)
    percentage = _PERCENT_SIGN.fullmatch(cell.strip()) if isinstance(cell, str) else None
    if percentage is None:
        return number(cell, semicolons) * rule.factor + rule.offset
    try:
        rule = conversion("%", unit)
    except UnknownUnit:
        raise Unreadable("write a number in the header's unit; this is a percentage") from None
    return number(percentage[1], semicolons) * rule.factor + rule.offset


_DAY_FIRST_BY_POINTS = re.compile(
    r"(\d{1,2})\.(\d{1,2})\.(\d{4})(?:[ T](\d{1,2}):(\d{2})(?::(\d{2}))?)?"
)
_OTHER_ORDER = re.compile(r"(\d{1,2})[/.-](\d{1,2})[/.-](\d{2}|\d{4})(?:[ ,T].*)?")
_SHAPE_OF_A_DAY = re.compile(r"\d{4}-\d{1,2}-\d{1,2}(?:[ T]\d{1,2}:\d{2}.*)?")
_WANTED_MOMENT = "write the date as 2027-03-31 14:30"


def moment(cell: Cell) -> datetime:
    """Return the cell as a date-time without time zone.

    Raises
    ------
    Unreadable
        Where the cell is no date, or day and month can be taken for each other.
    """
    if isinstance(cell, datetime):
        return cell.replace(tzinfo=None)
    if isinstance(cell, date):
        return datetime(cell.year, cell.month, cell.day)
    if not isinstance(cell, str):
        raise Unreadable(_WANTED_MOMENT, "is no date")
    text = cell.strip()
    try:
        if match := _DAY_FIRST_BY_POINTS.fullmatch(text):
            day, month, year, hour, minute, second = (int(part or 0) for part in match.groups())
            return datetime(year, month, day, hour, minute, second)
        if re.match(r"\d{4}-", text):
            return datetime.fromisoformat(text).replace(tzinfo=None)
    except ValueError:
        pass
    raise Unreadable(_WANTED_MOMENT, _why_no_moment(text))


def _why_no_moment(text: str) -> str:
    """Say why a text is no date that is sure: no day of the calendar, or day and month unclear."""
    if _SHAPE_OF_A_DAY.fullmatch(text) or _DAY_FIRST_BY_POINTS.fullmatch(text):
        return "is no day and hour of the calendar"
    match = _OTHER_ORDER.fullmatch(text[:60])
    if match is None:
        return "is no date"
    if len(match[3]) == 2:
        return "is no date that can mean one day only"
    first, second = int(match[1]), int(match[2])
    if not (0 < min(first, second) <= 12 and max(first, second) <= 31):
        return "is no day of the calendar"
    if max(first, second) <= 12 and first != second:
        return "can mean two days: day or month first"
    return "is written so that other days could be taken for their month"


def words(cell: Cell) -> str:
    """Return the cell as text on one line; a whole number without its `.0`, an empty cell as ``."""
    if cell is None:
        return ""
    if isinstance(cell, float) and cell.is_integer() and abs(cell) < 1e15:
        cell = int(cell)
    return " ".join(str(cell).split())
