"""While the trial runs: a forecast, or the reason why there is none yet."""

from __future__ import annotations

import numpy as np
import pytest

from bmp.fit.material import fit_material
from bmp.fit.results import Forecast
from tests.fit_curves_made import made_jars


def ahead(model: str, named: tuple[float, ...], until: int, **how: object) -> Forecast | None:
    days = np.arange(1.0, until + 1.0)
    times, curves = made_jars(model, named, days=days, **how)  # type: ignore[arg-type]
    return fit_material(times, curves, reported=False).forecast


def test_no_forecast_once_the_stop_rule_is_met() -> None:
    assert ahead("first order", (350, 0.2), 40, noise=0.1) is None


def test_noise_free_first_order_is_forecast_to_its_stop_day() -> None:
    """k = 0.2: stop day 18 and 97.27 % of B0 there (closed form, see the stop rule's test)."""
    found = ahead("first order", (350, 0.2), 10, noise=0.0, scatter=0.0)
    assert found is not None
    assert found.stop_day_d.value == 18.0
    assert found.final_yield.value == pytest.approx(350 * (1 - np.exp(-0.2 * 18)), rel=1e-6)


def test_noisy_jars_get_intervals_around_the_truth() -> None:
    found = ahead("modified Gompertz", (350, 30, 2), 15, noise=2.0)
    assert found is not None
    assert found.final_yield.value is not None
    assert found.final_yield.ci95 is not None
    low, high = found.final_yield.ci95
    assert low is not None
    assert high is not None
    assert low < 350 < high
    assert high / low < 1.6
    assert found.words.startswith("At the end about ")
    assert "as long as no second, slower phase follows" in found.words


@pytest.mark.parametrize("jars", [1, 3])
def test_too_early_gives_words_and_no_number(jars: int) -> None:
    found = ahead("modified Gompertz", (350, 30, 4), 5, jars=jars)
    assert found is not None
    assert found.final_yield.value is None
    assert found.stop_day_d.value is None
    assert found.words.startswith("No forecast yet: ")
    assert found.final_yield.why


def test_one_jar_is_forecast_within_itself_only() -> None:
    found = ahead("first order", (350, 0.2), 12, jars=1)
    assert found is not None
    assert found.final_yield.interval_from == "within the jar only"


def test_the_same_readings_give_the_same_forecast() -> None:
    first = ahead("first order", (350, 0.2), 12)
    assert first == ahead("first order", (350, 0.2), 12)
