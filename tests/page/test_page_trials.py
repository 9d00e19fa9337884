"""Trials in the list, renamed, copied and put away; findings, the guide, units, plans."""

from __future__ import annotations

import csv
import io
import mimetypes
import re
from pathlib import Path
from typing import Any

import openpyxl
import pytest
from werkzeug.datastructures import MultiDict

from bmp.check import check
from bmp.judge.reading_errors import READING_ERRORS
from bmp.page import trial_list
from bmp.page.guide import page_of
from bmp.page.own_units import CHOICES, KIND_OF, shown
from bmp.page.planning import new_trial
from bmp.page.questions import QUESTIONS, answered, crucibles, plan_form
from bmp.page.trial_care import retitled
from bmp.page.trial_folders import safe_name
from bmp.page.typed_numbers import column_of, in_unit, typed_cell
from bmp.plan.literature import read_literature
from bmp.plan.read_request import read_request
from bmp.read import read_trial
from tests import tables
from tests.page.client import small_trial
from tests.page.load import rows_of
from tests.page.test_page_guard import client, get
from tests.page.test_page_planning import ANSWERS, asked, form
from tests.page.test_page_readings import OURS

T1, T2 = "2024-03-02T08:00", "2024-03-03T08:00"
V = "volume [mL]"


def post(page: Any, path: str, **data: str) -> Any:
    return page.post(path, data=data, headers=OURS)


def save(page: Any, jar: str, volume: str, at: str = T1, trial: str = "one", **more: Any) -> Any:
    item = {"jar": jar, "time": at, "cells": {V: volume}, "version": 0, **more}
    answer = page.post(f"/trials/{trial}/readings/save", json=item, headers=OURS)
    assert answer.status_code == 200, answer.get_data(as_text=True)
    return answer.get_json()


# ---------------------------------------------------------------- the list


