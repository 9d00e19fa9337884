"""Physics that only the user can tell: bottle temperature, barrier liquid, oxygen, the meter."""

from dataclasses import replace

import numpy as np
import pytest

from bmp.analyze import analyze
from bmp.judge.conditions import typed_colder_K
from bmp.judge.headspace import first_day_rise
from bmp.judge.rough_gas import look
from bmp.published_errors import BARRIER_LIQUIDS, METHANE_METERS, published_error
from tests.simulate_trials import CELLULOSE, SPARSE, Noise, simulate_trial

QUIET = replace(Noise(), between_jars=0.0, relative=0.0)


def made(**changes):
    more = {"noise": QUIET, "time_d": SPARSE, "feeds": (CELLULOSE,)} | changes
    return simulate_trial(np.random.default_rng(2), **more).trial


def found(trial, check):
    return [one for one in analyze(trial).checks if one.check == check]


def with_temperature(trial, value):
    columns = dict(trial.readings.columns)
    columns["temperature_C"] = np.full(trial.readings.time_d.shape, value)
    return replace(trial, readings=replace(trial.readings, columns=columns))


def test_room_temperature_typed_for_warm_bottles_is_asked_about():
    """20 °C for 37 °C: 17/293 = 5.8 % more on every yield by the gas law."""
    right = made(way="pressure")
    warm = right.setup.incubation_temperature_C
    assert found(right, "temperature of closed bottles") == []
    assert found(with_temperature(right, warm - 4.0), "temperature of closed bottles") == []
    wrong = with_temperature(right, 20.0)
    (asked,) = found(wrong, "temperature of closed bottles")
    assert asked.outcome == "caution"
    yields = [next(iter(analyze(t).yields)).value for t in (right, wrong)]
    told = float(asked.meaning.split("about ")[2].split(" %")[0])
    assert 100 * (yields[1] / yields[0] - 1) == pytest.approx(told, abs=1.0)


def test_no_closing_temperature_is_advised_that_would_hide_it():
    wrong = with_temperature(made(way="pressure"), 20.0)
    assert typed_colder_K(wrong) > 15
    assert first_day_rise(wrong, look(wrong)) is None


def over_water(**setup):
    trial = made(way="volume")
    columns = dict(trial.readings.columns)
    columns["water_head_cm"] = np.zeros(trial.readings.time_d.shape)
    if "methane_share" in setup:
        columns.pop("methane_share", None)
    readings = replace(trial.readings, columns=columns)
    return replace(trial, setup=replace(trial.setup, **setup), readings=readings)


def test_the_barrier_liquid_is_asked_for_and_sized():
    (asked,) = found(over_water(), "barrier liquid")
    assert (asked.outcome, asked.value) == ("caution", "not given")
    assert "4 to 25 %" in asked.meaning
    assumed = over_water(barrier_liquid="water", methane_share=0.6, methane_share_half_width=0.05)
    (told,) = found(assumed, "barrier liquid")
    assert told.outcome == "caution"
    assert "methane reads low" in told.meaning
    assert found(over_water(barrier_liquid="none"), "barrier liquid") == []


def test_air_under_unlike_lids_is_sized_and_under_like_ones_is_not():
    """0.5 x 0.21 of the headspace: 400 mL more than the blank costs 42 mL of methane (wet)."""
    trial = made(way="volume")
    air = replace(trial, setup=replace(trial.setup, flush_gas={"N2": 0.79, "O2": 0.21}))
    like = [replace(jar, headspace_mL=400.0) for jar in trial.jars]
    alike = replace(air, jars=tuple(like))
    small = found(alike, "oxygen under the lid")
    unlike = tuple(
        replace(jar, headspace_mL=100.0 if jar.role == "blank" else 500.0) for jar in trial.jars
    )
    (told,) = found(replace(air, jars=unlike), "oxygen under the lid")
    assert told.outcome == "caution"
    assert told.value > 1.0
    assert not small or abs(small[0].value) < told.value


def test_a_named_meter_widens_the_interval_alike_in_all_jars():
    trial = made(way="volume")
    plain = next(iter(analyze(trial).yields))
    meter = replace(trial.setup, methane_meter="infrared meter")
    wide = next(iter(analyze(replace(trial, setup=meter)).yields))
    assert wide.value == pytest.approx(plain.value)
    # 2 points of about 60 % (95 %) are 1.7 % of the yield (one standard uncertainty)
    assert wide.parts["share"][0] / wide.value == pytest.approx(0.02 / 1.96 / 0.6, rel=0.25)


def test_a_syringe_widens_the_interval_by_how_it_is_read():
    """Each read twice to 0.5 mL: ± 0.7 mL of 10 is 7 points; n a jar, 3 jars: over √(3 n)."""
    trial = made(way="volume")
    readings = trial.readings
    share = readings.column("methane_share")
    columns = {k: v for k, v in readings.columns.items() if k != "methane_share"}
    columns |= {
        "syringe_gas_mL": np.full(share.size, 10.0),
        "syringe_gas_left_mL": 10.0 * share,
    }
    plain = next(iter(analyze(trial).yields))
    drawn = replace(
        trial, readings=replace(readings, columns=columns), setup=replace(trial.setup, flush_gas={})
    )
    found = analyze(drawn)
    wide = next(one for one in found.yields if one.series == plain.series)
    each = np.bincount(readings.jar)[0]
    expected = 0.07 / 1.96 / 0.6 / np.sqrt(each * len(wide.jars))
    assert wide.parts["share"][0] / wide.value == pytest.approx(expected, rel=0.25)
    assert any(
        "± 0.7 mL" in sentence and "7 % of methane" in sentence for sentence in found.assumed
    )
    known = replace(drawn.setup, measured_share_half_width=0.02)
    told = analyze(replace(drawn, setup=known))
    assert not any("± 0.7 mL" in sentence for sentence in told.assumed)


def test_every_size_has_a_source():
    names = [name for name in (*BARRIER_LIQUIDS, *METHANE_METERS) if name != "none"]
    for row in map(published_error, [*names, "syringe"]):
        assert row.low <= row.typical <= row.high
        assert row.source
        assert row.unit
