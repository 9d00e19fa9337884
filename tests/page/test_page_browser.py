"""The page as a person uses it, in a headless Chromium."""

from __future__ import annotations

import base64
import csv
import json
import re
import time
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import pytest

from bmp.cli import main
from tests.page.client import Served, served, small_trial, start
from tests.page.conftest import broken_workbook
from tests.page.load import journalled, rows_of

# invented: gas of one jar in a day [mL], by the letter of its name and by round
VOLUMES = {"B": ("12,5", "11", "10"), "C": ("310", "280,4", "190"), "D": ("0,42 L", "330", "220")}
ROUNDS = ("2024-03-02T10:00", "2024-03-03T10:00", "2024-03-04T10:00")


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
    page.fill("#started", "2024-03-01T10:00")
    page.fill("#altitude", "250")
    for name, text in (("material", "digestate"), ("TS", "2,9"), ("VS", "1,9")):
        page.fill(f"[name=materials-0-{name}]", text)
    for name, text in (("material", "peelings"), ("TS", "18"), ("VS", "16,5")):
        page.fill(f"[name=materials-1-{name}]", text)
    page.get_by_role("button", name="Plan the trial").click()
    page.get_by_role("heading", name="Cautions first").wait_for()
    return str(page.url).removesuffix("plan")


def type_round(page: Any, at: str, number: int) -> None:
    page.goto(page.url.partition("/trials/")[0] + f"/trials/{NAME}/readings?round={at}")
    page.fill("#all-temperature_C", "20,5")
    page.keyboard.press("Enter")
    page.keyboard.type("98,4")
    page.keyboard.press("Enter")
    jars = page.locator("[data-jar]").evaluate_all("all => all.map(one => one.dataset.jar)")[1:]
    shares = {"B1": "62", "C1": "51,5", "D1": "58,5"} if number == 0 else {}
    for jar in jars:
        page.keyboard.type(VOLUMES[jar[0]][number])
        page.keyboard.press("Enter")
        # the plan has room for a meter: the share is at hand
        page.keyboard.type(shares.get(jar, ""))
        page.keyboard.press("Enter")
    for jar in jars:
        kept(page, jar)
    everything_sent(page)


NAME = "Kitchen-waste-invented"


def test_plan_type_three_days_see_the_curve_and_get_the_same_yield(
    telephone: Any, tmp_path: Path
) -> None:
    root = tmp_path / "trials"
    root.mkdir()
    with served(root) as page:
        telephone.goto(page.link)
        telephone.get_by_role("heading", name="Trials").wait_for()
        assert "There is no trial here yet" in telephone.inner_text("main")
        trial = plan(telephone, page.address)
        assert violations(telephone) == {}
        for number, at in enumerate(ROUNDS):
            type_round(telephone, at, number)
        assert telephone.locator("[data-count]").inner_text() == "9"
        assert violations(telephone) == {}
        telephone.goto(f"{trial}changes")
        assert violations(telephone) == {}
        telephone.goto(f"{trial}wall-sheet")
        assert violations(telephone) == {}
        telephone.goto(trial)
        loaded(telephone)
        assert telephone.locator("figure polyline").count() == 6, telephone.inner_text("main")
        so_far = telephone.locator("section[aria-label='So far']").inner_text()
        assert "peelings" in so_far.lower()
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
    demo.let_in(telephone.context)
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
    here = f"{page.address}/trials/one/readings?round=2024-03-02T08:00"

    page.let_in(telephone.context)

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
    at = "2024-03-02T08:00"
    assert rows_of(folder) == {("J1", at, "21"): 1, ("J2", at, "22"): 1, ("J3", at, "23"): 1}
    assert set(journalled(folder).values()) == {1}


def test_two_pages_ask_before_one_overwrites_the_other(telephone: Any, demo: Served) -> None:
    demo.let_in(telephone.context)
    small_trial(demo.root / "both", jars=4)
    address = f"{demo.address}/trials/both/readings?round=2024-03-02T08:00"
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
    demo.let_in(telephone.context)
    small_trial(demo.root / "slips", jars=4)
    here = f"{demo.address}/trials/slips/readings?round="
    telephone.goto(here + "2024-03-02T08:00")
    telephone.fill("#jar1-volume_mL", "29")
    telephone.keyboard.press("Enter")
    kept(telephone, "J1")
    telephone.goto(here + "2024-03-03T08:00")
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
    telephone.get_by_text("Not kept: “a lot” is no number").first.wait_for()
    assert telephone.get_attribute("#jar2-volume_mL", "aria-invalid") == "true"


