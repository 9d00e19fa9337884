"""The way from one diet to the other."""

import numpy as np
import pytest

from bmp.tank.inputs import TankSetup
from bmp.tank.ramp import (
    FEWEST_WEEKS,
    LOAD_STEP_KG_VS_PER_M3_D,
    MOST_WEEKS,
    STOP_SIGNS,
    WEEKS_WITHOUT_VS,
    RampFeed,
    days_until_effect,
    ramp,
    weeks_needed,
)

TIME = np.linspace(0.0, 60.0, 61)
SETUP = TankSetup(200.0, 37.0)


def feed(name="scraps", today=0.0, planned=1.0, VS=230.0, B0=90.0, k=0.2):
    return RampFeed(name, today, planned, VS, TIME, B0 * (1 - np.exp(-k * TIME)))


def test_weeks_follow_the_load_step():
    """0.318 kg VS/(m³ d) a week at most, four weeks at least."""
    assert weeks_needed([feed(planned=0.5)], 200.0) == FEWEST_WEEKS
    assert weeks_needed([feed(planned=2.0)], 200.0) == int(
        np.ceil(2.0 * 0.23 / 0.2 / LOAD_STEP_KG_VS_PER_M3_D)
    )
    assert weeks_needed([feed(planned=1000.0)], 200.0) == MOST_WEEKS
    assert weeks_needed([feed(VS=None)], 200.0) == WEEKS_WITHOUT_VS
    assert weeks_needed([feed(today=1.0, planned=0.5)], 200.0) == 0


def test_ramp_starts_small_and_ends_at_the_plan():
    weeks = ramp(SETUP, [feed(planned=2.0)], None, 40.0)
    assert weeks[0].amounts_kg_per_d["scraps"] == pytest.approx(2.0 / len(weeks))
    assert weeks[-1].amounts_kg_per_d["scraps"] == 2.0
    assert weeks[-1].load_kgVS_per_m3_d == pytest.approx(2.3)
    gas = [week.expected_methane_NL_per_d for week in weeks]
    assert gas == sorted(gas)
    steps = np.diff([0.0] + [week.load_kgVS_per_m3_d for week in weeks])
    assert np.all(steps <= LOAD_STEP_KG_VS_PER_M3_D + 1e-12)


def test_unchanged_feed_keeps_its_gas_while_another_is_added():
    """With the old feed alone the simulated tank stays where it was."""
    old = feed("manure", 4.0, 4.0, 100.0, 20.0, 0.06)
    (first, *_) = ramp(SETUP, [old, feed(planned=0.001)], 50.0, 50.0)
    assert first.expected_times_today == pytest.approx(1.0, abs=0.01)


def test_very_long_retention_starts_from_its_steady_state():
    """The jar curve is flat after 60 d, so an older past cannot change today's gas."""
    old = feed("manure", 0.04, 0.04, 100.0, 20.0, 0.06)
    (first, *_) = ramp(SETUP, [old, feed(planned=1e-6)], 5000.0, 5000.0)
    assert first.expected_times_today == pytest.approx(1.0, abs=0.001)


def test_gas_is_unknown_where_a_feed_was_not_tested():
    unknown = RampFeed("manure", 4.0, 4.0, 100.0, None, None)
    weeks = ramp(SETUP, [unknown, feed()], 50.0, 40.0)
    assert all(week.expected_methane_NL_per_d is None for week in weeks)
    assert weeks[0].load_kgVS_per_m3_d is not None


def test_more_water_alone_needs_no_ramp():
    water = RampFeed("water", 0.0, 5.0, 0.0, None, None, gives_no_gas=True)
    assert ramp(SETUP, [water], 50.0, 40.0) == ()


def test_days_until_effect():
    well = days_until_effect(30.0, "well mixed")
    assert well["63_percent_d"] == 30.0
    assert well["95_percent_d"] == pytest.approx(89.87, abs=0.01)
    assert days_until_effect(30.0, "plug flow")["95_percent_d"] == 28.5


def test_every_stop_sign_says_when_and_what_to_do():
    assert {sign["sign"] for sign in STOP_SIGNS} >= {"pH", "smell", "gas drop", "foam"}
    assert all(sign["stop_at"] and sign["do"] and sign["source"] for sign in STOP_SIGNS)
