"""Gas as it stands in the bag: how fast it fills, what it would run, and what leaves the tank."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Final

import numpy as np

from bmp.constants import (
    MOLAR_MASS_CH4,
    MOLAR_MASS_CO2,
    MOLAR_VOLUME_CH4_ML,
    MOLAR_VOLUME_CO2_ML,
)
from bmp.normalise.gas import reference_factor, saturation_pressure_kPa


@dataclass(frozen=True)
class GasUse:
    """What an appliance takes, litres of biogas per `unit`."""

    name: str
    least_L: float
    most_L: float
    unit: str
    source: str


_GUIDES: Final = "household digester guides (GTZ 1988-1993)"
GAS_USES: Final = (
    GasUse("stove", 200.0, 450.0, "hours of one stove burner a day", _GUIDES),
    GasUse("lamp", 120.0, 150.0, "hours of one gas lamp a day", "common figure, from memory"),
    GasUse("boiling water", 30.0, 40.0, "litres of water boiled a day", _GUIDES),
    GasUse("meals", 150.0, 300.0, "meals for one a day", _GUIDES),
)


def wet_litres_per_NL(temperature_C: float, ambient_kPa: float) -> float:
    """Return the litres that 1 NL of dry gas fills over water at ambient pressure."""
    here = np.array([ambient_kPa]), np.array([temperature_C])
    return float(1.0 / reference_factor(*here, saturation_pressure_kPa(temperature_C))[0])


def hours_until_full(
    storage_L: float, biogas_NL_per_d: float, litres_per_NL: float
) -> float | None:
    """Return the hours in which an empty bag fills; None where no gas to speak of comes."""
    if biogas_NL_per_d < 1e-6:
        return None
    return 24.0 * storage_L / (biogas_NL_per_d * litres_per_NL)


def what_gas_does(biogas_NL_per_d: float, litres_per_NL: float) -> tuple[Mapping[str, Any], ...]:
    """Return what all the gas of a day would do in each use, either or."""
    litres = max(0.0, biogas_NL_per_d * litres_per_NL)
    return tuple(
        {
            "use": use.name,
            "low": litres / use.most_L,
            "high": litres / use.least_L,
            "unit": use.unit,
            "source": use.source,
        }
        for use in GAS_USES
    )


def gas_mass_kg_per_d(methane_NL_per_d: float, biogas_NL_per_d: float) -> float:
    """Return the mass of the dry biogas, kg/d: what the digestate is lighter by than the feed."""
    methane = methane_NL_per_d / MOLAR_VOLUME_CH4_ML * MOLAR_MASS_CH4
    carbon_dioxide = (biogas_NL_per_d - methane_NL_per_d) / MOLAR_VOLUME_CO2_ML * MOLAR_MASS_CO2
    return methane + carbon_dioxide
