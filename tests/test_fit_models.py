"""The models: values against the printed formulas, derivatives against differences."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from bmp.fit.model import Model
from bmp.fit.models import MODELS

NAMED = {
    "first order": (350.0, 0.2),
    "first order with lag": (350.0, 0.2, 1.5),
    "modified Gompertz": (350.0, 40.0, 1.5),
    "cone": (350.0, 0.4, 1.8),
    "modified logistic": (350.0, 40.0, 1.5),
    "two-pool first order": (350.0, 0.6, 0.5, 0.04),
}
EVERY_MODEL = pytest.mark.parametrize("model", MODELS.values(), ids=lambda model: model.name)


def written_out(name: str, p: tuple[float, ...], t: float) -> float:
    """The formulas of published sources once more, one number at a time."""
    if name == "first order":
        return p[0] * (1 - math.exp(-p[1] * t))
    if name == "first order with lag":
        return p[0] * (1 - math.exp(-p[1] * (t - p[2]))) if t > p[2] else 0.0
    if name == "modified Gompertz":
        return p[0] * math.exp(-math.exp(p[1] * math.e / p[0] * (p[2] - t) + 1))
    if name == "cone":
        return p[0] / (1 + (p[1] * t) ** -p[2]) if t > 0 else 0.0
    if name == "modified logistic":
        return p[0] / (1 + math.exp(4 * p[1] * (p[2] - t) / p[0] + 2))
    quick, slow = 1 - math.exp(-p[2] * t), 1 - math.exp(-p[3] * t)
    return p[0] * (p[1] * quick + (1 - p[1]) * slow)


def test_every_model_has_a_case() -> None:
    assert set(NAMED) == set(MODELS)


@EVERY_MODEL
def test_value_is_the_formula(model: Model) -> None:
    days = np.array([0.0, 0.7, 1.5, 5.0, 20.0, 60.0])
    expected = [written_out(model.name, NAMED[model.name], t) for t in days]
    found = model.value(days, np.array([NAMED[model.name]]))[0]
    np.testing.assert_allclose(found, expected, rtol=1e-12, atol=1e-12)


@EVERY_MODEL
@given(factors=st.lists(st.floats(0.6, 1.5), min_size=4, max_size=4), t=st.floats(2.0, 50.0))
def test_derivatives_are_those_of_the_value(model: Model, factors: list[float], t: float) -> None:
    named = np.array([NAMED[model.name]]) * factors[: len(model.names)]
    day = np.array([t])
    h = 1e-6
    rate = (model.value(day + h, named) - model.value(day - h, named)) / (2 * h)
    if "lag" not in model.names or abs(t - named[0, -1]) > 1e-3:  # not across the kink of a lag
        np.testing.assert_allclose(model.rate(day, named), rate, rtol=1e-5, atol=1e-6)
    gradient = model.gradient(day, named)[0, 0]
    for i in range(len(model.names)):
        step = np.zeros_like(named)
        step[0, i] = h * named[0, i]
        change = model.value(day, named + step) - model.value(day, named - step)
        expected = change[0, 0] / (2 * step[0, i])
        assert gradient[i] == pytest.approx(expected, rel=1e-5, abs=1e-6 * 350 / named[0, i])


@EVERY_MODEL
def test_search_coordinates_and_back(model: Model) -> None:
    named = np.array([NAMED[model.name]])
    np.testing.assert_allclose(model.to_named(model.to_search(named)), named, rtol=1e-12)


@EVERY_MODEL
def test_peak_is_the_highest_rate_of_the_curve(model: Model) -> None:
    named = np.array([NAMED[model.name]])
    days = np.linspace(0.0, 60.0, 60_001)
    rates = model.rate(days, named)[0]
    rate, day = model.peak(named)
    assert rate[0] == pytest.approx(rates.max(), rel=1e-6)
    assert day[0] == pytest.approx(days[rates.argmax()], abs=2e-3)


def test_modified_gompertz_as_zwietering_defines_it() -> None:
    """Zwietering et al. 1990: y(lag) = A e^-e, y = A/e and slope Rm at lag + A/(Rm e)."""
    model, (b0, rm, lag) = MODELS["modified Gompertz"], NAMED["modified Gompertz"]
    named = np.array([[b0, rm, lag]])
    bend = lag + b0 / (rm * math.e)
    value = model.value(np.array([lag, bend]), named)[0]
    np.testing.assert_allclose(value, [b0 * math.exp(-math.e), b0 / math.e], rtol=1e-12)
    assert model.rate(np.array([bend]), named)[0, 0] == pytest.approx(rm, rel=1e-12)


def test_modified_logistic_as_zwietering_defines_it() -> None:
    """Zwietering et al. 1990: y(lag) = A/(1 + e²), y = A/2 and slope Rm at lag + A/(2 Rm)."""
    model, (b0, rm, lag) = MODELS["modified logistic"], NAMED["modified logistic"]
    named = np.array([[b0, rm, lag]])
    bend = lag + b0 / (2 * rm)
    value = model.value(np.array([lag, bend]), named)[0]
    np.testing.assert_allclose(value, [b0 / (1 + math.e**2), b0 / 2], rtol=1e-12)
    assert model.rate(np.array([bend]), named)[0, 0] == pytest.approx(rm, rel=1e-12)


def test_transference_form_is_first_order_with_lag() -> None:
    """B0 (1 − exp(−Rm (t − lag)/B0)) with Rm = k B0 (form from memory)."""
    b0, k, lag = NAMED["first order with lag"]
    rm = k * b0
    days = np.array([2.0, 5.0, 30.0])
    expected = b0 * (1 - np.exp(-rm * (days - lag) / b0))
    found = MODELS["first order with lag"].value(days, np.array([[b0, k, lag]]))[0]
    np.testing.assert_allclose(found, expected, rtol=1e-12)


def test_two_pools_are_named_quick_and_slow_whichever_way_round_they_are_found() -> None:
    model = MODELS["two-pool first order"]
    turned = np.array([[350.0, 0.4, 0.04, 0.5]])
    np.testing.assert_allclose(model.to_named(model.to_search(turned)), [[350.0, 0.6, 0.5, 0.04]])


def test_units_of_a_rate_follow_the_unit_of_the_yield() -> None:
    b0, rm, lag = MODELS["modified Gompertz"].parameters
    assert b0.unit_for("NmL CH4/g VS") == "NmL CH4/g VS"
    assert rm.unit_for("NmL CH4/g VS") == "NmL CH4/(g VS d)"
    assert rm.unit_for("mL") == "mL/d"
    assert lag.unit_for("NmL CH4/g VS") == "d"
