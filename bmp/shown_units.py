"""Units that people may want beside the SI ones, and what each is in them.

Factors: NIST Special Publication 811 (2008), appendix B.8; the degree Fahrenheit from its B.9.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Final

US: Final = ("°F", "psi", "inHg", "fl oz", "gal", "cu ft", "oz", "lb")
EVERYDAY: Final[Mapping[str, tuple[str, ...]]] = {"us customary": US, "us": US, "si": ()}
"""Words that stand for several units."""

_POUND_KG, _CUBIC_FOOT_L, _GALLON_L = 0.45359237, 28.31685, 3.785412


@dataclass(frozen=True)
class Beside:
    """A unit as the report writes it, and the one that stands beside it where it is wanted."""

    own: str
    wanted: str
    needs: tuple[str, ...]
    """Units of which each must be wanted."""
    factor: float
    """Of the unit that is wanted in one of the report's own."""
    offset: float = 0.0
    air: bool = False
    """For the pressure of the air alone."""


_YIELD = _POUND_KG / _CUBIC_FOOT_L
_CUBIC_INCH_ML = 1e3 * _CUBIC_FOOT_L / 1728.0
_PER_MASS = ("cu ft", "lb")


def _yields() -> Iterator[Beside]:
    """Yield the rows of gas per mass, which has as many names as masses and ways to count it."""
    for gas in ("", " CH4"):
        for of in (" VS", " TS", " fresh", " fresh mass"):
            yield Beside(f"NmL{gas}/g{of}", f"cu ft{gas}/lb{of}", _PER_MASS, _YIELD)
            yield Beside(f"NmL{gas}/(g{of} d)", f"cu ft{gas}/(lb{of} d)", _PER_MASS, _YIELD)
            yield Beside(f"NmL{gas} per g{of}", f"cu ft{gas} per lb{of}", _PER_MASS, _YIELD)
        yield Beside(f"NmL{gas} per g", f"cu ft{gas} per lb", _PER_MASS, _YIELD)
        yield Beside(f"NL{gas}/kg", f"cu ft{gas}/lb", _PER_MASS, _YIELD)
        yield Beside(f"NmL{gas}", f"cu in{gas}", ("cu ft",), 1.0 / _CUBIC_INCH_ML)


BESIDE: Final = (
    Beside("°C", "°F", ("°F",), 1.8, 32.0),
    Beside("kPa", "inHg", ("inHg",), 1.0 / 3.386389, air=True),
    Beside("kPa", "mmHg", ("mmHg",), 1.0 / 0.1333224, air=True),
    Beside("kPa", "psi", ("psi",), 1.0 / 6.894757),
    Beside("kPa", "mbar", ("mbar",), 10.0),
    Beside("kPa", "hPa", ("hPa",), 10.0),
    Beside("kPa", "inHg", ("inHg",), 1.0 / 3.386389),
    Beside("kPa", "mmHg", ("mmHg",), 1.0 / 0.1333224),
    *_yields(),
    Beside("kg VS/(m³ d)", "lb VS/(cu ft d)", _PER_MASS, _CUBIC_FOOT_L / 1e3 / _POUND_KG),
    Beside("NL/d", "cu ft/d", ("cu ft",), 1.0 / _CUBIC_FOOT_L),
    Beside("NL", "cu ft", ("cu ft",), 1.0 / _CUBIC_FOOT_L),
    Beside("m³", "cu ft", ("cu ft",), 1e3 / _CUBIC_FOOT_L),
    Beside("L", "gal", ("gal",), 1.0 / _GALLON_L),
    Beside("mL", "fl oz", ("fl oz",), 1.0 / 29.57353),
    Beside("kg", "lb", ("lb",), 1.0 / _POUND_KG),
    Beside("g", "oz", ("oz",), 1.0 / 28.34952),
)
"""The first row that is wanted counts."""

UNITS: Final = tuple(dict.fromkeys(unit for row in BESIDE for unit in row.needs))
_SPELLED: Final[Mapping[str, str]] = {
    **{unit.lower(): unit for unit in UNITS},
    **dict.fromkeys(("f", "degf", "deg f", "fahrenheit"), "°F"),
    **dict.fromkeys(("psig", "psi gauge"), "psi"),
    **dict.fromkeys(("in hg", "inches of mercury"), "inHg"),
    **dict.fromkeys(("floz", "fluid ounces"), "fl oz"),
    **dict.fromkeys(("gallon", "gallons"), "gal"),
    **dict.fromkeys(("ft^3", "ft³", "ft3", "cubic feet"), "cu ft"),
    **dict.fromkeys(("pound", "pounds"), "lb"),
    **dict.fromkeys(("ounce", "ounces"), "oz"),
}


def wanted(own: str, units: Sequence[str], air: bool = False) -> Beside | None:
    """Return the row of a unit of the report's own; `None` where no other one is wanted.

    Parameters
    ----------
    air
        It is the pressure of the air, which has instruments of its own.
    """
    return next(
        (
            row
            for row in BESIDE
            if row.own == own and set(row.needs) <= set(units) and (air or not row.air)
        ),
        None,
    )


def shown_units(text: str) -> tuple[str, ...] | None:
    """Return the units of a list such as `psi, °F, lb`, or `None` where one is not known."""
    found: list[str] = []
    for part in re.split(r"[,;+]", text):
        plain = " ".join(part.lower().split())
        if plain in EVERYDAY:
            found += EVERYDAY[plain]
        elif plain in _SPELLED:
            found.append(_SPELLED[plain])
        elif plain:
            return None
    return tuple(dict.fromkeys(found))
