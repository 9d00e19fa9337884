"""Heat, heating value and gas volumes against general packages and published figures."""

import csv
from math import pi
from pathlib import Path

import chemicals
import ht
import pytest
from CoolProp.CoolProp import PropsSI

from bmp.constants import MOLAR_VOLUME_CH4_ML, MOLAR_VOLUME_CO2_ML, MOLAR_VOLUME_IDEAL_ML
from bmp.tank.gas_use import gas_mass_kg_per_d, wet_litres_per_NL
from bmp.tank.heat import (
    HEAT_CAPACITY_KJ_PER_KG_K,
    METHANE_LOWER_HEATING_VALUE_MJ_PER_M3,
    loss_kWh_per_d,
    warming_kWh_per_d,
)
from bmp.wall import CONDUCTIVITY_W_PER_M_K, Layer, round_wall_W_per_K, wall_U

ISO_6976 = Path(__file__).parents[2] / "reference_data/methane_heating_value/iso_6976.csv"
WALL = (Layer(0.003, 0.4), Layer(0.05, 0.028), Layer(0.001, 50.0))


def test_flat_layers():
    """Sum of resistances by `ht`, one square metre, with the ISO 6946 film outside."""
    resistance = sum(ht.k_to_R(k=x.conductivity_W_per_m_K, t=x.thickness_m, A=1.0) for x in WALL)
    assert wall_U(WALL, 0.04) == pytest.approx(1 / (resistance + 0.04), rel=1e-12)


def test_round_layers():
    """Layers on a cylinder by `ht.R_cylinder`, and the film on the outermost surface."""
    inner, height, resistance = 0.58, 0.85, 0.0
    for layer in WALL:
        outer = inner + 2 * layer.thickness_m
        resistance += ht.R_cylinder(Di=inner, Do=outer, k=layer.conductivity_W_per_m_K, L=height)
        inner = outer
    resistance += 0.13 / (pi * inner * height)
    assert round_wall_W_per_K(0.58, height, WALL, 0.13) == pytest.approx(1 / resistance, rel=1e-12)


def test_wide_round_wall_is_a_flat_one():
    """On a tank 1 km wide the curvature does not matter."""
    area = pi * 1000.0 * 2.0
    assert round_wall_W_per_K(1000.0, 2.0, WALL, 0.04) == pytest.approx(
        wall_U(WALL, 0.04) * area, rel=1e-3
    )


@pytest.mark.parametrize(
    ("ours", "theirs"),
    [
        ("steel", "Metals, steel"),
        ("glass fibre", "Spray-applied Glass fiber"),
        ("mineral wool", "Mineral wool, felted, 32 kg/m^3"),
        ("polyurethane foam", "Spray-applied Polyurethane foam, aged and dry, 50 mm"),
        ("polystyrene", "Expanded polystyrene, molded beads"),
        ("straw", "Straw thatch"),
        ("wood", "Southern pine"),
        ("brick", "Brick, fired clay, 1600 kg/m^3"),
    ],
)
def test_conductivity_of_wall_materials(ours, theirs):
    """Handbook tables in `ht` (ASHRAE 2009, ISO 10456): a round figure, so within 15 %."""
    assert CONDUCTIVITY_W_PER_M_K[ours] == pytest.approx(ht.k_material(theirs), rel=0.15)


def test_heating_value_against_enthalpies_of_formation():
    """CH4 + 2 O2 -> CO2 + 2 H2O(g) by `chemicals` at 25 °C, ideal molar volume: three digits."""
    released = chemicals.Hfg("74-82-8") - chemicals.Hfg("124-38-9") - 2 * chemicals.Hfg("7732-18-5")
    volumetric = released / MOLAR_VOLUME_IDEAL_ML
    ours = METHANE_LOWER_HEATING_VALUE_MJ_PER_M3
    assert ours == pytest.approx(volumetric, abs=0.05)


