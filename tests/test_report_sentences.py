from __future__ import annotations

from dataclasses import replace

import pytest

from bmp.estimate import Estimate
from bmp.net import MaterialYield
from bmp.report.sentences import estimate_words, feed_sentence, meaning_of_numbers
from tests import report_trials as trials


def yield_of(value: float = 241.26, half: float | None = 9.34, **change: object) -> MaterialYield:
    """A yield of maize silage with everything else in order."""
    plain = next(one for one in trials.plain().yields if one.series == "maize silage")
    ci95 = None if half is None else (value - half, value + half)
    return replace(plain, value=value, ci95=ci95, time_d=60.0, **change)


def said(one: MaterialYield, results=None, half_d: float | None = 5.39) -> str:
    results = results or trials.plain()
    fit = results.fits["maize silage"]
    fit = replace(fit, t50_d=Estimate(half_d, "d", why="" if half_d else "not known"))
    return feed_sentence(one, replace(results, fits={"maize silage": fit}))


def test_a_feed_in_one_sentence() -> None:
    assert said(yield_of()) == (
        "Maize silage gave 241 ± 9 mL of methane per gram of volatile solids in 60 days, "
        "half of it by day 6."
    )


@pytest.mark.parametrize(
    ("per", "words"),
    [("fresh", "per gram of fresh mass"), ("TS", "per gram of dry matter")],
)
def test_what_a_yield_is_counted_per(per: str, words: str) -> None:
    assert said(yield_of(per=per)) == (
        f"Maize silage gave 241 ± 9 mL of methane {words} in 60 days, half of it by day 6."
    )


def test_the_control_is_named_as_such() -> None:
    assert said(yield_of(role="control")).startswith("Maize silage (the control) gave 241 ± 9 mL")


def test_no_interval_is_said_with_its_reason() -> None:
    one = yield_of(half=None, why_no_interval="one jar tells nothing of the scatter between jars")
    assert said(one) == (
        "Maize silage gave 241 mL of methane per gram of volatile solids in 60 days, half of it by "
        "day 6. How sure that is cannot be told: one jar tells nothing of the scatter between jars."
    )


def test_half_time_unknown_is_left_unsaid() -> None:
    assert said(yield_of(), half_d=None).endswith("in 60 days.")


def test_a_yield_that_may_be_nothing() -> None:
    assert said(yield_of(3.0, 9.0)) == (
        "Maize silage gave 3 ± 9 mL of methane per gram of volatile solids in 60 days, half of it "
        "by day 6. That cannot be told from nothing at all."
    )


def test_yields_below_zero() -> None:
    assert said(yield_of(-40.0, 12.0)) == (
        "Maize silage gave no methane of its own: its jars made 40 ± 12 mL of methane per gram of "
        "volatile solids less than their inoculum alone in 60 days: a sign of inhibition, a leak "
        "or a blank that went wrong."
    )
    assert said(yield_of(-3.0, 12.0)).endswith(
        "in 60 days, which cannot be told from nothing at all."
    )


def test_gross_yields_say_so() -> None:
    assert "The inoculum's own methane is still in it, as no blank was measured." in said(
        yield_of(), trials.gross()
    )


def test_unfinished_curves_say_so() -> None:
    results = replace(trials.unfinished(), feed_verdicts={})
    assert said(yield_of(three_day_rate_percent=1.19), results).endswith(
        "half of it by day 6. More may come: when the readings ended it had not met the stop rule "
        "(less than 1 % more a day for three days)."
    )


def test_what_the_verdict_says_is_not_said_twice() -> None:
    judged = replace(trials.unfinished(), feed_verdicts={"maize silage": "A lower bound."})
    assert "stop rule" not in said(yield_of(), judged)


def test_short_times() -> None:
    one = replace(yield_of(), time_d=1.0)
    assert " in 1 day, half of it by day 1." in said(one, half_d=0.96)
    assert " in 2.5 days" in said(replace(one, time_d=2.5))


def test_what_the_numbers_mean_is_said_once() -> None:
    assert meaning_of_numbers(trials.plain()) == (
        "A mL here is a mL of dry gas at 0 °C and 101.325 kPa (NmL in the tables). ± is the 95 % "
        "interval of the mean: were the trial repeated many times, about 19 of 20 such intervals "
        "would hold the true mean. It holds the scatter between jars, that of the blanks and, "
        "where they were given, the errors of volatile solids and methane share."
    )
    assert "±" not in meaning_of_numbers(trials.single())
    assert "that of the blanks" not in meaning_of_numbers(trials.gross())
    assert meaning_of_numbers(trials.handed_in()).startswith("The curves came corrected already")


def test_estimates_in_words() -> None:
    assert estimate_words(Estimate(0.13015, "1/d", (0.11833, 0.14197))) == "0.130 (0.118 to 0.142)"
    assert estimate_words(Estimate(None, "d", why="no lag")) == "not determined: no lag"
    assert (
        estimate_words(Estimate(None, "NmL", (24.054, None), why="left open"))
        == "not determined: left open (at least 24.1 NmL)"
    )
    assert estimate_words(Estimate(2.0, "d", why="one jar")) == "2.00; one jar"


def test_days_within_a_round_are_whole() -> None:
    ten, one = (replace(yield_of(), time_d=day) for day in (9.99, 1.02))
    assert " in 10 days" in feed_sentence(ten, trials.plain())
    assert " in 1 day," in feed_sentence(one, trials.plain())