def test_tables_keep_themselves_and_enter_goes_on(telephone: Any, demo: Served) -> None:
    demo.let_in(telephone.context)
    folder = small_trial(demo.root / "masses", jars=4)
    telephone.goto(f"{demo.address}/trials/masses/tables/jars")
    telephone.get_by_label("Row 4 (J4), inoculum [g]").fill("401,5")
    telephone.keyboard.press("Enter")
    telephone.keyboard.type("5,13")
    telephone.locator("[data-grid] .kept").wait_for()
    # leaving the page loses nothing
    telephone.goto(f"{demo.address}/trials/masses/")
    telephone.goto(f"{demo.address}/trials/masses/tables/jars")
    telephone.get_by_label("Row 3 (J3), sample [g]").fill("much")
    telephone.keyboard.press("Tab")
    telephone.get_by_text("“much”").first.wait_for()
    field = telephone.get_by_label("Row 3 (J3), sample [g]")
    assert field.get_attribute("aria-invalid") == "true"
    # a new row, and an old one cleared
    telephone.get_by_label("Row 5, jar").fill("J5")
    telephone.get_by_label("Row 5, inoculum [g]").fill("399")
    for column in ("jar", "inoculum [g]", "headspace [mL]"):
        row = "Row 1" if column == "jar" else "Row 1 (J1)"
        telephone.get_by_label(f"{row}, {column}").fill("")
        telephone.keyboard.press("Tab")
    everything_sent(telephone)
    with (folder / "jars.csv").open(encoding="utf-8", newline="") as file:
        rows = {row["jar"]: row for row in csv.DictReader(file)}
    assert list(rows) == ["J2", "J3", "J4", "J5"]
    assert [rows[jar]["sample [g]"] for jar in rows] == ["", "much", "5,13", ""]
    assert [rows[jar]["inoculum [g]"] for jar in rows] == ["400", "400", "401,5", "399"]


def test_two_tables_ask_before_one_overwrites_the_other(telephone: Any, demo: Served) -> None:
    demo.let_in(telephone.context)
    folder = small_trial(demo.root / "grids", jars=4)
    other = telephone.context.new_page()
    for page in (telephone, other):
        page.goto(f"{demo.address}/trials/grids/tables/jars")
    for page, jar, mass in ((telephone, 2, "401"), (other, 3, "402"), (other, 2, "403")):
        page.get_by_label(f"Row {jar} (J{jar}), inoculum [g]").fill(mass)
        page.keyboard.press("Enter")
    other.get_by_role("button", name="Write mine").wait_for()
    assert "inoculum [g] 401" in other.locator("[data-waits]").inner_text()
    text = (folder / "jars.csv").read_text()
    assert "J2,,401" in text
    assert "J3,peelings,402" in text


def everything_sent(page: Any) -> None:
    end = time.monotonic() + 20
    while page.evaluate("() => Object.keys(localStorage).length") and time.monotonic() < end:
        page.wait_for_timeout(50)
    assert page.evaluate("() => Object.entries(localStorage)") == []


def test_what_waits_is_handed_over_from_any_page_of_the_trial(
    telephone: Any, tmp_path: Path
) -> None:
    """14 values of a pressure trial typed while the page was stopped: all are kept."""
    folder = small_trial(tmp_path / "one", jars=7)
    path = folder / "trial.csv"
    path.write_text(path.read_text().replace("measured,volume", "measured,pressure"))
    (folder / "readings.csv").write_text("jar,taken\n")
    page = start(tmp_path)
    page.let_in(telephone.context)
    telephone.goto(f"{page.address}/trials/one/readings?round=2024-03-02T08:00")
    page.kill()
    for jar in range(1, 8):
        for field, value in (("before", f"{20 + jar}"), ("after", "1")):
            telephone.fill(f"#jar{jar}-gauge_{field}_kPa", value)
            telephone.keyboard.press("Enter")
    telephone.locator("[data-lost]").wait_for(state="visible")
    again = start(tmp_path, "--port", str(page.port))
    try:
        # another round is on the screen when the page is back
        telephone.goto(f"{page.address}/trials/one/changes")
        everything_sent(telephone)
    finally:
        again.stop()
    with (folder / "readings.csv").open(newline="") as file:
        rows = list(csv.DictReader(file))
    found = {row["jar"]: (row["gauge before [kPa]"], row["gauge after [kPa]"]) for row in rows}
    assert found == {f"J{jar}": (f"{20 + jar}", "1") for jar in range(1, 8)}


