"""Ways to begin: each leads from an empty folder to a first result without a guide."""

from __future__ import annotations

from datetime import datetime, timedelta
from pathlib import Path

import pytest
from openpyxl import load_workbook

from bmp.cli import main
from bmp.plan.empty_logbook import units_of
from bmp.problem import UnusableInput


def test_without_a_word_it_says_which_ways_there_are(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["start"]) == 0
    said = capsys.readouterr().out
    for way in ("my sheet.xlsx", "--plan", "--logbook", "--demo", "bmp page"):
        assert way in said


def test_from_an_empty_folder_to_the_demo_and_never_over_it(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    folder = tmp_path / "my trials"
    assert main(["start", str(folder), "--demo"]) == 0
    assert f'Type: bmp analyze "{folder / "cheese_dairy"}"' in capsys.readouterr().out
    assert main(["check", str(folder / "cheese_dairy")]) in (0, 1)
    assert main(["start", str(folder), "--demo"]) == 2
    assert "nothing is written over" in capsys.readouterr().err


def test_from_an_empty_folder_to_a_plan(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["start", str(tmp_path / "t"), "--plan"]) == 0
    request = tmp_path / "t" / "plan request.xlsx"
    assert main(["plan", str(request)]) == 2
    assert "jar volume [mL]" in capsys.readouterr().err
    book = load_workbook(request)
    for row in book["plan"].iter_rows(min_row=2):
        if row[0].value == "jar volume [mL]":
            row[0].value, row[1].value = "jar volume [L]", 2
    book["materials"]["C3"] = "cattle manure"
    book.save(request)
    assert main(["plan", str(request)]) == 0
    assert (tmp_path / "t" / "plan request-plan" / "logbook.xlsx").is_file()


WAYS = {
    "volume": {"volume [floz]": 3.0, "temperature [°F]": 70, "ambient [inHg]": 29.5},
    "pressure": {"gauge before [psi]": 2.0, "temperature [°F]": 98, "ambient [inHg]": 29.5},
    "mass": {"mass before [oz]": 36.0, "mass after [oz]": 35.99, "ambient [inHg]": 29.5},
}


@pytest.mark.parametrize("way", WAYS)
def test_an_empty_logbook_in_units_of_ones_own_becomes_a_trial(tmp_path: Path, way: str) -> None:
    units = ["floz", "psi", "°F", "inHg", "oz"]
    assert main(["start", str(tmp_path), "--logbook", way, "--units", *units]) == 0
    book = load_workbook(tmp_path / "logbook.xlsx")
    for row in book["trial"].iter_rows(min_row=2):
        said = {"started": datetime(2027, 3, 1, 9), "methane [%]": 60, "flush gas": "nitrogen",
                "incubation temperature [°F]": 98}  # fmt: skip
        row[1].value = said.get(row[0].value, row[1].value)
    for row in (("sludge", "inoculum", 4, 2.5), ("bedding", "substrate", 28, 22)):
        _put(book["materials"], row)
    for number in range(6):
        feed = ("sludge", "bedding")[number // 3]
        _put(book["jars"], (f"J{number}", feed, 14.0, 0.6 if number > 2 else None, None, 17.0))
    header = [cell.value for cell in book["readings"][1]]
    for day in (1, 3, 7):
        for number in range(6):
            at = datetime(2027, 3, 1, 9) + timedelta(days=day)
            own = {"jar": f"J{number}", "taken": at, **WAYS[way]}
            own |= {k: v * (1.5 if number > 2 else 1) for k, v in own.items()
                    if k.startswith(("volume", "gauge"))}  # fmt: skip
            _put(book["readings"], tuple(own.get(name) for name in header))
    book.save(tmp_path / "logbook.xlsx")
    assert main(["analyze", str(tmp_path / "logbook.xlsx")]) == 0


def _put(sheet: object, values: tuple[object, ...]) -> None:
    row = next(r for r in range(2, 2000) if sheet.cell(r, 1).value is None)  # type: ignore[attr-defined]
    for column, value in enumerate(values, start=1):
        sheet.cell(row, column).value = value  # type: ignore[attr-defined]


def test_a_unit_that_no_logbook_has_is_told() -> None:
    assert units_of(["psi", "inHg"]).gauge == "psi"
    assert units_of(["psi", "inHg"]).ambient == "inHg"
    with pytest.raises(UnusableInput, match="no unit of a logbook"):
        units_of(["parsec"])


def test_a_file_that_is_not_there_is_told(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["start", str(tmp_path / "none.xlsx")]) == 2
    assert "there is no such file" in capsys.readouterr().err
