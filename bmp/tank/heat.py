"""Heat that a tank loses, that its feed takes up, and that its gas can give."""

from __future__ import annotations

from math import pi
from typing import Final

from bmp.tank.inputs import TankSetup
from bmp.wall import STILL_AIR_RESISTANCE, WIND_RESISTANCE, round_wall_W_per_K, wall_U

# Lower heating value of methane per m³ at 0 °C, 101.325 kPa, burnt at 25 °C: ISO 6976 (35.818
# from memory; 35.81 by enthalpies of formation).
METHANE_LOWER_HEATING_VALUE_MJ_PER_M3: Final = 35.8
METHANE_KWH_PER_NL: Final = METHANE_LOWER_HEATING_VALUE_MJ_PER_M3 / 3600.0

# Feed and digestate warm like water.
HEAT_CAPACITY_KJ_PER_KG_K: Final = 4.186


def warming_kWh_per_d(mass_kg_per_d: float, from_C: float, to_C: float) -> float:
    """Return the heat that warms a daily mass, kWh/d; 0 where it comes warmer."""
    return mass_kg_per_d * HEAT_CAPACITY_KJ_PER_KG_K * max(0.0, to_C - from_C) / 3600.0


def loss_kWh_per_d(conductance_W_per_K: float, tank_C: float, air_C: float) -> float:
    """Return the heat lost through the wall, kWh/d; 0 where the air is warmer."""
    return conductance_W_per_K * max(0.0, tank_C - air_C) * 24.0 / 1000.0


def feed_temperature_C(setup: TankSetup, air_C: float) -> float:
    """Return the temperature of the feed: as given, else as the air and never frozen."""
    return max(0.0, air_C) if setup.feed_temperature_C is None else setup.feed_temperature_C


def tank_conductance_W_per_K(setup: TankSetup, feed_kg_per_d: float) -> tuple[float | None, str]:
    """Return the tank's U A, W/K, and how it was found, or None and what is missing.

    A measured heater comes first: today's feed is taken off it and the rest is the loss. Then the
    surface with U or layers, then diameter, height and layers.
    """
    air = setup.heater_air_temperature_C
    air = setup.air_temperature_C if air is None else air
    if setup.heater_use_kWh_per_d is not None and air is not None:
        return _from_heater(setup, setup.heater_use_kWh_per_d, air, feed_kg_per_d)
    film = STILL_AIR_RESISTANCE if setup.sheltered else WIND_RESISTANCE
    U = setup.U_W_per_m2_K
    if U is None and setup.layers:
        U = wall_U(setup.layers, film)
    if setup.surface_m2 is not None and U is not None:
        return setup.surface_m2 * U, "the surface and U"
    if setup.diameter_m is not None and setup.height_m is not None and U is not None:
        ends = pi * setup.diameter_m**2 / 2 * U
        if setup.U_W_per_m2_K is not None:
            return ends + pi * setup.diameter_m * setup.height_m * U, "an upright drum and U"
        wall = round_wall_W_per_K(setup.diameter_m, setup.height_m, setup.layers, film)
        return ends + wall, "an upright drum of the layers given"
    return None, "needs surface (or diameter and height) with U or layers, or a measured heater use"


LEAST_DIFFERENCE_K: Final = 1.0
"""With less between tank and air a heater's use says nothing of the wall."""


def _from_heater(
    setup: TankSetup, use_kWh_per_d: float, air_C: float, feed_kg_per_d: float
) -> tuple[float | None, str]:
    if setup.temperature_C - air_C < LEAST_DIFFERENCE_K:
        return None, "the heater was measured in air as warm as the tank"
    feed = warming_kWh_per_d(feed_kg_per_d, feed_temperature_C(setup, air_C), setup.temperature_C)
    if use_kWh_per_d <= feed:
        return None, f"the heater gave no more than the feed takes up ({feed:.2f} kWh/d)"
    loss_W = (use_kWh_per_d - feed) * 1000.0 / 24.0
    return loss_W / (setup.temperature_C - air_C), "the measured heater use less the feed's share"


def heat_need_kWh_per_d(
    setup: TankSetup, conductance_W_per_K: float, feed_kg_per_d: float, air_C: float
) -> tuple[float, float]:
    """Return loss and feed warming at one air temperature, kWh/d each.

    The heat that the microbes give off is small and left out (cautious).
    """
    return (
        loss_kWh_per_d(conductance_W_per_K, setup.temperature_C, air_C),
        warming_kWh_per_d(feed_kg_per_d, feed_temperature_C(setup, air_C), setup.temperature_C),
    )


def coldest_air_C(
    setup: TankSetup,
    conductance_W_per_K: float,
    feed_kg_per_d: float,
    useful_heat_kWh_per_d: float,
) -> float:
    """Return the air temperature at which a useful heat is just enough, °C.

    The need is straight in the air temperature, with a kink at 0 °C where the feed follows the air.
    """
    tank = setup.temperature_C
    through_wall = conductance_W_per_K * 24.0 / 1000.0
    per_feed_kelvin = feed_kg_per_d * HEAT_CAPACITY_KJ_PER_KG_K / 3600.0
    if setup.feed_temperature_C is None:
        air = tank - useful_heat_kWh_per_d / (through_wall + per_feed_kelvin)
        if air >= 0:
            return min(tank, air)
    feed = warming_kWh_per_d(feed_kg_per_d, setup.feed_temperature_C or 0.0, tank)
    return min(tank, tank - (useful_heat_kWh_per_d - feed) / through_wall)
