"""Borrowed scatter between jars, and what would make a yield surer."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats
from scipy.special import polygamma

from bmp.borrowed_scatter import MARGIN, PRIOR_FREEDOM, PUBLISHED_RSD, Lent, borrowed_scatter
from bmp.compare import Feed, compare_all, compare_pair
from bmp.error_sources import half_width, improvements, variance_shares, ways
from tests.benchmarks.few_jars import called_different, cell

ONE = np.zeros(1, dtype=np.int64)


def test_a_single_jar_of_a_single_feed_has_the_published_scatter() -> None:
    rsd, freedom = borrowed_scatter(np.array([np.nan]), np.array([1]), ONE)
    # of a scaled inverse chi-squared variable with two degrees of freedom: the median of its
    # logarithm lies off its mean; the mean of the logarithm is the published one
    draws = stats.chi2(PRIOR_FREEDOM).rvs(200_000, random_state=1)
    level = np.mean(np.log(PRIOR_FREEDOM * rsd[0] ** 2 / draws))
    assert level == pytest.approx(2 * np.log(MARGIN * PUBLISHED_RSD), abs=0.02)
    assert freedom[0] == PRIOR_FREEDOM


def test_many_jars_keep_their_own_scatter() -> None:
    rsd, freedom = borrowed_scatter(np.array([0.10]), np.array([500]), ONE)
    assert rsd[0] == pytest.approx(0.10, rel=0.01)
    assert freedom[0] == 499 + PRIOR_FREEDOM


def test_other_trials_lend_nothing() -> None:
    noisy = borrowed_scatter(np.array([0.3, 0.3, 0.02]), np.array([3, 3, 3]), np.array([0, 0, 1]))
    alone = borrowed_scatter(np.array([0.02]), np.array([3]), ONE)
    assert noisy[0][2] == pytest.approx(alone[0][0])
    together = borrowed_scatter(np.array([0.3, 0.3, 0.02]), np.full(3, 3), np.zeros(3, dtype=int))
    assert together[0][2] > alone[0][0]


def test_the_published_spread_is_that_of_393_triplicates() -> None:
    """sd of log RSD 0.82 over triplicates, of which 0.64 is what three jars scatter alone."""
    three_jars = np.sqrt(polygamma(1, 1.0)) / 2
    assert three_jars == pytest.approx(0.64, abs=0.005)
    assert np.sqrt(0.82**2 - three_jars**2) == pytest.approx(0.5, abs=0.02)


@pytest.mark.parametrize("jars", [1, 2, 3])
@pytest.mark.parametrize("sets", [1, 5])
def test_it_holds_where_trials_scatter_as_published(sets: int, jars: int) -> None:
    found = cell(sets, jars, None, 0.35, 2500, np.random.default_rng(3))
    assert found.held > 93
    assert found.noisiest > 87
    if jars == 2:
        assert found.width < 0.45 * found.plain_width


@pytest.mark.parametrize("jars", [1, 2, 3])
@pytest.mark.parametrize("sets", [1, 5])
def test_a_trial_that_scatters_twice_as_much_keeps_its_noisiest_tenth(sets: int, jars: int) -> None:
    found = cell(sets, jars, 0.08, 0.35, 12_000, np.random.default_rng(7))
    assert found.held > 90
    assert found.noisiest > 83


@pytest.mark.parametrize("level", [None, 0.04])
@pytest.mark.parametrize("jars", [1, 2, 3])
def test_equal_feeds_are_seldom_called_different(jars: int, level: float | None) -> None:
    assert called_different(2, jars, level, 8000, np.random.default_rng(9)) < 6.3


def _fed(name: str, values: tuple[float, ...], lent: Lent | None) -> Feed:
    jars = tuple(f"{name}{number}" for number in range(len(values)))
    return Feed(name, "trial", jars, {"yield": values}, VS_relative_u=0.0, lent=lent)


def test_single_jars_are_compared_by_what_they_borrow() -> None:
    """Student's t of what is lent, which is one piece of knowledge: 300 - 200 = 100,
    sqrt(12² + 8²) = 14.4, t(1.5) = 6.02."""
    lent = Lent(0.04, 1.5)
    found = compare_pair(_fed("a", (300.0,), lent), _fed("b", (200.0,), lent))
    assert found.verdict == "no verdict"
    assert found.borrowed is not None
    assert found.borrowed.verdict == "more"
    half = stats.t.ppf(0.975, 1.5) * np.hypot(12.0, 8.0)
    assert found.borrowed.difference.ci95 == pytest.approx((100 - half, 100 + half))


def test_a_single_blank_that_two_feeds_share_cancels_between_them() -> None:
    """Both means lose the same gas: its error is in neither difference."""
    pair = [
        _fed(name, (value, value * 1.02), Lent(0.03, 2.5, 20.0 / (value * 1.01), 1.5))
        for name, value in (("a", 300.0), ("b", 200.0))
    ]
    found = compare_pair(*pair).borrowed
    assert found is not None
    assert found.variance_shares["blank of trial"] == pytest.approx(0.0, abs=1e-12)


def test_several_feeds_pay_for_all_their_borrowed_comparisons() -> None:
    lent = Lent(0.04, 1.5)
    feeds = [_fed(name, (value,), lent) for name, value in (("a", 300), ("b", 280), ("c", 200))]
    found = [c.borrowed for c in compare_all(feeds).comparisons]
    alone = sorted(c.p for c in found if c is not None and c.p is not None)
    assert len(alone) == 3
    assert min(c.p_adjusted for c in found if c and c.p_adjusted) == pytest.approx(3 * alone[0])


PARTS = {"jars": (6.0, 2.0), "blank": (4.0, 2.0), "solids": (3.0, 2.0), "share": (0.0, np.inf)}


def test_the_shares_of_the_variance_add_to_one() -> None:
    shares = variance_shares(PARTS)
    assert shares == pytest.approx({"jars": 36 / 61, "blank": 16 / 61, "volatile solids": 9 / 61})
    assert variance_shares({"jars": (0.0, 2.0), "blank": (0.0, np.inf)}) == {}


def test_an_assumed_error_of_the_solids_counts_as_theirs() -> None:
    parts = {"jars": (3.0, 2.0), "blank": (0.0, np.inf), "assumed solids": (4.0, np.inf)}
    assert variance_shares(parts) == pytest.approx({"jars": 9 / 25, "volatile solids": 16 / 25})


def test_what_is_promised_comes_true_in_simulated_trials() -> None:
    """Three jars, three blanks, three crucibles; then two jars more, simulated apart.

    The promise rests on estimated parts, so it is compared in the middle of many trials.
    """
    rng, count = np.random.default_rng(5), 3000
    true = {"jars": 10.0, "blank": 5.0, "solids": 3.0}

    def drawn(jars: int, blanks: int) -> list[dict[str, tuple[float, float]]]:
        sizes = {"jars": jars, "blank": blanks, "solids": 3}
        return [
            {
                name: (float(rng.normal(0, true[name], n).std(ddof=1) / np.sqrt(n)), n - 1.0)
                for name, n in sizes.items()
            }
            for _ in range(count)
        ]

    today = drawn(3, 3)
    for what, later in (("two more jars", drawn(5, 3)), ("one more blank", drawn(3, 4))):
        promised = [way.half_width for parts in today for way in ways(parts, 3) if way.what == what]
        assert len(promised) == count
        kept = np.median([half_width(parts) for parts in later])
        assert np.median(promised) == pytest.approx(float(kept), rel=0.10)


def test_only_what_narrows_the_interval_is_advised() -> None:
    found = improvements(PARTS, 3)
    assert found[0].what == "two more jars"
    assert all(way.half_width < 0.95 * half_width(PARTS) for way in found)
    assert list(found) == sorted(found, key=lambda way: way.half_width)
