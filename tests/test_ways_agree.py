"""One jar, one truth, read in every way: the simulator knows what the jar made."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from bmp.normalise import normalise
from bmp.trial import Jar, Material, Setup, Trial
from tests import simulate as sim

DAYS = np.array([1.0, 2, 3, 4, 6, 8, 11, 15, 20, 27, 35, 45])
MATERIALS = (Material("digestate", "inoculum"), Material("feed", "substrate", TS=0.3, VS=0.25))


@st.composite
def jars_in_weather(draw) -> dict:
    """A jar's size, gas, temperatures and air pressure, over all that people have."""
    headspace = draw(st.floats(20.0, 500.0))
    seed = draw(st.integers(0, 10_000))
    rng = np.random.default_rng(seed)
    level = draw(st.floats(71.0, 109.0))
    warm = draw(st.floats(5.0, 60.0))
    return {
        "headspace": headspace,
        "share": draw(st.floats(0.4, 0.8)),
        "methane": headspace * draw(st.floats(2.0, 12.0)),
        "rate": draw(st.floats(0.05, 0.5)),
        "level": level,
        "air": level * (1.0 + 0.01 * rng.uniform(-1, 1, DAYS.size)),
        "warm": warm,
        "headspace_C": warm + rng.uniform(-1.5, 1.5, DAYS.size),
        "gas_C": rng.uniform(5.0, 30.0, DAYS.size),
        "cold": draw(st.floats(5.0, 25.0)),
    }


def truth(w: dict) -> np.ndarray:
    return w["methane"] * (1.0 - np.exp(-w["rate"] * DAYS))[None]


def surroundings(w: dict, own_warmth: bool) -> sim.Surroundings:
    warmth = w["headspace_C"] if own_warmth else np.full(DAYS.size, w["warm"])
    return sim.Surroundings(
        DAYS, w["air"], warmth, w["gas_C"], w["level"], w["cold"],
        saturation_kPa=sim.magnus_saturation_kPa,
    )  # fmt: skip


def setup(w: dict, measured: str, **more) -> Setup:
    return Setup(
        "one jar", measured=measured, ambient_kPa=w["level"], incubation_temperature_C=w["warm"],
        closing_temperature_C=w["cold"], closing_kPa=w["level"], **more,
    )  # fmt: skip


def calculated(w: dict, columns: dict, set_up: Setup, around: sim.Surroundings) -> np.ndarray:
    own = "gas_C" if set_up.measured in ("volume", "methane volume") else "headspace_C"
    if set_up.gas_temperature_C is not None:
        own = "headspace_C"
    columns = {"ambient_kPa": w["air"], "temperature_C": getattr(around, own)} | columns
    jar = Jar("J", "feed", "substrate", "digestate", 300.0, 10.0, 0.0, w["headspace"],
              measured=set_up.measured)  # fmt: skip
    readings = sim.readings_of(columns, DAYS, 1)
    return normalise(Trial(set_up, MATERIALS, (jar,), readings)).methane_NmL


def assert_within(methane: np.ndarray, w: dict, relative: float) -> None:
    true = truth(w)[0]
    assert np.abs(methane - true).max() < relative * true[-1]


@settings(max_examples=60, deadline=None)
@given(jars_in_weather(), st.booleans())
def test_volume(w: dict, flush_excluded: bool) -> None:
    around = surroundings(w, own_warmth=False)
    gas = sim.open_outlet(
        sim.made_gas(truth(w), w["share"]), sim.Vessels(np.array([w["headspace"]])), around
    )
    columns = {
        "volume_mL": sim.volume_read_mL(gas.metered.sum(axis=0), around),
        "methane_share": sim.share_read(gas, flush_excluded),
    }
    methane = calculated(w, columns, setup(w, "volume", flush_excluded=flush_excluded), around)
    assert_within(methane, w, 0.003)


@settings(max_examples=40, deadline=None)
@given(jars_in_weather(), st.booleans(), st.floats(-30.0, 30.0))
def test_running_totals_under_a_water_head(w: dict, kept: bool, head: float) -> None:
    tube = np.linspace(0.0, head, DAYS.size)
    around = replace(surroundings(w, own_warmth=False), water_head_cm=tube, tube_reaches_jar=True)
    gas = sim.open_outlet(
        sim.made_gas(truth(w), w["share"]), sim.Vessels(np.array([w["headspace"]])), around
    )
    columns = {
        "volume_mL": sim.volume_read_mL(
            gas.metered.sum(axis=0), around, cumulative=True, gas_kept=kept
        ),
        "methane_share": np.full(DAYS.size, w["share"]),
        "water_head_cm": around.water_head_cm,
    }
    set_up = setup(w, "volume", cumulative=True, gas_kept=kept)
    assert_within(calculated(w, columns, set_up, around), w, 0.003)


