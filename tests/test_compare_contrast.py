"""Where the variance of a weighted sum of means comes from."""

from dataclasses import replace

import numpy as np
import pytest

from bmp.compare.contrast import components, contrast
from bmp.compare.feed import sample_of
from tests.compare_feeds import BLANKS, GOAT, HORSE, SCRAPS, feed


def by_source(feeds: list, weights: list[float]) -> dict[str, float]:
    parts = components([sample_of(f) for f in feeds], weights)
    return dict(zip(parts.sources, parts.numerator, strict=True))


def test_a_blank_that_enters_both_alike_cancels() -> None:
    found = by_source([feed("a", [200.0, 210.0], 60.0), feed("b", [100.0, 110.0], 60.0)], [1, -1])
    assert found["blanks of spring"] == pytest.approx(0.0, abs=1e-20)


def test_what_is_left_of_the_blank_is_the_difference_of_the_ratios() -> None:
    # (90 - 60)^2 times the variance of the mean of 1.15, 1.22, 1.19
    found = by_source([feed("a", [200.0, 210.0], 60.0), feed("b", [100.0, 110.0], 90.0)], [1, -1])
    of_mean = np.var(BLANKS.methane_NmL_per_g, ddof=1) / 3
    assert found["blanks of spring"] == pytest.approx(30.0**2 * of_mean)


def test_blanks_of_two_trials_do_not_cancel() -> None:
    other = feed("b", [100.0, 110.0], 60.0, trial="autumn")
    found = by_source([feed("a", [200.0, 210.0], 60.0), other], [1, -1])
    of_mean = np.var(BLANKS.methane_NmL_per_g, ddof=1) / 3
    assert found["blanks of spring"] == pytest.approx(60.0**2 * of_mean)
    assert found["blanks of autumn"] == pytest.approx(60.0**2 * of_mean)


def test_blanks_of_two_inocula_in_one_trial_do_not_cancel() -> None:
    other = feed("b", [100.0, 110.0], 60.0, blanks=replace(BLANKS, inoculum="rumen fluid"))
    parts = components([sample_of(f) for f in (feed("a", [200.0, 210.0]), other)], [1, -1])
    assert sum(name == "blanks of spring" for name in parts.sources) == 2


def test_solids_measured_once_for_two_series_stand_once() -> None:
    fine = replace(GOAT, name="goat, chopped", material="goat", values={"yield": (250.0,) * 3})
    coarse = replace(GOAT, name="goat, whole", material="goat", values={"yield": (200.0,) * 3})
    found = by_source([fine, coarse], [1, -1])
    assert found["volatile solids of goat"] == pytest.approx((0.01 * 50.0) ** 2)


def test_jars_scatter_and_degrees_of_freedom() -> None:
    parts = components([sample_of(GOAT), sample_of(HORSE)], [1.0, 0.0], [0.0, 1.0])
    assert parts.sources[:2] == ("jars of goat bedding", "jars of horse manure")
    assert parts.numerator[0] == pytest.approx(np.var([232, 241, 236], ddof=1) / 3)
    assert parts.denominator[1] == pytest.approx(np.var([200, 205, 190], ddof=1) / 3)
    assert parts.both[:2] == pytest.approx([0.0, 0.0])
    # The blank moves both the same way, so their covariance is above zero.
    assert parts.both[2] > 0
    assert list(parts.dof) == [2.0, 2.0, 2.0, np.inf, np.inf]


def test_a_weighted_sum() -> None:
    samples = [sample_of(GOAT), sample_of(HORSE)]
    assert contrast(samples, [1.0, -0.5]) == pytest.approx(709 / 3 - 0.5 * 595 / 3)


def test_one_jar_has_no_scatter() -> None:
    with pytest.raises(ValueError, match="one jar only of kitchen scraps"):
        components([sample_of(GOAT), sample_of(SCRAPS)], [1.0, -1.0])


def test_the_mean_alone_follows_the_published_sum_of_three_parts() -> None:
    # Standard BMP Methods 200 v1.7: s1, s2 and s3 of a mean BMP; with equal inoculum in each jar
    # its root mean squares are plain means but for s3, where they differ in the second order.
    y, blanks = np.array([232.0, 241.0, 236.0]), np.array(BLANKS.methane_NmL_per_g)
    s1 = np.sqrt(((y - y.mean()) ** 2).sum() / (3 * 2))
    s2 = np.sqrt(((blanks - blanks.mean()) ** 2).sum() / (3 * 2)) * 60.0
    s3 = np.sqrt(((0.01 * y) ** 2).mean())
    variance = components([sample_of(GOAT)], [1.0]).numerator.sum()
    assert np.sqrt(variance) == pytest.approx(np.sqrt(s1**2 + s2**2 + s3**2), rel=1e-4)
