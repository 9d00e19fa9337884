from __future__ import annotations

from html.parser import HTMLParser

import pytest

from bmp.plan.plan import plan_trial
from bmp.plan.plan_request import MaterialRequest, PlanRequest
from bmp.plan.wall_sheet import grams, sheets_of, wall_sheet_html
from bmp.trial import Material
from tests.plan_requests import CLOSED, INOCULUM, LITERATURE, OPEN, but


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


@pytest.mark.parametrize("plan_request", [OPEN, CLOSED, but(OPEN, started=None)])
def test_page_is_whole_and_needs_no_network(plan_request: PlanRequest) -> None:
    html = wall_sheet_html(plan_trial(plan_request, LITERATURE))
    page = Page(html)
    assert "http" not in html
    assert not [tag for tag, _ in page.tags if tag in ("script", "link", "img", "iframe")]


def test_jars_stand_in_the_order_of_the_shelf_with_their_doses() -> None:
    plan = plan_trial(OPEN, LITERATURE)
    text = "".join(Page(wall_sheet_html(plan)).text)
    shelf = "".join(jar.name for jar in sorted(plan.jars, key=lambda j: j.position))
    assert f"kPa{shelf}by" in text
    bedding = next(jar.dose for jar in plan.jars if jar.dose.material == "goat bedding")
    grams_of = f"{bedding.inoculum_g:.1f}{bedding.sample_g:.2f}\n{bedding.water_g:.1f}"
    assert f"goat bedding\n{grams_of}" in text
    assert "read all 12 jars" in text
    assert "Tue 2027-03-02 09:00" in text
    assert "drawn at random" in text
    assert plan.seed not in text
    for caution in plan.cautions:
        assert caution.text in text
        assert caution.source in text
    for line in (*plan.watch, *plan.assumed):
        assert line in text


def test_closed_sheet_says_pressure_and_rating() -> None:
    text = "".join(Page(wall_sheet_html(plan_trial(CLOSED, LITERATURE))).text)
    assert "read and vent all 12 jars" in text
    assert "closed, rated 300 kPa gauge" in text
    assert "at most gauge [kPa]" in text
    assert "vent at once" in text


@pytest.mark.parametrize(
    ("plan_request", "pages"),
    [
        (OPEN, [(True, 12)]),
        (CLOSED, [(True, 12)]),
        (but(OPEN, jars_per_material=6), [(True, 12), (True, 12)]),
        (but(OPEN, days=400), [(True, 0), (False, 12), (False, 12), (False, 12)]),
    ],
)
def test_each_jar_has_one_cell_a_round(
    plan_request: PlanRequest, pages: list[tuple[bool, int]]
) -> None:
    plan = plan_trial(plan_request, LITERATURE)
    sheets = sheets_of(plan)
    assert [(bool(s.doses), len(s.jars)) for s in sheets] == pages
    cells = [(jar.name, one[0].number) for s in sheets for jar in s.jars for one in s.rounds]
    assert len(cells) == len(set(cells)) == len(plan.jars) * len(plan.rounds)
    weighed = [jar.name for s in sheets if s.first for jar in s.jars]
    assert sorted(weighed) == sorted(jar.name for jar in plan.jars)


def test_what_a_person_wrote_is_escaped() -> None:
    name = "<script>alert(\"x\")</script> & 'co'"
    feed = MaterialRequest(Material(name, "substrate", VS=0.2))
    html = wall_sheet_html(
        plan_trial(but(OPEN, title=name, materials=(INOCULUM, feed)), LITERATURE)
    )
    assert "<script>" not in html
    assert name in "".join(Page(html).text)


@pytest.mark.parametrize(("mass", "words"), [(6900, "6.9 kg"), (51.03, "51 g"), (3.8, "3.8 g")])
def test_grams(mass: float, words: str) -> None:
    assert grams(mass) == words
