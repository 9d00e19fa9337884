"""Units that a person reads their instruments in: chosen once, shown at every field."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

from bmp.page.typed_numbers import TypedColumn
from bmp.read.cells import Unreadable, number
from bmp.shown_units import UNITS
from bmp.units import UnknownUnit, conversion

COOKIE: Final = "bmp-units"
CHOICES: Final[Mapping[str, tuple[str, ...]]] = {
    "gas volume": ("mL", "L", "fl oz"),
    "pressure in the jar": ("kPa", "mbar", "psi", "inHg", "mmHg"),
    "air pressure": ("kPa", "hPa", "inHg", "mmHg"),
    "temperature": ("°C", "°F"),
    "mass": ("g", "kg", "oz", "lb"),
    "size of a jar": ("mL", "L", "fl oz", "pt", "qt", "gal"),
    "height above sea level": ("m", "ft"),
}
LARGER: Final[Mapping[str, tuple[str, ...]]] = {
    "fl oz": ("fl oz", "gal", "cu ft"),
    "oz": ("oz", "lb", "cu ft"),
    "lb": ("oz", "lb", "cu ft"),
    "psi": ("psi", "cu ft"),
}
"""What results are shown in for who reads in a unit: a day's gas is not told in ounces."""
KIND_OF: Final[Mapping[str, str]] = {
    "volume_mL": "gas volume",
    "gauge_before_kPa": "pressure in the jar",
    "gauge_after_kPa": "pressure in the jar",
    "absolute_before_kPa": "pressure in the jar",
    "absolute_after_kPa": "pressure in the jar",
    "ambient_kPa": "air pressure",
    "temperature_C": "temperature",
    "mass_g": "mass",
    "mass_before_g": "mass",
    "mass_after_g": "mass",
}
"""By field of a reading. Others keep the unit of their column."""
LOGBOOK_KINDS: Final[Mapping[str, str]] = {
    "gas volume": "volume",
    "pressure in the jar": "gauge",
    "air pressure": "ambient",
    "temperature": "temperature",
    "mass": "mass",
}
"""What a logbook calls the kinds of `CHOICES`."""
DIGITS: Final = 7


def chosen(cookie: str) -> dict[str, str]:
    """Return the units of a cookie by kind; what it does not know is left out."""
    pairs = (part.partition(":") for part in cookie.split("|"))
    return {kind: unit for kind, _, unit in pairs if unit in CHOICES.get(kind, ())}


def of_results(units: Mapping[str, str]) -> tuple[str, ...]:
    """Return the units that stand beside those of the results, from those of the instruments."""
    wanted = [one for unit in units.values() for one in LARGER.get(unit, (unit,)) if one in UNITS]
    return tuple(dict.fromkeys(wanted))


def as_cookie(units: Mapping[str, str]) -> str:
    """Return what the browser keeps."""
    return "|".join(f"{kind}:{unit}" for kind, unit in units.items())


def unit_of(column: TypedColumn, units: Mapping[str, str]) -> str:
    """Return the unit that a column's fields are shown in."""
    return units.get(KIND_OF.get(column.field, ""), column.unit) if column.unit else ""


def shown(column: TypedColumn, text: str, units: Mapping[str, str]) -> str:
    """Return a cell as it is shown: what was typed in a unit comes back as it was typed."""
    unit = unit_of(column, units)
    if not text or unit == column.unit or column.known is None or column.known.unit is None:
        return text
    try:
        own = conversion(column.unit, column.known.unit)
        other = conversion(unit, column.known.unit)
        value = (number(text) * own.factor + own.offset - other.offset) / other.factor
    except (Unreadable, UnknownUnit):
        return text
    return f"{value:.{DIGITS}g}"


_HEAVIER: Final[Mapping[str, str]] = {"g": "kg", "oz": "lb"}


def header_in(header: str, kind: str, units: Mapping[str, str]) -> str:
    """Return a header whose brackets hold the unit that a person chose for its kind."""
    name, bracket, rest = header.partition("[")
    own, closing, after = rest.partition("]")
    unit = units.get(kind, own)
    if own == "kg":
        unit = _HEAVIER.get(unit, unit)
    return f"{name}{bracket}{unit}{closing}{after}"


def unit_in(header: str) -> str:
    """Return the unit in the brackets of a header, empty where it has none."""
    return header.partition("[")[2].partition("]")[0].partition(" of ")[0]
