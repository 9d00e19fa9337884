"""The units of a plan's answers: those in which the person who asked for it writes."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from bmp.shown_units import shown_units as units_to_show
from bmp.units import conversion


@dataclass(frozen=True)
class ShownUnits:
    """Unit of each kind of reading, as it is written on a header."""

    volume: str = "mL"
    gauge: str = "kPa"
    ambient: str = "kPa"
    temperature: str = "°C"
    mass: str = "g"

    def shown(self, kind: str, value: float) -> float:
        """Return a value of the project's own unit in the unit shown."""
        rule = conversion(self.header_unit(kind), OWN_UNITS[kind])
        return (value - rule.offset) / rule.factor

    @property
    def beside(self) -> tuple[str, ...]:
        """Units that stand beside the SI ones in what people read."""
        return units_beside((self.volume, self.gauge, self.ambient, self.temperature, self.mass))

    def header_unit(self, kind: str) -> str:
        """Return the unit of one of `OWN_UNITS`."""
        unit: str = getattr(self, kind)
        return unit


OWN_UNITS: Mapping[str, str] = {
    "volume": "mL",
    "gauge": "kPa",
    "ambient": "kPa",
    "temperature": "degC",
    "mass": "g",
}
# Pressure units that count from air pressure, by the way people write them on a rating.
_GAUGE_UNITS: Mapping[str, str] = {"psig": "psi", "kpag": "kPa", "barg": "bar", "mbarg": "mbar"}
# Volumes in which nobody reads a cylinder, although jars are counted in them.
_JAR_SIZES = ("L", "l", "litre", "liter", "gal", "gallon", "quart", "qt", "pint", "pt", "cup")


_JAR_SIZES_US = ("gal", "gallon", "quart", "qt", "pint", "pt", "cup")
_TOGETHER: Mapping[str, tuple[str, ...]] = {
    "oz": ("oz", "lb"), "lb": ("oz", "lb"), "fl oz": ("fl oz", "gal"), "gal": ("fl oz", "gal"),
    "psi": ("psi", "inHg"),
}  # fmt: skip
"""Units that a person has who has one of them: nobody is told a tank's feed in ounces alone."""


def units_beside(written: Iterable[str]) -> tuple[str, ...]:
    """Return the units that stand beside SI figures for a person who writes those."""
    found: list[str] = []
    for unit in written:
        plain = _GAUGE_UNITS.get(unit.lower().replace(" ", ""), unit.split("(")[0].strip())
        plain = "fl oz" if plain.lower().rstrip("s") in _JAR_SIZES_US else plain
        for one in units_to_show(plain) or ():
            found += _TOGETHER.get(one, (one,))
    return tuple(dict.fromkeys(found))


def shown_units(written: Mapping[str, str]) -> ShownUnits:
    """Return the units of a logbook from those on the items of its plan.

    Parameters
    ----------
    written
        Unit of each item that was given, by its field in the plan request. Gas is read in the unit
        of the collector, masses in that of the scale; where psi or °F are in use, the barometer in
        inHg.
    """
    rating = written.get("vessel_rating_kPa", "kPa")
    gauge = _GAUGE_UNITS.get(rating.lower().replace(" ", ""), rating.split("(")[0].strip())
    warm = written.get("incubation_temperature_C") or written.get("room_temperature_C") or "°C"
    fahrenheit = "F" in warm.upper()
    collector = written.get("collector_mL", "mL")
    weighed = (written.get("scale_g", ""), written.get("available_g", ""))
    usual = "inHg" if gauge == "psi" or fahrenheit else "kPa"
    return ShownUnits(
        volume="mL" if collector in _JAR_SIZES else collector,
        gauge=gauge,
        ambient=written.get("ambient_kPa", usual),
        temperature="°F" if fahrenheit else "°C",
        mass="oz" if {"oz", "lb"} & set(units_beside(weighed)) else "g",
    )
