from __future__ import annotations

from bmp.estimate import Estimate
from bmp.report.sentences import estimate_words, meaning_of_numbers
from tests import report_trials as trials


def test_estimates_in_words() -> None:
    assert estimate_words(Estimate(0.13015, "1/d", (0.11833, 0.14197))) == "0.130 (0.118 to 0.142)"
    assert estimate_words(Estimate(None, "d", why="no lag")) == "not determined: no lag"
    assert (
        estimate_words(Estimate(None, "NmL", (24.054, None), why="left open"))
        == "not determined: left open (at least 24.1 NmL)"
    )
    assert estimate_words(Estimate(2.0, "d", why="one jar")) == "2.00; one jar"


def test_terms_are_explained_where_they_stand() -> None:
    assert "19 hold the true mean" in meaning_of_numbers(trials.plain())
    assert "volatile solids" in meaning_of_numbers(trials.plain())
    assert "19 hold" not in meaning_of_numbers(trials.single())
