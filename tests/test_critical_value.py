"""Intervals of sums of estimated errors hold in 94 to 97 % whatever the sizes of the errors are."""

from __future__ import annotations

import pytest

from tests.benchmarks.critical_value import DESIGNS, coverage

DRAWS = 4096
NOISE = 0.15
"""Of a coverage from so many quasi-random draws, percent."""


@pytest.mark.parametrize("design", DESIGNS)
def test_equal_feeds_are_called_different_in_at_most_six_per_cent(design: str) -> None:
    assert coverage(DESIGNS[design], DRAWS).min() > 94.0 - NOISE


@pytest.mark.parametrize("design", [name for name, dof in DESIGNS.items() if min(dof) >= 2])
def test_from_three_of_everything_on_intervals_are_not_much_too_wide(design: str) -> None:
    """97 % was aimed at; 97.3 where three jars, blanks, crucibles and a known error meet."""
    assert coverage(DESIGNS[design], DRAWS).max() < 97.3 + NOISE


def test_two_of_a_kind_make_them_too_wide() -> None:
    """One degree of freedom: no rule is known to hold 93 to 97 % for all sizes of the rest."""
    for design in ("2 jars, 6 jars", "3 jars, 3 blanks, 2 crucibles"):
        assert 97.0 < coverage(DESIGNS[design], DRAWS).max() < 99.0


def test_without_the_rule_too_much_would_be_found() -> None:
    assert coverage(DESIGNS["3 jars, a known error"], DRAWS, plain=True).min() < 93
    assert coverage(DESIGNS["2 jars, 6 jars"], DRAWS, plain=True).min() < 91
