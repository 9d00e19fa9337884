from __future__ import annotations

from datetime import datetime
from pathlib import Path
from typing import Any

import pytest
from openpyxl import load_workbook
from openpyxl.worksheet.worksheet import Worksheet

from bmp.plan.logbook import write_logbook
from bmp.plan.plan import plan_trial
from bmp.plan.plan_request import MaterialRequest, PlanRequest
from bmp.plan.shown_units import ShownUnits
from bmp.read import read_trial
from bmp.trial import Material
from tests.plan_requests import BEDDING, CLOSED, INOCULUM, LITERATURE, OPEN, but


def book_of(plan_request: PlanRequest, folder: Path) -> Any:
    path = folder / "logbook.xlsx"
    write_logbook(plan_trial(plan_request, LITERATURE), path)
    return load_workbook(path)


def table(sheet: Worksheet) -> list[dict[str, Any]]:
    header, *rows = sheet.iter_rows(values_only=True)
    return [dict(zip(header, row, strict=True)) for row in rows]


def test_sheets_and_columns_are_those_of_a_trial(tmp_path: Path) -> None:
    book = book_of(OPEN, tmp_path)
    assert book.sheetnames[:4] == ["trial", "materials", "jars", "readings"]
    assert book.sheetnames[4:] == ["crucibles", "plan by date", "dosing", "cautions"]
    items = {row["item"]: row["value"] for row in table(book["trial"])}
    assert items["title"] == "BMP trial"
    assert items["started"] == datetime(2027, 3, 1, 9)
    assert items["measured"] == "volume"
    assert items["readings are"] == "interval"
    assert items["incubation temperature [°C]"] == 37
    assert items["ambient [kPa]"] is None
    jars = table(book["jars"])
    assert list(jars[0]) == [
        "jar",
        "material",
        "inoculum [g]",
        "sample [g]",
        "water [g]",
        "headspace [mL]",
        "leave out",
    ]
    assert [j["jar"] for j in jars] == [f"{a}{i}" for a in "BCDE" for i in (1, 2, 3)]
    assert jars[0]["material"] == "tank digestate"
    assert jars[0]["sample [g]"] == 0


@pytest.mark.parametrize(
    ("plan_request", "columns"),
    [
        (OPEN, ["volume [mL]", "syringe gas [mL]", "syringe gas left [mL]"]),
        (but(OPEN, measured="mass"), ["mass [g]"]),
        (but(CLOSED, measured="mass"), ["mass before [g]", "mass after [g]"]),
        (
            CLOSED,
            [
                "gauge before [kPa]",
                "gauge after [kPa]",
                "syringe gas [mL]",
                "syringe gas left [mL]",
            ],
        ),
    ],
)
def test_readings_have_the_columns_of_their_way(
    plan_request: PlanRequest, columns: list[str], tmp_path: Path
) -> None:
    readings = table(book_of(plan_request, tmp_path)["readings"])
    common = ["temperature [°C]", "ambient [kPa]", "methane [%]", "note"]
    assert list(readings[0]) == ["jar", "taken", *columns, *common]
    assert all(row[name] is None for row in readings for name in columns)


def test_columns_follow_how_the_methane_is_known(tmp_path: Path) -> None:
    asked = {
        "meter": ["volume [mL]", "temperature [°C]", "ambient [kPa]", "methane [%]"],
        "syringe": [
            "volume [mL]",
            "syringe gas [mL]",
            "syringe gas left [mL]",
            "temperature [°C]",
            "ambient [kPa]",
        ],
        "none": ["volume [mL]", "temperature [°C]", "ambient [kPa]"],
    }
    for known_by, columns in asked.items():
        book = book_of(but(OPEN, methane_known_by=known_by), tmp_path)
        assert list(table(book["readings"])[0]) == ["jar", "taken", *columns, "note"]
        assert ("methane [%]" in table(book["materials"])[0]) == (known_by == "none")
    shares = {
        row["material"]: (row["methane [%]"], row["methane uncertainty [%]"])
        for row in table(book["materials"])
    }
    assert shares["microcrystalline cellulose"] == (51, 1)
    assert shares["scraps"] == shares["goat bedding"] == shares["tank digestate"] == (60, 5)
    book = book_of(but(OPEN, measured="methane volume", methane_known_by="absorber"), tmp_path)
    columns = ["volume [mL]", "temperature [°C]", "ambient [kPa]"]
    assert list(table(book["readings"])[0]) == ["jar", "taken", *columns, "note"]


