"""A plan request to fill in: what a plan is made from, each item with what it means."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from io import BytesIO
from pathlib import Path
from typing import TYPE_CHECKING, Any

from bmp.plan.entry_cells import CellRule, allow, new_sheet, put, span
from bmp.plan.items import CHOICES, ITEMS, REQUEST_MATERIALS
from bmp.plan.literature import read_literature
from bmp.read.columns import KnownColumn
from bmp.trial import Material

if TYPE_CHECKING:
    from openpyxl import Workbook

# Asked of every feed; the other columns of `materials` may be added.
ASKED = ("name", "role", "like", "TS", "VS", "available_g")
# Written where a trial told them.
ERRORS = ("TS_u", "VS_u", "solids_replicates")
FEEDS = 6
_WHAT = "what it is (your own unit may stand in the brackets)"
_EXAMPLE_ROWS = (("tank digestate", "inoculum", "inoculum"), ("my feed", "substrate", ""))


def write_request(
    path: Path, items: Mapping[str, Any] | None = None, materials: Sequence[Material] = ()
) -> None:
    """Write a workbook with the sheets `plan` and `materials`, explained row by row.

    Parameters
    ----------
    path
        Of the workbook.
    items
        Values to write already, by field, in the project's units; default: all cells empty.
    materials
        Materials to write already, the inoculum first; default: an example of each role.
    """
    from openpyxl import Workbook
    from openpyxl.styles import Alignment

    book = Workbook()
    book.remove(book.worksheets[0])
    names = ["item", "value", _WHAT, "if left empty"]
    sheet = new_sheet(book, "plan", names, [34, 22, 70, 44])
    for row, known in enumerate(ITEMS, start=2):
        put(sheet, row, 1, _header(known))
        value = (items or {}).get(known.field)
        put(sheet, row, 2, _written(known, value), planned=True)
        put(sheet, row, 3, _plain(known.means))
        put(sheet, row, 4, _plain(known.otherwise))
        sheet.cell(row, 3).alignment = Alignment(wrap_text=True, vertical="top")
        choices = tuple(CHOICES.get(known.field, ()))
        allow(sheet, CellRule(_plain(known.means), choices=choices), f"B{row}")
    _materials(book, materials)
    # packed in memory: a full disk leaves no half workbook, and is told as such
    made = BytesIO()
    book.save(made)
    path.write_bytes(made.getvalue())


def _written(known: KnownColumn, value: Any) -> Any:
    """Return a value as it is typed: `yes` or `no`, shares in percent."""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, float):
        return float(f"{value * (100.0 if known.unit == 'dimensionless' else 1.0):.10g}")
    return value


def _materials(book: Workbook, given: Sequence[Material]) -> None:
    """Write the sheet of the feeds: the inoculum stands in its first row."""
    by_field = {known.field: known for known in REQUEST_MATERIALS}
    columns = [by_field[field] for field in (*ASKED, *(ERRORS if given else ()))]
    sheet = new_sheet(book, "materials", [_header(k) for k in columns],
                      [26, 14, *(24 for _ in columns[2:])])  # fmt: skip
    for row, material in enumerate(given, start=2):
        for column, known in enumerate(columns, start=1):
            value = getattr(material, known.field, None)
            put(sheet, row, column, _written(known, value), planned=True)
    for row, (name, role, like) in enumerate(() if given else _EXAMPLE_ROWS, start=2):
        for column, value in enumerate((name, role), start=1):
            put(sheet, row, column, value, planned=True)
        put(sheet, row, 1 + ASKED.index("like"), like or None, planned=True)
    last = 1 + max(len(given), len(_EXAMPLE_ROWS)) + FEEDS
    literature = new_sheet(book, "known feeds", ["like"], [40])
    names = sorted(read_literature())
    for row, name in enumerate(names, start=2):
        put(literature, row, 1, name)
    for column, known in enumerate(columns, start=1):
        cells = span(column, 2, last)
        if known.field == "role":
            allow(sheet, CellRule("role", choices=("inoculum", "substrate", "control")), cells)
        elif known.field == "like":
            listed = f"'known feeds'!$A$2:$A${len(names) + 1}"
            allow(sheet, CellRule(_plain(known.means), formula=listed), cells)
        else:
            allow(sheet, CellRule(_plain(known.means)), cells)


def _header(known: KnownColumn) -> str:
    unit = {"dimensionless": "%", "degC": "°C"}.get(str(known.unit), known.unit)
    of = f" of {known.of[0]}" if known.of and known.unit == "dimensionless" else ""
    return f"{known.name} [{unit}{of}]" if unit else known.name


def _plain(text: str) -> str:
    """Return a text of the guide without its marks."""
    return text.replace("`", "")
