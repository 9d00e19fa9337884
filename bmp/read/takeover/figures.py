"""Figures and dates as people type them, one column at a time: a column says what a cell cannot."""

from __future__ import annotations

import re
from collections.abc import Sequence
from datetime import date, datetime, time, timedelta

from bmp.read.cells import Unreadable, number
from bmp.read.tables import Cell
from bmp.read.takeover.vocabulary import is_missing, unit_words

ORDERS = ("day first", "month first", "year first")

_FIGURE = re.compile(
    r"(?:~|ca\.?|approx\.?|about|circa)?\s*"
    r"([+\-\u2212]?[\d.,'\u00a0 ]*\d(?:[eE][+-]?\d+)?)\s*(.*)",
    re.DOTALL | re.IGNORECASE,
)


def decimal_comma(cells: Sequence[Cell], semicolons: bool) -> bool:
    """Tell whether a comma is the decimal mark of a column of texts."""
    texts = [cell for cell in cells if isinstance(cell, str)]
    return semicolons or any(re.search(r"\d,(?:\d{1,2}|\d{4,})(?!\d)", text) for text in texts)


def figure(cell: Cell, comma: bool = False) -> float | None:
    """Return a cell as a number, `None` where there is none; a unit behind it is not used.

    `~35` is 35: what is about right is all that people have.

    Raises
    ------
    Unreadable
        It is text, or could be two numbers.
    """
    if is_missing(cell):
        return None
    if not isinstance(cell, str):
        return number(cell)
    match = _FIGURE.fullmatch(cell)
    rest = "" if match is None else _EMPTIED.sub("", match[2]).strip(" ,;()>-–→")
    if match is None or (rest and not unit_words(rest)):
        raise Unreadable("write a number, or leave the cell empty")
    plain = match[1].replace("\u00a0", "").replace(" ", "").replace("'", "")
    return number(plain, comma)


_EMPTIED = re.compile(
    r"\b(?:emptied|reset|set back|(?:aus)?geleert|entleert|vidé|vaciad\w*|opróżn\w*|svuotat\w*)\b",
    re.IGNORECASE,
)


def says_emptied(cell: Cell) -> bool:
    """Tell whether a figure says that the vessel was emptied after it: `58.2 emptied`."""
    return isinstance(cell, str) and bool(_EMPTIED.search(cell))


def says_percent(cells: Sequence[Cell]) -> bool:
    """Tell whether the cells of a column themselves say `%`."""
    said = [
        isinstance(cell, str) and cell.rstrip().endswith("%") for cell in cells if cell is not None
    ]
    return bool(said) and all(said)


# ---------------------------------------------------------------- dates

_NUMBERS = re.compile(
    r"(\d{1,4})[-/. ](\d{1,2})[-/. ](\d{1,4})"
    r"(?:[T, ]+(\d{1,2})[:.](\d{2})(?::\d{2})?\s*([ap]\.?m\.?)?)?",
    re.IGNORECASE,
)
_NAMED = re.compile(
    r"(?:(\d{1,2})[. ]+([^\W\d]{3,10})[. ,]+(\d{2,4})|([^\W\d]{3,10})[. ]+(\d{1,2})[, ]+(\d{2,4}))"
    r"(?:[T, ]+(\d{1,2})[:.](\d{2})(?::\d{2})?\s*([ap]\.?m\.?)?)?",
    re.IGNORECASE,
)
# English, German, French, Spanish; by their first three letters.
_MONTHS = (
    "jan ene", "feb fev fév", "mar mär mrz", "apr avr abr", "may mai", "jun jui", "jul",
    "aug aou aoû ago", "sep", "oct okt", "nov", "dec dez déc dic",
)  # fmt: skip


