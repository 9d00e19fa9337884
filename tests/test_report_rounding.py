from __future__ import annotations

import doctest

import pytest
from hypothesis import given
from hypothesis import strategies as st

from bmp.report import rounding
from bmp.report.rounding import (
    interval_words,
    number,
    uncertainty_place,
    with_interval,
    with_uncertainty,
)


def test_examples_in_the_docstrings() -> None:
    assert doctest.testmod(rounding).failed == 0


# The examples that the Particle Data Group prints beside its rule (Review of Particle Physics,
# Introduction, 5.3; from memory): 0.827 ± 0.119, 0.827 ± 0.367, 0.827 ± 0.960.
@pytest.mark.parametrize(
    ("value", "uncertainty", "text"),
    [
        (0.827, 0.119, "0.83 ± 0.12"),
        (0.827, 0.367, "0.8 ± 0.4"),
        (241.26, 9.34, "241 ± 9"),
        (241.26, 9.6, "241 ± 10"),
        (387.5, 52.8, "390 ± 50"),
        (3.0, 96.0, "0 ± 100"),
        (-40.2, 12.0, "−40 ± 12"),
        (-0.04, 0.5, "0.0 ± 0.5"),
        (241.26, None, "241"),
        (241.26, 0.0, "241"),
    ],
)
def test_a_value_is_rounded_to_its_uncertainty(value, uncertainty, text) -> None:
    assert with_uncertainty(value, uncertainty) == text


@pytest.mark.parametrize("uncertainty", [0.0, -1.0, float("nan"), float("inf")])
def test_an_uncertainty_that_is_none_is_refused(uncertainty: float) -> None:
    with pytest.raises(ValueError, match="an uncertainty is a number above zero"):
        uncertainty_place(uncertainty)


@given(st.floats(0.004, 1e6), st.floats(-1e6, 1e6))
def test_rounding_never_moves_a_value_by_more_than_a_third_of_its_uncertainty(u, value) -> None:
    shown = float(with_uncertainty(value, u).split(" ± ")[0].replace("−", "-"))
    assert abs(shown - value) <= 0.5 / 3.55 * u * 1.001 + 1e-12 * abs(value)


def test_intervals_are_no_finer_than_three_digits() -> None:
    assert with_interval(4.87371, (4.8640, 4.8834)) == "4.87 (4.86 to 4.88)"
    assert with_interval(418.16, (356.15, 480.17)) == "418 (356 to 480)"
    assert with_interval(0.9646, (-0.706, 2.635)) == "1.0 (−0.7 to 2.6)"
    assert with_interval(12.0, None) == "12.0"
    assert interval_words((None, 3.0)) == "at most 3.00"
    assert interval_words((None, None)) == "unknown"


def test_numbers_without_uncertainty() -> None:
    assert [number(x) for x in (0.0, 0.26901, 376.76, 45.0, 12345.6, -7.512)] == [
        "0", "0.269", "377", "45.0", "12346", "−7.51",
    ]  # fmt: skip


def test_three_decimals_are_the_finest() -> None:
    assert with_uncertainty(396.1541437237899, 6e-13) == "396"
    assert with_uncertainty(0.12345, 0.00081) == "0.123 ± 0.001"
    assert number(1.3e-13, 2) == "0"