def test_an_open_jar_is_weighed_when_it_is_closed(tmp_path: Path) -> None:
    plan = plan_trial(but(OPEN, measured="mass"), LITERATURE)
    book = book_of(but(OPEN, measured="mass"), tmp_path)
    readings = table(book["readings"])
    assert len(readings) == (len(plan.rounds) + 1) * len(plan.jars)
    assert {row["taken"] for row in readings[: len(plan.jars)]} == {OPEN.started}
    dates = table(book["plan by date"])
    assert dates[0]["do"] == "weigh all jars as soon as they are closed"
    assert any("weigh every jar as soon as it is closed" in line for line in plan.watch)
    assert "weigh every jar" not in " ".join(plan_trial(CLOSED, LITERATURE).watch)


def test_a_logbook_in_other_units_reads_back(tmp_path: Path) -> None:
    units = ShownUnits(gauge="psi", ambient="inHg", temperature="°F")
    plan_request = but(CLOSED, units=units, ambient_kPa=98.0)
    plan = plan_trial(plan_request, LITERATURE)
    book = book_of(plan_request, tmp_path)
    readings = table(book["readings"])
    assert "gauge before [psi]" in readings[0]
    assert {"temperature [°F]", "ambient [inHg]"} <= set(readings[0])
    dates = table(book["plan by date"])
    highest = max(e.gauge_kPa[2] for e in plan.expected if e.gauge_kPa)
    assert max(row["at most gauge [psi]"] for row in dates) == pytest.approx(
        highest / 6.894757, abs=0.06
    )
    sheet, header = book["readings"], list(readings[0])
    row = {"gauge before [psi]": 7.25, "temperature [°F]": 68, "ambient [inHg]": 29.0}
    for name, value in (row | {"methane [%]": 60}).items():
        sheet.cell(2, header.index(name) + 1).value = value
    book.save(tmp_path / "filled.xlsx")
    trial = read_trial(tmp_path / "filled.xlsx", unfinished=True)
    assert trial.readings.column("gauge_before_kPa")[0] == pytest.approx(49.987, abs=0.001)
    assert trial.readings.column("temperature_C")[0] == pytest.approx(20.0)
    assert trial.readings.column("ambient_kPa")[0] == pytest.approx(98.205, abs=0.001)
    assert trial.setup.incubation_temperature_C == pytest.approx(37.0)
    assert trial.setup.ambient_kPa == pytest.approx(98.0, abs=0.02)


def test_every_jar_stands_in_every_round_in_the_order_of_the_shelf(tmp_path: Path) -> None:
    plan = plan_trial(OPEN, LITERATURE)
    readings = table(book_of(OPEN, tmp_path)["readings"])
    assert len(readings) == len(plan.rounds) * len(plan.jars)
    shelf = [jar.name for jar in sorted(plan.jars, key=lambda j: j.position)]
    for i, one in enumerate(plan.rounds):
        rows = readings[12 * i : 12 * (i + 1)]
        assert [row["jar"] for row in rows] == shelf
        assert {row["taken"] for row in rows} == {one.at}


def test_without_a_start_days_are_counted(tmp_path: Path) -> None:
    readings = table(book_of(but(OPEN, started=None), tmp_path)["readings"])
    assert readings[0]["time [d]"] == 1
    assert "taken" not in readings[0]


def test_solids_carry_their_uncertainty_and_ranges_are_marked(tmp_path: Path) -> None:
    sheet = book_of(OPEN, tmp_path)["materials"]
    rows = {row["material"]: (i, row) for i, row in enumerate(table(sheet), start=2)}
    assert rows["scraps"][1]["VS [% of fresh mass]"] == 20
    assert rows["scraps"][1]["VS uncertainty [% of fresh mass]"] == 1
    assert rows["tank digestate"][1]["TS [% of fresh mass]"] == 3.5
    number, bedding = rows["goat bedding"]
    low, high = 34 * 0.70, 41 * 0.85
    assert bedding["VS [% of fresh mass]"] == pytest.approx((low + high) / 2, abs=1e-3)
    assert bedding["VS uncertainty [% of fresh mass]"] == pytest.approx(
        (high - low) / 2 / 3**0.5, abs=1e-3
    )
    assert sheet.cell(number, 5).fill.fgColor.rgb.endswith("FFF7D6")
    assert not sheet.cell(rows["scraps"][0], 5).fill.fgColor.rgb.endswith("FFF7D6")


def test_composition_is_kept_where_it_is_given(tmp_path: Path) -> None:
    fed = Material("scraps", "substrate", VS=0.2, lipid=0.12, formula="=C6H10O5", nitrogen=0.03)
    sheet = book_of(but(OPEN, materials=(INOCULUM, MaterialRequest(fed))), tmp_path)["materials"]
    row = next(r for r in table(sheet) if r["material"] == "scraps")
    assert row["lipid [% of VS]"] == 12
    assert row["nitrogen [% of TS]"] == 3
    assert row["formula"] == "=C6H10O5"
    assert "carbohydrate [% of VS]" not in row