def test_heating_value_against_iso_6976():
    """ISO 6976 (from memory), per volume and per mole, to our three digits."""
    with ISO_6976.open(encoding="utf-8") as file:
        printed = {row["unit"]: float(row["value"]) for row in csv.DictReader(file)}
    ours = METHANE_LOWER_HEATING_VALUE_MJ_PER_M3
    assert ours == pytest.approx(printed["MJ/m3"], abs=0.05)
    assert ours * MOLAR_VOLUME_IDEAL_ML / 1000 == pytest.approx(printed["kJ/mol"], rel=0.0014)


def test_biogas_of_household_guides():
    """GTZ guides 1988-1993: biogas 20 to 24 MJ/m³ as it is used, at 55 to 70 % methane."""
    litres = wet_litres_per_NL(20.0, 101.325)
    for methane in (0.60, 0.65, 0.70):
        as_used = methane * METHANE_LOWER_HEATING_VALUE_MJ_PER_M3 / litres
        assert 19.5 <= as_used <= 24.5


@pytest.mark.parametrize("temperature_C", [5.0, 20.0, 37.0, 55.0])
def test_heat_capacity_of_water(temperature_C):
    """CoolProp, 5 to 55 °C: within 0.5 %."""
    coolprop = PropsSI("C", "T", temperature_C + 273.15, "P", 101325, "Water") / 1000
    assert pytest.approx(coolprop, rel=0.005) == HEAT_CAPACITY_KJ_PER_KG_K


@pytest.mark.parametrize("temperature_C", [5.0, 20.0, 37.0])
def test_wet_gas_in_the_bag(temperature_C):
    """CoolProp's vapour pressure in the same ideal-gas sum: within 0.05 %."""
    kelvin = temperature_C + 273.15
    vapour = PropsSI("P", "T", kelvin, "Q", 0, "Water") / 1000
    expected = kelvin / 273.15 * 101.325 / (95.0 - vapour)
    assert wet_litres_per_NL(temperature_C, 95.0) == pytest.approx(expected, rel=5e-4)


def test_molar_volumes_and_gas_mass():
    """CoolProp's real gases at 0 °C, 101.325 kPa; then the mass of 100 NL of 60 % methane."""
    litres = {}
    for name, ours in (("Methane", MOLAR_VOLUME_CH4_ML), ("CO2", MOLAR_VOLUME_CO2_ML)):
        density = PropsSI("D", "T", 273.15, "P", 101325, name)
        litres[name] = density
        molar = PropsSI("M", name) / density * 1e6
        assert ours == pytest.approx(molar, rel=3e-4)
    expected = 0.060 * litres["Methane"] + 0.040 * litres["CO2"]
    assert gas_mass_kg_per_d(60.0, 100.0) == pytest.approx(expected, rel=1e-3)


def test_lagged_drum_takes_about_a_kilowatt_hour_a_day():
    """Common practice, no source: a lagged 200 L drum near 31 °C takes about 1 kWh a day.

    30 to 50 mm of foam, air of 0 to 15 °C: the sum must bracket it within a factor of two.
    """
    surface, feed = 1.95, 5.0
    sums = []
    for thickness, air in ((0.03, 0.0), (0.03, 15.0), (0.05, 0.0), (0.05, 15.0)):
        UA = surface * wall_U((Layer(thickness, 0.028),), 0.04)
        sums.append(loss_kWh_per_d(UA, 31.0, air) + warming_kWh_per_d(feed, air, 31.0))
    assert 0.4 < min(sums) < 1.0 < max(sums) < 2.0


def test_bare_drum_of_the_planning_figures():
    """Worked by hand: 20 K above the air, 1.95 m², U 6 and 0.6 W/(m² K), 200 L in 40 d."""
    assert loss_kWh_per_d(1.95 * 6.0, 30.0, 10.0) == pytest.approx(5.6, abs=0.05)
    assert loss_kWh_per_d(1.95 * 0.6, 30.0, 10.0) == pytest.approx(0.56, abs=0.005)
    assert warming_kWh_per_d(5.0, 10.0, 30.0) == pytest.approx(0.12, abs=0.005)