def test_what_is_refused_waits_until_a_person_decides(telephone: Any, demo: Served) -> None:
    demo.let_in(telephone.context)
    folder = small_trial(demo.root / "refused", jars=4)
    here = f"{demo.address}/trials/refused/readings?round=2024-03-02T08:00"
    telephone.goto(here)
    telephone.fill("#jar1-volume_mL", "a lot")
    telephone.keyboard.press("Enter")
    telephone.locator('[data-jar="J1"] .wrong').wait_for()
    telephone.fill("#jar2-volume_mL", "22")
    telephone.keyboard.press("Enter")
    kept(telephone, "J2")
    telephone.goto(f"{demo.address}/trials/refused/tables/jars")
    waits = telephone.locator("[data-waits]")
    waits.wait_for()
    assert "jar J1, 2024-03-02 08:00: volume [mL] a lot" in waits.inner_text()
    telephone.goto(here)
    assert telephone.input_value("#jar1-volume_mL") == "a lot"
    telephone.fill("#jar1-volume_mL", "21")
    telephone.keyboard.press("Enter")
    kept(telephone, "J1")
    everything_sent(telephone)
    # a time that cannot be: asked about, not kept
    telephone.goto(here.replace("2024", "2224"))
    telephone.fill("#jar3-volume_mL", "23")
    telephone.keyboard.press("Enter")
    asks = telephone.locator('[data-jar="J3"] .ask')
    asks.wait_for()
    assert "is still to come" in asks.inner_text()
    telephone.goto(f"{demo.address}/trials/refused/")
    telephone.get_by_role("button", name="Give it up").click()
    everything_sent(telephone)
    assert sorted(jar for jar, _ in journalled(folder)) == ["J1", "J2"]


def test_entries_of_a_trial_that_was_renamed_find_it(telephone: Any, demo: Served) -> None:
    demo.let_in(telephone.context)
    folder = small_trial(demo.root / "old-name", jars=4)
    telephone.goto(f"{demo.address}/trials/old-name/readings?round=2024-03-02T08:00")
    folder.rename(demo.root / "new-name")
    telephone.fill("#jar1-volume_mL", "21")
    telephone.keyboard.press("Enter")
    telephone.get_by_text("There is no trial of this name").wait_for()
    telephone.goto(demo.address)
    telephone.get_by_text("1 entry waits in this browser for “old-name”").wait_for()
    telephone.get_by_label("Trial that the entries for old-name belong to").select_option(
        "new-name"
    )
    telephone.get_by_role("button", name="They belong to this trial").click()
    telephone.wait_for_url("**/new-name/changes")
    everything_sent(telephone)
    assert ("J1", "2024-03-02T08:00", "21") in rows_of(demo.root / "new-name")


def test_a_full_browser_store_is_said_and_nothing_is_lost(telephone: Any, demo: Served) -> None:
    demo.let_in(telephone.context)
    folder = small_trial(demo.root / "storeless", jars=4)
    telephone.goto(f"{demo.address}/trials/storeless/readings?round=2024-03-02T08:00")
    telephone.evaluate(
        "() => { Storage.prototype.setItem = () => { throw new DOMException('full'); }; }"
    )
    telephone.route("**/save", lambda route: route.abort())
    telephone.fill("#jar1-volume_mL", "21")
    telephone.keyboard.press("Enter")
    telephone.get_by_text("This browser's store is full").wait_for()
    telephone.unroute("**/save")
    kept(telephone, "J1")
    telephone.get_by_text("This browser's store is full").wait_for(state="hidden")
    assert ("J1", "2024-03-02T08:00", "21") in rows_of(folder)


def test_one_entry_that_always_fails_holds_up_no_other(telephone: Any, demo: Served) -> None:
    demo.let_in(telephone.context)
    small_trial(demo.root / "stuck", jars=4)
    telephone.goto(f"{demo.address}/trials/stuck/readings?round=2024-03-02T08:00")

    def fail(route: Any) -> None:
        if '"J1"' in route.request.post_data:
            said = {"words": "Not kept: no space is left on the disk."}
            route.fulfill(status=507, json=said)
        else:
            route.continue_()

    telephone.route("**/save", fail)
    for jar in (1, 2):
        telephone.fill(f"#jar{jar}-volume_mL", f"2{jar}")
        telephone.keyboard.press("Enter")
    kept(telephone, "J2")
    telephone.get_by_text("no space is left on the disk").wait_for()
    telephone.unroute("**/save")
    kept(telephone, "J1")


