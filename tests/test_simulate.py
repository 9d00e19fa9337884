"""The simulator against the balance equations, integrated by a general solver."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from tests import simulate as sim
from tests.simulate_trials import DAILY, Noise, simulate_trial

TIMES = np.array([0.5, 1.0, 3.0, 6.0, 10.0])
AROUND = sim.Surroundings(
    TIMES,
    np.array([100.0, 98.0, 103.0, 99.0, 101.0]),
    np.array([37.0, 36.0, 39.0, 30.0, 37.0]),
    np.array([20.0, 22.0, 25.0, 18.0, 21.0]),
    closing_kPa=101.0,
    closing_C=20.0,
)
METHANE = np.array([[40.0, 90.0, 200.0, 260.0, 290.0], [5.0, 9.0, 25.0, 30.0, 33.0]])


def test_open_outlet_agrees_with_a_numerical_solution():
    shares = np.array([0.5, 0.55, 0.6, 0.65, 0.7])
    made = sim.made_gas(METHANE, shares)
    vessels = sim.Vessels(np.array([150.0, 150.0]), flush={"N2": 0.7, "CO2": 0.3})
    gas = sim.open_outlet(made, vessels, AROUND)
    capacity = np.concatenate([[gas_under(150.0, AROUND, None)], gas_under(150.0, AROUND, 1)])
    ends = np.concatenate([[0.0], TIMES])
    for jar in range(2):
        state = np.array([0.0, 0.3, 0.7]) * capacity[0]
        for i in range(5):
            span = ends[i + 1] - ends[i]
            g = made[:, jar, i] / span
            slope = (capacity[i + 1] - capacity[i]) / span

            def rate(t, a, g=g, slope=slope, c0=capacity[i]):
                return g - a / (c0 + slope * t) * (g.sum() - slope)

            state = solve_ivp(rate, (0, span), state, rtol=1e-10, atol=1e-10).y[:, -1]
            np.testing.assert_allclose(gas.after[:, jar, i], state, rtol=1e-6, atol=1e-6)


def gas_under(volume, around, readings):
    """NmL under the lid at closing (`readings` None) or at each reading."""
    if readings is None:
        T, p = np.asarray(around.closing_C), np.asarray(around.closing_kPa)
    else:
        T, p = around.headspace_C, around.ambient_kPa
    return volume * (p - sim.iapws_saturation_kPa(T)) / 101.325 * 273.15 / (T + 273.15)


@pytest.mark.parametrize("vent", [0.0, 0.4, 1.0])
@pytest.mark.parametrize("leak", [0.0, 0.1])
def test_every_gas_is_somewhere(vent, leak):
    made = sim.made_gas(METHANE, 0.6)
    vessels = sim.Vessels(np.array([300.0, 200.0]), leak_share=leak)
    for gas in (
        sim.open_outlet(made, vessels, AROUND),
        sim.closed_jar(made, vessels, AROUND, vent),
    ):
        start = sim._closing(vessels, AROUND)
        out = (gas.metered + gas.leaked).sum(axis=2) + gas.after[:, :, -1]
        np.testing.assert_allclose(out, start + made.sum(axis=2), rtol=1e-12)


def test_closed_pressure_follows_the_gas_law_and_ambient_after_venting():
    made = sim.made_gas(METHANE, 0.6)
    gas = sim.closed_jar(made, sim.Vessels(np.array([300.0, 200.0])), AROUND)
    np.testing.assert_allclose(gas.after_kPa, np.broadcast_to(AROUND.ambient_kPa, (2, 5)))
    vapour = sim.iapws_saturation_kPa(AROUND.headspace_C)
    dry = sim.to_NmL(np.array([[300.0], [200.0]]), AROUND.headspace_C, gas.before_kPa, vapour)
    np.testing.assert_allclose(dry, gas.before.sum(axis=0), rtol=1e-12)


def test_mass_lost_is_what_was_vented():
    made = sim.made_gas(METHANE, 0.6)
    gas = sim.closed_jar(made, sim.Vessels(np.array([300.0, 200.0])), AROUND)
    before, after = sim.mass_read_g(gas, np.array([500.0, 510.0]))
    np.testing.assert_allclose(before[:, 0], [500.0, 510.0])
    np.testing.assert_allclose(after[:, :-1], before[:, 1:])
    dry = (gas.metered * sim.densities_g_per_NmL({"N2": 1.0})[:, None, None]).sum(axis=0)
    # Vapour is at most some 3 % of the mass of a gas at 37 °C.
    assert np.all(before - after > dry)
    assert np.all((before - after)[:, :] < dry * 1.06)


def test_slow_venting_carries_more_vapour():
    made = sim.made_gas(METHANE, 0.6)
    quick = sim.closed_jar(made, sim.Vessels(np.array([300.0, 200.0])), AROUND)
    slow = sim.closed_jar(
        made, sim.Vessels(np.array([300.0, 200.0])), AROUND, vapour_keeps_pace=True
    )
    assert np.all(slow.metered_g > quick.metered_g)
    np.testing.assert_allclose(slow.metered, quick.metered)


def test_counters_kept_passed_on_and_emptied():
    passed = np.array([[10.0, 20.0, 30.0, 5.0, 5.0]])
    interval = sim.volume_read_mL(passed, AROUND)
    counter = sim.volume_read_mL(passed, AROUND, cumulative=True)
    np.testing.assert_allclose(np.diff(counter, prepend=0.0), interval)
    empty = np.array([False, True, False, False, False])
    emptied = sim.volume_read_mL(passed, AROUND, cumulative=True, emptied=empty)
    np.testing.assert_allclose(emptied[0, 2], interval[0, 2])
    kept = sim.volume_read_mL(passed, AROUND, cumulative=True, gas_kept=True)
    vapour = sim.iapws_saturation_kPa(AROUND.gas_C)
    np.testing.assert_allclose(
        sim.to_NmL(kept, AROUND.gas_C, AROUND.gas_kPa, vapour), np.cumsum(passed, axis=1)
    )


def test_water_head_lowers_the_gas_pressure():
    wet = replace(AROUND, water_head_cm=np.full(5, 10.0))
    # 998.2 kg/m³, 10 cm: 0.979 kPa.
    np.testing.assert_allclose(AROUND.ambient_kPa - wet.gas_kPa, 0.979, atol=0.0005)


def test_syringe_with_caustic_leaves_methane_and_flush_gas():
    made = sim.made_gas(METHANE, 0.6)
    gas = sim.closed_jar(made, sim.Vessels(np.array([300.0, 200.0])), AROUND)
    drawn, left = sim.syringe_read_mL(gas)
    methane = sim.share_read(gas, flush_excluded=False)
    nitrogen = gas.before[2] / gas.before.sum(axis=0)
    np.testing.assert_allclose(left / drawn, methane + nitrogen)


@pytest.mark.parametrize("way", ["volume", "methane volume", "pressure", "mass"])
def test_a_whole_trial_is_laid_out_and_repeatable(way):
    one = simulate_trial(np.random.default_rng(3), way, dummies=2 if way == "mass" else 0)
    two = simulate_trial(np.random.default_rng(3), way, dummies=2 if way == "mass" else 0)
    readings = one.trial.readings
    assert len(readings.time_d) == len(one.trial.jars) * len(DAILY) == len(readings.note)
    assert np.all(np.diff(readings.jar) >= 0)
    for name, values in readings.columns.items():
        assert values.shape == readings.time_d.shape
        np.testing.assert_array_equal(values, two.trial.readings.columns[name])
    assert one.methane_NmL.shape == (12, 45)


def test_open_outlet_without_noise_gives_back_the_methane_made():
    """Sum of metered methane and what lies under the lid is the truth (basis as measured)."""
    quiet = Noise(0, 0, 0, 0, 0, 0.0, 0, 0, 0)
    made = simulate_trial(np.random.default_rng(0), noise=quiet, closing_C=20.0)
    total = np.cumsum(made.gas.metered[0], axis=1) + made.gas.after[0]
    np.testing.assert_allclose(total, made.methane_NmL, rtol=1e-12)
