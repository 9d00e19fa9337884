"""The form of readings for every way of measuring, by dates and by days."""

from __future__ import annotations

import re
from datetime import date
from pathlib import Path
from typing import Any

import pytest

from bmp.page.journal import NAME
from bmp.page.planning import as_workbook, new_trial
from bmp.plan.due import due
from bmp.read import read_trial
from tests.page.client import small_trial
from tests.page.test_page_guard import OWN, client, get
from tests.page.test_page_planning import DEMO, asked

OURS = {"Host": OWN, "Origin": f"http://{OWN}"}


def trial(root: Path, readings: str, **items: str) -> Path:
    folder = small_trial(root / "one", jars=2)
    (folder / "readings.csv").write_text(readings, encoding="utf-8")
    path = folder / "trial.csv"
    lines = [*path.read_text().splitlines(), *(f"{k},{v}" for k, v in items.items())]
    kept = [line for line in lines if line.partition(",")[0] not in items]
    added = [f"{name},{value}" for name, value in items.items()]
    path.write_text("\n".join([*kept, *added]) + "\n", encoding="utf-8")
    return folder


def fields(page: Any, at: str = "") -> list[str]:
    text = get(page, f"/trials/one/readings{at}").get_data(as_text=True)
    card = text[text.index('data-jar="J1"') : text.index('data-jar="J2"')]
    return re.findall(r'data-column="([^"]*)"', card)


@pytest.mark.parametrize(
    ("header", "items", "wanted"),
    [
        ("jar,taken,volume [mL]", {}, ["volume [mL]", "methane [%]", "note"]),
        ("jar,taken,volume [L],note", {}, ["volume [L]", "methane [%]", "note"]),
        (
            "jar,taken,volume [mL]",
            {"readings are": "cumulative"},
            ["volume [mL]", "emptied", "methane [%]", "note"],
        ),
        ("jar,taken", {"measured": "methane volume"}, ["volume [mL]", "note"]),
        (
            "jar,taken",
            {"measured": "pressure"},
            ["gauge before [kPa]", "gauge after [kPa]", "methane [%]", "note"],
        ),
        (
            "jar,taken,absolute before [mbar],absolute after [mbar],methane [%]",
            {"measured": "pressure"},
            ["absolute before [mbar]", "absolute after [mbar]", "methane [%]", "note"],
        ),
        ("jar,taken,mass [g]", {"measured": "mass"}, ["mass [g]", "methane [%]", "note"]),
        (
            "jar,taken",
            {"measured": "mass"},
            ["mass before [g]", "mass after [g]", "methane [%]", "note"],
        ),
    ],
)
def test_the_form_asks_for_what_the_trial_measures(
    tmp_path: Path, header: str, items: dict[str, str], wanted: list[str]
) -> None:
    trial(tmp_path, header + "\n", **items)
    assert fields(client(tmp_path)) == wanted


def test_days_instead_of_dates(tmp_path: Path) -> None:
    folder = trial(tmp_path, "jar,time [d],volume [mL]\nJ1,1,30\nJ2,1,31\n")
    page = client(tmp_path)
    text = get(page, "/trials/one/readings").get_data(as_text=True)
    assert "Readings, day 2" in text
    assert "last: <b>30 mL</b>" in text
    item = {"jar": "J1", "time": "2", "cells": {"volume [mL]": "22,5"}, "version": 0}
    answer = page.post("/trials/one/readings/save", json=item, headers=OURS).get_json()
    assert answer["shown"] == {"volume [mL]": "22.5"}
    assert read_trial(folder, unfinished=True).readings.time_d.tolist() == [1.0, 2.0, 1.0]


def test_finished_curves_have_nothing_to_read(tmp_path: Path) -> None:
    trial(tmp_path, "jar,time [d],net yield [mL/g]\n", measured="net yield")
    text = get(client(tmp_path), "/trials/one/readings").get_data(as_text=True)
    assert "there is nothing to read" in text


