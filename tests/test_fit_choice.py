"""Which model is chosen, and in what words."""

from __future__ import annotations

import numpy as np
import pytest

from bmp.fit.choice import CANDIDATES, aicc, effective_readings
from bmp.fit.curves import pack
from bmp.fit.jarwise import fit_jarwise
from bmp.fit.models import MODELS
from bmp.fit.results import Choice
from bmp.trial import FloatArray
from tests.fit_curves_made import fits_of, made_jars


def chosen(model: str, named: tuple[float, ...], **how: object) -> Choice:
    times, curves = made_jars(model, named, **how)  # type: ignore[arg-type]
    return fits_of(times, curves, reported=False).choice


def test_first_order_curves_are_called_first_order() -> None:
    choice = chosen("first order", (350, 0.15))
    assert choice.model == "first order"
    assert choice.words.startswith("First order fits better (")
    assert choice.evidence_ratio is not None
    assert choice.evidence_ratio > 100


def test_sigmoid_curves_are_called_modified_gompertz() -> None:
    choice = chosen("modified Gompertz", (350, 25, 4))
    assert choice.model == "modified Gompertz"
    assert choice.words.startswith("Modified Gompertz fits better (")


def test_two_phases_are_said_as_such() -> None:
    choice = chosen("two-pool first order", (350, 0.5, 0.8, 0.04), noise=0.5)
    assert "two phases, a quick and a slow one" in choice.words


def test_a_curve_in_two_steps_is_followed_by_no_model() -> None:
    days = np.arange(1.0, 46.0)
    steps = 150 * (1 - np.exp(-0.8 * days)) + 200 / (1 + np.exp(-1.5 * (days - 25)))
    choice = fits_of([days] * 3, [steps, steps * 1.02, steps * 0.98], reported=False).choice
    assert choice.model is None
    assert choice.words == "No model fits within 5 % of the yield."


def test_no_rate_is_quoted_where_no_model_follows() -> None:
    days = np.arange(1.0, 46.0)
    steps = 150 * (1 - np.exp(-0.8 * days)) + 200 / (1 + np.exp(-1.5 * (days - 25)))
    found = fits_of([days] * 3, [steps, steps * 1.02, steps * 0.98], reported=False)
    for estimate in (found.peak_rate, found.peak_d):
        assert estimate.value is None
        assert estimate.why == "no model follows the curve"
    assert found.t50_d.value is not None


def test_a_model_that_is_left_open_ranks_below_one_that_is_determined() -> None:
    open_ones = 0
    for seed in range(12):
        times, curves = made_jars(
            "first order", (350, 0.3), days=np.array([2.0, 5, 9, 15, 30]), noise=8, seed=seed
        )
        found = fits_of(times, curves, reported=False)
        known = {
            name: all(
                found.models[name].parameters[one.name].value is not None
                for one in MODELS[name].parameters
                if one.decides
            )
            for name in CANDIDATES
            if found.models[name].aicc is not None
        }
        if any(known.values()) and not all(known.values()) and found.choice.model:
            open_ones += 1
            assert known[found.choice.model]
    assert open_ones > 0


@pytest.mark.parametrize("jars", [1, 3])
def test_one_reading_a_jar_leaves_a_yield_without_kinetics(jars: int) -> None:
    net = [np.array([300.0 + 5 * i]) for i in range(jars)]
    found = fits_of([np.array([40.0])] * jars, net)
    assert found.choice.model is None
    for fit in found.models.values():
        assert {one.why for one in fit.parameters.values()} == {"too few readings for this model"}


def test_few_noisy_readings_leave_the_richer_model_open() -> None:
    words = {
        chosen("first order", (350, 0.3), days=np.array([2.0, 5, 9, 15, 30]), noise=8, seed=s).words
        for s in range(12)
    }
    assert any(w.startswith("Several models fit equally well; first order is ") for w in words)


def test_too_few_readings_for_any_model() -> None:
    choice = fits_of([np.array([1.0, 2.0])], [np.array([5.0, 9.0])]).choice
    assert choice.model is None
    assert choice.words == "No model could be fitted: too few readings."


def test_errors_that_add_up_leave_fewer_readings_than_there_are() -> None:
    times, curves = made_jars("first order", (350, 0.15), noise=3.0, jars=20)
    fits = {n: fit_jarwise(m, pack(times, curves)) for n, m in MODELS.items()}
    assert effective_readings(fits, np.zeros(20, int)).mean() < 20


def test_independent_errors_leave_nearly_all_readings() -> None:
    rng = np.random.default_rng(5)
    days = np.arange(1.0, 46.0)
    level: FloatArray = 350 * (1 - np.exp(-0.15 * days))
    curves = [level + 4 * rng.standard_normal(45) for _ in range(20)]
    fits = {n: fit_jarwise(m, pack([days] * 20, curves)) for n, m in MODELS.items()}
    assert effective_readings(fits, np.zeros(20, int)).mean() > 42


def test_aicc_is_the_printed_formula_where_readings_are_independent() -> None:
    """n ln(RSS/n) + 2K + 2K(K + 1)/(n − K − 1): Burnham & Anderson 2002, section 2.4."""
    times, curves = made_jars("first order", (350, 0.15), jars=1)
    fits = fit_jarwise(MODELS["first order"], pack(times, curves))
    n, k, rss = 45, 3, float(fits.fit.rss[0])
    expected = n * np.log(rss / n) + 2 * k + 2 * k * (k + 1) / (n - k - 1)
    assert aicc(fits, np.array([45.0]))[0] == pytest.approx(expected, rel=1e-12)


def test_noise_is_told_apart() -> None:
    adding_up = chosen("first order", (350, 0.15), noise=3.0).noise
    assert adding_up.startswith("Errors add up from reading to reading")
    days = np.arange(1.0, 46.0)
    rng = np.random.default_rng(6)
    curves = [350 * (1 - np.exp(-0.15 * days)) + 4 * rng.standard_normal(45) for _ in range(3)]
    independent = fits_of([days] * 3, curves, reported=False).choice.noise
    assert independent.startswith("Errors of neighbouring readings look independent")