def test_a_bad_trial_is_one_line_and_stops_nothing_else(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    for name in ("good", "journal", "linked", "strange"):
        small_trial(tmp_path / name, jars=2)
    (tmp_path / "journal" / "journal.jsonl").write_text('{"kind": "placed"}\n')
    (tmp_path / "linked" / "notes.csv").symlink_to(tmp_path / "good" / "jars.csv")
    page = client(tmp_path)
    real = trial_list.setting
    monkeypatch.setattr(
        trial_list, "setting", lambda path: 1 / 0 if path.name == "strange" else real(path)
    )
    text = get(page).get_data(as_text=True)
    assert 'href="/trials/good/"' in text
    for name, words in {
        "journal": "journal.jsonl, row 1: this line is damaged",
        "linked": "is a link to another place",
        "strange": "division by zero",
    }.items():
        card = re.search(rf'<li class="card">\s*<h2><a[^>]*>{name}</a>.*?</li>', text, re.DOTALL)
        assert card is not None, name
        assert words in card[0]
    assert get(page, "/trials/linked/").status_code == 409
    assert get(page, "/trials/good/").status_code == 200
    assert get(page, "/compare").status_code == 200


def test_a_folder_is_no_workbook_whatever_its_title_says(tmp_path: Path) -> None:
    assert safe_name("my log.xlsx") == "my-log"
    small_trial(tmp_path / "old.xlsx", jars=2)
    page = client(tmp_path)
    assert get(page, "/trials/old.xlsx/readings").status_code == 200


def test_a_trial_is_renamed_and_open_pages_still_find_it(tmp_path: Path) -> None:
    small_trial(tmp_path / "one", jars=4)
    page = client(tmp_path)
    save(page, "J1", "21")
    assert (
        post(page, "/trials/one/keep/name", title="Barn, spring").location == "/trials/Barn-spring/"
    )
    save(page, "J2", "22")  # by the old name
    folder = tmp_path / "Barn-spring"
    assert read_trial(folder, unfinished=True).setup.title == "Barn, spring"
    get(page, "/trials/Barn-spring/so-far")
    assert [p.name for p in tmp_path.iterdir()] == ["Barn-spring"]
    assert {row[0] for row in rows_of(folder)} == {"J1", "J2"}
    assert post(page, "/trials/Barn-spring/keep/name", title=" ").status_code == 422


def test_a_trial_is_copied_put_away_and_brought_back(tmp_path: Path) -> None:
    small_trial(tmp_path / "one", jars=4)
    page = client(tmp_path)
    save(page, "J1", "21")
    assert post(page, "/trials/one/keep/copy", title="two").location == "/trials/two/"
    assert rows_of(tmp_path / "two") == rows_of(tmp_path / "one")
    save(page, "J1", "25", at=T2, trial="two")
    assert post(page, "/trials/one/keep/away").status_code == 303
    assert get(page, "/trials/one/").status_code == 404
    text = get(page).get_data(as_text=True)
    assert 'href="/trials/one/"' not in text
    assert "Put away (1)" in text
    assert post(page, "/back", name="../two").status_code == 404
    assert post(page, "/back", name="one").location == "/trials/one/"
    assert {row[1] for row in rows_of(tmp_path / "one")} == {T1}


def test_a_title_is_changed_and_nothing_else() -> None:
    assert retitled("item;value\nTitle;x\na;1,5\n", "y") == "item;value\nTitle;y\na;1,5\n"
    assert retitled("item,value\na,1\n", "y, z") == 'item,value\ntitle,"y, z"\na,1\n'


def test_the_demo_is_at_hand_where_nothing_is_yet(tmp_path: Path) -> None:
    page = client(tmp_path)
    assert "Look at a demo" in get(page).get_data(as_text=True)
    where = post(page, "/demo").location
    assert "Whey" in get(page, where + "so-far").get_data(as_text=True)
    assert "Look at a demo" not in get(page).get_data(as_text=True)


# ---------------------------------------------------------------- findings and the guide


def test_every_check_stands_on_the_page_in_the_report_and_in_the_terminal(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Each finding in full: what was seen, where, and what to do."""
    from html import unescape

    from bmp.cli import main

    page = client(tmp_path)
    where = post(page, "/demo").location
    folder = tmp_path / where.strip("/").partition("/")[2]
    # an invented slip: the highest reading of a jar, ten times as high
    path = folder / "readings.csv"
    lines = path.read_text(encoding="utf-8").splitlines()
    at = next(n for n, line in enumerate(lines) if line.startswith("G1,"))
    cells = lines[at].split(",")
    lines[at] = ",".join([*cells[:2], f"{float(cells[2]) * 10:g}", *cells[3:]])
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")

    def plain(html: str) -> str:
        return " ".join(unescape(re.sub(r"<[^>]+>", " ", html)).split())

    shown = plain(get(page, where + "so-far").get_data(as_text=True))
    report = plain(get(page, where + "report").get_data(as_text=True))
    main(["check", str(folder)])
    terminal = " ".join(capsys.readouterr().out.split())
    found = check(read_trial(folder)).findings
    assert found
    for one in found:
        for text in (shown, report, terminal):
            for words in (one.check, one.meaning, one.advice):
                assert " ".join(words.split()).lower() in text.lower(), (one.check, words)
    assert ": :" not in shown
    assert not re.search(r"(^|\. ): ", shown)


def test_a_first_round_is_looked_at_beside_the_replicate_jars(tmp_path: Path) -> None:
    small_trial(tmp_path / "one", jars=6)
    page = client(tmp_path)
    assert save(page, "J4", "98")["doubts"] == []
    said = save(page, "J5", "1200")["doubts"]
    assert "1200 mL is far from jar J4 of the same feed (98 mL)." in said[0]
    assert save(page, "J6", "120")["doubts"] == []
    for path in (f"/trials/one/readings?round={T1}", "/trials/one/"):
        assert "1200 mL is far" in get(page, path).get_data(as_text=True), path


def test_what_was_typed_is_put_back_over_a_table_that_cannot_be_used(tmp_path: Path) -> None:
    folder = small_trial(tmp_path / "one", jars=4)
    page = client(tmp_path)
    save(page, "J1", "21")
    (folder / "readings.csv").write_text("taken,J1 [mL]\n2024-03-05,9\n")
    assert "Put back what was typed here" in get(page, "/trials/one/readings").text
    assert post(page, "/trials/one/readings/put-back").status_code == 303
    assert set(rows_of(folder)) == {("J1", T1, "21")}
    assert (folder / "readings-found.csv").read_text().startswith("taken,J1 [mL]")
    assert get(page, "/trials/one/readings").status_code == 200


def test_the_guide_is_shown_by_the_page(guide: Path, tmp_path: Path) -> None:
    page = client(tmp_path)
    first = get(page, "/guide/")
    assert "Two commands" in first.get_data(as_text=True)
    first.close()
    for path in guide.rglob("*"):
        if path.is_file():
            answer = get(page, f"/guide/{path.relative_to(guide).as_posix()}")
            answer.close()
            assert answer.status_code == 200, path.name
            assert "unsafe" not in answer.headers["Content-Security-Policy"]
    for name in ("../app.py", "reading_errors/../../render.py", "x", "%2e%2e/render.py"):
        assert get(page, f"/guide/{name}").status_code in (404, 308), name


def test_every_finding_leads_to_a_page_of_the_guide(guide: Path) -> None:
    for kind in READING_ERRORS:
        assert (guide / page_of(kind.name)).is_file(), kind.name
    assert (guide / page_of("yield of the control")).is_file()


def test_a_guide_that_was_not_rendered_is_said(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("bmp.page.guide.RENDERED", tmp_path)
    answer = get(client(tmp_path), "/guide/")
    assert answer.status_code == 404
    assert "not rendered" in answer.get_data(as_text=True)


def test_a_computer_that_calls_a_script_plain_text_is_put_right(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Windows takes the kinds of files from its registry, where other programs write too."""
    monkeypatch.setitem(mimetypes.types_map, ".js", "text/plain")
    answer = get(client(tmp_path), "/static/page.js")
    answer.close()
    assert answer.mimetype == "text/javascript"


# ---------------------------------------------------------------- readings


def test_readings_of_an_unknown_jar_are_seen_renamed_and_removed(tmp_path: Path) -> None:
    folder = small_trial(tmp_path / "one", jars=4)
    (folder / "readings.csv").write_text(
        f"jar,taken,{V}\nJ1,{T1},21\nX9,{T1},22\nX9,{T2},23\nY,{T1},5\n"
    )
    page = client(tmp_path)
    text = get(page, "/trials/one/readings").get_data(as_text=True)
    assert "“X9” is not in the table of jars" in text
    assert "“Y” is not in the table of jars" in text
    assert post(page, "/trials/one/readings/stranger", jar="X9", to="J1").status_code == 409
    assert post(page, "/trials/one/readings/stranger", jar="X9", to="J2").status_code == 303
    assert post(page, "/trials/one/readings/stranger", jar="Y").status_code == 303
    get(page, "/trials/one/so-far")
    assert set(rows_of(folder)) == {("J1", T1, "21"), ("J2", T1, "22"), ("J2", T2, "23")}
    assert "is not in the table" not in get(page, "/trials/one/readings").get_data(as_text=True)


def test_the_time_of_a_round_is_corrected(tmp_path: Path) -> None:
    folder = small_trial(tmp_path / "one", jars=4)
    page = client(tmp_path)
    save(page, "J1", "21")
    save(page, "J2", "22")
    save(page, "J1", "25", at=T2)
    move = "/trials/one/readings/move"
    assert post(page, move, **{"from": T1, "to": T2}).status_code == 409
    assert post(page, move, **{"from": T1, "to": "2224-01-01T08:00"}).status_code == 422
    assert post(page, move, **{"from": T1, "to": "2024-03-02T18:30"}).status_code == 303
    get(page, "/trials/one/so-far")
    assert {row[1] for row in rows_of(folder)} == {"2024-03-02T18:30", T2}
    number = re.search(r'name="number" value="(\d+)"', get(page, "/trials/one/changes").text)
    assert number is not None
    post(page, "/trials/one/undo", number=number[1])
    get(page, "/trials/one/so-far")
    assert {row[1] for row in rows_of(folder)} == {T1, T2}


def test_readings_minutes_apart_are_one_round(tmp_path: Path) -> None:
    folder = small_trial(tmp_path / "one", jars=4)
    at = ("2024-03-02T08:00", "2024-03-02T08:20", "2024-03-02T08:55", "2024-03-02T18:00")
    lines = [f"J1,{at[0]},1", f"J2,{at[1]},2", f"J3,{at[2]},3", f"J1,{at[3]},4"]
    (folder / "readings.csv").write_text("\n".join([f"jar,taken,{V}", *lines]) + "\n")
    page = client(tmp_path)
    text = get(page, f"/trials/one/readings?round={at[1]}").get_data(as_text=True)
    assert "Rounds read (2)" in text
    assert ">3</span> of 4 jars are read" in text
    assert f'data-jar="J3" data-time="{at[2]}"' in text
    between = get(page, "/trials/one/readings?round=2024-03-02T08:30").get_data(as_text=True)
    assert ">3</span> of 4 jars are read" in between
    move = {"from": at[0], "to": "2024-03-02T09:00"}
    assert post(page, "/trials/one/readings/move", **move).status_code == 303
    get(page, "/trials/one/so-far")
    assert {row[:2] for row in rows_of(folder)} == {
        ("J1", "2024-03-02T09:00"),
        ("J2", "2024-03-02T09:20"),
        ("J3", "2024-03-02T09:55"),
        ("J1", at[3]),
    }


def test_rounds_of_the_demo_are_days(tmp_path: Path) -> None:
    page = client(tmp_path)
    where = post(page, "/demo").location
    text = get(page, where + "readings?round=2027-03-03T09:42").get_data(as_text=True)
    lines = (tmp_path / "demo-cheese-dairy" / "readings.csv").read_text().splitlines()[1:]
    days = {line.split(",")[1][:10] for line in lines}
    assert f"Rounds read ({len(days)})" in text


def test_one_empty_mass_does_not_hinder_typing(tmp_path: Path) -> None:
    folder = small_trial(tmp_path / "one", jars=4)
    path = folder / "jars.csv"
    path.write_text(path.read_text().replace("J3,peelings,400,5", "J3,peelings,400,"))
    page = client(tmp_path)
    text = get(page, "/trials/one/readings").get_data(as_text=True)
    assert text.count('<section class="reading') == 5
    assert "You can take readings all the same." in text
    save(page, "J3", "21")


def test_the_methane_share_is_at_hand_where_it_was_read(tmp_path: Path) -> None:
    folder = small_trial(tmp_path / "one", jars=2)
    (folder / "readings.csv").write_text(f"jar,taken,{V},methane [%]\nJ1,{T1},21,55\n")
    text = get(client(tmp_path), "/trials/one/readings").get_data(as_text=True)
    card = text[text.index('data-jar="J1"') : text.index('data-jar="J2"')]
    assert card.index('data-column="methane [%]"') < card.index("<details")


# ---------------------------------------------------------------- units


@pytest.mark.parametrize("kind", dict.fromkeys(KIND_OF.values()))
def test_what_was_typed_in_a_unit_comes_back_as_it_was_typed(kind: str) -> None:
    headers = {
        "volume_mL": V,
        "gauge_before_kPa": "gauge before [kPa]",
        "ambient_kPa": "ambient [kPa]",
        "temperature_C": "temperature [°C]",
        "mass_g": "mass [g]",
    }
    field = next(name for name in headers if KIND_OF[name] == kind)
    column = column_of(headers[field])
    for unit in CHOICES[kind]:
        for text in ("29.9", "0.1", "101.3", "68.5", "1203.4", "7"):
            cell = typed_cell(column, f"{text} {unit}")
            assert shown(column, cell, {kind: unit}) == text, (kind, unit, text, cell)


def test_fields_show_the_units_that_a_person_chose(tmp_path: Path) -> None:
    small_trial(tmp_path / "one", jars=2)
    page = client(tmp_path)
    picked = {"temperature": "°F", "air pressure": "inHg", "gas volume": "fl oz", "mass": "stone"}
    answer = page.post("/units", data=picked, headers=OURS)
    assert answer.status_code == 303
    told = save(page, "J1", "2.5 fl oz")
    assert told["shown"] == {V: "2.5"}
    save(page, "", "", at=T1, cells={"ambient [kPa]": "29.9 inHg"})
    text = get(page, f"/trials/one/readings?round={T1}").get_data(as_text=True)
    for words in ("temperature [°F]", "ambient [inHg]", "volume [fl oz]", 'value="29.9"'):
        assert words in text
    assert 'data-unit="fl oz" value="2.5"' in text


def test_results_stand_in_the_units_of_this_browser_too(tmp_path: Path) -> None:
    page = client(tmp_path)
    page.post("/demo", headers=OURS)
    name = next(path.name for path in tmp_path.iterdir() if path.is_dir())
    plain = get(page, f"/trials/{name}/so-far").get_data(as_text=True)
    assert "cu ft" not in plain
    page.post("/units", data={"temperature": "°F", "mass": "lb"}, headers=OURS)
    shown = get(page, f"/trials/{name}/so-far").get_data(as_text=True)
    assert "NmL/g VS (" in shown
    assert "cu ft/lb VS" in shown
    tank = get(page, f"/trials/{name}/tank").get_data(as_text=True)
    assert "°F" in tank
    assert "cu ft" in tank


def test_an_empty_logbook_comes_in_the_units_of_this_browser(tmp_path: Path) -> None:
    page = client(tmp_path)
    assert "Take an empty logbook" in get(page, "/").get_data(as_text=True)
    page.post("/units", data={"pressure in the jar": "psi", "mass": "oz"}, headers=OURS)
    answer = page.post("/logbook", data={"way": "pressure"}, headers=OURS)
    sheets = openpyxl.load_workbook(io.BytesIO(answer.data))
    heads = {cell.value for sheet in sheets.worksheets for cell in sheet[1]}
    assert {"gauge before [psi]", "inoculum [oz]"} <= heads
    assert page.post("/logbook", data={"way": "smell"}, headers=OURS).status_code == 422


# ---------------------------------------------------------------- plan


@pytest.mark.parametrize(
    ("text", "unit", "wanted"),
    [
        # exact by definition: NIST SP 811 (2008), appendix B
        ("98.6 °F", "°C", "37"),
        ("1 qt", "mL", "946.352946"),
        ("3000 ft", "m", "914.4"),
        ("30 %", "%", "30"),
        ("2,5 lb", "kg", "1.133980925"),
        ("14.5 psi", "kPa", "99.97398075"),
        ("37", "°C", "37"),
        ("37 °C", "°F", "98.6"),
        ("946.352946 mL", "qt", "1"),
        ("warm", "°C", "warm"),
        ("3 blub", "m", "3 blub"),
    ],
)
def test_units_are_understood_in_every_field_of_a_plan(text: str, unit: str, wanted: str) -> None:
    assert in_unit(text, unit) == wanted


AMERICAN = {
    "pressure in the jar": "psi",
    "air pressure": "inHg",
    "temperature": "°F",
    "mass": "oz",
    "size of a jar": "qt",
    "gas volume": "fl oz",
    "height above sea level": "ft",
}


def test_a_plan_is_asked_for_in_the_units_that_a_person_chose(tmp_path: Path) -> None:
    page = client(tmp_path)
    page.post("/units", data=AMERICAN, headers=OURS)
    text = get(page, "/new").get_data(as_text=True)
    for unit in ("[psi]", "[inHg]", "[°F]", "[oz]", "[qt]", "[fl oz]", "[ft]", "[lb]"):
        assert unit in text
    for metric in ("[kPa]", "[°C]", "[mL]", "[m]", "[kg]"):
        assert metric not in text
    for usual in ('value="98.6"', 'value="68"', 'value="1.06"'):
        assert usual in text
    assert "A kitchen scale: 0.035." in text


def test_what_is_typed_in_the_units_chosen_is_planned_and_kept_as_typed(tmp_path: Path) -> None:
    typed = {
        "ambient": "29.9",
        "temperature": "98.6",
        "room": "68",
        "jar_volume": "1",
        "collector": "100 fl oz",
        "scale": "0.01 g",
        "materials-0-kg": "13,5",
    }
    filled = plan_form(MultiDict(ANSWERS | {"altitude": ""} | typed), read_literature(), AMERICAN)
    place = new_trial(tmp_path, *answered(filled))
    items = dict(csv.reader((place / "plan" / "plan.csv").read_text().splitlines()))
    assert items["ambient [inHg]"] == "29.9"
    assert items["incubation temperature [°F]"] == "98.6"
    assert items["jar volume [qt]"] == "1"
    assert items["collector [fl oz]"] == "100"
    request = read_request(place / "plan").request
    # by definition: NIST SP 811 (2008), appendix B
    assert request.jar_volume_mL == pytest.approx(946.352946)
    assert request.ambient_kPa == pytest.approx(29.9 * 3.386389, rel=1e-6)
    assert request.incubation_temperature_C == pytest.approx(37.0)
    assert request.materials[0].available_g == pytest.approx(13.5 * 453.59237)


@pytest.mark.parametrize("name", [q.name for q in QUESTIONS if q.of_number])
def test_a_telephone_offers_its_keys_for_numbers(name: str) -> None:
    assert 'inputmode="decimal"' in str(form()[name]())


def test_every_feed_offered_is_accepted(tmp_path: Path) -> None:
    offered = form().materials[1].form.like.choices  # type: ignore[attr-defined]
    names = [name for name in offered if name]
    assert len(names) >= 20
    assert set(names) < set(read_literature())
    page = client(tmp_path)
    for name in names:
        solids = {"materials-1-TS": "", "materials-1-VS": "", "materials-1-like": name}
        answer = page.post("/new", data={**ANSWERS, **solids}, headers=OURS)
        assert answer.status_code == 303, (name, answer.get_data(as_text=True))


def test_crucibles_can_be_typed(tmp_path: Path) -> None:
    # one crucible of 30 g: 10 g of sample, 2 g dry, 0.5 g of ash: TS 20 %, VS 15 %
    weighed = {
        "materials__1__TS": "",
        "materials__1__VS": "",
        "materials__1__empty": "30; 31",
        "materials__1__wet": "40; 41",
        "materials__1__dry": "32; 33",
        "materials__1__ash": "30,5; 31,5",
    }
    filled = form(**weighed)
    assert [row[0] for row in crucibles(filled)] == ["material", "peelings", "peelings"]
    page = client(tmp_path)
    data = {**ANSWERS, **{k.replace("__", "-"): v for k, v in weighed.items()}}
    answer = page.post("/new", data=data, headers=OURS)
    assert answer.status_code == 303, answer.get_data(as_text=True)
    name = answer.location.split("/")[2]
    material = read_trial(tmp_path / name, unfinished=True).material("peelings")
    solids = [material.TS, material.VS]
    assert solids == pytest.approx([0.2, 0.15])
    with (tmp_path / name / "crucibles.csv").open(encoding="utf-8") as file:
        assert len(list(csv.DictReader(file))) == 2


def test_a_problem_of_a_material_has_no_backticks_and_stands_at_it(tmp_path: Path) -> None:
    page = client(tmp_path)
    data = {**ANSWERS, "materials-1-TS": "", "materials-1-VS": "", "materials-1-like": ""}
    text = page.post("/new", data=data, headers=OURS).get_data(as_text=True)
    assert "`" not in text
    assert re.search(r'id="materials-1-\w+-wrong1"', text)


def test_a_page_of_one_trial_plans_too(tmp_path: Path) -> None:
    from bmp.page.app import make_app
    from bmp.page.guard import Access
    from tests.page.test_page_guard import CODE, OWN

    small_trial(tmp_path / "one", jars=2)
    small_trial(tmp_path / "two", jars=2)
    page = make_app(tmp_path, Access(frozenset({OWN}), CODE), "one").test_client()
    page.set_cookie("bmp-page", CODE, domain="127.0.0.1")
    where = page.post("/new", data=ANSWERS, headers=OURS).location
    assert get(page, where).status_code == 200
    assert get(page, "/trials/two/").status_code == 404
    assert len(asked()) == 2


def test_raw_gas_is_shown_while_nothing_tells_the_methane(tmp_path: Path) -> None:
    bare = [row for row in tables.TRIAL if not row[0].startswith("methane")]
    tables.write_csv(tmp_path / "one", tables.tables(trial=bare))
    text = get(client(tmp_path), "/trials/one/so-far").get_data(as_text=True)
    assert "There are no results yet." in text
    assert "<h3>Raw gas so far</h3>" in text
    shown = re.search(r"oats: A1 (\d+) NmL, ", text)
    assert shown
    # 1800 mL wet at 20 °C and 100 kPa, vapour 2.339 kPa (CRC Handbook, steam tables)
    assert float(shown[1]) == pytest.approx(1800 * 97.661 / 101.325 * 273.15 / 293.15, abs=1)


def test_the_page_for_a_class_is_reached_from_the_trial(tmp_path: Path) -> None:
    page = client(tmp_path)
    where = page.post("/demo", headers=OURS).location
    link = re.search('href="([^"]*/class)"', get(page, f"{where}so-far").get_data(as_text=True))
    assert link is not None
    text = get(page, link[1]).get_data(as_text=True)
    assert "Words to copy" in text
    assert "Back to the trial" in text