def test_a_wide_table_is_laid_out_by_rows_when_asked(tmp_path: Path) -> None:
    wide = 'taken,J1 [mL],j2 [L],ambient [kPa]\n2024-03-02,30,"0,031",98\n2024-03-03,20,,97\n'
    folder = trial(tmp_path, wide)
    before = read_trial(folder).readings
    page = client(tmp_path)
    assert "a column for each jar" in get(page, "/trials/one/readings").get_data(as_text=True)
    assert page.post("/trials/one/readings/by-rows", headers=OURS).status_code == 303
    after = read_trial(folder).readings
    assert after.jar.tolist() == before.jar.tolist()
    assert after.time_d.tolist() == before.time_d.tolist()
    for name, values in before.columns.items():
        assert after.columns[name].tolist() == pytest.approx(values.tolist())
    assert (folder / "readings-before.csv").read_text() == wide
    assert fields(page)[0] == "volume [mL]"


def test_a_workbook_is_laid_into_tables_and_stays_itself(tmp_path: Path) -> None:
    book = tmp_path / "demo.xlsx"
    book.write_bytes(as_workbook(DEMO))
    content = book.read_bytes()
    page = client(tmp_path)
    answer = page.post("/trials/demo.xlsx/as-tables", headers=OURS)
    assert (answer.status_code, answer.location) == (303, "/trials/demo/")
    assert "N1" in get(page, "/trials/demo/readings").get_data(as_text=True)
    assert read_trial(tmp_path / "demo").jars == read_trial(DEMO).jars
    assert book.read_bytes() == content
    book.write_bytes(b"PK damaged")
    assert page.post("/trials/demo.xlsx/as-tables", headers=OURS).status_code == 422
    assert sorted(p.name for p in tmp_path.iterdir()) == ["demo", "demo.xlsx"]


def test_readings_typed_are_no_longer_due(tmp_path: Path) -> None:
    place = new_trial(tmp_path, *asked(title="one"))
    page = client(tmp_path)
    first, *_ = due(read_trial(place, unfinished=True), date(2024, 3, 2)).today
    for jar in first.jars:
        item = {
            "jar": jar,
            "time": "2024-03-02T09:30",
            "cells": {"volume [mL]": "20"},
            "version": 0,
        }
        assert page.post("/trials/one/readings/save", json=item, headers=OURS).status_code == 200
    get(page, "/trials/one/so-far")  # the table is brought up to the journal
    waiting = due(read_trial(place, unfinished=True), date(2024, 3, 2))
    assert first.at not in [one.at for one in waiting.today]
    assert waiting.following is not None
    assert waiting.following.at.date() == date(2024, 3, 3)


def test_a_damaged_journal_is_told_and_the_other_trials_are_there(tmp_path: Path) -> None:
    small_trial(tmp_path / "good", jars=2)
    (small_trial(tmp_path / "one", jars=2) / NAME).write_text("{broken\n")
    page = client(tmp_path)
    text = get(page).get_data(as_text=True)
    assert "journal.jsonl, row 1: this line is damaged" in text
    assert 'href="/trials/good/"' in text
    assert get(page, "/trials/one/readings").status_code == 422


def test_a_table_with_decimal_commas_stays_one(tmp_path: Path) -> None:
    folder = small_trial(tmp_path / "one", jars=2)
    path = folder / "jars.csv"
    path.write_text(path.read_text().replace(",", ";").replace("400", "400,125"))
    page = client(tmp_path)
    text = get(page, "/trials/one/tables/jars").get_data(as_text=True)
    names = re.findall(
        r'name="((?:h|c)-[\d-]+|width|height|as_seen)"(?: data-c="\d+")? value="([^"]*)"', text
    )
    answer = page.post("/trials/one/tables/jars", data=dict(names), headers=OURS)
    assert answer.status_code == 303
    (folder / "readings.csv").write_text("jar,time [d],volume [mL]\nJ1,1,5\nJ2,1,9\n")
    assert [jar.inoculum_g for jar in read_trial(folder).jars] == [400.125, 400.125]
