"""Several trials: which pairs, over which bridge, with which words."""

import subprocess
import sys
from dataclasses import replace

import pytest

from bmp.compare import TrialBlanks, compare_trials, inocula_sentence, sentence
from tests.compare_feeds import GOAT, HAY, HORSE, feed

AUTUMN = TrialBlanks((1.50, 1.60, 1.52), "digestate")
CONTROLS = {
    "spring": feed("cellulose", [360.0, 366.0, 371.0], 55.0),
    "autumn": feed("cellulose", [324.0, 329.4, 333.9], 55.0, trial="autumn", blanks=AUTUMN),
}


def autumn(name: str, yields: list[float]) -> object:
    return feed(name, yields, trial="autumn", blanks=AUTUMN, TS=0.3, VS=0.25)


def test_only_pairs_that_no_trial_holds_go_over_the_control() -> None:
    leaves = autumn("leaves", [120.0, 126.0, 117.0])
    straw = autumn("straw", [150.0, 160.0, 156.0])
    again = autumn("horse manure", [180.0, 184.5, 171.0])
    found = compare_trials([GOAT, HORSE, again, leaves, straw], CONTROLS)
    pairs = {(c.a, c.trial_a, c.b, c.trial_b) for c in found.family.comparisons}
    assert pairs == {
        ("goat bedding", "spring", "leaves", "autumn"),
        ("goat bedding", "spring", "straw", "autumn"),
    }
    assert found.family.adjusted_by == "Holm"
    assert {c.compared_at_once for c in found.family.comparisons} == {2}
    first = sentence(found.family.comparisons[0])
    assert first.startswith("Goat bedding (spring) gave ")
    assert "than leaves (autumn), between" in first
    assert "Each was taken against the control of its own trial." in first


def test_a_repeated_feed_is_averaged_plainly_and_over_the_control() -> None:
    again = autumn("horse manure", [180.0, 184.5, 171.0])
    plain, over = compare_trials([HORSE, again], CONTROLS).repeated
    assert (plain.relative_to_control, over.relative_to_control) == (False, True)
    assert over.between_sd.value == pytest.approx(0.0)


def test_against_one_feed_only() -> None:
    leaves = autumn("leaves", [120.0, 126.0, 117.0])
    found = compare_trials([GOAT, HORSE, HAY, leaves], CONTROLS, against="leaves")
    assert [c.b for c in found.family.comparisons] == ["leaves"] * 3
    found = compare_trials([GOAT, HORSE, HAY, leaves], CONTROLS, against="goat bedding")
    assert [(c.a, c.b) for c in found.family.comparisons] == [("leaves", "goat bedding")]


def test_without_controls_nothing_is_said_across_trials() -> None:
    found = compare_trials([GOAT, autumn("leaves", [120.0, 126.0, 117.0])], {})
    assert found.family.comparisons[0].verdict == "no verdict"
    assert found.family.adjusted_by == ""
    assert found.control is None


def test_a_basis_that_is_missing_is_said_for_each_pair() -> None:
    bare = replace(autumn("leaves", [120.0, 126.0]), VS=None)
    again = replace(autumn("goat bedding", [230.0, 240.0]), VS=None)
    found = compare_trials([GOAT, bare], CONTROLS, basis="fresh")
    assert "the VS of leaves was not given" in found.family.comparisons[0].no_verdict
    assert compare_trials([GOAT, again], CONTROLS, basis="fresh").repeated == ()


def test_inocula_in_words() -> None:
    found = compare_trials([GOAT, autumn("leaves", [120.0, 126.0, 117.0])], CONTROLS)
    assert inocula_sentence(found.inocula[0]) == (
        "The blanks of spring gave 0.771 times the methane of those of autumn per gram, between "
        "0.716 and 0.832: the inocula were not alike, so the control alone carries the comparison "
        "of feeds in different trials."
    )
    same = replace(autumn("leaves", [120.0, 126.0]), blanks=GOAT.blanks)
    text = inocula_sentence(compare_trials([GOAT, same], CONTROLS).inocula[0])
    assert text.endswith("no difference between the inocula is shown.")
    single = replace(autumn("leaves", [120.0, 126.0]), blanks=TrialBlanks((1.5,)))
    text = inocula_sentence(compare_trials([GOAT, single], CONTROLS).inocula[0])
    assert "is not known: a single blank has no scatter" in text


def test_importing_the_comparison_loads_no_heavy_library() -> None:
    heavy = "[m for m in ('scipy', 'pandas', 'matplotlib', 'lmfit') if m in sys.modules]"
    code = f"import sys, bmp.compare, bmp.report.compare_figures; print({heavy})"
    out = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert out.stdout.strip() == "[]"


def test_a_control_that_fails_is_told_beside_every_mean_over_trials() -> None:
    again = autumn("horse manure", [90.0, 92.0, 86.0])
    weak = replace(CONTROLS["autumn"], no_bridge="178 where 340 to 395 is asked")
    found = compare_trials([HORSE, again], CONTROLS | {"autumn": weak})
    assert found.unsound == (
        "The control of autumn does not vouch for its trial (178 where 340 to 395 is asked). Rely "
        "on no mean over trials that holds it.",
    )
    assert [one.relative_to_control for one in found.repeated] == [False]
    assert compare_trials([HORSE, again], CONTROLS).unsound == ()
