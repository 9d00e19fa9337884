"""Loss, feed warming, and the air temperature at which the own flame is just enough."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from bmp.tank.heat import (
    coldest_air_C,
    heat_need_kWh_per_d,
    loss_kWh_per_d,
    tank_conductance_W_per_K,
    warming_kWh_per_d,
)
from bmp.tank.inputs import TankSetup
from bmp.wall import Layer, wall_U

FOAM = (Layer(0.05, 0.028),)


def drum(**more):
    return TankSetup(200.0, 31.0, **more)


def test_no_heat_flows_in_warm_air():
    assert loss_kWh_per_d(2.0, 31.0, 35.0) == 0.0
    assert warming_kWh_per_d(5.0, 40.0, 31.0) == 0.0


def test_wall_by_hand():
    """1/(0.05/0.028 + 0.04) W/(m² K)."""
    assert wall_U(FOAM, 0.04) == pytest.approx(1 / (0.05 / 0.028 + 0.04))


def test_conductance_by_surface_and_U():
    found, words = tank_conductance_W_per_K(drum(surface_m2=2.0, U_W_per_m2_K=0.6), 5.0)
    assert (found, words) == (1.2, "the surface and U")


def test_conductance_of_a_drum():
    by_U, _ = tank_conductance_W_per_K(drum(diameter_m=0.6, height_m=0.8, U_W_per_m2_K=0.5), 5.0)
    assert by_U == pytest.approx(0.5 * 3.14159265 * (0.6 * 0.8 + 0.6**2 / 2))
    by_layers, _ = tank_conductance_W_per_K(drum(diameter_m=0.6, height_m=0.8, layers=FOAM), 5.0)
    still, _ = tank_conductance_W_per_K(
        drum(diameter_m=0.6, height_m=0.8, layers=FOAM, sheltered=True), 5.0
    )
    assert still < by_layers


def test_conductance_from_a_measured_heater_gives_the_heater_back():
    setup = drum(heater_use_kWh_per_d=1.0, heater_air_temperature_C=8.0)
    UA, _ = tank_conductance_W_per_K(setup, 5.0)
    assert sum(heat_need_kWh_per_d(setup, UA, 5.0, 8.0)) == pytest.approx(1.0)


@pytest.mark.parametrize(
    ("more", "words"),
    [
        ({}, "needs surface"),
        ({"surface_m2": 2.0}, "needs surface"),
        ({"heater_use_kWh_per_d": 1.0, "heater_air_temperature_C": 33.0}, "as warm as the tank"),
        ({"heater_use_kWh_per_d": 0.1, "heater_air_temperature_C": 0.0}, "no more than the feed"),
    ],
)
def test_no_conductance_is_explained(more, words):
    found, why = tank_conductance_W_per_K(drum(**more), 5.0)
    assert found is None
    assert words in why


@given(
    st.floats(0.2, 5.0), st.floats(0.0, 20.0), st.floats(0.0, 3.0), st.sampled_from([None, 10.0])
)
def test_coldest_air_is_where_the_need_equals_the_heat(UA, feed, heat, feed_C):
    setup = drum(feed_temperature_C=feed_C)
    air = coldest_air_C(setup, UA, feed, heat)
    need = sum(heat_need_kWh_per_d(setup, UA, feed, air))
    if air < setup.temperature_C:
        assert need == pytest.approx(heat, abs=1e-9)
    else:
        assert need >= heat - 1e-9
