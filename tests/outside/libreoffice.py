"""LibreOffice as a person's hands: it opens a workbook, types into cells and saves it."""

from __future__ import annotations

import csv
import shutil
import subprocess
from collections.abc import Iterable
from pathlib import Path

SOFFICE = shutil.which("soffice")

_MACRO = """<?xml version="1.0" encoding="UTF-8"?>
<!DOCTYPE script:module PUBLIC "-//OpenOffice.org//DTD OfficeDocument 1.0//EN" "module.dtd">
<script:module xmlns:script="http://openoffice.org/2000/script" script:name="Module1"
 script:language="StarBasic">
Sub Fill(source As String, target As String, typed As String)
  Dim none()
  doc = StarDesktop.loadComponentFromURL(source, "_blank", 0, none())
  file = FreeFile
  Open ConvertFromURL(typed) For Input As #file
  Do While Not EOF(file)
    Line Input #file, row
    part = Split(row, Chr(9))
    cell = doc.Sheets.getByName(part(0)).getCellByPosition(CLng(part(2)) - 1, CLng(part(1)) - 1)
    If part(3) = "number" Then cell.Value = Val(part(4)) Else cell.String = part(4)
  Loop
  Close #file
  Dim out(0) As New com.sun.star.beans.PropertyValue
  out(0).Name = "FilterName"
  out(0).Value = "Calc MS Excel 2007 XML"
  doc.storeToURL(target, out())
  doc.close(True)
End Sub
</script:module>
"""


def type_into(
    book: Path, saved: Path, folder: Path, cells: Iterable[tuple[str, int, int, float | str]]
) -> None:
    """Type (sheet, row, column, value) into a workbook, rows and columns from 1, and save it."""
    office = [str(SOFFICE), "--headless", "--norestore"]
    office.append(f"-env:UserInstallation={(folder / 'profile').as_uri()}")
    # The first start lays the profile out and would write over a macro that is there already.
    subprocess.run([*office, "--terminate_after_init"], check=True, timeout=180)
    module = folder / "profile" / "user" / "basic" / "Standard" / "Module1.xba"
    module.write_text(_MACRO, encoding="utf-8")
    typed = folder / "typed.txt"
    with typed.open("w", encoding="utf-8", newline="") as file:
        writer = csv.writer(file, delimiter="\t", lineterminator="\n")
        for sheet, row, column, value in cells:
            kind = "text" if isinstance(value, str) else "number"
            writer.writerow([sheet, row, column, kind, value])
    places = ",".join(f'"{path.as_uri()}"' for path in (book, saved, typed))
    subprocess.run([*office, f"macro:///Standard.Module1.Fill({places})"], check=True, timeout=180)
