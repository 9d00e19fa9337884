"""Gas at the reference state against published tables, worked examples and general libraries."""

from __future__ import annotations

import CoolProp.CoolProp
import numpy as np
import pytest
from fluids.atmosphere import ATMOSPHERE_1976
from iapws import IAPWS97

from bmp.atmosphere import standard_atmosphere_kPa, station_kPa
from bmp.constants import DENSITY_CH4_G_PER_ML, DENSITY_CO2_G_PER_ML, DENSITY_N2_G_PER_ML
from bmp.normalise.gas import head_kPa, reference_factor, saturation_pressure_kPa
from bmp.normalise.methane import methane_flush_excluded
from bmp.normalise.weighing import share_from_density, vapour_density
from tests.references import rows

WARMTH_C = np.arange(0.5, 70.1, 0.5)


def by_iapws(temperature_C: float) -> float:
    return 1000.0 * IAPWS97(T=temperature_C + 273.15, x=0.0).P


def by_coolprop(temperature_C: float) -> float:
    return CoolProp.CoolProp.PropsSI("P", "T", temperature_C + 273.15, "Q", 0, "Water") / 1000.0


@pytest.mark.parametrize("library", [by_iapws, by_coolprop], ids=["iapws", "CoolProp"])
def test_vapour_pressure_against_general_libraries(library) -> None:
    """Alduchov & Eskridge stay within 0.3 % of IAPWS to 40 °C, 0.65 % to 55 °C, 1.2 % to 70 °C."""
    truth = np.array([library(warmth) for warmth in WARMTH_C])
    off = np.abs(saturation_pressure_kPa(WARMTH_C) / truth - 1.0)
    assert off[WARMTH_C <= 40].max() < 0.003
    assert off[WARMTH_C <= 55].max() < 0.0065
    assert off.max() < 0.012


def test_vapour_pressure_against_the_handbook() -> None:
    """CRC Handbook of Chemistry and Physics, 73rd ed.: within 0.3 % to 40 °C, 0.8 % to 60 °C."""
    table = rows("water_vapour", "handbook")
    warmth = np.array([float(row["temperature_C"]) for row in table])
    printed = np.array([float(row["pressure_kPa"]) for row in table])
    off = np.abs(saturation_pressure_kPa(warmth) / printed - 1.0)
    assert off[warmth <= 40].max() < 0.003
    assert off.max() < 0.008


def test_normalisation_factors() -> None:
    """Five digits of the factors of Standard BMP Methods 201, saturated and dry."""
    for row in rows("normalisation_factors", "factors"):
        warmth, pressure = float(row["temperature_C"]), float(row["pressure_kPa"])
        for kind, vapour in (("saturated", saturation_pressure_kPa(warmth)), ("dry", 0.0)):
            factor = reference_factor(np.array(pressure), np.array(warmth), np.array(vapour))
            assert float(factor) == pytest.approx(float(row[kind]), abs=0.5001e-5)


def test_textbook_gas_over_water() -> None:
    """McPherson & Henderson 1906: 500 cc over water, 20 °C, 740 mm -> 442.9 cc dry at 0 °C, 760 mm.

    The book's vapour is 17.4 mm; today's value moves the answer by less than 0.1 cc.
    """
    mm_kPa = 101.325 / 760.0
    factor = reference_factor(
        np.array(740 * mm_kPa), np.array(20.0), saturation_pressure_kPa(np.array(20.0))
    )
    assert 500.0 * float(factor) == pytest.approx(442.9, abs=0.1)


def example(case: str, quantity: str) -> dict[str, str]:
    return next(
        row
        for row in rows("standard_methods", "examples")
        if row["case"] == case and row["quantity"] == quantity
    )


def agrees(value: float, case: str, quantity: str, wrong: bool = False) -> None:
    """The value has the printed digits; where the print is wrong, the computed ones and not it."""
    row = example(case, quantity)
    printed = float(row["printed"])
    if wrong:
        assert value == pytest.approx(float(row["computed"]), rel=2e-5)
        assert abs(value - printed) > 0.2 * printed
    else:
        assert value == pytest.approx(printed, abs=0.51 * 10.0 ** -int(row["digits"]))


def standard(volume_mL: float, pressure_kPa: float, temperature_C: float) -> float:
    vapour = saturation_pressure_kPa(temperature_C)
    return volume_mL * float(
        reference_factor(np.array(pressure_kPa), np.array(temperature_C), vapour)
    )


def test_manometric_example() -> None:
    """Standard BMP Methods 202 v2.5, worked example: 81.3 mL, 203.1 to 101.3 kPa, 30 °C.

    Its 73.63 mL of biogas is the difference of two rounded figures; in full precision it is 73.60.
    """
    case = "202 v2.5"
    agrees(float(saturation_pressure_kPa(30.0)), case, "vapour pressure kPa")
    before, after = standard(81.3, 203.1, 30.0), standard(81.3, 101.3, 30.0)
    agrees(before, case, "dry gas before venting NmL")
    agrees(after, case, "dry gas after venting NmL")
    row = example(case, "biogas NmL")
    assert before - after == pytest.approx(float(row["computed"]), abs=1e-3)
    share = 0.656 / (0.656 + 0.289)
    agrees(share, case, "share CH4/(CH4+CO2)")
    one = methane_flush_excluded(np.array(share), np.array(before - after))
    agrees(float(one), case, "methane by method 1 NmL")
    agrees(0.656 * before - 0.587 * after, case, "methane by method 2 NmL")


