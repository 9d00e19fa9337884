"""What inputs can be: one table for the reader, the plan, the logbook, the checks and the page.

`POSSIBLE`: outside of it a value is a slip of the pen or of the unit, and is refused. `USUAL`: what
lies outside is kept and asked about. Common practice where no source is named.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final


@dataclass(frozen=True)
class Range:
    """Lowest and highest value, both allowed, in the project's unit (shares 0 to 1)."""

    low: float
    high: float
    unit: str
    """As people write it; `%` for shares."""

    def holds(self, value: float) -> bool:
        """Tell whether a value lies inside."""
        return self.low <= value <= self.high

    @property
    def words(self) -> str:
        """Return the range in words, with its unit."""
        scale = 100.0 if self.unit == "%" else 1.0
        return f"between {scale * self.low:,.4g} and {scale * self.high:,.4g} {self.unit}".strip()


_GAUGE = Range(-100.0, 2000.0, "kPa")
_ABSOLUTE = Range(0.0, 2000.0, "kPa")
_MASS = Range(0.0, 1e6, "g")
_GAS_TEMPERATURE = Range(-10.0, 80.0, "°C")
_SYRINGE = Range(0.0, 1e5, "mL")

POSSIBLE: Final[Mapping[str, Range]] = {
    # of the trial, of a plan and of a reading
    "ambient_kPa": Range(40.0, 115.0, "kPa"),
    "temperature_C": _GAS_TEMPERATURE,
    "gas_temperature_C": _GAS_TEMPERATURE,
    "closing_temperature_C": _GAS_TEMPERATURE,
    "incubation_temperature_C": Range(0.0, 80.0, "°C"),
    "closing_kPa": Range(40.0, 500.0, "kPa"),
    "altitude_m": Range(-450.0, 6000.0, "m"),
    "methane_share": Range(0.0, 1.0, "%"),
    "methane_share_half_width": Range(0.0, 1.0, "%"),
    "share_before_absorber": Range(0.2, 1.0, "%"),
    "balance_uncertainty_g": Range(0.0, 100.0, "g"),
    # of a material
    "pH": Range(0.0, 14.0, ""),
    # of a reading
    "volume_mL": Range(-1e5, 1e7, "mL"),
    "water_head_cm": Range(-500.0, 500.0, "cm"),
    "gauge_before_kPa": _GAUGE,
    "gauge_after_kPa": _GAUGE,
    "absolute_before_kPa": _ABSOLUTE,
    "absolute_after_kPa": _ABSOLUTE,
    "mass_g": _MASS,
    "mass_before_g": _MASS,
    "mass_after_g": _MASS,
    "syringe_gas_mL": _SYRINGE,
    "syringe_gas_left_mL": _SYRINGE,
}

USUAL: Final[Mapping[str, Range]] = {
    # Where people live: 5,300 m in the standard atmosphere (ISO 2533) to the sea in high weather.
    "ambient_kPa": Range(52.0, 109.0, "kPa"),
    "temperature_C": Range(-10.0, 60.0, "°C"),
    "methane_share": Range(0.03, 1.0, "%"),
    "absolute_before_kPa": Range(52.0, 400.0, "kPa"),
    "absolute_after_kPa": Range(52.0, 400.0, "kPa"),
}