def test_a_form_left_open_over_night_asks_which_round_it_is(telephone: Any, demo: Served) -> None:
    demo.let_in(telephone.context)
    folder = small_trial(demo.root / "night", jars=4)
    telephone.clock.install()
    telephone.goto(f"{demo.address}/trials/night/readings")
    first = telephone.get_attribute("[data-readings]", "data-time")
    telephone.fill("#jar1-volume_mL", "21")
    telephone.keyboard.press("Enter")
    kept(telephone, "J1")
    telephone.clock.fast_forward("20:00:00")
    telephone.fill("#jar2-volume_mL", "22")
    telephone.keyboard.press("Enter")
    telephone.locator("[data-stale]").wait_for()
    assert set(journalled(folder)) == {("J1", first)}
    telephone.get_by_role("button", name=re.compile("^Still ")).click()
    kept(telephone, "J2")
    telephone.goto(f"{demo.address}/trials/night/readings")
    telephone.clock.fast_forward("20:00:00")
    telephone.fill("#jar3-volume_mL", "23")
    telephone.keyboard.press("Enter")
    telephone.get_by_role("button", name=re.compile("^A new round: ")).click()
    telephone.wait_for_url("**/readings?round=*")
    # the test's clock ran ahead of the server's: its round is still to come there
    telephone.get_by_role("button", name="The time is right").click()
    kept(telephone, "J3")
    at = dict(journalled(folder).keys())
    assert at["J1"] == at["J2"] == first
    assert at["J3"] > first


def test_charts_are_read_on_a_telephone_and_by_pointing(telephone: Any, demo: Served) -> None:
    demo.let_in(telephone.context)
    telephone.goto(f"{demo.address}/trials/cheese_dairy/")
    loaded(telephone)
    sizes = telephone.locator("figure.chart text").evaluate_all(
        "all => all.map(e => e.getBoundingClientRect().height)"
    )
    fonts = telephone.locator("figure.chart text").evaluate_all(
        "all => all.map(e => parseFloat(getComputedStyle(e).fontSize))"
    )
    # one unit of the drawing is one pixel of the screen
    svg = telephone.locator("figure.chart [data-drawing] svg")
    box = svg.bounding_box()
    assert box["width"] == pytest.approx(float(svg.get_attribute("viewBox").split()[2]), abs=1)
    assert min(fonts) >= 12
    assert min(sizes) >= 12
    assert box["x"] + box["width"] <= 390
    drawing = telephone.locator("figure.chart [data-drawing]")
    drawing.scroll_into_view_if_needed()
    drawing.hover(position={"x": box["width"] - 20, "y": 25})
    said = telephone.inner_text("[data-pointed]")
    assert re.match(
        r"[WC]\d \((whey|cellulose)\), day 4\d\S*: [34]\d\d(\.\d)? NmL CH4/g VS", said
    ), said
    drawing.focus()
    telephone.keyboard.press("ArrowRight")
    assert telephone.inner_text("[data-pointed]") != said
    telephone.goto(f"{demo.address}/trials/cheese_dairy/tank")
    heights = telephone.locator("figure svg text").evaluate_all(
        "all => all.map(e => { const svg = e.ownerSVGElement;"
        " const scale = svg.getBoundingClientRect().width / svg.viewBox.baseVal.width;"
        " return parseFloat(getComputedStyle(e).fontSize) * scale; })"
    )
    assert min(heights) >= 12


def test_a_person_types_in_the_units_of_the_instruments(telephone: Any, demo: Served) -> None:
    demo.let_in(telephone.context)
    folder = small_trial(demo.root / "units", jars=2)
    telephone.goto(f"{demo.address}/units")
    telephone.get_by_label("Air pressure").select_option("inHg")
    telephone.get_by_label("Gas volume").select_option("fl oz")
    telephone.get_by_role("button", name="Use these units").click()
    here = f"{demo.address}/trials/units/readings?round=2024-03-02T08:00"
    telephone.goto(here)
    telephone.get_by_label("ambient [inHg]").fill("29.9")
    telephone.keyboard.press("Enter")
    telephone.keyboard.type("2.5")
    telephone.keyboard.press("Enter")
    kept(telephone, "J1")
    everything_sent(telephone)
    assert telephone.get_by_label("ambient [inHg]").input_value() == "29.9"
    telephone.goto(here)
    assert telephone.get_by_label("ambient [inHg]").input_value() == "29.9"
    assert telephone.input_value("#jar1-volume_mL") == "2.5"
    telephone.goto(f"{demo.address}/trials/units/")  # the table is brought up to date
    loaded(telephone)
    with (folder / "readings.csv").open(newline="") as file:
        (row,) = csv.DictReader(file)
    # exact by definition: NIST SP 811 (2008), appendix B: 1 fl oz (US) = 29.5735295625 mL
    assert float(row["volume [mL]"]) == pytest.approx(2.5 * 29.5735295625, rel=1e-9)
    telephone.context.clear_cookies(name="bmp-units")


