"""What spreadsheet programs put into cells and files: percentages, errors, locks, other formats."""

from __future__ import annotations

import os
import zipfile
from pathlib import Path
from typing import Any

import openpyxl
import pytest

from bmp.problem import UnusableInput
from bmp.read import read_trial
from bmp.units import UnknownUnit, conversion, near_unit
from tests.tables import JARS, LONG, MATERIALS, TRIAL, tables, with_item, write_csv, write_xlsx


def told(place: Path) -> str:
    with pytest.raises(UnusableInput) as refused:
        read_trial(place)
    return str(refused.value)


def changed_cell(path: Path, sheet: str, place: str, value: Any, style: str = "General") -> Path:
    book = openpyxl.load_workbook(path)
    cell = book[sheet][place]
    cell.value, cell.number_format = value, style
    book.save(path)
    return path


@pytest.mark.parametrize("style", ["0%", "0.00%", "0.0 %", "[Red]0%", '0" of all "%'])
def test_a_cell_that_shows_a_percentage_is_read_as_one(tmp_path: Path, style: str) -> None:
    book = write_xlsx(tmp_path / "t.xlsx", tables())
    changed_cell(book, "trial", "B8", 0.68, style)
    changed_cell(book, "materials", "D3", 0.8, style)
    trial = read_trial(book)
    assert trial.setup.methane_share == pytest.approx(0.68, rel=1e-12)
    assert pytest.approx(0.8, rel=1e-12) == trial.material("oats").VS


@pytest.mark.parametrize("style", ["0.00", '0.00" %"', "0.00\\%"])
def test_a_percent_sign_that_is_only_drawn_changes_no_number(tmp_path: Path, style: str) -> None:
    book = changed_cell(write_xlsx(tmp_path / "t.xlsx", tables()), "trial", "B8", 61.5, style)
    assert read_trial(book).setup.methane_share == pytest.approx(0.615)


@pytest.mark.parametrize("text", ["68%", "68 %", "68.00 %"])
def test_a_percentage_in_text_is_read_as_one(tmp_path: Path, text: str) -> None:
    rows = with_item("methane [fraction]", text)
    solids = [MATERIALS[0], MATERIALS[1], ["oats", "substrate", "90 %", "80%"]]
    trial = read_trial(write_csv(tmp_path / "t", tables(trial=rows, materials=solids)))
    assert trial.setup.methane_share == pytest.approx(0.68)
    assert pytest.approx(0.8) == trial.material("oats").VS


def test_a_percentage_is_no_volume(tmp_path: Path) -> None:
    rows = [list(row) for row in LONG]
    rows[3][2] = "30 %"
    message = told(write_csv(tmp_path / "t", tables(readings=rows)))
    assert "readings.csv, row 4, column “volume [mL]”" in message
    assert "this is a percentage" in message


@pytest.mark.parametrize("error", ["#N/A", "#REF!", "#VALUE!", "#DIV/0!"])
def test_the_error_of_a_formula_is_told_with_its_place(tmp_path: Path, error: str) -> None:
    jars = [[*row, None] for row in JARS]
    jars[0][-1] = "leave out"
    book = write_xlsx(tmp_path / "t.xlsx", tables(jars=jars))
    for sheet, place in [
        ("trial", "B7"), ("materials", "D2"), ("jars", "E3"), ("jars", "F4"), ("readings", "C5"),
    ]:  # fmt: skip
        changed_cell(book, sheet, place, error)
    lines = told(book).splitlines()
    assert len(lines) == 5
    assert all(error in line and "correct the formula" in line for line in lines)
    assert "sheet jars, row 4, column “leave out”" in told(book)


def test_two_sheets_or_files_of_one_name_are_refused_by_name(tmp_path: Path) -> None:
    book = write_xlsx(tmp_path / "t.xlsx", {**tables(), "Readings ": LONG})
    assert "“readings” and “Readings ”" in told(book)
    folder = write_csv(tmp_path / "t", tables())
    (folder / "Readings.csv").write_text("jar\n", encoding="utf-8")
    if len(list(folder.glob("*.csv"))) == 5:
        assert "“Readings.csv” and “readings.csv”" in told(folder)


def test_other_files_are_told_by_their_true_kind(tmp_path: Path) -> None:
    old = b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + bytes(2000)
    for name, content, words in [
        ("a.xlsx", old, "old Excel workbook"),
        ("a.xls", old, "old Excel workbook"),
        ("b.xlsx", old + "EncryptedPackage".encode("utf-16-le"), "locked by a password"),
        ("~$c.xlsx", b"\x05owner", "open in another program"),
    ]:
        place = tmp_path / name
        place.write_bytes(content)
        assert words in told(place)
    ods = tmp_path / "d.xlsx"
    with zipfile.ZipFile(ods, "w") as out:
        out.writestr("mimetype", "application/vnd.oasis.opendocument.spreadsheet")
        out.writestr("content.xml", "<a/>")
    assert "OpenDocument" in told(ods)
    folder = write_csv(tmp_path / "t", tables())
    (folder / "jars.csv").write_bytes(ods.read_bytes())
    assert "workbook under the name of a .csv file" in told(folder)
    renamed = write_xlsx(tmp_path / "e.xlsx", tables()).rename(tmp_path / "e.xls")
    assert "rename it to “e.xlsx”" in told(renamed)


@pytest.mark.skipif(os.name != "posix" or os.geteuid() == 0, reason="root may read every file")
def test_a_file_that_may_not_be_read_says_so(tmp_path: Path) -> None:
    book = write_xlsx(tmp_path / "t.xlsx", {"trial": TRIAL})
    book.chmod(0)
    assert "cannot be opened" in told(book)


def test_grains_are_asked_about_and_two_stars_are_a_power() -> None:
    with pytest.raises(UnknownUnit, match="grains"):
        conversion("gr", "g")
    assert near_unit("gr", "g") == "g"
    assert conversion("m**3/kg", "mL/g").factor == pytest.approx(1000.0)
    assert conversion("grain", "g").factor == pytest.approx(0.06479891)