@settings(max_examples=60, deadline=None)
@given(jars_in_weather(), st.booleans(), st.booleans(), st.sampled_from([0.0, 0.35, 1.0]))
def test_pressure(w: dict, flush_excluded: bool, gauge: bool, left: float) -> None:
    around = surroundings(w, own_warmth=True)
    vessels = sim.Vessels(np.array([w["headspace"]]))
    gas = sim.closed_jar(sim.made_gas(truth(w), w["share"]), vessels, around, left)
    base, name = (w["air"], "gauge") if gauge else (0.0, "absolute")
    columns = {
        f"{name}_before_kPa": gas.before_kPa - base,
        f"{name}_after_kPa": gas.after_kPa - base,
        "methane_share": sim.share_read(gas, flush_excluded),
    }
    if left == 0.0:
        del columns[f"{name}_after_kPa"]
    methane = calculated(w, columns, setup(w, "pressure", flush_excluded=flush_excluded), around)
    assert_within(methane, w, 0.003)


@settings(max_examples=60, deadline=None)
@given(jars_in_weather(), st.booleans())
def test_mass(w: dict, flush_excluded: bool) -> None:
    around = surroundings(w, own_warmth=True)
    vessels = sim.Vessels(np.array([w["headspace"]]))
    gas = sim.closed_jar(sim.made_gas(truth(w), w["share"]), vessels, around)
    before, after = sim.mass_read_g(gas, np.array([500.0]))
    columns = {
        "mass_before_g": before,
        "mass_after_g": after,
        "methane_share": sim.share_read(gas, flush_excluded),
    }
    methane = calculated(w, columns, setup(w, "mass", flush_excluded=flush_excluded), around)
    assert_within(methane, w, 0.005)


@settings(max_examples=60, deadline=None)
@given(jars_in_weather())
def test_mass_and_volume_tell_the_share(w: dict) -> None:
    around = surroundings(w, own_warmth=True)
    gas = sim.closed_jar(
        sim.made_gas(truth(w), w["share"]), sim.Vessels(np.array([w["headspace"]])), around
    )
    before, after = sim.mass_read_g(gas, np.array([500.0]))
    bench = replace(around, gas_C=np.full(DAYS.size, 21.0))
    columns = {
        "mass_before_g": before,
        "mass_after_g": after,
        "volume_mL": sim.volume_read_mL(gas.metered.sum(axis=0), bench),
    }
    methane = calculated(w, columns, setup(w, "mass", gas_temperature_C=21.0), around)
    assert_within(methane, w, 0.005)


@settings(max_examples=60, deadline=None)
@given(jars_in_weather(), st.sampled_from([{"N2": 1.0}, {"N2": 0.7, "CO2": 0.3}]))
def test_behind_an_absorber(w: dict, flush: dict) -> None:
    around = surroundings(w, own_warmth=False)
    vessels = sim.Vessels(np.array([w["headspace"]]), flush=flush)
    gas = sim.open_outlet(sim.made_gas(truth(w), w["share"]), vessels, around)
    columns = {"volume_mL": sim.volume_read_mL(sim.absorbed_NmL(gas), around)}
    set_up = setup(w, "methane volume", share_before_absorber=w["share"], flush_gas=flush)
    assert_within(calculated(w, columns, set_up, around), w, 0.003)


@settings(max_examples=40, deadline=None)
@given(jars_in_weather(), st.booleans())
def test_a_syringe_with_caustic_tells_the_share(w: dict, flush_excluded: bool) -> None:
    around = surroundings(w, own_warmth=True)
    gas = sim.closed_jar(
        sim.made_gas(truth(w), w["share"]), sim.Vessels(np.array([w["headspace"]])), around
    )
    drawn, left = sim.syringe_read_mL(gas)
    columns = {
        "gauge_before_kPa": gas.before_kPa - w["air"],
        "syringe_gas_mL": drawn,
        "syringe_gas_left_mL": left,
    }
    methane = calculated(w, columns, setup(w, "pressure", flush_excluded=flush_excluded), around)
    assert_within(methane, w, 0.003)


def test_the_warming_of_a_cold_jar_is_not_gas() -> None:
    """300 mL closed at 20 °C and warmed to 37 °C push out some 17 mL of dry gas: no methane."""
    w = {
        "headspace": 300.0, "share": 0.6, "methane": 1e-9, "rate": 0.1, "level": 101.325,
        "air": np.full(DAYS.size, 101.325), "warm": 37.0, "cold": 20.0,
        "headspace_C": np.full(DAYS.size, 37.0), "gas_C": np.full(DAYS.size, 37.0),
    }  # fmt: skip
    around = surroundings(w, own_warmth=False)
    gas = sim.open_outlet(sim.made_gas(truth(w), 0.6), sim.Vessels(np.array([300.0])), around)
    pushed = gas.metered.sum()
    assert 15.0 < pushed < 32.0
    columns = {
        "volume_mL": sim.volume_read_mL(gas.metered.sum(axis=0), around),
        "methane_share": np.full(DAYS.size, 0.6),
    }
    methane = calculated(w, columns, setup(w, "volume"), around)
    assert methane == pytest.approx(0.0, abs=0.05)