def test_volumetric_example_does_not_return_the_wrong_print() -> None:
    """Standard BMP Methods 201 v1.6 prints 124.8, 78.04, 78.59 mL; its own formula gives less."""
    case = "201 v1.6"
    gas = standard(73.6, 101.325, 30.0)
    agrees(gas * 101.325 * 303.15 / 101.325 / 273.15, case, "dry gas mL", wrong=True)
    agrees(gas, case, "dry gas NmL", wrong=True)
    share = 0.656 / (0.656 + 0.289)
    one = methane_flush_excluded(np.array(share), np.array(gas))
    agrees(float(one), case, "methane by method 1 NmL", wrong=True)
    under_lid = standard(81.3, 101.325, 30.0)
    two = 0.656 * gas + (0.656 - 0.587) * under_lid
    agrees(two, case, "methane by method 2 NmL", wrong=True)


def test_gas_density_example() -> None:
    """Standard BMP Methods 204: 1.070 g and 779.2 NmL at 30 °C and 150 kPa are 49.8 % methane."""
    vapour = vapour_density(np.array(0.4), np.array(150.0), saturation_pressure_kPa(np.array(30.0)))
    # the document takes 22,300 mL/mol; ours for 40 % methane is 22,300 as well
    agrees(float(vapour), "204", "vapour density g/mL")
    density = 1.070 / 779.2 - float(vapour)
    assert density == pytest.approx(float(example("204", "gas density g/mL")["computed"]), rel=1e-4)
    agrees(float(share_from_density(np.array(density))), "204", "share CH4/(CH4+CO2)")


def test_the_vapour_is_weighed_away_with_the_gas() -> None:
    """One mole of dry gas by CoolProp's molar masses, with its vapour, weighs more than without.

    Standard BMP Methods 203 prints V = Δm/(ρ - c), which would make the mass less.
    """
    share, pressure, warmth = 0.6, 101.325, 35.0
    mass = {
        gas: 1000.0 * CoolProp.CoolProp.PropsSI("M", gas)
        for gas in ("Methane", "CarbonDioxide", "Water")
    }
    vapour_kPa = by_coolprop(warmth)
    dry = share * mass["Methane"] + (1 - share) * mass["CarbonDioxide"]
    weighed = dry + mass["Water"] * vapour_kPa / (pressure - vapour_kPa)
    volume = share * 22_360.0 + (1 - share) * 22_260.0
    density = share * DENSITY_CH4_G_PER_ML + (1 - share) * DENSITY_CO2_G_PER_ML
    water = float(vapour_density(np.array(share), np.array(pressure), np.array(vapour_kPa)))
    # shares by mole and by volume differ by 0.2 % (molar volumes 22,360 and 22,260 mL)
    assert weighed / (density + water) == pytest.approx(volume, rel=2e-3)
    assert weighed / (density - water) > 1.05 * volume


@pytest.mark.parametrize(
    ("gas", "density"),
    [
        ("Methane", DENSITY_CH4_G_PER_ML),
        ("CarbonDioxide", DENSITY_CO2_G_PER_ML),
        ("Nitrogen", DENSITY_N2_G_PER_ML),
    ],
)
def test_densities_against_coolprop(gas: str, density: float) -> None:
    """Densities printed in Standard BMP Methods 203, against CoolProp at 0 °C and 101.325 kPa."""
    real = CoolProp.CoolProp.PropsSI("D", "T", 273.15, "P", 101_325.0, gas) / 1e3
    assert density == pytest.approx(real, rel=1e-3)


@pytest.mark.parametrize("altitude_m", [0, 250, 500, 1000, 1500, 2000, 3000, 5000])
def test_standard_atmosphere_against_a_general_library(altitude_m: float) -> None:
    """The US Standard Atmosphere 1976 of the package fluids (as ISO 2533): within 0.1 %."""
    assert standard_atmosphere_kPa(altitude_m) == pytest.approx(
        ATMOSPHERE_1976(altitude_m).P / 1000.0, rel=1e-3
    )


def test_standard_atmosphere_against_its_table() -> None:
    """Table of the US Standard Atmosphere 1976, geometric altitude (from memory)."""
    table = {1000: 89.876, 2000: 79.501, 3000: 70.121}
    for altitude_m, pressure_kPa in table.items():
        assert standard_atmosphere_kPa(altitude_m) == pytest.approx(pressure_kPa, rel=3e-4)
    assert station_kPa(101.325, 1000.0) == pytest.approx(89.876, rel=3e-4)


def test_water_head() -> None:
    """20 cm of water are 1.958 kPa: 998.2 kg/m³ (20 °C) times standard gravity (from memory)."""
    assert float(head_kPa(np.array(20.0))) == pytest.approx(1.958, abs=5e-4)
