from __future__ import annotations

from html.parser import HTMLParser

import pytest

from bmp.plan.plan import plan_trial
from bmp.plan.wall_sheet import grams, wall_sheet_html
from bmp.plan.wishes import MaterialWish, Wishes
from bmp.trial import Material
from tests.plan_wishes import CLOSED, INOCULUM, LITERATURE, OPEN, but


class Page(HTMLParser):
    """Collects tags, attributes and text, and checks that tags close."""

    def __init__(self, html: str) -> None:
        super().__init__()
        self.open: list[str] = []
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.text: list[str] = []
        self.feed(html)
        self.close()
        assert self.open == []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))
        if tag not in ("meta", "br"):
            self.open.append(tag)

    def handle_endtag(self, tag: str) -> None:
        assert self.open.pop() == tag

    def handle_data(self, data: str) -> None:
        self.text.append(data)


@pytest.mark.parametrize("wishes", [OPEN, CLOSED, but(OPEN, started=None)])
def test_page_is_whole_and_needs_no_network(wishes: Wishes) -> None:
    html = wall_sheet_html(plan_trial(wishes, LITERATURE))
    page = Page(html)
    assert "http" not in html
    assert not [tag for tag, _ in page.tags if tag in ("script", "link", "img", "iframe")]
    assert "size: A4" in html


def test_jars_stand_in_the_order_of_the_shelf_with_their_doses() -> None:
    plan = plan_trial(OPEN, LITERATURE)
    text = "".join(Page(wall_sheet_html(plan)).text)
    places = [
        text.index(f"\n{j.position}{j.name}\n{j.dose.material}")
        for j in sorted(plan.jars, key=lambda j: j.position)
    ]
    assert places == sorted(places)
    assert "Read all 12 jars" in text
    assert "Tue 2027-03-02 09:00" in text
    assert plan.seed in text
    for caution in plan.cautions:
        assert caution.text in text
        assert caution.source in text
    for line in (*plan.watch, *plan.assumed):
        assert line in text


def test_closed_sheet_says_pressure_and_rating() -> None:
    text = "".join(Page(wall_sheet_html(plan_trial(CLOSED, LITERATURE))).text)
    assert "Read and vent all 12 jars" in text
    assert "closed, rated 300 kPa gauge" in text
    assert "at most gauge [kPa]" in text
    assert "vent at once" in text


def test_what_a_person_wrote_is_escaped() -> None:
    name = "<script>alert(\"x\")</script> & 'co'"
    feed = MaterialWish(Material(name, "substrate", VS=0.2))
    html = wall_sheet_html(
        plan_trial(but(OPEN, title=name, materials=(INOCULUM, feed)), LITERATURE)
    )
    assert "<script>" not in html
    assert name in "".join(Page(html).text)


@pytest.mark.parametrize(("mass", "words"), [(6900, "6.9 kg"), (51.03, "51 g"), (3.8, "3.8 g")])
def test_grams(mass: float, words: str) -> None:
    assert grams(mass) == words
