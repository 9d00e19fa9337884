"""Detectable differences against scipy's Welch test and statsmodels (general libraries).

The comparison's interval is Welch's, widened towards what the scatter of one feed alone makes it,
by how much better the other's is known; that part is worked out here from Student's t.
"""

from __future__ import annotations

import numpy as np
import pytest
import scipy.stats
from statsmodels.stats.power import TTestIndPower

from bmp.plan.power import Design, detectable_difference, just_significant


def needed(one: np.ndarray, two: np.ndarray) -> np.ndarray:
    """Return the difference of means that is significant at 5 %, a value a row."""
    jars = one.shape[1]
    errors = [np.sqrt(feed.var(axis=1, ddof=1) / jars) for feed in (one, two)]
    welch = scipy.stats.ttest_ind(one, two, axis=1, equal_var=False)
    both = scipy.stats.t.isf(0.025, welch.df) * np.hypot(*errors)
    alone = scipy.stats.t.isf(0.025, jars - 1) * np.maximum(*errors)
    # with jars - 1 degrees of freedom on either side: 1 - (jars - 1)/jars, to their power
    return both + jars ** (1.0 - jars) * np.maximum(alone - both, 0.0)


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
    share = float(np.mean(two.mean(axis=1) - one.mean(axis=1) > needed(one, two)))
    # Four standard errors of a share of 0.8 in 20 000, twice: both sides draw.
    assert share == pytest.approx(0.8, abs=6 * np.sqrt(0.16 / trials))


def test_half_of_what_is_just_significant_is_significant() -> None:
    random = np.random.default_rng(8)
    size = just_significant(Design(jars=3, rsd=0.06))
    one = random.normal(1.0, 0.06, (20_000, 3))
    two = random.normal(1.0, 0.06, (20_000, 3))
    assert float(np.mean(needed(one, two) < size)) == pytest.approx(0.5, abs=0.015)
