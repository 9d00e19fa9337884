"""The answer in a few lines: the same on the page and in the terminal."""

from __future__ import annotations

import re
from dataclasses import replace

import pytest

from bmp.report.answer_text import answer_text
from bmp.report.class_page import class_page, class_words
from bmp.report.figures import DOTS_PER_INCH, figures
from bmp.report.first_screen import MOST_STEPS, first_screen
from bmp.report.page import render_page
from bmp.report.ranking import _letters
from bmp.results import Results
from tests import report_trials as trials


def with_yield(results: Results, series: str = "maize silage", **change: object) -> Results:
    """Return results in which one series' yield is another."""
    return replace(
        results,
        yields=tuple(
            replace(one, **change) if one.series == series else one for one in results.yields
        ),
    )


def line_of(results: Results, series: str = "maize silage"):
    return next(one for one in first_screen(results).feeds if one.series == series)


def test_a_feed_in_one_line() -> None:
    one = line_of(with_yield(trials.plain(), value=241.26, ci95=(231.92, 250.60)))
    assert one.yield_words == "241 ± 9 NmL/g VS"
    assert one.fresh_words.endswith(" NL/kg")
    assert one.remark == ""


@pytest.mark.parametrize("per", ["fresh", "TS"])
def test_the_unit_says_what_it_is_counted_per(per: str) -> None:
    unit = {"fresh": "NmL/g fresh mass", "TS": "NmL/g TS"}[per]
    one = line_of(with_yield(trials.plain(), per=per))
    assert one.yield_words.endswith(unit)
    assert (one.fresh_words == "") == (per == "fresh")


def test_what_limits_a_figure_stands_beside_it() -> None:
    why = "one jar only: the scatter between jars is unknown"
    none = with_yield(trials.plain(), ci95=None, why_no_interval=why, ci95_borrowed=None)
    assert line_of(none).remark == f"no interval: {why}"
    lent = with_yield(trials.plain(), ci95=None, why_no_interval=why, ci95_borrowed=(331.0, 360.0))
    assert line_of(lent).remark == f"no interval: {why}; 331 to 360 with borrowed scatter"
    assert first_screen(lent).note.startswith("Borrowed scatter: the other feeds")
    assert not first_screen(trials.plain()).note
    assert line_of(with_yield(trials.plain(), value=3.0, ci95=(-6.0, 12.0))).remark == "may be zero"
    below = line_of(with_yield(trials.plain(), value=-40.0, ci95=(-52.0, -28.0)))
    assert "harm, a leak or a wrong blank" in below.remark
    unsure = line_of(with_yield(trials.plain(), value=-3.0, ci95=(-15.0, 9.0)))
    assert unsure.remark.endswith("may be zero")


def test_the_verdict_says_whose_criteria_and_why_not() -> None:
    valid = first_screen(trials.plain())
    assert valid.state == "valid"
    assert valid.verdict.startswith("Valid: it meets all criteria of Standard BMP Methods")
    assert valid.verdict.endswith(", as computed here.")
    broken = first_screen(trials.single())
    assert broken.state == "not valid"
    assert broken.reasons[0] == "The blank of digestate has 1 jar, where at least 3 are asked."
    assert broken.reasons[-1].endswith("more reasons stand under Checks.")


def test_a_running_trial_says_so_and_how_long_to_go_on() -> None:
    screen = first_screen(trials.unfinished())
    assert ", so far" in screen.basis
    assert {one.remark for one in screen.feeds} == {"not finished"}
    assert screen.better[0].endswith("So far, and this can change.")
    assert any(step.startswith("Keep reading ") for step in screen.next_steps)
    assert len(screen.next_steps) <= MOST_STEPS


def test_gross_yields_and_given_curves_say_what_they_are() -> None:
    assert "with the inoculum's own gas still in it" in first_screen(trials.gross()).basis
    assert first_screen(trials.handed_in()).basis.startswith("Net methane as the curves were given")


def test_pairs_in_short_sentences_many_feeds_as_a_ranking() -> None:
    (pair, *_) = first_screen(trials.plain()).better
    assert pair.startswith("Maize silage gave ")
    assert "% less methane per gram of volatile solids than food waste (95 %:" in pair
    ranking = first_screen(trials.eight()).better[0]
    assert ranking.startswith("Most methane per gram of volatile solids: food waste")
    assert len(ranking.split()) < 40


def test_page_and_terminal_say_the_same() -> None:
    for make in (trials.plain, trials.single, trials.unfinished, trials.gross):
        results = make()
        screen = first_screen(results)
        page = render_page(results, {})
        text = answer_text(screen)
        for words in (screen.verdict, *(one.yield_words for one in screen.feeds)):
            assert words in text
            assert words in page


def test_letters_of_a_compact_display() -> None:
    # worked by hand: a > c, a > d and b > d are told apart, the rest are not
    apart = {frozenset("ac"), frozenset("ad"), frozenset("bd")}
    assert _letters("abcd", apart) == {"a": "a", "b": "ab", "c": "bc", "d": "c"}
    assert _letters("ab", set()) == {"a": "a", "b": "a"}


@pytest.mark.parametrize("make", [trials.plain, trials.eight, trials.unfinished, trials.many])
def test_the_page_for_a_class_is_short_and_names_no_test(make) -> None:
    words = " ".join(class_words(make()))
    assert len(words.split()) <= 120
    for name in ("Holm", "Welch", "Dunnett", "Tukey", "p under"):
        assert name not in words
    assert words in class_page(make(), {}).replace("&#39;", "'").replace("&amp;", "&")


def test_many_feeds_stay_readable() -> None:
    results = trials.many()
    page = render_page(results, {})
    words = re.sub(r"<[^>]+>", " ", re.sub(r"(?s)<style.*?</style>", " ", page)).split()
    assert len(words) < 8000
    for figure in figures(results).values():
        assert max(figure.get_size_inches()) * DOTS_PER_INCH < 4000
    order = [one.series for one in first_screen(results).feeds if one.role != "control"]
    values = {one.series: one.value for one in results.yields}
    assert order == sorted(order, key=lambda series: -values[series])
