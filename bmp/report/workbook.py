"""The workbook: every number, for those who go on computing with them."""

from __future__ import annotations

import io
from collections.abc import Iterable, Sequence
from math import ceil, isfinite
from pathlib import Path
from typing import Any, Final

import xlsxwriter

from bmp.report.sheets import WorkbookSheet, sheets
from bmp.results import Results
from bmp.tables import TEXT, Column

FORMULA_SIGNS: Final = ("=", "+", "-", "@", "\t", "\r")
LONGEST_TEXT: Final = 32_000
A4: Final = 9
WRAP_FROM: Final = 30
"""Columns at least so wide hold sentences, and break them."""
LINE_HEIGHT: Final = 15.0


def write_workbook(results: Results, path: Path) -> None:
    """Write all results as a workbook; the sheets are those of `bmp.report.sheets`.

    Text is written as text, also where a spreadsheet would take it for a formula.

    Parameters
    ----------
    results : Results
    path : Path
        Written over where it exists.
    """
    # made in memory, so that a full disk is told as such and no file is left half packed
    made = io.BytesIO()
    with xlsxwriter.Workbook(made, {"in_memory": True}) as book:
        book.set_properties({"title": results.trial.setup.title[:255]})
        for sheet in sheets(results):
            _write_sheet(book, sheet)
    path.write_bytes(made.getvalue())


def _write_sheet(book: Any, sheet: WorkbookSheet) -> None:
    page = book.add_worksheet(sheet.name)
    page.freeze_panes(1, sheet.frozen_columns)
    page.set_landscape()
    page.set_paper(A4)
    page.fit_to_pages(1, 0)
    page.repeat_rows(0)
    look = {"bold": True, "text_wrap": True, "valign": "top", "bg_color": "#e8eef2"}
    over_text, over_number = (
        book.add_format({**look, **place})
        for place in ({"align": "left", "indent": 1}, {"align": "right"})
    )
    page.set_row(0, 62)
    for number, column in enumerate(sheet.columns):
        page.set_column(number, number, column.width)
        form = over_text if column.form == TEXT else over_number
        page.write_string(0, number, column.header, form)
    _write_rows(book, page, sheet.columns, sheet.rows)


def _write_rows(
    book: Any, page: Any, columns: Sequence[Column], rows: Iterable[Sequence[Any]]
) -> None:
    numbers = [book.add_format({"num_format": c.form, "valign": "top"}) for c in columns]
    powers = book.add_format({"num_format": "0.00E+00", "valign": "top"})
    text = {"align": "left", "valign": "top", "indent": 1}
    plain = [book.add_format({**text, "text_wrap": c.width >= WRAP_FROM}) for c in columns]
    # the mark of a text cell that stays text when somebody edits it
    quoted = book.add_format({**text, "quote_prefix": True})
    for row_number, row in enumerate(rows, start=1):
        if (lines := _lines(columns, row)) > 1:
            page.set_row(row_number, LINE_HEIGHT * lines)
        for number, cell in enumerate(row):
            value = ("no", "yes")[cell] if isinstance(cell, bool) else cell
            if isinstance(value, str):
                if value:
                    form = quoted if value.startswith(FORMULA_SIGNS) else plain[number]
                    page.write_string(row_number, number, value[:LONGEST_TEXT], form)
            elif value is not None and isfinite(value):
                form = numbers[number] if _fits(value, columns[number]) else powers
                page.write_number(row_number, number, value, form)


def _fits(value: float, column: Column) -> bool:
    """Tell whether a number can be shown in its column; a spreadsheet else shows ####."""
    return len(f"{value:.{len(column.form.partition('.')[2])}f}") < column.width


def _lines(columns: Sequence[Column], row: Sequence[Any]) -> int:
    """Return how many lines the longest sentence of a row takes."""
    return max(
        ceil(1.05 * len(value) / column.width)
        if isinstance(value, str) and column.width >= WRAP_FROM
        else 1
        for column, value in zip(columns, row, strict=True)
    )
