"""A figure that stands in several places of a report reads the same in all of them."""

from __future__ import annotations

import re
from collections import defaultdict
from html import unescape
from pathlib import Path

import pytest

from bmp.analyze import analyze
from bmp.read import read_trial
from bmp.report.answer_text import answer_text
from bmp.report.class_page import class_page
from bmp.report.first_screen import first_screen
from bmp.report.page import render_page
from bmp.report.quantities import yield_number
from bmp.report.tank_text import tank_text
from bmp.results import Results
from tests import report_trials as trials

DEMO = Path(__file__).parents[1] / "examples" / "cheese_dairy"
NUMBER = r"[−+]?\d+(?:\.\d+)?"


def words_of(results: Results) -> str:
    """Everything that people read of a trial: report, class page, terminal."""
    html = render_page(results, {}) + (class_page(results, {}) or "")
    text = unescape(re.sub(r"<[^>]+>", " ", re.sub(r"(?s)<style.*?</style>", " ", html)))
    parts = [re.sub(r"\s+", " ", text), answer_text(first_screen(results))]
    if results.tank is not None:
        parts += [tank_text(results.tank), tank_text(results.tank, everything=True)]
    return "\n".join(parts)


@pytest.fixture(scope="module")
def demo() -> Results:
    return analyze(read_trial(DEMO))


@pytest.mark.parametrize("name", ["demo", "plain", "eight", "unfinished", "gross"])
def test_every_plus_minus_is_a_yield_of_this_trial(name: str, demo: Results) -> None:
    results = demo if name == "demo" else getattr(trials, name)()
    found = set(re.findall(rf"{NUMBER} ± {NUMBER}", words_of(results)))
    assert found == {yield_number(one) for one in results.yields}


@pytest.mark.parametrize("name", ["demo", "plain", "unfinished"])
def test_a_value_has_one_interval(name: str, demo: Results) -> None:
    results = demo if name == "demo" else getattr(trials, name)()
    intervals: dict[str, set[str]] = defaultdict(set)
    pattern = rf"({NUMBER})(?: (\S+?))? \(({NUMBER})(?: %)? to ({NUMBER})"
    for value, unit, low, high in re.findall(pattern, words_of(results)):
        intervals[f"{value} {unit}"].add(f"{low} to {high}")
    assert intervals
    # short values can meet by chance: only those that nobody would take for two figures
    odd = {k: v for k, v in intervals.items() if len(v) > 1 and len(k.split()[0]) > 3}
    assert odd == {}


def test_a_difference_has_one_direction_and_one_size(demo: Results) -> None:
    text = words_of(demo)
    assert "Whey gave 78 % more methane" in text
    assert "+78 %" in text
    assert not re.search(r"whey (?:is ahead )?by \d", text)


def test_half_and_peak_stand_once_a_feed(demo: Results) -> None:
    for one in first_screen(demo).feeds:
        half = demo.fits[one.series].t50_d.value
        assert one.half_day is not None
        assert one.half_day - 1 < half <= one.half_day


def test_shares_are_in_percent_everywhere(demo: Results) -> None:
    text = words_of(demo)
    assert "TS of the mixture" in text
    assert re.search(r"TS of the mixture\s+6\.3 %\s+8\.2 %", text)
    assert "0.082" not in text
    assert not re.search(r"water to add\s+0", text)
