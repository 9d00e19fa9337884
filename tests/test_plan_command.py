"""`bmp plan` and `bmp due` as a person uses them."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from openpyxl import load_workbook

from bmp.analyze import analyze
from bmp.cli import main
from bmp.normalise import normalise
from bmp.plan.write import PLAN_FILES
from bmp.read import read_trial
from tests.tables import with_item, write_csv
from tests.test_plan_read_request import MATERIALS, PLAN

EXAMPLE = Path(__file__).parents[1] / "examples" / "cheese_dairy_request"


def test_the_example(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    out = tmp_path / "plan"
    assert main(["plan", str(EXAMPLE), "--out", str(out)]) == 0
    said = capsys.readouterr()
    assert said.err == ""
    lines = said.out.splitlines()
    assert len(lines) <= 40
    assert lines[0].split()[:2] == ["jars", "material"]
    assert lines[1].startswith("B1 to B3  blank (inoculum alone)")
    assert lines[6].startswith("15 jars in ")
    assert "A household jar breaks without warning: never close it" in said.out
    assert "TS and VS of goat bedding are those of its 3 crucibles" in said.out
    assert {p.name for p in out.iterdir()} == {*PLAN_FILES, "files.json"}
    planned = json.loads((out / "plan.json").read_text("utf-8"))
    assert len(planned["jars"]) == 15
    assert planned["detectable_difference_percent"] == pytest.approx(44.5, abs=0.4)
    trial = read_trial(out / "logbook.xlsx", unfinished=True)
    assert [jar.name for jar in trial.jars] == [jar["jar"] for jar in planned["jars"]]
    for jar, one in zip(trial.jars, planned["jars"], strict=True):
        assert (jar.inoculum_g, jar.sample_g) == (one["inoculum_g"], one["sample_g"])
        assert (jar.water_g, jar.headspace_mL) == (one["water_g"], one["headspace_mL"])
    assert trial.ignored == (
        f"sheet readings: {15 * len(planned['rounds'])} rows wait for their reading",
    )


def test_all_prints_every_advice_and_the_cautions_in_full(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["plan", str(EXAMPLE), "--out", str(tmp_path / "plan")]) == 0
    short = capsys.readouterr().out
    assert main(["plan", str(EXAMPLE), "--out", str(tmp_path / "full"), "--all"]) == 0
    full = " ".join(capsys.readouterr().out.split())
    for words in ("swirl each at least once a day", "Ceiling 10 ppm (10 min)"):
        assert words in full
        assert words not in short


def test_unknown_items_are_told_before_anything_else(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    plan = [*PLAN, ["shelf", "green"]]
    folder = write_csv(tmp_path / "w", {"materials": MATERIALS, "plan": plan})
    assert main(["plan", str(folder), "--out", str(tmp_path / "o")]) == 0
    assert capsys.readouterr().err == ("plan.csv: the item “shelf” is not known and not used\n")
    plan = with_item("vessel", "household jar", plan)
    folder = write_csv(tmp_path / "x", {"materials": MATERIALS, "plan": plan})
    assert main(["plan", str(folder), "--out", str(tmp_path / "p")]) == 2
    assert capsys.readouterr().err.startswith("plan.csv: the item “shelf” is not known")


def test_a_logbook_comes_in_the_units_of_its_plan(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    plan = [
        ["item", "value"],
        ["jar volume [pint]", 1],
        ["jars available", 12],
        ["vessel", "rated bottle"],
        ["vessel rating [psi]", 30],
        ["outlet", "closed"],
        ["measured", "pressure"],
        ["methane known by", "meter"],
        ["incubation temperature [°F]", 98],
        ["altitude [ft]", 3000],
    ]
    folder = write_csv(tmp_path / "w", {"materials": MATERIALS, "plan": plan})
    out = tmp_path / "o"
    assert main(["plan", str(folder), "--out", str(out)]) == 0
    assert "no jar passes 15 psi gauge" in capsys.readouterr().out
    book = load_workbook(out / "logbook.xlsx")
    header = [cell.value for cell in book["readings"][1]]
    assert header[2:] == [
        "gauge before [psi]",
        "gauge after [psi]",
        "temperature [°F]",
        "ambient [inHg]",
        "methane [%]",
        "note",
    ]
    items = {row[0].value: row[1].value for row in book["trial"].iter_rows()}
    assert items["incubation temperature [°F]"] == 98
    # Standard atmosphere at 914.4 m: 90.8 kPa.
    assert items["ambient [inHg]"] == pytest.approx(26.82, abs=0.01)
    trial = read_trial(out / "logbook.xlsx", unfinished=True)
    assert trial.setup.ambient_kPa == pytest.approx(90.8, abs=0.05)
    assert "expected gauge [psi]" in [cell.value for cell in book["plan by date"][1]]
    assert "at most gauge [psi]" in (out / "wall-sheet.html").read_text("utf-8")


def test_what_is_due_follows_what_was_typed(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    out = tmp_path / "plan"
    assert main(["plan", str(EXAMPLE), "--out", str(out)]) == 0
    logbook = out / "logbook.xlsx"
    capsys.readouterr()
    assert main(["due", str(logbook), "--on", "2027-03-02"]) == 0
    before = capsys.readouterr().out
    assert "Due 10:00 on 2027-03-02: all 15 jars" in before
    book = load_workbook(logbook)
    for row in range(2, 17):
        book["readings"].cell(row, 3).value = 100 + row
    for row in range(17, 27):
        book["readings"].cell(row, 3).value = 90 + row
    book.save(logbook)
    assert main(["due", str(logbook), "--on", "2027-03-02"]) == 0
    after = capsys.readouterr().out
    assert "all 15 jars" not in after.splitlines()[0]
    assert after.splitlines()[0].count(",") == 4
    assert main(["due", str(logbook)]) == 0


def test_impossible_requestes_are_refused_with_row_reason_and_nearest_plan(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    plan = with_item("vessel", "household jar", PLAN)
    request = write_csv(tmp_path / "w", {"materials": MATERIALS, "plan": plan})
    assert main(["plan", str(request)]) == 2
    said = capsys.readouterr()
    assert said.out == ""
    assert said.err.splitlines() == [
        "plan.csv, row 11: outlet: a household jar is not made for pressure and is never closed; "
        "possible: an open outlet into a cylinder or bag, measured by volume (write: outlet open, "
        "measured volume)",
        "nearest possible plan: outlet open, measured volume",
    ]
    assert [p.name for p in tmp_path.iterdir()] == ["w"]


def test_a_filled_logbook_is_never_written_over(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    out = tmp_path / "plan"
    assert main(["plan", str(EXAMPLE), "--out", str(out)]) == 0
    (out / "logbook.xlsx").write_bytes(b"precious")
    assert main(["plan", str(EXAMPLE), "--out", str(out)]) == 2
    assert "there is a logbook here that may hold readings" in capsys.readouterr().err
    assert (out / "logbook.xlsx").read_bytes() == b"precious"
    assert main(["plan", str(EXAMPLE), "--out", str(out), "--replace"]) == 0
    assert (tmp_path / "plan-before-1" / "logbook.xlsx").read_bytes() == b"precious"
    assert main(["plan", str(EXAMPLE), "--out", str(EXAMPLE)]) == 2


def test_the_same_wishes_give_the_same_plan(tmp_path: Path) -> None:
    for name in ("a", "b"):
        assert main(["plan", str(EXAMPLE), "--out", str(tmp_path / name)]) == 0
    one, other = ((tmp_path / name / "plan.json").read_bytes() for name in ("a", "b"))
    assert one == other


def test_logbook_in_use_can_be_analysed_before_its_end(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    out = tmp_path / "plan"
    assert main(["plan", str(EXAMPLE), "--out", str(out)]) == 0
    logbook = out / "logbook.xlsx"
    book = load_workbook(logbook)
    sheet = book["readings"]
    header = [cell.value for cell in sheet[1]]
    for row in range(2, 2 + 15 * 9):
        blank = sheet.cell(row, 1).value.startswith("B")
        sheet.cell(row, 3).value = 20 if blank else 400 - 20 * (row // 15) + row % 7
        sheet.cell(row, header.index("temperature [°C]") + 1).value = 20
        sheet.cell(row, header.index("methane [%]") + 1).value = 58
    planned = json.loads((out / "plan.json").read_text("utf-8"))
    waiting = 15 * (len(planned["rounds"]) - 9)
    book.save(logbook)
    capsys.readouterr()
    assert main(["check", str(logbook)]) in (0, 1)
    said = capsys.readouterr()
    assert said.err == f"sheet readings: {waiting} rows wait for their reading\n"
    assert "readings to day" in said.out
    assert main(["analyze", str(logbook), "--out", str(tmp_path / "results")]) == 0
    assert capsys.readouterr().err == f"sheet readings: {waiting} rows wait for their reading\n"
    results = json.loads((tmp_path / "results" / "results.json").read_text("utf-8"))
    assert any("rows wait for their reading" in line for line in results["ignored"])


def test_what_a_material_lacks_is_told_at_the_table_of_materials(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    materials = [list(row) for row in MATERIALS]
    materials[-1][2:5] = [None, None, None]
    folder = write_csv(tmp_path / "w", {"materials": materials, "plan": PLAN})
    assert main(["plan", str(folder), "--out", str(tmp_path / "o")]) == 2
    error = capsys.readouterr().err
    assert error.startswith(f"materials.csv: material {materials[-1][0]}: its VS is not given; ")
    assert "; change it" not in error
    assert not (tmp_path / "o").exists()


def test_without_any_share_that_of_the_kind_is_assumed_said_and_counted(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    source = tmp_path / "w"
    source.mkdir()
    for name in ("materials.csv", "plan.csv", "crucibles.csv"):
        text = (EXAMPLE / name).read_text("utf-8")
        more = "methane known by,none\n" if name == "plan.csv" else ""
        (source / name).write_text(text + more, encoding="utf-8")
    out = tmp_path / "o"
    assert main(["plan", str(source), "--out", str(out)]) == 0
    assert "spent grain 55 to 65 %" in capsys.readouterr().out
    book = load_workbook(out / "logbook.xlsx")
    sheet = book["readings"]
    header = [cell.value for cell in sheet[1]]
    assert not any("methane" in str(name) or "syringe" in str(name) for name in header)
    for row in range(2, sheet.max_row + 1):
        blank = str(sheet.cell(row, 1).value).startswith("B")
        sheet.cell(row, 3).value = 20 if blank else 300
        sheet.cell(row, header.index("temperature [°C]") + 1).value = 20
    book.save(out / "logbook.xlsx")
    trial = read_trial(out / "logbook.xlsx")
    gas = normalise(trial)
    expected = {"whey": 0.56, "spent grain": 0.60, "goat bedding": 0.60, "tank digestate": 0.60}
    # Half of each span over 1.96, relative.
    sure = {"whey": 0.06, "spent grain": 0.05, "goat bedding": 0.05, "tank digestate": 0.05}
    for index, jar in enumerate(trial.jars):
        if jar.material in expected:
            assert gas.share[gas.jar == index] == pytest.approx(expected[jar.material])
            assert gas.share_u[index] == pytest.approx(
                sure[jar.material] / 1.96 / expected[jar.material]
            )
    found = analyze(trial)
    assert any(
        "the methane share is assumed: " in line and "whey 56 ± 6 %" in line
        for line in found.assumed
    )