def orders_possible(cells: Sequence[Cell]) -> tuple[str, ...]:
    """Return in which orders all dates of a column can be read; one alone: the column tells it."""
    texts = [c for c in cells if not is_missing(c) and not isinstance(c, date | datetime | time)]
    matches = [_NUMBERS.fullmatch(str(text)) for text in texts]
    parts = [m for m in matches if m is not None]
    if any(len(m[1]) == 4 for m in parts) or not parts:
        return ("year first",)
    day = all(int(m[1]) <= 31 and int(m[2]) <= 12 for m in parts)
    month = all(int(m[1]) <= 12 and int(m[2]) <= 31 for m in parts)
    points = all("." in str(text)[:5] for text in texts)
    if day and points:
        return ("day first",)
    return tuple(name for name, ok in (("day first", day), ("month first", month)) if ok)


def as_moment(cell: Cell, order: str) -> datetime | None:
    """Return a cell as a date, with its time of day where it has one.

    Parameters
    ----------
    order
        One of `ORDERS`, or a row of digits such as `ddmmyyyy`.

    Raises
    ------
    Unreadable
        It is no date in this order.
    """
    if is_missing(cell):
        return None
    if isinstance(cell, datetime):
        return cell.replace(tzinfo=None)
    if isinstance(cell, date):
        return datetime(cell.year, cell.month, cell.day)
    try:
        if order.lower() in DIGITS:
            return _from_digits(cell, order.lower())
        return _from_text(str(cell).strip(), order)
    except (ValueError, TypeError):
        raise Unreadable(f"write a date, {order}", "is no date") from None


DIGITS = ("ddmmyyyy", "mmddyyyy", "yyyymmdd")


def _from_digits(cell: Cell, order: str) -> datetime:
    digits = str(int(float(cell))).zfill(8)  # type: ignore[arg-type]
    form = {"dd": "%d", "mm": "%m", "yyyy": "%Y"}
    pattern = order.replace("yyyy", form["yyyy"]).replace("dd", "%d").replace("mm", "%m")
    return datetime.strptime(digits, pattern)


def _from_text(text: str, order: str) -> datetime:
    if match := _NUMBERS.fullmatch(text):
        first, second, third = int(match[1]), int(match[2]), int(match[3])
        if len(match[1]) == 4:
            year, month, day = first, second, third
        elif order == "month first":
            month, day, year = first, second, third
        else:
            day, month, year = first, second, third
        hour, minute, half = match[4], match[5], match[6]
    elif match := _NAMED.fullmatch(text):
        day, year = int(match[1] or match[5]), int(match[3] or match[6])
        name = (match[2] or match[4]).lower()[:3]
        month = next(i for i, names in enumerate(_MONTHS, 1) if name in names.split())
        hour, minute, half = match[7], match[8], match[9]
    else:
        return datetime.fromisoformat(text).replace(tzinfo=None)
    year += 2000 if year < 100 else 0
    return datetime(year, month, day, _hour(int(hour or 0), half), int(minute or 0))


def _hour(hour: int, half: str | None) -> int:
    if not half:
        return hour
    return hour % 12 + (12 if half.lower().startswith("p") else 0)


_CLOCK = re.compile(r"(\d{1,2})[:.h](\d{2})(?::\d{2})?\s*([ap]\.?m\.?)?(?: uhr)?", re.IGNORECASE)


def time_of_day(cell: Cell) -> timedelta | None:
    """Return a time of day: `14:40`, `2:40 pm`, 1440, a cell of a workbook.

    Raises
    ------
    Unreadable
        It is none.
    """
    if is_missing(cell):
        return None
    if isinstance(cell, datetime):
        cell = cell.time()
    if isinstance(cell, time):
        return timedelta(hours=cell.hour, minutes=cell.minute, seconds=cell.second)
    if isinstance(cell, timedelta):
        return cell
    wanted = "write the time of day as 14:40"
    match = _CLOCK.fullmatch(str(cell).strip())
    if match:
        return timedelta(hours=_hour(int(match[1]), match[3]), minutes=int(match[2]))
    try:
        digits = float(str(cell))
    except ValueError:
        raise Unreadable(wanted, "is no time of day") from None
    if 0 <= digits < 1:
        return timedelta(days=digits)
    hours, minutes = divmod(int(digits), 100)
    if hours > 24 or minutes > 59:
        raise Unreadable(wanted, "is no time of day")
    return timedelta(hours=hours, minutes=minutes)
