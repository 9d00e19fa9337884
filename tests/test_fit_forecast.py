"""While the trial runs: a forecast, or the reason why there is none yet."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy import stats

from bmp.fit.common_errors import Factor
from bmp.fit.curves import pack
from bmp.fit.material import MaterialCurves, fit_materials
from bmp.fit.results import Forecast
from bmp.fit.tail import fit_tail, reading_noise, spread
from bmp.trial import FloatArray
from tests.fit_curves_made import fits_of, made_jars


def ahead(
    model: str, named: tuple[float, ...], until: int, *, one_phase: bool = False, **how: object
) -> Forecast | None:
    days = np.arange(1.0, until + 1.0)
    times, curves = made_jars(model, named, days=days, **how)  # type: ignore[arg-type]
    material = MaterialCurves(times, curves, one_phase=one_phase)
    return fit_materials([material], reported=False)[0].forecast


def inverse(days: FloatArray) -> FloatArray:
    """A tail as the expected one: the rate falls with the square of time."""
    level: FloatArray = 400.0 - 600.0 / np.maximum(days, 3.0)
    return level


def test_no_forecast_once_the_stop_rule_is_met() -> None:
    assert ahead("first order", (350, 0.2), 40, noise=0.1) is None


def test_an_inverse_square_tail_is_found_and_followed_exactly() -> None:
    """B = P − Q/t: what is still to come over the last value is Q/(c P − Q)."""
    days = np.arange(1.0, 13.0)
    curves = pack([days], [inverse(days)])
    tail = fit_tail(curves)
    assert tail.rest[0] == pytest.approx(600 / (12 * 400 - 600), rel=1e-12)
    assert tail.error[0] == pytest.approx(0.0, abs=1e-9)
    later = tail.last[0] * (1 + tail.gain(np.array([30.0]))[0, 0])
    assert later == pytest.approx(inverse(np.array([30.0]))[0], rel=1e-12)


def test_the_forecast_stops_such_a_tail_when_its_formula_says() -> None:
    """Rate Q/(P t² − Q t) of the total, below 1 % on three days: from day 14.1 + 2 on."""
    days = np.arange(1.0, 13.0)
    found = fits_of([days], [inverse(days)], reported=False).forecast
    assert found is not None
    later = np.arange(13.0, 40.0)
    daily = 100 * np.diff(inverse(later - 1), append=0)[:-1] / inverse(later[:-1])
    expected = later[:-1][daily < 1.0][0] + 2
    assert found.stop_day_d.value == pytest.approx(expected, abs=1.0)


def test_errors_that_all_jars_share_are_in_the_forecast() -> None:
    """VS known to 4 % and three blanks that move the mean by -9, 0 and 9.

    u of the blanks: sqrt(162/6) = 5.2 with two degrees of freedom. The wider the forecast, by the
    root of the sum of squares: the interval of the common errors by themselves.
    """
    days = np.arange(1.0, 13.0)
    moves = [np.array([[-9.0], [0.0], [9.0]]) * np.ones(days.size)]
    bare = MaterialCurves([days], [inverse(days)], one_phase=True)
    shared = replace(bare, blank_moves=moves, factors=(Factor("solids", 0.04),))
    alone, wider = (
        found.forecast.final_yield.ci95
        for found in fit_materials([bare, shared], reported=False)
        if found.forecast and found.forecast.final_yield.ci95
    )
    value = fit_materials([bare], reported=False)[0].forecast.final_yield.value
    blank, solids = 162 / 6, (0.04 * value) ** 2
    freedom = (blank + solids) ** 2 / (blank**2 / 2)
    half = max(
        stats.t.ppf(0.975, freedom) * np.sqrt(blank + solids), stats.t.ppf(0.975, 2) * blank**0.5
    )
    for end, wide in zip(alone, wider, strict=True):
        assert abs(wide - value) == pytest.approx(np.hypot(end - value, half), rel=0.005)


def test_the_noise_of_a_day_is_that_put_in() -> None:
    days = np.arange(1.0, 400.0)
    rng = np.random.default_rng(1)
    value = inverse(days) + np.cumsum(0.1 * rng.standard_normal(days.size))
    curves = pack([days], [value])
    tail = fit_tail(curves)
    assert reading_noise(curves, tail, 0) * tail.last[0] == pytest.approx(0.1, rel=0.1)


def test_laboratories_count_alike_in_the_spread_of_tails() -> None:
    every = spread()
    assert 0.3 < every.factor(-1.96) < 0.6
    assert 1.7 < every.factor(1.96) < 3.0
    assert spread("19") != every


def test_a_feed_of_one_phase_gets_an_interval_around_the_truth() -> None:
    found = ahead("modified Gompertz", (350, 30, 2), 15, noise=2.0, one_phase=True)
    assert found is not None
    assert found.final_yield.value is not None
    assert found.final_yield.ci95 is not None
    low, high = found.final_yield.ci95
    assert low is not None
    assert high is not None
    assert low < 350 < high
    assert high / low < 1.9
    assert found.words.startswith("At the end about ")
    assert "second phase" not in found.words


def test_early_on_a_second_phase_is_allowed_for_unless_there_is_none() -> None:
    known = ahead("first order", (350, 0.25), 11, one_phase=True)
    unknown = ahead("first order", (350, 0.25), 11)
    assert known is not None
    assert unknown is not None
    assert known.final_yield.ci95 is not None
    assert unknown.final_yield.ci95 is not None
    assert unknown.final_yield.value == known.final_yield.value
    assert unknown.final_yield.ci95[0] == known.final_yield.ci95[0]
    assert unknown.final_yield.ci95[1] == pytest.approx(unknown.final_yield.value / 0.55)
    assert unknown.words.startswith("At the end at least ")
    assert unknown.stop_day_d.value == known.stop_day_d.value
    assert known.stop_day_d.ci95 is not None
    assert unknown.stop_day_d.ci95 == (known.stop_day_d.ci95[0], None)


def test_a_second_phase_brings_no_more_than_the_feed_can_give() -> None:
    days = np.arange(1.0, 12.0)
    times, curves = made_jars("first order", (350, 0.25), days=days)
    limits = []
    for highest in (None, 450.0, 300.0):
        material = MaterialCurves(times, curves, highest=highest)
        found = fit_materials([material], reported=False)[0].forecast
        assert found is not None
        assert found.final_yield.ci95 is not None
        limits.append(found.final_yield.ci95[1])
    known = ahead("first order", (350, 0.25), 11, one_phase=True)
    assert known is not None
    assert known.final_yield.ci95 is not None
    assert limits[0] > limits[1] == 450.0
    assert limits[2] == known.final_yield.ci95[1]


@pytest.mark.parametrize("until", [9, 12, 15, 20])
def test_day_span_and_sentence_agree(until: int) -> None:
    found = ahead("first order", (350, 0.12), until, noise=1.5)
    assert found is not None
    day, span = found.stop_day_d.value, found.stop_day_d.ci95
    assert day is not None
    assert span is not None
    assert span[0] is not None
    assert until <= span[0] <= day <= (span[1] or np.inf)
    until_words = "or later" if span[1] is None else f"to {span[1]:.0f}"
    assert (span[1] is None) == (until < 17)
    assert f"about day {day:.0f} ({span[0]:.0f} {until_words})." in found.words


@pytest.mark.parametrize("jars", [1, 3])
def test_too_early_gives_words_and_no_number(jars: int) -> None:
    found = ahead("modified Gompertz", (350, 30, 4), 5, jars=jars)
    assert found is not None
    assert found.final_yield.value is None
    assert found.stop_day_d.value is None
    assert found.words.startswith("No forecast yet: ")
    assert found.final_yield.why


def test_one_jar_is_forecast_too() -> None:
    found = ahead("first order", (350, 0.2), 12, jars=1)
    assert found is not None
    assert found.final_yield.value is not None


def test_the_same_readings_give_the_same_forecast() -> None:
    first = ahead("first order", (350, 0.2), 12)
    assert first == ahead("first order", (350, 0.2), 12)


def test_a_forecast_needs_no_model_that_follows_the_curve() -> None:
    days = np.arange(1.0, 12.0)
    late = inverse(days) + np.where(days < 6, 80.0 * np.sin(3 * days), 0.0)
    found = fits_of([days] * 2, [late, late * 1.01], reported=False)
    assert found.choice.model is None
    assert found.forecast is not None
    assert found.forecast.final_yield.value is not None
