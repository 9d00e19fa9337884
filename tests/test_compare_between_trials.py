"""Feeds of different trials, and one feed over several."""

from dataclasses import replace

import numpy as np
import pytest

from bmp.compare import (
    TrialBlanks,
    compare_inocula,
    compare_over_bridge,
    mean_over_trials,
    trials_sentence,
)
from bmp.compare.between_trials import between_sd_interval, hedges_olkin
from tests.compare_feeds import GOAT, HORSE, feed

AUTUMN = TrialBlanks((1.50, 1.60, 1.52), "digestate")
CONTROL = feed("cellulose", [360.0, 366.0, 371.0], 55.0)
CONTROL_AUTUMN = feed("cellulose", [342.0, 347.7, 352.45], 55.0, trial="autumn", blanks=AUTUMN)


def in_autumn(factor: float) -> object:
    yields = [factor * y for y in (200.0, 205.0, 190.0)]
    return feed("horse manure", yields, trial="autumn", blanks=AUTUMN, VS_relative_u=0.02)


def test_the_control_carries_a_feed_from_one_trial_to_the_other() -> None:
    # The whole autumn trial gave 5 % less, control and feed alike: the bridge takes it out.
    there = compare_over_bridge(GOAT, CONTROL, in_autumn(0.95), CONTROL_AUTUMN)
    assert there.ratio.value == pytest.approx((709 / 3) / (595 / 3))
    assert there.mean_b == pytest.approx(595 / 3)
    assert there.verdict == "more"
    assert there.trial_b == "autumn"


def test_the_bridge_costs_width() -> None:
    wide = compare_over_bridge(GOAT, CONTROL, in_autumn(0.95), CONTROL_AUTUMN)
    assert "jars of cellulose" in wide.variance_shares
    assert "blanks of autumn" in wide.variance_shares
    assert wide.detectable_four_in_five is not None
    assert wide.detectable is not None
    assert wide.detectable_four_in_five > wide.detectable


def test_without_a_common_control_there_is_no_verdict() -> None:
    found = compare_over_bridge(GOAT, CONTROL, in_autumn(1.0), None)
    assert found.verdict == "no verdict"
    assert "share no control" in found.no_verdict
    assert found.difference.ci95 is None
    assert found.difference.value == pytest.approx((709 - 595) / 3)


def test_a_loose_bridge_a_single_jar_and_a_negative_yield_give_no_verdict() -> None:
    loose = feed("cellulose", [100.0, 500.0, 700.0], 55.0, trial="autumn", blanks=AUTUMN)
    assert "too loose" in compare_over_bridge(GOAT, CONTROL, in_autumn(1.0), loose).no_verdict
    single = feed("cellulose", [350.0], 55.0, trial="autumn", blanks=AUTUMN)
    found = compare_over_bridge(GOAT, CONTROL, in_autumn(1.0), single)
    assert found.no_verdict == "one jar only of cellulose"
    below = in_autumn(-0.1)
    assert "not above zero" in compare_over_bridge(GOAT, CONTROL, below, CONTROL_AUTUMN).no_verdict


def test_a_control_that_fails_its_own_criterion_bridges_nothing() -> None:
    """Two equal feeds and one control at 45 % once read "53 % less, between 48 and 57 %"."""
    why = "yield of the control (cellulose): 165 where 340 to 395 NmL CH4/g VS is asked"
    halved = feed(
        "cellulose", [162.0, 165.0, 168.0], 55.0, trial="autumn", blanks=AUTUMN, no_bridge=why
    )
    found = compare_over_bridge(GOAT, CONTROL, in_autumn(1.0), halved)
    assert found.verdict == "no verdict"
    assert "165 where 340 to 395" in found.no_verdict
    assert found.ratio.ci95 is None


def test_one_trial_needs_no_bridge() -> None:
    with pytest.raises(ValueError, match="no bridge is needed"):
        compare_over_bridge(GOAT, CONTROL, HORSE, CONTROL)


def test_inocula_are_compared_as_a_caution() -> None:
    found = compare_inocula(TrialBlanks((1.0, 1.02, 0.98)), TrialBlanks((2.0, 2.02, 1.98)))
    assert found.value == pytest.approx(0.5)
    assert found.ci95 is not None
    assert found.ci95[1] is not None
    assert found.ci95[1] < 1
    assert compare_inocula(TrialBlanks((1.0,)), TrialBlanks((2.0, 2.1))).ci95 is None


def test_the_mean_over_trials_and_its_spread_by_hand() -> None:
    trials = [
        feed("hay", [y - 1, y, y + 1], trial=f"trial {y}", blanks=TrialBlanks((1.0, 1.0, 1.0)))
        for y in (200, 230, 260)
    ]
    found = mean_over_trials(trials)
    assert found.mean.value == pytest.approx(230.0)
    # t(2) = 4.302653; SD of the means 30, so the half-width is 4.302653 x 30 / sqrt(3)
    assert found.mean.ci95 == pytest.approx((155.476, 304.524), abs=1e-3)
    # 30^2 less the variance of a mean of three jars, 1/3
    assert found.between_sd.value == pytest.approx(np.sqrt(900 - 1 / 3))
    assert found.next_trial.ci95 == pytest.approx((81.0, 379.0), abs=0.1)
    assert trials_sentence(found).startswith("Over three trials hay gave 230 NmL CH4/g VS, ")


def test_trials_that_differ_by_jar_scatter_only_have_no_spread_between_them() -> None:
    assert hedges_olkin(np.array([200.0, 201.0]), np.array([5.0, 5.0])) == 0.0
    low, high = between_sd_interval(
        np.array([200.0, 201.0]), np.array([5.0, 5.0]), np.array([2.0, 2.0])
    )
    assert low == 0.0
    assert high > 0.0


def test_the_control_takes_out_what_moves_the_whole_trial() -> None:
    spring = replace(HORSE, trial="spring")
    plain = mean_over_trials([spring, in_autumn(0.95)])
    over = mean_over_trials([spring, in_autumn(0.95)], [CONTROL, CONTROL_AUTUMN])
    assert over.between_sd.value == pytest.approx(0.0)
    assert plain.between_sd.value is not None
    assert plain.between_sd.value > 3
    assert "on the common scale of the control" in trials_sentence(over)


def test_a_trial_with_one_jar_counts_in_the_mean_but_hides_the_spread() -> None:
    one = feed("horse manure", [190.0], trial="autumn")
    found = mean_over_trials([HORSE, one])
    assert found.mean.value == pytest.approx((595 / 3 + 190) / 2)
    assert found.between_sd.value is None
    assert "is not determined" in trials_sentence(found)


def test_the_same_trial_twice_is_refused() -> None:
    with pytest.raises(ValueError, match="two or more different trials"):
        mean_over_trials([HORSE, HORSE])
