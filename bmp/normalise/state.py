"""The state of the gas at every reading: air, temperature, vapour, and the lid at closing."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from bmp.constants import REFERENCE_PRESSURE_KPA
from bmp.normalise.gas import head_kPa, reference_factor, saturation_pressure_kPa
from bmp.runs import first, lengths
from bmp.trial import FloatArray, IntArray, Jar, Readings, Setup

# Corrections that can be left out to see what each does to the result, with what they correct.
CORRECTIONS: dict[str, str] = {
    "water vapour": "water vapour in the gas is not gas of the jar",
    "temperature": "gas read warmer than 0 °C takes more room",
    "air pressure": "gas read at another pressure than 101.325 kPa takes more or less room",
    "water head": "a column of water in the gas tube changes its pressure",
    "headspace": "gas under the lid swells and shrinks with the weather",
    "closing": "gas under the lid of a jar closed cold (or under pressure) swells out of it",
    "flush gas": "flush gas leaves with the first gas, and methane stays under the lid",
    "scale drift": "the balance's drift, measured with dummy jars",
}


@dataclass(frozen=True, eq=False)
class GasState:
    """Arrays aligned with the readings."""

    ambient_kPa: FloatArray
    gas_kPa: FloatArray
    """Absolute pressure at which a volume is read."""
    gas_C: FloatArray
    gas_vapour_kPa: FloatArray
    factor: FloatArray
    """From the read volume to dry gas at the reference state."""
    headspace_mL: FloatArray
    """NaN where unknown."""
    headspace_C: FloatArray
    closing_kPa: FloatArray
    """Under the lid when the jar was closed, as `closing_C`."""
    closing_C: float
    with_vapour: bool
    with_temperature: bool

    def under_lid_NmL(
        self, pressure_kPa: FloatArray, temperature_C: FloatArray | float
    ) -> FloatArray:
        """Return the dry gas in the headspace at an absolute pressure; NaN where it is unknown."""
        vapour = saturation_pressure_kPa(temperature_C) * self.with_vapour
        warmth = temperature_C if self.with_temperature else 0.0
        return self.headspace_mL * reference_factor(pressure_kPa, warmth, vapour)

    @cached_property
    def at_closing_NmL(self) -> FloatArray:
        """Dry gas under the lid when the jar was closed."""
        return self.under_lid_NmL(self.closing_kPa, self.closing_C)


def gas_state(
    readings: Readings, jars: tuple[Jar, ...], setup: Setup, without: str | None = None
) -> GasState:
    """Return the state of the gas at every reading.

    Parameters
    ----------
    without : str, optional
        A correction of `CORRECTIONS` to leave out.
    """
    ambient = filled(readings.column("ambient_kPa"), setup.ambient_kPa)
    weighed = np.array([jar.measured == "mass" for jar in jars], dtype=bool)[readings.jar]
    typed = readings.column("temperature_C")
    incubation = np.full(typed.shape, setup.incubation_temperature_C)
    gas_C = typed
    if setup.gas_temperature_C is not None:
        gas_C = filled(np.where(weighed, np.nan, typed), setup.gas_temperature_C)
    volumes = np.array([jar.measured in ("volume", "methane volume") for jar in jars], dtype=bool)
    headspace_C = np.where(volumes[readings.jar] | np.isnan(typed), incubation, typed)
    gas_kPa = ambient
    if "water_head_cm" in readings.columns and without != "water head":
        gas_kPa = ambient - head_kPa(np.nan_to_num(readings.column("water_head_cm")))
    with_vapour, with_temperature = without != "water vapour", without != "temperature"
    vapour = saturation_pressure_kPa(gas_C) * (setup.gas_is_wet and with_vapour)
    factor = reference_factor(
        np.full_like(gas_kPa, REFERENCE_PRESSURE_KPA) if without == "air pressure" else gas_kPa,
        gas_C if with_temperature else 0.0,
        vapour,
    )
    closing_kPa, closing_C = _closing(readings.jar, ambient, setup, without)
    headspace = np.array([np.nan if j.headspace_mL is None else j.headspace_mL for j in jars])
    return GasState(
        ambient, gas_kPa, gas_C, vapour, factor, headspace[readings.jar], headspace_C,
        closing_kPa, closing_C, with_vapour, with_temperature,
    )  # fmt: skip


def filled(values: FloatArray, default: float | None) -> FloatArray:
    """Return the values with their gaps filled by a default, where there is one."""
    return values if default is None else np.where(np.isnan(values), default, values)


def _closing(
    jar: IntArray, ambient_kPa: FloatArray, setup: Setup, without: str | None
) -> tuple[FloatArray, float]:
    """Return pressure, spread over each jar's readings, and temperature under the lid at closing.

    Not given: the air pressure of the jar's first reading, and the temperature of the incubation.
    """
    pressure = np.repeat(ambient_kPa[first(jar)], lengths(jar))
    if setup.closing_kPa is not None and without != "closing":
        pressure = np.full(jar.shape, setup.closing_kPa)
    if setup.closing_temperature_C is not None and without != "closing":
        return pressure, setup.closing_temperature_C
    return pressure, setup.incubation_temperature_C
