"""Air pressure from altitude by the standard atmosphere."""

from __future__ import annotations

from bmp.constants import REFERENCE_PRESSURE_KPA


def standard_atmosphere_kPa(altitude_m: float) -> float:
    """Return the air pressure of the standard atmosphere [kPa], for -500 to 11,000 m.

    Notes
    -----
    ISO 2533:1975, the troposphere's formula in its usual short form (from memory; checked against
    the table of the standard's values in the tests).
    """
    return float(REFERENCE_PRESSURE_KPA * (1.0 - 2.25577e-5 * altitude_m) ** 5.25588)


def station_kPa(sea_level_kPa: float, altitude_m: float) -> float:
    """Return the pressure at the station for one that was reduced to sea level [kPa]."""
    return sea_level_kPa * standard_atmosphere_kPa(altitude_m) / REFERENCE_PRESSURE_KPA
