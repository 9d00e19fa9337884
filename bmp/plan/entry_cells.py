"""Cells of a workbook that people fill in: safe text, drop-downs, limits, widths."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from openpyxl import Workbook
    from openpyxl.worksheet.worksheet import Worksheet

DATE_FORMAT = "yyyy-mm-dd hh:mm"


@dataclass(frozen=True)
class CellRule:
    """What may stand in a cell: a drop-down, or limits of a number."""

    prompt: str
    choices: tuple[str, ...] = ()
    formula: str = ""
    """Of a drop-down that lists cells, or of a rule."""
    low: float | None = None
    high: float | None = None


def number(low: float, high: float, prompt: str) -> CellRule:
    """Return an entry for a number within limits."""
    return CellRule(f"{prompt}; {low:.10g} to {high:.10g}", low=low, high=high)


def put(sheet: Worksheet, row: int, column: int, value: Any, *, planned: bool = False) -> None:
    """Write one cell; text stays text, even where a spreadsheet would take it for a formula."""
    from openpyxl.cell.cell import ILLEGAL_CHARACTERS_RE
    from openpyxl.styles import PatternFill

    cell = sheet.cell(row, column)
    if isinstance(value, str):
        cell.value = ILLEGAL_CHARACTERS_RE.sub(" ", value)
        cell.data_type = "s"
        if value[:1] in ("=", "+", "-", "@", "'", "\t"):
            cell.quotePrefix = True
    elif value is not None:
        cell.value = value
    if isinstance(value, datetime):
        cell.number_format = DATE_FORMAT
    if planned:
        cell.fill = PatternFill("solid", fgColor="FFF7D6")


def new_sheet(
    book: Workbook, title: str, names: list[str], widths: list[float], freeze: str = "A2"
) -> Worksheet:
    """Return a new sheet with its header, widths, frozen panes and print set-up."""
    from openpyxl.styles import Alignment, Font, PatternFill
    from openpyxl.utils import get_column_letter
    from openpyxl.worksheet.properties import PageSetupProperties

    sheet: Worksheet = book.create_sheet(title)
    for column, (name, width) in enumerate(zip(names, widths, strict=True), start=1):
        put(sheet, 1, column, name)
        cell = sheet.cell(1, column)
        cell.font = Font(name="Calibri", size=11, bold=True)
        cell.fill = PatternFill("solid", fgColor="E3E8E4")
        cell.alignment = Alignment(wrap_text=True, vertical="center")
        sheet.column_dimensions[get_column_letter(column)].width = width
    sheet.row_dimensions[1].height = 32
    sheet.freeze_panes = freeze
    sheet.print_title_rows = "1:1"
    sheet.page_setup.orientation = "landscape"
    sheet.page_setup.paperSize = sheet.PAPERSIZE_A4
    sheet.page_setup.fitToHeight = 0
    sheet.sheet_properties.pageSetUpPr = PageSetupProperties(fitToPage=True)
    return sheet


def span(column: int, first: int, last: int) -> str:
    """Return the cells of one column from a first to a last row."""
    from openpyxl.utils import get_column_letter

    letter = get_column_letter(column)
    return f"{letter}{first}:{letter}{last}"


def allow(sheet: Worksheet, entry: CellRule, cells: str) -> None:
    """Attach a drop-down, limits or at least a prompt to cells."""
    from openpyxl.worksheet.datavalidation import DataValidation

    if entry.choices:
        rule = DataValidation("list", formula1=f'"{",".join(entry.choices)}"')
    elif "{cell}" in entry.formula:
        first = cells.split(":")[0]
        rule = DataValidation("custom", formula1=entry.formula.format(cell=first))
    elif entry.formula:
        rule = DataValidation("list", formula1=entry.formula)
    elif entry.low is not None:
        rule = DataValidation(
            "decimal",
            operator="between",
            formula1=f"{entry.low:.10g}",
            formula2=f"{entry.high:.10g}",
        )
    else:
        rule = DataValidation()
    rule.allow_blank = True
    rule.showErrorMessage = bool(entry.choices or entry.formula or entry.low is not None)
    rule.errorTitle = "This cannot be"
    rule.error = entry.prompt[:250]
    rule.showInputMessage = True
    rule.prompt = entry.prompt[:250]
    sheet.add_data_validation(rule)
    rule.add(cells)
