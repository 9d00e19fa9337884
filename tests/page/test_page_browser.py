"""The page as a person uses it, in a headless Chromium."""

from __future__ import annotations

import base64
import csv
import json
import re
from pathlib import Path
from typing import Any

import pytest

from bmp.cli import main
from tests.page.client import Served, served, small_trial, start
from tests.page.conftest import broken_workbook
from tests.page.load import journalled, rows_of

# invented: gas of one jar in a day [mL], by the letter of its name and by round
VOLUMES = {"B": ("12,5", "11", "10"), "C": ("310", "280,4", "190"), "D": ("0,42 L", "330", "220")}
ROUNDS = ("2027-03-02T10:00", "2027-03-03T10:00", "2027-03-04T10:00")


def loaded(page: Any) -> None:
    page.locator('[aria-busy="true"]').wait_for(state="detached", timeout=60_000)


def kept(page: Any, jar: str) -> Any:
    """Wait until the form says that a jar's reading is kept."""
    section = page.locator(f'[data-jar="{jar}"]')
    section.locator(".kept").wait_for()
    return section


def plan(page: Any, address: str) -> str:
    """Plan a trial and return its address."""
    page.goto(f"{address}/new")
    page.fill("#title", "Kitchen waste (invented)")
    page.fill("#started", "2027-03-01T10:00")
    page.fill("#altitude", "250")
    for name, text in (("material", "digestate"), ("TS", "2,9"), ("VS", "1,9")):
        page.fill(f"[name=materials-0-{name}]", text)
    for name, text in (("material", "peelings"), ("TS", "18"), ("VS", "16,5")):
        page.fill(f"[name=materials-1-{name}]", text)
    page.get_by_role("button", name="Plan the trial").click()
    page.get_by_role("heading", name="Cautions first").wait_for()
    return str(page.url).removesuffix("plan")


def type_round(page: Any, time: str, number: int) -> None:
    page.goto(page.url.partition("/trials/")[0] + f"/trials/{NAME}/readings?round={time}")
    page.fill("#all-temperature_C", "20,5")
    page.keyboard.press("Enter")
    page.keyboard.type("98,4")
    page.keyboard.press("Enter")
    jars = page.locator("[data-jar]").evaluate_all("all => all.map(one => one.dataset.jar)")[1:]
    for jar in jars:
        page.keyboard.type(VOLUMES[jar[0]][number])
        page.keyboard.press("Enter")
    for jar in jars:
        kept(page, jar)
    for jar, share in {"B1": "62", "C1": "51,5", "D1": "58,5"}.items() if number == 0 else ():
        section = page.locator(f'[data-jar="{jar}"]')
        section.locator("summary").click()
        section.get_by_label("methane [%]").fill(share)
        with page.expect_response("**/save"):
            section.get_by_label("methane [%]").press("Enter")


NAME = "Kitchen-waste-invented"


def test_plan_type_three_days_see_the_curve_and_get_the_same_yield(
    telephone: Any, tmp_path: Path
) -> None:
    root = tmp_path / "trials"
    root.mkdir()
    with served(root) as page:
        telephone.goto(page.address)
        assert "There is no trial here yet" in telephone.inner_text("main")
        trial = plan(telephone, page.address)
        assert violations(telephone) == {}
        for number, time in enumerate(ROUNDS):
            type_round(telephone, time, number)
        assert telephone.locator("[data-count]").inner_text() == "9"
        assert violations(telephone) == {}
        telephone.goto(f"{trial}changes")
        assert violations(telephone) == {}
        telephone.goto(f"{trial}wall-sheet")
        assert violations(telephone) == {}
        telephone.goto(trial)
        loaded(telephone)
        assert telephone.locator("figure svg path").count() > 10, telephone.inner_text("main")
        assert "Peelings gave" in telephone.locator("section").first.inner_text()
        with telephone.expect_download() as book:
            telephone.get_by_role("link", name="The trial as a workbook").click()
        book.value.save_as(tmp_path / "trial.xlsx")
        with telephone.expect_download() as results:
            telephone.get_by_role("link", name="Results for programs").click()
        results.value.save_as(tmp_path / "page.json")
    assert main(["analyze", str(tmp_path / "trial.xlsx"), "--out", str(tmp_path / "book")]) == 0
    yields = [
        {m["material"]: m["bmp"] for m in json.loads(path.read_text())["materials"]}
        for path in (tmp_path / "page.json", tmp_path / "book" / "results.json")
    ]
    assert yields[0]["peelings"]["value"] > 50
    for name, one in yields[0].items():
        assert yields[1][name]["value"] == pytest.approx(one["value"], rel=1e-9)


