from __future__ import annotations

import re
from dataclasses import replace
from html.parser import HTMLParser

import pytest

from bmp.report.figures import figures, save_figures
from bmp.report.page import inline_svg, render_page
from bmp.report.results_json import to_dict
from bmp.report.sections import SECTIONS
from tests import report_trials as trials

VOID = {"meta", "br", "img", "link"}


class Reader(HTMLParser):
    """Collects ids, headings, words and addresses, and checks that tags close in order."""

    def __init__(self) -> None:
        super().__init__()
        self.open: list[str] = []
        self.ids: list[str] = []
        self.addresses: list[str] = []
        self.words: dict[str, str] = {}

    def handle_starttag(self, tag, attrs) -> None:
        given = dict(attrs)
        if "id" in given:
            self.ids.append(given["id"])
        self.addresses += [given[key] for key in ("src", "href", "xlink:href") if key in given]
        if tag not in VOID:
            self.open.append(tag)

    def handle_endtag(self, tag) -> None:
        assert self.open.pop() == tag

    def handle_startendtag(self, tag, attrs) -> None:
        self.handle_starttag(tag, attrs)
        if tag not in VOID:
            self.handle_endtag(tag)

    def handle_data(self, data) -> None:
        if self.open:
            self.words[self.open[-1]] = self.words.get(self.open[-1], "") + data


@pytest.fixture(scope="module", params=trials.EVERY)
def page(request: pytest.FixtureRequest, tmp_path_factory) -> str:
    results = trials.EVERY[request.param]()
    folder = tmp_path_factory.mktemp(request.param)
    return render_page(results, save_figures(figures(results), folder))


def read(page: str) -> Reader:
    reader = Reader()
    reader.feed(page)
    assert not reader.open
    return reader


def test_the_page_needs_no_network_and_no_id_stands_twice(page: str) -> None:
    reader = read(page)
    assert len(reader.ids) == len(set(reader.ids))
    assert all(address.startswith("#") for address in reader.addresses)
    assert {address[1:] for address in reader.addresses} <= set(reader.ids)
    used = set(re.findall(r"url\(#([^)]+)\)", page))
    assert used <= set(reader.ids)
    assert not re.search(r"@import|url\((?!#)", page)
    assert "nan" not in re.findall(r"\b[a-z]+\b", "".join(reader.words.values()).lower())
    assert "None" not in "".join(reader.words.values())


def test_sections_stand_in_their_order(page: str) -> None:
    shown = re.findall(r'<section id="([^"]+)">', page)
    order = [section.name for section in SECTIONS if section.name in shown]
    assert shown == order
    assert {"answer", "setup", "safety"} <= set(shown)
    assert ("jars" in shown) == ("curves" in shown) == ("Methane yield" in page)


def test_hostile_names_stay_words() -> None:
    page = render_page(trials.hostile(), {})
    assert "<script" not in page
    assert "<img" not in page
    assert "<b>foo" not in page
    assert f"<h1>{trials.HOSTILE_TITLE.split(' <')[0]}".replace('"', "&#34;") in page
    assert "&lt;script&gt;alert(1)&lt;/script&gt; $x_$ oil" in page
    assert "S2-3" in page
    assert "cracked lid on day 3" in page


def test_checks_tell_their_outcome_by_word_and_sign() -> None:
    page = render_page(trials.judged(), {})
    words = re.sub(r"\s+", " ", re.sub(r"<[^>]+>", "", page))
    for text in (
        "✗Not valid by a list of criteria:",
        "✗fail: 1",
        "!caution: 1",
        "?not judged: 1",
        "✓pass: 1",
        "check caution: 7.25 (food waste); 7.25 (whey) (limit: at most 6 %)",
        "check fail: gas &lt; air (food waste); gas &lt; air (whey)",
        "From 0.25 to 1 g of feed VS per g of inoculum VS the early yield falls by 53 %",
        "whey180320",
        "check not judged: food waste; whey (limit: at most 6 %)",
    ):
        assert text in words
    assert words.index("✗fail: 1") < words.index("!caution: 1") < words.index("✓pass: 1")


def test_sections_without_anything_to_say_are_left_out() -> None:
    page = render_page(replace(trials.plain(), checks=()), {})
    assert 'id="checks"' not in page
    assert "Jars left out" not in page
    assert "Given but not used" not in page
    handed_in = render_page(trials.handed_in(), {})
    assert 'id="corrections"' not in handed_in
    assert "Net methane as the curves were given" in handed_in


def test_undetermined_parameters_say_why() -> None:
    page = render_page(trials.plain(), {})
    assert "not determined: the curve starts at once: no lag" in page


def test_every_correction_stands_with_its_percent() -> None:
    results = trials.plain()
    page = render_page(results, {})
    blank = next(size for size in results.corrections if size.name == "blank")
    assert f"−{abs(blank.percent['cellulose']):.1f} %" in page


def test_two_pictures_share_no_id_and_take_the_colours_of_the_page() -> None:
    text = (
        '<?xml version="1.0"?><svg width="3pt" height="2pt" viewBox="0 0 3 2">'
        '<defs><path id="p"/></defs><use xlink:href="#p" clip-path="url(#p)" '
        'style="fill: #ffffff; stroke: #222222"/><path style="stroke: #0072b2"/></svg>'
    )
    assert inline_svg("a", text) == (
        '<svg role="img" aria-label="a" viewBox="0 0 3 2"><defs><path id="a-p"/></defs>'
        '<use xlink:href="#a-p" clip-path="url(#a-p)" style="fill: none; stroke: currentColor"/>'
        '<path style="stroke: var(--series-0)"/></svg>'
    )


def test_net_curves_have_no_incubation_temperature_of_ours() -> None:
    net = to_dict(trials.handed_in())
    assert net["trial"]["incubation_temperature_C"] is None
    assert not any(f["check"] == "temperature of the jars" for f in net["checks"])
    assert to_dict(trials.plain())["trial"]["incubation_temperature_C"] is not None