def violations(page: Any) -> dict[str, str]:
    """Return what axe-core finds on a page, with the first piece of the page that breaks it."""
    axe = pytest.importorskip("axe_playwright_python.sync_playwright")
    found = axe.Axe().run(page).response["violations"]
    return {one["id"]: one["nodes"][0]["html"][:200] for one in found}


WIDTHS = pytest.mark.parametrize(("width", "scheme"), [(390, "light"), (1280, "dark")])
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
    "/units",
    "/trials/broken.xlsx/own-sheet",
    "/trials/broken.xlsx/",
    "/trials/none/",
)


def looked_at(
    chromium: Any, demo: Served, pages: Sequence[str], width: int, scheme: str
) -> tuple[dict[str, dict[str, str]], list[str]]:
    """Return what axe-core finds on pages that fit into a width, and what the console says."""
    errors: list[str] = []
    found = {}
    view = {"width": width, "height": 800}
    with chromium.new_context(viewport=view, color_scheme=scheme) as context:
        demo.let_in(context)
        page = context.new_page()
        page.on("console", lambda said: errors.append(f"{page.url}: {said.text}"))
        page.on("pageerror", lambda error: errors.append(f"{page.url}: {error}"))
        for path in pages:
            page.goto(demo.address + path)
            loaded(page)
            if path != "/trials/none/":
                assert page.evaluate("document.documentElement.scrollWidth") <= width, path
            if ids := violations(page):
                found[path] = ids
    return found, [error for error in errors if "/trials/none/" not in error]


@WIDTHS
def test_every_page_is_accessible_and_fits(
    chromium: Any, demo: Served, width: int, scheme: str
) -> None:
    """WCAG 2.2 A and AA and good practice, by the rules of axe-core."""
    assert looked_at(chromium, demo, PAGES, width, scheme) == ({}, [])


@WIDTHS
def test_the_guide_is_accessible_and_fits(
    chromium: Any, demo: Served, guide: Path, width: int, scheme: str
) -> None:
    pages = ("", "trial_files.html", "python_reference.html", "reading_errors/overflow.html")
    looked = looked_at(chromium, demo, [f"/guide/{name}" for name in pages], width, scheme)
    assert looked == ({}, [])


def test_the_guide_is_searched_from_a_folder(telephone: Any, guide: Path) -> None:
    telephone.goto((guide / "reading_errors" / "overflow.html").as_uri())
    telephone.get_by_role("searchbox").fill("headspace psi")
    first = telephone.locator(".found a").first
    first.wait_for()
    first.click()
    assert telephone.url.startswith(guide.as_uri())
    telephone.get_by_role("heading", level=1).wait_for()


def test_everything_works_by_the_keyboard(telephone: Any, demo: Served) -> None:
    demo.let_in(telephone.context)
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
    demo.let_in(telephone.context)
    telephone.goto(f"{demo.address}/trials/empty/readings?round=2024-03-02T08:00")
    telephone.emulate_media(media="print")
    assert not telephone.locator("nav").first.is_visible()
    assert not telephone.get_by_role("button").first.is_visible()
    assert telephone.locator('[data-jar="J1"]').is_visible()


def test_the_report_looks_the_same_without_styles_of_its_own(telephone: Any, demo: Served) -> None:
    demo.let_in(telephone.context)
    telephone.goto(f"{demo.address}/trials/cheese_dairy/report")
    colour = "e => getComputedStyle(e).stroke"
    lines = set(telephone.locator("#curves svg path").evaluate_all(f"all => all.map({colour})"))
    # the colours of the report's own style sheet, not black as of a drawing without any
    assert {"rgb(0, 114, 178)", "rgb(213, 94, 0)"} <= lines
    assert re.match(
        r"rgb\(255, 255, 255\)",
        telephone.evaluate("getComputedStyle(document.body).backgroundColor"),
    )


def test_an_open_page_shows_new_readings_by_itself(telephone: Any, tmp_path: Path) -> None:
    root = tmp_path / "trials"
    root.mkdir()
    with served(root) as page:
        telephone.goto(page.link)
        trial = plan(telephone, page.address)
        type_round(telephone, ROUNDS[0], 0)
        wall = telephone.context.new_page()
        wall.clock.install()
        wall.goto(trial)
        loaded(wall)
        before = wall.locator("section[aria-label='So far']").inner_text()
        type_round(telephone, ROUNDS[1], 1)
        wall.clock.fast_forward(31_000)
        so_far = "document.querySelector(\"section[aria-label='So far']\")"
        changed = f"before => {so_far}.innerText !== before"
        wall.wait_for_function(changed, arg=before, timeout=60_000)