def test_a_broken_workbook_dropped_shows_every_problem_at_its_cell(
    telephone: Any, demo: Served, tmp_path: Path
) -> None:
    content = broken_workbook(tmp_path / "my log.xlsx").read_bytes()
    telephone.goto(demo.address)
    drop(telephone, "my log.xlsx", content)
    telephone.wait_for_url("**/trials/my-log.xlsx/")
    loaded(telephone)
    cell = telephone.locator("td.bad-cell")
    assert cell.count() == 1
    assert cell.inner_text().startswith("a lot")
    assert "write a number alone" in cell.inner_text()
    assert telephone.locator("tr", has=cell).locator("th").inner_text() == "5"
    assert (demo.root / "my-log.xlsx").read_bytes() == content
    telephone.goto(demo.address)
    drop(telephone, "damaged.xlsx", b"no workbook at all")
    telephone.locator(".wrong").wait_for()
    assert "is no .xlsx workbook, and was not kept" in telephone.inner_text(".wrong")
    assert not (demo.root / "damaged.xlsx").exists()


def drop(page: Any, name: str, content: bytes) -> None:
    transfer = page.evaluate_handle(
        """([name, text]) => {
            const bytes = Uint8Array.from(atob(text), (one) => one.charCodeAt(0));
            const held = new DataTransfer();
            held.items.add(new File([bytes], name));
            return held;
        }""",
        [name, base64.b64encode(content).decode()],
    )
    page.dispatch_event("[data-drop]", "drop", {"dataTransfer": transfer})


def test_a_kill_between_two_readings_loses_neither(telephone: Any, tmp_path: Path) -> None:
    folder = small_trial(tmp_path / "one", jars=4)
    page = start(tmp_path)
    here = f"{page.address}/trials/one/readings?round=2027-03-02T08:00"

    def typed(number: int) -> None:
        telephone.fill(f"#jar{number}-volume_mL", f"2{number}")
        telephone.keyboard.press("Enter")

    telephone.goto(here)
    typed(1)
    kept(telephone, "J1")
    page.kill()
    typed(2)
    telephone.locator("[data-lost]").wait_for(state="visible")
    again = start(tmp_path, "--port", str(page.port))
    kept(telephone, "J2")
    telephone.locator("[data-lost]").wait_for(state="hidden")
    again.kill()
    typed(3)
    telephone.locator("[data-lost]").wait_for(state="visible")
    last = start(tmp_path, "--port", str(page.port))
    try:
        telephone.goto(here)  # what waits to be handed in outlives the reload
        kept(telephone, "J3")
    finally:
        last.stop()
    at = "2027-03-02T08:00"
    assert rows_of(folder) == {("J1", at, "21"): 1, ("J2", at, "22"): 1, ("J3", at, "23"): 1}
    assert set(journalled(folder).values()) == {1}


def test_two_pages_ask_before_one_overwrites_the_other(telephone: Any, demo: Served) -> None:
    small_trial(demo.root / "both", jars=4)
    address = f"{demo.address}/trials/both/readings?round=2027-03-02T08:00"
    other = telephone.context.new_page()
    telephone.goto(address)
    other.goto(address)
    telephone.fill("#jar1-volume_mL", "21")
    telephone.keyboard.press("Enter")
    kept(telephone, "J1")
    other.fill("#jar1-volume_mL", "31")
    other.keyboard.press("Enter")
    section = other.locator('[data-jar="J1"]')
    section.locator(".ask").wait_for()
    assert "Not kept: changed on another page" in section.inner_text()
    assert "volume [mL] 21" in section.inner_text()
    section.get_by_role("button", name="Write mine").click()
    kept(other, "J1")
    telephone.goto(address.replace("08:00", "08:05"))
    telephone.fill("#jar1-volume_mL", "31")
    telephone.keyboard.press("Enter")
    near = telephone.locator('[data-jar="J1"]')
    near.get_by_role("button", name="It is a second reading").wait_for()
    telephone.goto(f"{demo.address}/trials/both/changes")
    telephone.get_by_role("button", name="Take back").first.click()
    telephone.get_by_text("was taken back").wait_for()
    telephone.goto(address)
    assert telephone.input_value("#jar1-volume_mL") == "21"


def test_slips_are_asked_about_at_once(telephone: Any, demo: Served) -> None:
    small_trial(demo.root / "slips", jars=4)
    here = f"{demo.address}/trials/slips/readings?round="
    telephone.goto(here + "2027-03-02T08:00")
    telephone.fill("#jar1-volume_mL", "29")
    telephone.keyboard.press("Enter")
    kept(telephone, "J1")
    telephone.goto(here + "2027-03-03T08:00")
    assert "last: 29 mL" in telephone.locator('[data-jar="J1"]').inner_text()
    telephone.fill("#jar1-volume_mL", "290")
    telephone.keyboard.press("Enter")
    said = kept(telephone, "J1").locator(".ask").inner_text()
    assert said == "290 mL is 10 times the last (29 mL): look again."
    telephone.fill("#all-ambient_kPa", "1013")
    telephone.keyboard.press("Enter")
    telephone.get_by_text("is it hPa?").wait_for()
    telephone.fill("#jar2-volume_mL", "a lot")
    telephone.keyboard.press("Enter")
    telephone.get_by_text("Not kept: “a lot” is no number").wait_for()
    assert telephone.get_attribute("#jar2-volume_mL", "aria-invalid") == "true"


