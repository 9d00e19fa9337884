"""Detectable differences against scipy's Welch test and statsmodels (general libraries)."""

from __future__ import annotations

import numpy as np
import pytest
import scipy.stats
from statsmodels.stats.power import TTestIndPower

from bmp.plan.power import Design, detectable_difference, just_significant


@pytest.mark.parametrize("jars", [12, 30])
@pytest.mark.parametrize("rsd", [0.02, 0.06])
def test_with_many_jars_welch_is_the_t_test(rsd: float, jars: int) -> None:
    expected = rsd * TTestIndPower().solve_power(nobs1=jars, alpha=0.05, power=0.8)
    found = detectable_difference(Design(jars=jars, rsd=rsd))
    # The scatter grows with the yield of one feed, Welch's freedom is a little less, draws: 0.5 %.
    assert found == pytest.approx(expected, rel=0.025)


@pytest.mark.parametrize("jars", [2, 3, 4, 6])
def test_welch_finds_the_difference_four_times_in_five(jars: int) -> None:
    random = np.random.default_rng(7)
    trials, rsd = 20_000, 0.06
    difference = detectable_difference(Design(jars=jars, rsd=rsd))
    means = (1 - difference / 2, 1 + difference / 2)
    one, two = (random.normal(m, rsd * m, (trials, jars)) for m in means)
    found = scipy.stats.ttest_ind(one, two, axis=1, equal_var=False)
    share = float(np.mean((found.pvalue < 0.05) & (found.statistic < 0)))
    # Four standard errors of a share of 0.8 in 20 000, twice: both sides draw.
    assert share == pytest.approx(0.8, abs=6 * np.sqrt(0.16 / trials))


def test_half_of_what_is_just_significant_is_significant() -> None:
    random = np.random.default_rng(8)
    size = just_significant(Design(jars=3, rsd=0.06))
    one = random.normal(1.0, 0.06, (20_000, 3))
    two = random.normal(1.0, 0.06, (20_000, 3))
    error = np.sqrt(one.var(axis=1, ddof=1) / 3 + two.var(axis=1, ddof=1) / 3)
    result = scipy.stats.ttest_ind(one, two, axis=1, equal_var=False)
    needed = scipy.stats.t.isf(0.025, result.df) * error
    assert float(np.mean(needed < size)) == pytest.approx(0.5, abs=0.015)
