"""A pair of feeds: verdicts, intervals, and where there is none."""

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from bmp.compare import compare_pair, mean_of
from tests.compare_feeds import GOAT, HORSE, SCRAPS, feed


def test_a_clear_difference_is_shown_both_ways_round() -> None:
    there, back = compare_pair(GOAT, HORSE), compare_pair(HORSE, GOAT)
    assert (there.verdict, back.verdict) == ("more", "less")
    assert there.difference.value == pytest.approx(-back.difference.value)
    assert there.ratio.ci95 is not None
    assert back.ratio.ci95 is not None
    assert there.ratio.ci95[0] == pytest.approx(1 / back.ratio.ci95[1])
    assert there.p == pytest.approx(back.p)


def test_one_jar_gives_figures_but_no_verdict() -> None:
    found = compare_pair(GOAT, SCRAPS)
    assert found.verdict == "no verdict"
    assert found.no_verdict == "one jar only of kitchen scraps"
    assert found.difference.ci95 is None
    assert found.difference.value == pytest.approx(709 / 3 - 388)
    assert found.p is None
    assert found.detectable is None


def test_jars_that_agree_to_the_last_digit_give_no_verdict() -> None:
    found = compare_pair(feed("a", [200.0, 200.0]), feed("b", [100.0, 100.0]))
    assert found.verdict == "no verdict"
    assert "agree to the last digit" in found.no_verdict


def test_a_quantity_that_one_jar_does_not_give_is_not_compared() -> None:
    found = compare_pair(GOAT, HORSE, "t90")
    assert found.difference.value is None
    assert "not determined in jar goat bedding 2" in found.no_verdict


def test_the_ratio_has_no_bound_where_the_second_feed_is_near_zero() -> None:
    nothing = feed("straw", [8.0, -3.0, 5.0])
    found = compare_pair(GOAT, nothing)
    assert found.ratio.ci95 is None
    assert "may be zero" in found.ratio.why
    assert found.verdict == "more"
    below = feed("plastic", [-8.0, -3.0, -5.0])
    assert compare_pair(GOAT, below).ratio.value is None


def test_shares_of_the_variance_add_up_and_name_the_sources() -> None:
    shares = compare_pair(GOAT, HORSE).variance_shares
    assert sum(shares.values()) == pytest.approx(1.0)
    assert "volatile solids of horse manure" in shares


def test_a_difference_below_the_detectable_one_would_not_have_shown() -> None:
    found = compare_pair(GOAT, HORSE)
    assert found.detectable is not None
    assert found.difference.ci95 is not None
    half = (found.difference.ci95[1] - found.difference.ci95[0]) / 2
    assert found.detectable == pytest.approx(half)


def test_a_mean_has_an_interval_or_says_why_not() -> None:
    assert mean_of(GOAT).ci95 is not None
    assert mean_of(SCRAPS).why == "one jar only: its scatter is unknown"
    assert mean_of(replace(GOAT, TS=None), basis="TS").value is None


@given(scale=st.floats(0.01, 100), shift=st.floats(0.1, 3))
def test_units_leave_ratio_and_p_alone(scale: float, shift: float) -> None:
    def scaled(name: str, yields: list[float], factor: float) -> object:
        return feed(
            name,
            [y * factor for y in yields],
            ratio=40.0 * factor,
        )

    base = compare_pair(scaled("a", [200, 210, 190], 1), scaled("b", [150 * shift, 160, 155], 1))
    other = compare_pair(
        scaled("a", [200, 210, 190], scale), scaled("b", [150 * shift, 160, 155], scale)
    )
    assert other.p == pytest.approx(base.p, rel=1e-6)
    assert other.ratio.value == pytest.approx(base.ratio.value)


@given(order=st.permutations([0, 1, 2]))
def test_the_order_of_jars_does_not_matter(order: list[int]) -> None:
    yields = [232.0, 241.0, 236.0]
    mixed = replace(GOAT, values={"yield": tuple(yields[i] for i in order)})
    assert compare_pair(mixed, HORSE).p == pytest.approx(compare_pair(GOAT, HORSE).p)


@pytest.mark.parametrize(
    ("day", "finished", "judged"), [(1.0, None, False), (1.0, True, True), (26.0, None, True)]
)
def test_feeds_read_to_different_days_are_not_ranked(
    day: float, finished: bool | None, judged: bool
) -> None:
    early = replace(GOAT, time_d=day, finished=finished)
    found = compare_pair(early, replace(HORSE, time_d=31.0, finished=True))
    assert (found.verdict != "no verdict") == judged
    assert judged or "day 1 only" in found.no_verdict