@pytest.mark.parametrize("name", ["=1+1", "+cmd", "-2", "@sum", "=HYPERLINK(1)", "<b>&", "a\x07b"])
def test_text_stays_text(name: str, tmp_path: Path) -> None:
    feed = MaterialRequest(Material(name, "substrate", VS=0.2))
    book = book_of(but(OPEN, materials=(INOCULUM, feed), title=name), tmp_path)
    written = name.replace("\x07", " ")
    for sheet, cell in (("trial", "B2"), ("materials", "A4"), ("jars", "B8")):
        found = book[sheet][cell]
        assert found.value == written
        assert found.data_type == "s"
        assert found.quotePrefix == (name[0] in "=+-@")


def test_no_cell_anywhere_is_a_formula(tmp_path: Path) -> None:
    for plan_request in (OPEN, CLOSED):
        for sheet in book_of(plan_request, tmp_path):
            for row in sheet.iter_rows():
                assert all(cell.data_type != "f" for cell in row)


def test_drop_downs_and_limits(tmp_path: Path) -> None:
    book = book_of(CLOSED, tmp_path)
    rules = {str(r.sqref): r for r in book["readings"].data_validations.dataValidation}
    last = 1 + len(plan_trial(CLOSED, LITERATURE).rounds) * 12 + 100
    assert rules[f"A2:A{last}"].formula1 == "jars!$A$2:$A$13"
    assert rules[f"C2:C{last}"].type == "decimal"
    assert rules[f"D2:D{last}"].formula1 == 'OR(ISNUMBER(D2),LOWER(D2)="not vented")'
    assert rules[f"H2:H{last}"].formula1 == "40"
    assert rules[f"H2:H{last}"].formula2 == "115"
    trial = {str(r.sqref): r for r in book["trial"].data_validations.dataValidation}
    assert trial["B4"].formula1 == '"volume,methane volume,pressure,mass"'
    assert all(rule.prompt for rule in [*rules.values(), *trial.values()])


def test_panes_and_widths(tmp_path: Path) -> None:
    book = book_of(OPEN, tmp_path)
    assert book["readings"].freeze_panes == "C2"
    assert book["jars"].freeze_panes == "A2"
    assert book.active.title == "readings"
    for sheet in book:
        assert sheet.column_dimensions["A"].width >= 8
        assert sheet.page_setup.orientation == "landscape"


def test_plan_by_date_and_cautions(tmp_path: Path) -> None:
    plan = plan_trial(CLOSED, LITERATURE)
    book = book_of(CLOSED, tmp_path)
    rows = table(book["plan by date"])
    assert [row["when"] for row in rows] == [r.at for r in plan.rounds]
    assert rows[0]["do"] == "read and vent all 12 jars"
    assert all(row["at most gauge [kPa]"] <= 150 for row in rows)
    assert all(r["expected gauge [kPa]"] <= r["at most gauge [kPa]"] for r in rows)
    said = [row["caution"] for row in table(book["cautions"])]
    assert said[: len(plan.cautions)] == [c.text for c in plan.cautions]
    assert set(plan.watch) <= set(said)
    dosing = table(book["dosing"])
    assert [row["position"] for row in dosing[:12]] == list(range(1, 13))
    assert any("drawn at random" in str(row["material"]) for row in dosing)


def test_bedding_alone_has_few_materials(tmp_path: Path) -> None:
    book = book_of(but(OPEN, materials=(INOCULUM, BEDDING), control=False), tmp_path)
    assert [r["material"] for r in table(book["materials"])] == ["tank digestate", "goat bedding"]


def test_solids_that_nobody_measured_are_said_when_the_logbook_is_read(tmp_path: Path) -> None:
    path = tmp_path / "logbook.xlsx"
    write_logbook(plan_trial(OPEN, LITERATURE), path)
    trial = read_trial(path, unfinished=True)
    assert trial.material("scraps").solids_from is None
    source = "literature's range of sheep or goat manure"
    assert trial.material("goat bedding").solids_from == source
    assert f"The solids of goat bedding are not measured but from: {source}." in trial.assumed
    book = load_workbook(path)
    for row in (2, 3, 4):
        for column, weight in enumerate((30, 40, 33, 30.6), start=2):
            book["crucibles"].cell(row, column).value = weight
    book.save(path)
    weighed = read_trial(path, unfinished=True)
    assert weighed.material("goat bedding").solids_from is None
    assert pytest.approx(0.24) == weighed.material("goat bedding").VS
    assert "TS and VS of goat bedding are those of its 3 crucibles." in weighed.assumed
