"""The tank's yield against the closed form, simulated tanks, chance, and published rates."""

import csv
from itertools import combinations
from pathlib import Path

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from bmp.tank.yields import (
    RATE_PER_KELVIN,
    daily_methane,
    plug_flow_yield,
    temperature_factor,
    well_mixed_yield,
)
from tests.tank_closed_forms import first_order_tank_yield

FOLDER = Path(__file__).parents[2] / "reference_data" / "digester_temperature_rates"


def first_order(B0, k, end_d=2000.0, step_d=0.05):
    time = np.arange(0.0, end_d, step_d)
    return time, B0 * (1 - np.exp(-k * time))


@pytest.mark.parametrize("k", [0.03, 0.1, 0.3])
@pytest.mark.parametrize("retention", [10.0, 25.0, 60.0])
def test_integral_is_the_closed_form(k, retention):
    """∫ r exp(-t/θ) dt over a fine curve is B0 k θ/(1 + k θ), the steady state of textbooks."""
    time, curve = first_order(350.0, k)
    closed = 350.0 * k * retention / (1 + k * retention)
    assert first_order_tank_yield(350.0, k, retention) == pytest.approx(closed, rel=1e-12)
    assert well_mixed_yield(time, curve, retention) == pytest.approx(closed, rel=1e-5)


@pytest.mark.parametrize(("k", "retention"), [(0.05, 20.0), (0.2, 30.0)])
def test_closed_form_against_a_tank_solved_as_an_equation(k, retention):
    """A tank fed 1 g once a day, dS/dt = -(k + 1/θ) S by a general solver, after ten θ."""
    substrate, gas = 0.0, 0.0
    for _ in range(int(10 * retention)):
        solved = solve_ivp(
            lambda _, state: [-(k + 1 / retention) * state[0], k * state[0]],
            (0.0, 1.0),
            [substrate + 1.0, 0.0],
            rtol=1e-8,
            atol=1e-10,
        )
        substrate, gas = solved.y[0, -1], solved.y[1, -1]
    assert gas == pytest.approx(first_order_tank_yield(1.0, k, retention), rel=1e-4)


@pytest.mark.parametrize(("k", "retention"), [(0.05, 20.0), (0.2, 30.0)])
def test_tank_emptied_and_filled_once_a_day_is_near_the_closed_form(k, retention):
    """A keeper draws V/θ off and then feeds, once a day: 1 to 2 % more gas than steady feeding."""
    substrate, gas = 0.0, 0.0
    for _ in range(int(10 * retention)):
        substrate = substrate * (1 - 1 / retention) + 1.0
        gas = substrate * (1 - np.exp(-k))
        substrate -= gas
    closed = first_order_tank_yield(1.0, k, retention)
    assert closed <= gas <= 1.02 * closed


def test_simulated_feeding_ends_at_the_integral():
    """Our day-by-day tank on a constant diet ends at the integral of the same curve."""
    time, curve = first_order(80.0, 0.12, end_d=400.0)
    days = 300
    gas = daily_methane(np.ones(days), np.full(days, 25.0), time, curve)
    assert gas[-1] == pytest.approx(well_mixed_yield(time, curve, 25.0), rel=1e-3)


def test_yield_is_the_mean_over_residence_times():
    """A well-mixed tank's residence times are exponential: mean B over 200,000 random ones."""
    random = np.random.default_rng(20260101)
    time, curve = first_order(350.0, 0.08)
    stays = random.exponential(30.0, 200_000)
    drawn = np.interp(stays, time, curve)
    error = drawn.std() / np.sqrt(drawn.size)
    assert well_mixed_yield(time, curve, 30.0) == pytest.approx(drawn.mean(), abs=4 * error)


def test_plug_flow_by_first_order():
    """B(θ) = B0 (1 - exp(-k θ)), textbook."""
    time, curve = first_order(350.0, 0.1)
    assert plug_flow_yield(time, curve, 20.0) == pytest.approx(350 * (1 - np.exp(-2)), rel=1e-4)


def rows(name):
    with (FOLDER / name).open(encoding="utf-8") as file:
        return list(csv.DictReader(file))


def test_temperature_factor_is_that_of_the_published_rates():
    """Fulford 2018: rate per kelvin between any two temperatures of one kind of tank."""
    per_kelvin = []
    for one, other in combinations(rows("fulford_2018.csv"), 2):
        if one["tank"] == other["tank"] and "34" in (one["temperature_C"], other["temperature_C"]):
            kelvin = float(one["temperature_C"]) - float(other["temperature_C"])
            per_kelvin.append((float(one["k_per_d"]) / float(other["k_per_d"])) ** (1 / kelvin))
    assert RATE_PER_KELVIN.low == pytest.approx(min(per_kelvin), abs=0.0005)
    assert RATE_PER_KELVIN.high == pytest.approx(max(per_kelvin), abs=0.0005)
    middle = np.sqrt(min(per_kelvin) * max(per_kelvin))
    assert RATE_PER_KELVIN.value == pytest.approx(middle, abs=0.0005)


def test_growth_rates_lie_inside_the_temperature_span():
    """Hashimoto, Varel & Chen 1981 (from memory): μm(T)/μm(37 °C) from 20 to 35 °C."""
    table = {
        float(row["temperature_C"]): float(row["growth_rate_per_d"])
        for row in rows("hashimoto_1981.csv")
    }
    for temperature, rate in table.items():
        factor = temperature_factor(temperature, 37.0)
        assert factor.low <= rate / table[37.0] <= factor.high
