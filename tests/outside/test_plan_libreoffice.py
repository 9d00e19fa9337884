"""A logbook filled in by LibreOffice, as a person would, and read back."""

from __future__ import annotations

import shutil
import subprocess
from datetime import datetime
from pathlib import Path

import pytest
from openpyxl import load_workbook

from bmp.plan.literature import read_literature
from bmp.plan.logbook import write_logbook
from bmp.plan.plan import plan_trial
from bmp.plan.wishes import MaterialWish, Wishes
from bmp.trial import Material

SOFFICE = shutil.which("soffice")

MACRO = """<?xml version="1.0" encoding="UTF-8"?>
<!DOCTYPE script:module PUBLIC "-//OpenOffice.org//DTD OfficeDocument 1.0//EN" "module.dtd">
<script:module xmlns:script="http://openoffice.org/2000/script" script:name="Module1"
 script:language="StarBasic">
Sub Fill(source As String, target As String)
  Dim none()
  doc = StarDesktop.loadComponentFromURL(source, "_blank", 0, none())
  sheet = doc.Sheets.getByName("readings")
  For row = 1 To 12
    sheet.getCellByPosition(2, row).Value = 100 + row / 2
    sheet.getCellByPosition(5, row).Value = 21.5
    sheet.getCellByPosition(6, row).Value = 99.8
    sheet.getCellByPosition(8, row).String = "=1+1"
  Next
  doc.Sheets.getByName("trial").getCellByPosition(1, 7).Value = 58
  doc.Sheets.getByName("jars").getCellByPosition(2, 1).Value = 473.9
  Dim out(0) As New com.sun.star.beans.PropertyValue
  out(0).Name = "FilterName"
  out(0).Value = "Calc MS Excel 2007 XML"
  doc.storeToURL(target, out())
  doc.close(True)
End Sub
</script:module>
"""


def fill(logbook: Path, filled: Path, profile: Path) -> None:
    """Let LibreOffice open the logbook, type into it and save it."""
    office = [str(SOFFICE), "--headless", "--norestore"]
    office.append(f"-env:UserInstallation={profile.as_uri()}")
    # The first start lays the profile out and would write over a macro that is there already.
    subprocess.run([*office, "--terminate_after_init"], check=True, timeout=180)
    module = profile / "user" / "basic" / "Standard" / "Module1.xba"
    module.write_text(MACRO, encoding="utf-8")
    call = f'macro:///Standard.Module1.Fill("{logbook.as_uri()}","{filled.as_uri()}")'
    subprocess.run([*office, call], check=True, timeout=180)


@pytest.mark.skipif(SOFFICE is None, reason="LibreOffice (soffice) is not installed")
def test_libreoffice_fills_the_logbook_in(tmp_path: Path) -> None:
    wishes = Wishes(
        materials=(
            MaterialWish(Material("tank digestate", "inoculum", TS=0.035, VS=0.021)),
            MaterialWish(Material("=goat bedding", "substrate", VS=0.29, VS_u=0.004)),
            MaterialWish(Material("scraps & peel", "substrate", VS=0.20, VS_u=0.01)),
        ),
        jar_volume_mL=1000,
        started=datetime(2027, 3, 1, 9, 0),
    )
    plan = plan_trial(wishes, read_literature())
    logbook, filled = tmp_path / "logbook.xlsx", tmp_path / "filled.xlsx"
    write_logbook(plan, logbook)
    fill(logbook, filled, tmp_path / "profile")

    before, after = load_workbook(logbook), load_workbook(filled)
    assert after.sheetnames == before.sheetnames
    readings = after["readings"]
    header = [cell.value for cell in before["readings"][1]]
    assert [cell.value for cell in readings[1]][: len(header)] == header
    first_round = sorted(plan.jars, key=lambda jar: jar.position)
    for row, jar in enumerate(first_round, start=2):
        assert readings.cell(row, 1).value == jar.name
        assert readings.cell(row, 2).value == datetime(2027, 3, 2, 9, 0)
        assert readings.cell(row, 3).value == 100 + (row - 1) / 2
        assert readings.cell(row, 6).value == 21.5
        assert readings.cell(row, 9).value == "=1+1"
        assert readings.cell(row, 9).data_type == "s"
    assert readings.cell(14, 3).value is None
    assert after["trial"]["B8"].value == 58
    assert after["jars"]["C2"].value == 473.9
    names = [after["materials"].cell(row, 1).value for row in range(2, 6)]
    assert names == [
        "tank digestate",
        "microcrystalline cellulose",
        "=goat bedding",
        "scraps & peel",
    ]
    assert after["materials"]["A4"].data_type == "s"
    kept = {
        str(rule.sqref): rule.type for rule in after["readings"].data_validations.dataValidation
    }
    assert "list" in kept.values()
    assert "decimal" in kept.values()
    assert readings.freeze_panes == "C2"
