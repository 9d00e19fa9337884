"""A logbook filled in by LibreOffice, as a person would, and read back."""

from __future__ import annotations

import json
import math
from datetime import datetime
from pathlib import Path

import pytest
from openpyxl import load_workbook

from bmp.cli import main
from bmp.read import read_trial
from tests.outside.libreoffice import SOFFICE, type_into
from tests.plan_requests import LITERATURE, OPEN
from tests.tables import Rows, write_xlsx

pytestmark = pytest.mark.skipif(SOFFICE is None, reason="LibreOffice (soffice) is not installed")

MATERIALS: Rows = [
    ["material", "role", "TS [% of fresh mass]", "VS [% of fresh mass]", "like"],
    ["tank digestate", "inoculum", 3.5, 2.1, None],
    ["scraps & peel", "substrate", 22, 20, "food waste"],
    ["+goat bedding", "substrate", None, 29, "sheep or goat manure"],
]
PLAN: Rows = [
    ["item", "value"],
    ["started", datetime(2027, 3, 1, 9)],
    ["jar volume [L]", 1],
    ["days", 30],
]

# What the jars are made to give: NmL CH4 per g VS and rate; the blank per g of inoculum.
PLANTED = {
    "microcrystalline cellulose": (370.0, 0.30),
    "scraps & peel": (410.0, 0.40),
    "+goat bedding": (180.0, 0.25),
    "tank digestate": (1.1, 0.30),
}
SPREAD = {"1": 0.97, "2": 1.0, "3": 1.03}
ROOM_C, AMBIENT_KPA, METHANE = 21.5, 99.8, 0.58


def wet_mL(methane_NmL: float) -> float:
    """Volume over water that holds so much methane (Alduchov & Eskridge 1996, Eq. 21)."""
    vapour = 0.61094 * math.exp(17.625 * ROOM_C / (243.04 + ROOM_C))
    dry = methane_NmL / METHANE * 101.325 / (AMBIENT_KPA - vapour)
    return dry * (ROOM_C + 273.15) / 273.15


def planted_NmL(material: str, VS_g: float, inoculum_g: float, jar: str, time_d: float) -> float:
    """Methane of a jar until a time: its inoculum's, and its feed's with the jar's own spread."""
    own, own_k = PLANTED["tank digestate"]
    blank = own * inoculum_g * -math.expm1(-own_k * time_d)
    if VS_g == 0:
        return blank
    total, k = PLANTED[material]
    return blank + SPREAD[jar[-1]] * total * VS_g * -math.expm1(-k * time_d)


def readings(book: Path, plan: Path, rounds: int) -> list[tuple[str, int, int, float | str]]:
    """Return what a person types after so many rounds."""
    planned = json.loads(plan.read_text(encoding="utf-8"))
    jars = {jar["jar"]: jar for jar in planned["jars"]}
    sheet = load_workbook(book)["readings"]
    header = [cell.value for cell in sheet[1]]
    column = {name: header.index(name) + 1 for name in header}
    last = dict.fromkeys(jars, 0.0)
    cells: list[tuple[str, int, int, float | str]] = []
    for row in range(2, 2 + rounds * len(jars)):
        jar = jars[sheet.cell(row, column["jar"]).value]
        taken = sheet.cell(row, column["taken"]).value
        time_d = (taken - datetime(2027, 3, 1, 9)).total_seconds() / 86400
        total = planted_NmL(
            jar["material"], jar["sample_VS_g"], jar["inoculum_g"], jar["jar"], time_d
        )
        typed = {
            "volume [mL]": wet_mL(total - last[jar["jar"]]),
            "temperature [°C]": ROOM_C,
            "ambient [kPa]": AMBIENT_KPA,
            "methane [%]": 100 * METHANE,
        }
        last[jar["jar"]] = total
        cells += [("readings", row, column[name], value) for name, value in typed.items()]
    return cells


def test_from_wishes_to_results(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """plan -> logbook -> readings typed in by LibreOffice -> analyze gives what was planted."""
    request = write_xlsx(tmp_path / "request.xlsx", {"materials": MATERIALS, "plan": PLAN})
    out = tmp_path / "out"
    assert main(["plan", str(request), "--out", str(out)]) == 0
    filled = tmp_path / "filled.xlsx"
    rounds = len(json.loads((out / "plan.json").read_text("utf-8"))["rounds"])
    cells = readings(out / "logbook.xlsx", out / "plan.json", rounds)
    type_into(out / "logbook.xlsx", filled, tmp_path, cells)

    assert main(["analyze", str(filled), "--out", str(tmp_path / "results")]) == 0
    assert capsys.readouterr().err == ""
    found = json.loads((tmp_path / "results" / "results.json").read_text("utf-8"))
    yields = {one["material"]: one["bmp"]["value"] for one in found["materials"]}
    for material, (total, k) in PLANTED.items():
        if material != "tank digestate":
            # Doses are rounded to 0.01 g and the yields are per VS as the plan has it.
            expected = total * -math.expm1(-k * 30)
            assert yields[material] == pytest.approx(expected, rel=0.002), material
    assert found["ignored"] == []


def test_what_libreoffice_saves_is_what_was_planned_and_typed(tmp_path: Path) -> None:
    from bmp.plan.logbook import write_logbook
    from bmp.plan.plan import plan_trial

    plan = plan_trial(OPEN, LITERATURE)
    logbook, filled = tmp_path / "logbook.xlsx", tmp_path / "filled.xlsx"
    write_logbook(plan, logbook)
    cells: list[tuple[str, int, int, float | str]] = []
    for row in range(2, 14):
        cells += [("readings", row, 3, 100 + row / 2), ("readings", row, 6, 21.5)]
        cells += [("readings", row, 7, 99.8), ("readings", row, 9, "=1+1")]
    items = [cell.value for cell in load_workbook(logbook)["trial"]["A"]]
    cells += [("trial", items.index("methane [%]") + 1, 2, 58.0), ("jars", 2, 3, 473.9)]
    for row, weights in enumerate([(31.2, 43.9, 36.0, 32.1), (30.9, 44.0, 36.0, 31.9)], start=2):
        cells += [("crucibles", row, column, m) for column, m in enumerate(weights, start=2)]
    type_into(logbook, filled, tmp_path, cells)

    before, after = load_workbook(logbook), load_workbook(filled)
    assert after.sheetnames == before.sheetnames
    shown = after["readings"]
    header = [cell.value for cell in before["readings"][1]]
    assert [cell.value for cell in shown[1]][: len(header)] == header
    for row, jar in enumerate(sorted(plan.jars, key=lambda jar: jar.position), start=2):
        assert shown.cell(row, 1).value == jar.name
        assert shown.cell(row, 2).value == datetime(2027, 3, 2, 9, 0)
        assert shown.cell(row, 3).value == 100 + row / 2
        assert shown.cell(row, 9).value == "=1+1"
        assert shown.cell(row, 9).data_type == "s"
    assert after["jars"]["C2"].value == 473.9
    kinds = {rule.type for rule in shown.data_validations.dataValidation}
    assert {"list", "decimal"} <= kinds
    assert shown.freeze_panes == "C2"

    trial = read_trial(filled)
    assert trial.readings.jar.size == 12
    assert trial.unread is not None
    assert trial.unread.jar.size == 12 * (len(plan.rounds) - 1)
    assert trial.jars[0].inoculum_g == 473.9
    bedding = trial.material("goat bedding")
    assert pytest.approx(((36 - 32.1) / 12.7 + (36 - 31.9) / 13.1) / 2) == bedding.VS
