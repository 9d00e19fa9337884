"""Curves weighed with the time in the tank."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from bmp.tank.yields import (
    daily_methane,
    plug_flow_yield,
    tank_yield,
    temperature_factor,
    well_mixed_yield,
)

retentions = st.floats(1.0, 200.0)
curves = st.lists(st.floats(-10.0, 40.0), min_size=2, max_size=30).map(np.cumsum)


def test_straight_line_by_hand():
    """10 NmL/g a day for 5 d: 10 θ (1 - exp(-5/θ))."""
    time, curve = np.array([0.0, 5.0]), np.array([0.0, 50.0])
    assert well_mixed_yield(time, curve, 20.0) == pytest.approx(200 * (1 - np.exp(-0.25)))


def test_first_time_after_zero_starts_from_nothing():
    with_zero = well_mixed_yield(np.array([0.0, 2.0, 9.0]), np.array([0.0, 30.0, 90.0]), 15.0)
    assert well_mixed_yield(np.array([2.0, 9.0]), np.array([30.0, 90.0]), 15.0) == with_zero
    assert plug_flow_yield(np.array([2.0, 9.0]), np.array([30.0, 90.0]), 1.0) == 15.0


def test_gas_before_time_zero_of_a_model_is_not_counted():
    """A model that starts above zero gives only its rise."""
    time, curve = np.array([0.0, 10.0]), np.array([5.0, 105.0])
    assert well_mixed_yield(time, curve, 20.0) == pytest.approx(
        well_mixed_yield(time, curve - 5.0, 20.0)
    )


@given(curves, retentions)
def test_more_curve_scales_and_adds(curve, retention):
    time = np.arange(1.0, curve.size + 1)
    once = well_mixed_yield(time, curve, retention)
    assert well_mixed_yield(time, 3 * curve, retention) == pytest.approx(3 * once, abs=1e-9)


@given(curves, retentions)
def test_a_split_interval_changes_nothing(curve, retention):
    time = np.arange(1.0, curve.size + 1)
    finer = np.unique(np.concatenate([time, time - 0.5]))
    again = np.interp(finer, np.append(0.0, time), np.append(0.0, curve))
    assert well_mixed_yield(finer, again, retention) == pytest.approx(
        well_mixed_yield(time, curve, retention), abs=1e-8
    )


@given(retentions, retentions)
def test_longer_stay_never_gives_less_from_a_rising_curve(one, other):
    time = np.linspace(0.0, 40.0, 41)
    curve = 300 * (1 - np.exp(-0.1 * time))
    short, long = sorted((one, other))
    for mixing in ("well mixed", "plug flow"):
        assert (
            tank_yield(time, curve, short, mixing) <= tank_yield(time, curve, long, mixing) + 1e-9
        )
        assert 0 <= tank_yield(time, curve, short, mixing) <= curve[-1]


def test_plug_flow_beats_well_mixed_for_first_order():
    time = np.linspace(0.0, 200.0, 2001)
    curve = 300 * (1 - np.exp(-0.1 * time))
    assert plug_flow_yield(time, curve, 20.0) > well_mixed_yield(time, curve, 20.0)


def test_temperature_factor_ends():
    assert temperature_factor(37.0, 37.0).value == 1.0
    assert temperature_factor(55.0, 37.0).value == 1.0
    colder = temperature_factor(27.0, 37.0)
    assert colder.low < colder.value < colder.high < 1.0
    assert colder.value == pytest.approx(1.047**-10)


@pytest.mark.parametrize("mixing", ["well mixed", "plug flow"])
def test_daily_feeding_reaches_its_steady_state_in_each_way_of_mixing(mixing):
    time = np.linspace(0.0, 400.0, 4001)
    curve = 80 * (1 - np.exp(-0.12 * time))
    gas = daily_methane(np.full(200, 2.0), np.full(200, 20.0), time, curve, 0.8, mixing)
    steady = 2.0 * tank_yield(time, curve, 0.8 * 20.0, mixing)
    assert gas[-1] == pytest.approx(steady, rel=2e-3)
    assert np.all(np.diff(gas) >= -1e-9)


def test_nothing_fed_nothing_given():
    gas = daily_methane(np.zeros(5), np.full(5, 20.0), np.array([1.0, 2.0]), np.array([1.0, 2.0]))
    assert np.array_equal(gas, np.zeros(5))
