"""Units that people write, brought to the project's own by pint.

A unit is taken at its word or refused; none is guessed from the size of the numbers.
"""

from __future__ import annotations

import difflib
import re
from dataclasses import dataclass
from functools import cache
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import pint

# What people write on a header and pint reads otherwise or not at all.
_SPELLINGS: dict[str, str] = {
    "c": "degC",
    "°c": "degC",
    "degc": "degC",
    "celsius": "degC",
    "f": "degF",
    "°f": "degF",
    "degf": "degF",
    "fahrenheit": "degF",
    "k": "kelvin",
    "fraction": "dimensionless",
    "1": "dimensionless",
    "-": "dimensionless",
    "floz": "floz",
    "fl oz": "floz",
    "fl. oz": "floz",
    "fl. oz.": "floz",
    "us fl oz": "floz",
    "us floz": "floz",
    "us fl. oz.": "floz",
    "fluid ounce": "floz",
    "fluid ounces": "floz",
    "us fluid ounces": "floz",
    "deg c": "degC",
    "degrees c": "degC",
    "degrees celsius": "degC",
    "deg f": "degF",
    "degrees f": "degF",
    "degrees fahrenheit": "degF",
    "in hg": "inHg",
    "in. hg": "inHg",
    "inches hg": "inHg",
    "inches of hg": "inHg",
    "inches of mercury": "inHg",
    '"hg': "inHg",
    "mm hg": "mmHg",
    "mm of mercury": "mmHg",
    "in h2o": "inH2O",
    "inh2o": "inH2O",
    "inches of water": "inH2O",
    "inches h2o": "inH2O",
    '"h2o': "inH2O",
    "mb": "mbar",
    "millibars": "mbar",
    "cu ft": "ft^3",
    "cu. ft.": "ft^3",
    "cubic feet": "ft^3",
    "cu in": "in^3",
    "cu. in.": "in^3",
    "cubic inches": "in^3",
    "cc": "cm^3",
    "ccm": "cm^3",
    "cm h2o": "cmH2O",
    "cm of water": "cmH2O",
    "nml": "NmL",
    "nl": "NmL",
    "std ml": "NmL",
    # by any case: nobody reads a jar's gas in megalitres or air pressure in megabars
    **{unit.lower(): unit for unit in ("mL", "L", "kPa", "hPa", "Pa", "mbar", "bar", "psi")},
    **{unit.lower(): unit for unit in ("mmHg", "inHg", "cmH2O", "torr", "atm", "g", "kg")},
    **{unit: unit for unit in ("d", "h", "min")},
}

# Units to offer in a message, by the project's own unit.
EXAMPLES: dict[str, str] = {
    "mL": "mL, L, cm³, floz",
    "kPa": "kPa, mbar, hPa, bar, psi, mmHg, inHg, atm",
    "degC": "°C, °F, K",
    "g": "g, kg, mg, oz, lb",
    "d": "d, h, min",
    "cm": "cm, mm, in",
    "m": "m, ft",
    "dimensionless": "%, fraction, g/kg",
    "mL/g": "mL/g, L/kg, m^3/kg, m^3/t",
    "g/g": "g/g, g/kg",
    "g/kg": "g/kg, %, mg/g",
    "L": "L, m^3, gal",
    "kg/d": "kg/d, lb/d, g/d",
    "mg/L": "mg/L, g/L",
    "g/L": "g/L, mg/L",
    "m^2": "m^2, ft^2",
    "W/m^2/K": "W/m^2/K",
    "kWh/d": "kWh/d, W",
    "kg/L": "kg/L, kg/m^3",
}

# The commonest units, so that a trial without rarer ones need not wait for pint to load; a test
# holds every row against pint. (unit, the project's own unit) -> factor, offset
_COMMON: dict[tuple[str, str], tuple[float, float]] = {
    ("mL", "mL"): (1.0, 0.0),
    ("L", "mL"): (1000.0, 0.0),
    ("kPa", "kPa"): (1.0, 0.0),
    ("mbar", "kPa"): (0.1, 0.0),
    ("hPa", "kPa"): (0.1, 0.0),
    ("degC", "degC"): (1.0, 0.0),
    ("g", "g"): (1.0, 0.0),
    ("kg", "g"): (1000.0, 0.0),
    ("d", "d"): (1.0, 0.0),
    ("h", "d"): (1.0 / 24.0, 0.0),
    ("cm", "cm"): (1.0, 0.0),
    ("m", "m"): (1.0, 0.0),
    ("%", "dimensionless"): (0.01, 0.0),
    ("mL/g", "mL/g"): (1.0, 0.0),
    ("L/kg", "mL/g"): (1.0, 0.0),
    ("g/g", "g/g"): (1.0, 0.0),
    ("g/kg", "g/kg"): (1.0, 0.0),
    ("kg/L", "kg/L"): (1.0, 0.0),
    ("L", "L"): (1.0, 0.0),
    ("kg/d", "kg/d"): (1.0, 0.0),
    ("mg/L", "mg/L"): (1.0, 0.0),
    ("g/L", "g/L"): (1.0, 0.0),
    ("m^2", "m^2"): (1.0, 0.0),
    ("W/m^2/K", "W/m^2/K"): (1.0, 0.0),
    ("kWh/d", "kWh/d"): (1.0, 0.0),
}

