"""Power and detectable difference against statsmodels (general library) and a published table."""

from __future__ import annotations

import numpy as np
import pytest
import scipy.stats
from hypothesis import given, settings
from hypothesis import strategies as st
from statsmodels.stats.power import TTestIndPower

from bmp.plan.power import (
    detectable_difference,
    jars_needed,
    just_significant,
    power_of_t_test,
)


@pytest.mark.parametrize("jars", [2, 3, 4, 5, 6, 8, 12, 30])
@pytest.mark.parametrize("rsd", [0.02, 0.06, 0.10, 0.25])
def test_detectable_difference(rsd: float, jars: int) -> None:
    expected = rsd * TTestIndPower().solve_power(nobs1=jars, alpha=0.05, power=0.8)
    # statsmodels solves to about 1e-6.
    assert detectable_difference(rsd, jars) == pytest.approx(expected, rel=5e-6)


@settings(max_examples=40, deadline=None)
@given(
    effect=st.floats(0.0, 12.0),
    jars=st.integers(2, 40),
    level=st.sampled_from([0.01, 0.05, 0.1]),
)
def test_power(effect: float, jars: int, level: float) -> None:
    expected = TTestIndPower().power(effect, jars, level)
    found = power_of_t_test(effect * 0.06, 0.06, jars, level)
    if np.isnan(expected):
        # The library's far tail has no digits left there; its near tail alone is the power.
        freedom = 2 * (jars - 1)
        critical = scipy.stats.t.isf(level / 2, freedom)
        expected = scipy.stats.nct.sf(critical, freedom, effect * np.sqrt(jars / 2))
    assert found == pytest.approx(float(expected), abs=2e-9)


def test_sample_size_of_cohen() -> None:
    """Cohen (1988), table 2.4.1 (from memory): d = 0.8, power 0.80, 5 % two-sided: 26 a group."""
    assert jars_needed(0.8 * 0.06, 0.06) == 26
    assert jars_needed(0.5 * 0.06, 0.06) == 64


def test_simulated_trials_find_the_difference_four_times_in_five() -> None:
    random = np.random.default_rng(7)
    trials, jars, rsd = 20_000, 3, 0.06
    difference = detectable_difference(rsd, jars)
    one = random.normal(1.0, rsd, (trials, jars))
    two = random.normal(1.0 + difference, rsd, (trials, jars))
    found = scipy.stats.ttest_ind(one, two, axis=1)
    share = float(np.mean(found.pvalue < 0.05))
    # Four standard errors of a share of 0.8 in 20 000.
    assert share == pytest.approx(0.8, abs=4 * np.sqrt(0.16 / trials))
    observed = np.abs(one.mean(axis=1) - two.mean(axis=1))
    assert observed[found.pvalue < 0.05].min() < just_significant(rsd, jars)
