"""Times to half and 90 %, the highest rate and its day."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from bmp.fit.curves import Curves, pack
from bmp.fit.interval import BETWEEN, WITHIN
from bmp.fit.jarwise import fit_jarwise
from bmp.fit.models import MODELS
from bmp.fit.times import peak, share_days, time_to_share
from tests.benchmarks.kinetics_intervals import Cell, Truth, held
from tests.fit_curves_made import fits_of, made_jars

FINE = np.arange(0.1, 120.0, 0.1)


def test_first_order_reaches_half_at_ln2_over_k_and_90_percent_at_ln10_over_k() -> None:
    """The standard figures of first order; the curve is finished and finely read."""
    times, curves = made_jars("first order", (350, 0.2), days=FINE, noise=0.0, scatter=0.0)
    packed = pack(times, curves)
    rows = np.arange(3)
    assert time_to_share(packed, 0.5, None, rows).value == pytest.approx(np.log(2) / 0.2, abs=1e-3)
    assert time_to_share(packed, 0.9, None, rows).value == pytest.approx(np.log(10) / 0.2, abs=1e-3)


@pytest.mark.parametrize(
    ("model", "named", "rate", "day"),
    [
        ("first order", (350.0, 0.2), 70.0, 0.0),
        ("modified Gompertz", (350.0, 40.0, 1.5), 40.0, 1.5 + 350 / (40 * np.e)),
        ("modified logistic", (350.0, 40.0, 1.5), 40.0, 1.5 + 350 / 80),
        ("first order with lag", (350.0, 0.2, 3.3), 70.0, 3.3),
    ],
)
def test_peak_of_each_form(model: str, named: tuple[float, ...], rate: float, day: float) -> None:
    times, curves = made_jars(model, named, noise=0.0, scatter=0.0)
    fits = fit_jarwise(MODELS[model], pack(times, curves))
    found_rate, found_day = peak([fits], np.arange(3), "mL/d")
    assert found_rate.value == pytest.approx(rate, rel=1e-5)
    assert found_day.value == pytest.approx(day, rel=1e-5, abs=1e-9)


@pytest.mark.parametrize(("jars", "source"), [(3, BETWEEN), (1, WITHIN)])
def test_each_has_an_interval_and_says_from_what(jars: int, source: str) -> None:
    times, curves = made_jars("modified Gompertz", (350, 25, 3), jars=jars)
    packed, rows = pack(times, curves), np.arange(jars)
    fits = fit_jarwise(MODELS["modified Gompertz"], packed)
    for found in (time_to_share(packed, 0.5, fits, rows), *peak([fits], rows, "mL/d")):
        assert found.interval_from == source
        assert found.value is not None
        assert found.ci95 is not None
        low, high = found.ci95
        assert low is not None
        assert high is not None
        assert low < found.value < high


def test_interval_of_the_half_time_within_one_jar_covers() -> None:
    """Of 400 simulated jars about 95 % hold the true time (standard error 1.1 %)."""
    times, curves = made_jars("first order", (350, 0.1), jars=400, noise=3.0, scatter=0.0)
    packed = pack(times, curves)
    fits = fit_jarwise(MODELS["first order"], packed)
    end = 1 - np.exp(-0.1 * 45)
    truth = -np.log(1 - end / 2) / 0.1
    hits = 0
    for i in range(400):
        one = np.array([i])
        ci = time_to_share(packed.rows(one), 0.5, fits, one).ci95
        assert ci is not None
        assert ci[0] is not None
        assert ci[1] is not None
        hits += ci[0] <= truth <= ci[1]
    assert 0.90 < hits / 400 < 0.99


def test_no_net_gas_has_no_half_time() -> None:
    packed = pack([np.arange(1.0, 6.0)], [-np.arange(1.0, 6.0)])
    assert time_to_share(packed, 0.5, None, np.array([0])).why == "a jar ended without net gas"


def test_models_that_are_not_ruled_out_widen_the_interval_of_the_highest_rate() -> None:
    times, curves = made_jars("first order with lag", (350, 0.3, 1.3), days=np.arange(2.0, 40, 2.5))
    packed, rows = pack(times, curves), np.arange(3)
    two = [fit_jarwise(MODELS[name], packed) for name in ("cone", "first order with lag")]
    alone, other, both = (peak(some, rows, "mL/d")[0] for some in (two[:1], two[1:], two))
    assert both.value == alone.value
    assert alone.ci95 is not None
    assert other.ci95 is not None
    low, high = alone.ci95[0], other.ci95[1]
    assert both.ci95 == (low, high)


def test_of_the_day_of_the_highest_rate_no_more_is_said_than_readings_can_tell() -> None:
    """Curves that fall from the start: any day before the first reading; never past the last."""
    days = np.array([1.0, 2, 3, 5, 7, 10, 14, 21, 30])
    for jars in (1, 2, 3):
        noise = np.random.default_rng(jars).normal(0, 2, (jars, days.size))
        net = [350 * -np.expm1(-0.3 * days) + one for one in noise]
        found = fits_of([days] * jars, net, reported=False).peak_d
        assert found.value is None or found.ci95 is not None
        if found.value is not None:
            low, high = found.ci95
            assert low == 0.0
            assert 1.0 <= high <= days[-1]


def test_the_limit_of_a_search_is_no_result_however_well_jars_agree_on_it() -> None:
    """One pool fitted with two: jars end alike at the slowest rate and the largest share."""
    days = np.array([*range(1, 15), *range(16, 46, 3)], dtype=float)
    late = np.maximum(days - 2.0, 0.0)
    net = [b * -np.expm1(-0.166 * late) for b in (483.0, 438.0, 473.0)]
    found = fits_of([days] * 3, net, reported=False).models["two-pool first order"]
    for estimate in found.parameters.values():
        assert estimate.value is None
        assert estimate.ci95 is None or estimate.ci95[1] is None


def test_curves_from_slow_to_all_but_a_stair_reach_a_share_on_the_day_of_the_closed_form() -> None:
    k = np.array([0.05, 0.3, 2.0, 30.0, 1e3, 1e5])
    lag = np.full(k.size, 3.3)
    days = np.tile(np.arange(1.0, 91.0, 3.0), (k.size, 1))
    model = MODELS["first order with lag"]
    named = np.stack([np.full(k.size, 300.0), k, lag], axis=1)
    value = model.value(days, named)
    curves = Curves(days, value, np.ones(days.shape, dtype=bool))
    fits = fit_jarwise(model, curves)
    known = replace(fits, fit=replace(fits.fit, named=named))

    for share in (0.1, 0.5, 0.9):
        expected = lag - np.log(1.0 - share * value[:, -1] / 300.0) / k
        assert share_days(curves, share, known) == pytest.approx(expected, abs=1e-10)


def test_the_blank_bends_the_curve_between_two_readings() -> None:
    """t50 before the first reading rests on the model alone: so does what a blank does to it."""
    cell = Cell(Truth("first order", (300.0, 0.3)), "every 3 d", 0.5, 0.0, 5, False)
    assert 92.8 < held(cell, 2500, np.random.default_rng(5))["t50"] < 96