def test_masses_weighed_are_written_into_the_table(telephone: Any, demo: Served) -> None:
    folder = small_trial(demo.root / "masses", jars=4)
    telephone.goto(f"{demo.address}/trials/masses/tables/jars")
    telephone.get_by_label("Row 4 (J4), sample [g]").fill("5,13")
    telephone.get_by_role("button", name="Keep the table").click()
    telephone.get_by_text("Kept.").wait_for()
    telephone.get_by_label("Row 4 (J4), sample [g]").fill("much")
    telephone.get_by_role("button", name="Keep the table").click()
    telephone.locator("td.bad-cell").wait_for()
    with (folder / "jars.csv").open(encoding="utf-8", newline="") as file:
        assert [row["sample [g]"] for row in csv.DictReader(file)] == ["", "", "5", "much"]


def violations(page: Any) -> dict[str, str]:
    """Return what axe-core finds on a page, with the first piece of the page that breaks it."""
    axe = pytest.importorskip("axe_playwright_python.sync_playwright")
    found = axe.Axe().run(page).response["violations"]
    return {one["id"]: one["nodes"][0]["html"][:200] for one in found}


PAGES = (
    "/",
    "/new",
    "/compare?trial=cheese_dairy&trial=empty",
    "/comparison?trial=cheese_dairy",
    "/trials/cheese_dairy/",
    "/trials/cheese_dairy/readings?round=2027-03-12T10:00",
    "/trials/cheese_dairy/report",
    "/trials/cheese_dairy/tank",
    "/trials/cheese_dairy/tables/jars",
    "/trials/cheese_dairy/changes",
    "/trials/empty/",
    "/trials/broken.xlsx/",
    "/trials/none/",
)


@pytest.mark.parametrize(("width", "scheme"), [(390, "light"), (1280, "dark")])
def test_every_page_is_accessible_and_fits(
    chromium: Any, demo: Served, width: int, scheme: str
) -> None:
    """WCAG 2.2 A and AA and good practice, by the rules of axe-core."""
    errors: list[str] = []
    view = {"width": width, "height": 800}
    with chromium.new_context(viewport=view, color_scheme=scheme) as context:
        page = context.new_page()
        page.on("console", lambda said: errors.append(f"{page.url}: {said.text}"))
        page.on("pageerror", lambda error: errors.append(f"{page.url}: {error}"))
        found = {}
        for path in PAGES:
            page.goto(demo.address + path)
            loaded(page)
            if path != "/trials/none/":
                assert page.evaluate("document.documentElement.scrollWidth") <= width, path
            found[path] = violations(page)
    assert {path: ids for path, ids in found.items() if ids} == {}
    assert [e for e in errors if "/trials/none/" not in e] == []


def test_everything_works_by_the_keyboard(telephone: Any, demo: Served) -> None:
    telephone.goto(demo.address)
    telephone.keyboard.press("Tab")
    assert telephone.evaluate("document.activeElement.textContent") == "To the content"
    telephone.keyboard.press("Enter")
    assert telephone.evaluate("document.activeElement.id") == "main"
    telephone.keyboard.press("Tab")
    assert telephone.evaluate("document.activeElement.textContent") == "Plan a new trial"
    telephone.keyboard.press("Enter")
    telephone.get_by_role("heading", name="New trial").wait_for()


def test_what_is_printed_holds_no_buttons(telephone: Any, demo: Served) -> None:
    telephone.goto(f"{demo.address}/trials/empty/readings?round=2027-03-02T08:00")
    telephone.emulate_media(media="print")
    assert not telephone.locator("nav").first.is_visible()
    assert not telephone.get_by_role("button").first.is_visible()
    assert telephone.locator('[data-jar="J1"]').is_visible()


def test_the_report_looks_the_same_without_styles_of_its_own(telephone: Any, demo: Served) -> None:
    telephone.goto(f"{demo.address}/trials/cheese_dairy/report")
    colour = "e => getComputedStyle(e).stroke"
    lines = set(telephone.locator("#curves svg path").evaluate_all(f"all => all.map({colour})"))
    # the colours of the report's own style sheet, not black as of a drawing without any
    assert {"rgb(0, 114, 178)", "rgb(213, 94, 0)"} <= lines
    assert re.match(
        r"rgb\(255, 255, 255\)",
        telephone.evaluate("getComputedStyle(document.body).backgroundColor"),
    )
