"""What a curve does not determine is said in words, never given as a number."""

from __future__ import annotations

import numpy as np
import pytest

from bmp.fit import identify
from bmp.fit.curves import pack
from bmp.fit.identify import reasons
from bmp.fit.jarwise import fit_jarwise
from bmp.fit.models import MODELS
from bmp.trial import FloatArray

DAYS = np.arange(1.0, 31.0)


def why(model: str, value: FloatArray, days: FloatArray = DAYS) -> dict[str, str]:
    form = MODELS[model]
    found = reasons(fit_jarwise(form, pack([days], [value])))[0]
    return dict(zip(form.names, found, strict=True))


def made(model: str, *named: float, noise: float = 0.0, days: FloatArray = DAYS) -> FloatArray:
    gas = np.diff(MODELS[model].value(days, np.array([named]))[0], prepend=0.0)
    error = np.random.default_rng(1).standard_normal(days.size)
    return np.cumsum(gas + noise * error)


def test_a_finished_curve_determines_everything() -> None:
    assert not any(why("first order", made("first order", 350, 0.15, noise=1.0)).values())
    curve = made("modified Gompertz", 350, 25, 3, noise=1.0)
    assert not any(why("modified Gompertz", curve).values())


def test_a_straight_line_determines_neither_level_nor_rate() -> None:
    found = why("first order", 5.0 * DAYS)
    assert found == {"B0": identify.NOT_BENT, "k": identify.NOT_BENT}


def test_a_curve_hardly_bent_under_noise_leaves_both_open() -> None:
    found = why("first order", made("first order", 350, 0.01, noise=3.0))
    assert all(found.values())


def test_no_net_gas_is_said_as_such() -> None:
    assert set(why("first order", -DAYS).values()) == {identify.NO_GAS}


def test_fewer_readings_than_the_model_needs() -> None:
    days = np.array([1.0, 3.0, 9.0])
    found = why("modified Gompertz", np.array([10.0, 90.0, 200.0]), days)
    assert set(found.values()) == {identify.NOT_FITTED}


def test_a_rise_between_two_readings_leaves_the_rate_open() -> None:
    days = np.array([5.0, 10.0, 15.0, 20.0, 25.0, 30.0])
    found = why("first order", np.array([199.0, 200.5, 200.0, 199.5, 200.2, 199.8]), days)
    assert found["k"] == identify.STEEP
    assert found["B0"] == ""


@pytest.mark.parametrize(("lag", "reason"), [(0.5, identify.EARLY_LAG), (-2.0, identify.NO_LAG)])
def test_a_lag_before_the_first_reading_is_not_a_lag(lag: float, reason: str) -> None:
    assert why("modified Gompertz", made("modified Gompertz", 350, 25, lag))["lag"] == reason


def test_far_extrapolation_is_not_read_off_the_curve() -> None:
    days = np.arange(1.0, 31.0)
    found = why("first order", made("first order", 1000, 0.008, days=days), days)
    assert found["B0"] == identify.FAR


def test_what_only_a_second_pool_would_show_stays_open_in_a_curve_of_one() -> None:
    found = why("two-pool first order", made("first order", 350, 0.15, noise=1.0))
    assert any(found.values())
