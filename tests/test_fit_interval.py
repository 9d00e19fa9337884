"""Intervals between jars and within one."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from bmp.fit.interval import BETWEEN, WITHIN, between_jars, estimate, within_jars
from bmp.statistics import critical_t

NO_ERROR = np.full(3, np.inf)


@pytest.mark.parametrize("degrees", [1, 2, 4, 12.5, 100])
def test_t_quantile_is_that_of_the_distribution(degrees: float) -> None:
    assert float(critical_t(degrees)) == pytest.approx(stats.t.ppf(0.975, degrees), rel=1e-9)


def test_between_jars_is_the_t_interval_of_the_mean() -> None:
    jars = np.array([340.0, 352.0, 361.0])
    expected = stats.t.interval(0.95, 2, jars.mean(), stats.sem(jars))
    assert between_jars(jars) == pytest.approx(expected, rel=1e-9)


def test_three_jars_give_the_interval_between_them_whatever_each_says() -> None:
    jars = np.array([340.0, 352.0, 361.0])
    found = estimate(351.0, "d", jars, NO_ERROR, np.full(3, 10.0))
    assert (found.value, found.interval_from) == (351.0, BETWEEN)
    assert found.ci95 == pytest.approx(between_jars(jars))


def test_an_interval_between_jars_does_not_run_below_what_can_be() -> None:
    found = estimate(2.0, "d", np.array([0.1, 1.0, 5.0]), NO_ERROR, np.full(3, 10.0))
    assert found.ci95 is not None
    assert found.ci95[0] == 0.0
    free = estimate(2.0, "d", np.array([0.1, 1.0, 5.0]), NO_ERROR, np.full(3, 10.0), positive=False)
    assert free.ci95 is not None
    assert free.ci95[0] is not None
    assert free.ci95[0] < 0


def test_one_jar_is_labelled_as_within_the_jar_only() -> None:
    found = estimate(350.0, "d", np.array([350.0]), np.array([10.0]), np.array([20.0]))
    half = stats.t.ppf(0.975, 20) * 10 / 350
    assert found.interval_from == WITHIN
    assert found.ci95 == pytest.approx((350 * np.exp(-half), 350 * np.exp(half)))


def test_two_jars_share_their_errors() -> None:
    pair = np.array([100.0, 100.0])
    found = within_jars(100.0, pair, np.array([3.0, 4.0]), np.array([9.0, 9.0]), positive=False)
    half = stats.t.ppf(0.975, 18) * 5 / 2
    assert found == pytest.approx((100 - half, 100 + half))


def test_no_error_known_says_so() -> None:
    found = estimate(1.0, "d", np.array([1.0]), np.array([np.inf]), np.array([1.0]))
    assert found.ci95 is None
    assert "fewer than three jars" in found.why
