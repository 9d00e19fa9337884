"""What a person types into a field: a number with a point or a comma, perhaps with a unit."""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import datetime
from functools import lru_cache
from typing import Final

from bmp.read.cells import Unreadable, moment, number
from bmp.read.columns import READINGS, KnownColumn, parse_header
from bmp.read.unmeasured import FIGURES
from bmp.trial import NOT_MEASURED
from bmp.units import UnknownUnit, conversion

KNOWN: Final = {known.name.lower(): known for known in READINGS}
_WITH_UNIT = re.compile(r"([+\-−]?[\d.,\u00a0]*\d(?:[eE][+-]?\d+)?)\s*([^\d\s].*)?")
_WORDS_TOO: Final = {
    "gauge_after_kPa": ("not vented",),
    "absolute_after_kPa": ("not vented",),
    **dict.fromkeys(FIGURES, (NOT_MEASURED,)),
}


@dataclass(frozen=True)
class TypedColumn:
    """A column of the table readings as its header writes it."""

    header: str
    known: KnownColumn | None
    """`None`: the column is not one that the tool knows."""
    unit: str
    """As the header writes it; empty: a column of words."""

    @property
    def field(self) -> str:
        """Return the name of the quantity, empty for an unknown column."""
        return "" if self.known is None else self.known.field

    @property
    def label(self) -> str:
        """Return the name without its unit."""
        return parse_header(self.header).name

    def in_own_unit(self, text: str) -> float | None:
        """Return a cell in the project's own unit; `None` where it holds no number."""
        if self.known is None or self.known.unit is None:
            return None
        try:
            rule = conversion(self.unit, self.known.unit)
            return number(text) * rule.factor + rule.offset
        except (Unreadable, UnknownUnit):
            return None


@lru_cache(1_000)
def column_of(header: str) -> TypedColumn:
    """Return what a header means."""
    parsed = parse_header(header)
    known = KNOWN.get(parsed.name.lower())
    has_unit = known is not None and known.unit is not None and parsed.unit
    return TypedColumn(header, known, str(parsed.unit) if has_unit else "")


def typed_cell(column: TypedColumn, text: str) -> str:
    """Return what was typed as the cell is to hold it, in the unit of the column.

    `12,5` and `12.5` are the same; `1.2 L` in a column of mL becomes 1200.

    Raises
    ------
    Unreadable
        With what would be right.
    """
    text = " ".join(text.replace("\u2212", "-").split())[:1000]
    if not text or not column.unit or column.known is None:
        return text
    if text.lower() in _WORDS_TOO.get(column.field, ()):
        return text.lower()
    match = _WITH_UNIT.fullmatch(text)
    if match is None:
        raise Unreadable(f"“{text[:30]}” is no number: write it in {column.unit}")
    value = number(match[1])
    if match[2] is not None:
        value = _from_unit(value, match[2], column)
    return f"{value:.10g}"


def _from_unit(value: float, unit: str, column: TypedColumn) -> float:
    assert column.known is not None
    if unit.strip().lower() == column.unit.lower():
        return value
    try:
        typed = conversion(unit, str(column.known.unit))
        own = conversion(column.unit, str(column.known.unit))
    except UnknownUnit as error:
        raise Unreadable(f"{error}: write it in {column.unit}") from None
    return (value * typed.factor + typed.offset - own.offset) / own.factor


_OWN: Final = {"°C": "degC", "°F": "degC", "%": "dimensionless", "fl oz": "mL"}
"""Units by which those of other names are converted."""


def in_unit(text: str, unit: str, digits: int = 10) -> str:
    """Return a number with another unit behind it as one in the unit wanted, all else as it is."""
    match = _WITH_UNIT.fullmatch(" ".join(text.replace("\u2212", "-").split()))
    if match is None or match[2] is None:
        return text
    target = _OWN.get(unit, unit)
    try:
        typed, own = conversion(match[2].strip(), target), conversion(unit, target)
        value = (number(match[1]) * typed.factor + typed.offset - own.offset) / own.factor
    except (Unreadable, UnknownUnit):
        return text
    return f"{value:.{digits}g}"


def typed_time(text: str, dated: bool) -> str:
    """Return the time of a round as its column holds it: `2027-03-02T10:03`, or days.

    Raises
    ------
    Unreadable
        With what would be right.
    """
    if dated:
        at = moment(text.strip())
        return at.isoformat(timespec="seconds" if at.second else "minutes")
    days = number(text)
    if not 0 <= days <= 3650:
        raise Unreadable("write the days since the jars were closed, 0 or more")
    return f"{days:.10g}"


def as_moment(text: str) -> datetime | None:
    """Return a time as a date-time; `None` where it is none."""
    try:
        return moment(text)
    except Unreadable:
        return None
