from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from bmp.plan.power import detectable_difference, jars_needed, just_significant, power_of_t_test


@given(st.integers(2, 30), st.floats(0.01, 0.3))
def test_detectable_difference_has_the_power_it_says(jars: int, rsd: float) -> None:
    difference = detectable_difference(rsd, jars)
    assert power_of_t_test(difference, rsd, jars) == pytest.approx(0.8, abs=1e-8)
    assert difference > just_significant(rsd, jars)


def test_power_of_no_difference_is_the_level() -> None:
    assert power_of_t_test(0.0, 0.06, 3) == pytest.approx(0.05)


@given(st.integers(2, 20), st.floats(0, 0.5))
def test_more_jars_never_see_less(jars: int, difference: float) -> None:
    fewer, more = (power_of_t_test(difference, 0.06, n) for n in (jars, jars + 1))
    assert more >= fewer - 1e-9


def test_jars_needed_is_the_least_that_does() -> None:
    n = jars_needed(0.10, 0.06)
    assert n is not None
    assert power_of_t_test(0.10, 0.06, n) >= 0.8 > power_of_t_test(0.10, 0.06, n - 1)
    assert jars_needed(0.001, 0.2) is None


def test_one_jar_shows_no_scatter() -> None:
    with pytest.raises(ValueError, match="at least 2"):
        detectable_difference(0.06, 1)
    with pytest.raises(ValueError, match="at least 2"):
        power_of_t_test(0.1, 0.06, 1)
