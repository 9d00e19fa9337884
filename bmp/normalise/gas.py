"""Gas volumes at the reference state: dry, 0 °C, 101.325 kPa."""

from __future__ import annotations

import numpy as np

from bmp.constants import (
    REFERENCE_PRESSURE_KPA,
    REFERENCE_TEMPERATURE_K,
    STANDARD_GRAVITY_M_PER_S2,
    WATER_DENSITY_KG_PER_M3,
    ZERO_CELSIUS_K,
)
from bmp.trial import FloatArray


def saturation_pressure_kPa(temperature_C: FloatArray | float) -> FloatArray:
    """Return the saturation pressure of water vapour [kPa].

    Parameters
    ----------
    temperature_C : ndarray or float

    Notes
    -----
    Magnus form of Alduchov & Eskridge (1996), J. Appl. Meteorol. 35:601, Eq. 21, as Standard BMP
    Methods 201 to 204 use it. Within 0.3 % of IAPWS to 40 °C and 0.6 % at 55 °C.
    """
    warmth = np.asarray(temperature_C, dtype=float)
    pressure: FloatArray = 0.61094 * np.exp(17.625 * warmth / (243.04 + warmth))
    return pressure


def reference_factor(
    pressure_kPa: FloatArray, temperature_C: FloatArray | float, vapour_kPa: FloatArray
) -> FloatArray:
    """Return what a read volume is multiplied by to become dry gas at the reference state.

    Standard BMP Methods 201 v1.6, Eq. 1: (p - p_H2O)/101.325 kPa · 273.15 K/T.

    Parameters
    ----------
    pressure_kPa, temperature_C, vapour_kPa : ndarray (temperature_C : or float)
        Absolute pressure, temperature and vapour pressure of the gas where its volume was read
        (vapour 0 for dry gas). Shapes broadcast.
    """
    factor: FloatArray = (
        (pressure_kPa - vapour_kPa)
        / REFERENCE_PRESSURE_KPA
        * (REFERENCE_TEMPERATURE_K / (temperature_C + ZERO_CELSIUS_K))
    )
    return factor


def head_kPa(water_head_cm: FloatArray) -> FloatArray:
    """Return by how much a column of water of that height lowers the gas pressure [kPa]."""
    pressure: FloatArray = (
        WATER_DENSITY_KG_PER_M3 * STANDARD_GRAVITY_M_PER_S2 * (water_head_cm / 100.0) / 1000.0
    )
    return pressure
