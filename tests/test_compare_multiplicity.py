"""Several feeds: which test, which pairs, and that the adjusted p follow."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from bmp.compare import compare_all, compare_pair
from bmp.compare.multiplicity import with_holm
from bmp.compare.pair import compare_pairs
from bmp.statistics import bartlett_p, holm
from tests.compare_feeds import GOAT, HAY, HORSE, SCRAPS, feed

ALIKE = [
    feed("a", [200.0, 206.0, 195.0, 203.0, 198.0]),
    feed("b", [214.0, 209.0, 205.0, 211.0, 216.0]),
    feed("c", [201.0, 207.0, 196.0, 205.0, 199.0]),
]


def test_all_pairs_or_all_against_one() -> None:
    assert len(compare_all([GOAT, HORSE, HAY]).comparisons) == 3
    against = compare_all([GOAT, HORSE, HAY], against="horse manure")
    assert [(c.a, c.b) for c in against.comparisons] == [
        ("goat bedding", "horse manure"),
        ("old hay", "horse manure"),
    ]
    with pytest.raises(KeyError, match="cow"):
        compare_all([GOAT, HORSE], against="cow")


def test_one_pair_needs_no_allowance() -> None:
    found = compare_all([GOAT, HORSE])
    assert found.adjusted_by == ""
    assert found.comparisons[0] == compare_pair(GOAT, HORSE)


def test_more_than_jar_scatter_is_left_to_holm() -> None:
    found = compare_all([GOAT, HORSE, HAY])
    assert found.adjusted_by == "Holm"
    assert "the blank or the solids" in found.why
    assert found.comparisons[0].compared_at_once == 3


def test_three_jars_cannot_show_that_spreads_are_alike() -> None:
    three = [feed("a", [1.0, 2, 3]), feed("b", [2.0, 3, 4]), feed("c", [2.0, 3, 5])]
    assert "3 jars cannot show" in compare_all(three).why
    assert compare_all(three, spreads_alike=True).adjusted_by == "Tukey"


def test_five_jars_of_like_spread_take_tukey_or_dunnett_by_the_question() -> None:
    assert compare_all(ALIKE).adjusted_by == "Tukey"
    assert compare_all(ALIKE, against="a").adjusted_by == "Dunnett"
    assert compare_all(ALIKE, spreads_alike=False).adjusted_by == "Holm"
    wild = [*ALIKE[:2], feed("c", [150.0, 260.0, 180.0, 230.0, 205.0])]
    assert "scatter differently" in compare_all(wild).why


@pytest.mark.parametrize("against", [None, "a"])
def test_interval_and_adjusted_p_agree(against: str | None) -> None:
    for c in compare_all(ALIKE, against=against).comparisons:
        assert c.p_adjusted is not None
        assert c.difference.ci95 is not None
        low, high = c.difference.ci95
        assert low is not None
        assert high is not None
        assert (c.p_adjusted < 0.05) == (low > 0 or high < 0)
        assert c.ratio.ci95 is not None
        assert c.ratio.ci95[0] is not None
        assert (low > 0) == (c.ratio.ci95[0] > 1)
        assert "comparisons together" in c.difference.interval_from


def test_dunnett_gives_the_same_twice() -> None:
    first, again = (compare_all(ALIKE, against="a").comparisons for _ in range(2))
    assert [c.p_adjusted for c in first] == [c.p_adjusted for c in again]


def test_a_feed_with_one_jar_is_not_counted_among_the_comparisons() -> None:
    found = compare_all([GOAT, HORSE, HAY, SCRAPS])
    assert sum(c.verdict == "no verdict" for c in found.comparisons) == 3
    assert {c.compared_at_once for c in found.comparisons if c.p is not None} == {3}
    pooled = compare_all([*ALIKE, SCRAPS], against="kitchen scraps")
    assert {c.verdict for c in pooled.comparisons} == {"no verdict"}
    tukey = compare_all([*ALIKE, SCRAPS])
    assert tukey.adjusted_by == "Tukey"
    assert sum(c.verdict == "no verdict" for c in tukey.comparisons) == 3


def test_holm_by_hand() -> None:
    # 0.01 x 3, 0.03 x 2 raised over the step before, 0.04 x 1 raised to 0.06
    assert holm(np.array([0.04, 0.01, 0.03])) == pytest.approx([0.06, 0.03, 0.06])


@given(st.lists(st.floats(0, 1), min_size=1, max_size=12))
def test_holm_never_lowers_a_p_and_keeps_the_order(p: list[float]) -> None:
    adjusted = holm(np.array(p))
    assert np.all(adjusted >= np.array(p))
    assert np.all(adjusted <= 1)
    order = np.argsort(p, kind="stable")
    assert np.all(np.diff(adjusted[order]) >= 0)


def test_spreads_without_scatter_are_not_alike() -> None:
    assert bartlett_p([np.array([1.0, 1.0]), np.array([1.0, 2.0])]) == 0.0


def test_holm_over_a_single_comparison_changes_nothing() -> None:
    alone = compare_pair(GOAT, HORSE)
    assert with_holm([alone])[0] == alone


def test_a_pair_has_the_same_figures_in_any_company() -> None:
    """All pairs are worked out together; what is found of one must not wait for another."""
    spread = feed("spread", [150.0, 320.0, 240.0, 90.0])
    pairs = [(GOAT, HORSE), (GOAT, spread), (HORSE, spread), (spread, HAY)]
    for pair, together in zip(pairs, compare_pairs(pairs), strict=True):
        assert together == compare_pairs([pair])[0]