# Texts that pint takes for a unit which hardly anybody means, and what is usually meant by them.
_MISTAKEN: dict[str, tuple[str, str]] = {"gr": ("grains, 0.065 g each", "g")}

_ALLOWED = re.compile(r"[A-Za-z0-9_°µμ²³·%*/^().\s-]{1,30}")
# A power of a unit, one digit: towers of powers (`9^9^9`) would keep a computer busy for ever.
_POWER = re.compile(r"(?<=[^\W\d_])\^-?\d(?![\d.^])")


class UnknownUnit(ValueError):
    """The text is no unit, or a unit of another kind of quantity."""


@dataclass(frozen=True)
class Conversion:
    """The straight line `factor * x + offset` from a written unit to the project's own."""

    factor: float
    offset: float = 0.0


@cache
def _registry() -> pint.UnitRegistry[float]:
    import pint

    return pint.UnitRegistry(autoconvert_offset_to_baseunit=True)


@cache
def conversion(text: str, target: str) -> Conversion:
    """Return the conversion from the unit written as `text` to the unit `target`.

    Raises
    ------
    UnknownUnit
        If `text` is no unit, is of another dimension, or means a normalised volume.
    """
    written = text.strip()
    if _plain(written) in _MISTAKEN:
        raise UnknownUnit(f"“{written}” means {_MISTAKEN[_plain(written)][0]}")
    spelled = _SPELLINGS.get(_plain(written), written)
    if (spelled, target) in _COMMON:
        return Conversion(*_COMMON[spelled, target])
    return _by_pint(written, spelled, target)


def _plain(text: str) -> str:
    """Return a unit in lower case, single-spaced, with one kind of inch mark."""
    marked = text.replace("''", '"').replace("”", '"').replace("″", '"')
    return " ".join(marked.lower().split())


def near_unit(text: str, target: str) -> str | None:
    """Return the unit that a text which is none looks like, as it may be written; or `None`.

    It is for asking back only: the unit is never taken from it.
    """
    if _plain(text) in _MISTAKEN:
        return _MISTAKEN[_plain(text)][1]
    offered = EXAMPLES[target].split(", ")
    written = {spelling.lower(): spelling for spelling in offered}
    shown = {_SPELLINGS.get(spelling, spelling): unit for spelling, unit in written.items()}
    written |= {plain: shown[unit] for plain, unit in _SPELLINGS.items() if unit in shown}
    near = difflib.get_close_matches(_plain(text)[:30], list(written), 1, 0.7)
    return written[near[0]] if near else None


# What a unit measures, by the project's own unit of it.
_KINDS: dict[str, str] = {
    "mL": "a volume",
    "kPa": "a pressure",
    "degC": "a temperature",
    "g": "a mass",
    "d": "a time",
    "cm": "a length",
    "m": "a length",
    "L": "a volume",
    "dimensionless": "a share",
    "mL/g": "a volume per mass",
    "g/g": "a mass per mass",
    "g/kg": "a mass per mass",
    "kg/d": "a mass per time",
    "mg/L": "a mass per volume",
    "g/L": "a mass per volume",
    "m^2": "an area",
    "W/m^2/K": "heat passed per area and kelvin",
    "kWh/d": "a power",
    "kg/L": "a density",
}


def _kind(unit: pint.Unit) -> str:
    """Return what a unit measures, in words."""
    for own, words in _KINDS.items():
        if unit.dimensionality == _registry().parse_units(own).dimensionality:
            return words
    return "something else"


def _by_pint(written: str, spelled: str, target: str) -> Conversion:
    import pint

    if spelled == "NmL":
        raise UnknownUnit("a normal (already corrected) volume is not a reading")
    spelled = spelled.replace("²", "^2").replace("³", "^3").replace("**", "^")
    if not _ALLOWED.fullmatch(spelled) or "^" in _POWER.sub("", spelled):
        raise UnknownUnit(f"“{written[:30]}” is no unit")
    try:
        unit = _registry().parse_units(spelled.replace("µ", "u").replace("μ", "u"))
        far, zero = (_registry().Quantity(x, unit).to(target).magnitude for x in (1e4, 0.0))
    except pint.DimensionalityError:
        raise UnknownUnit(f"“{written}” measures {_kind(unit)}, not {_KINDS[target]}") from None
    # pint raises a wide family for text that is no unit (tokenizer errors among them)
    except Exception:
        raise UnknownUnit(f"“{written}” is no unit") from None
    # 14 digits: the factor of cm³ to mL is 1, whatever the last bit says
    return Conversion(float(f"{(far - zero) / 1e4:.14g}"), float(f"{zero:.14g}"))
