"""What `bmp archive` writes: the table of materials, the trials that were refused, and a page."""

from __future__ import annotations

import io
from collections.abc import Mapping, Sequence
from itertools import islice
from math import isfinite
from operator import itemgetter
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

import numpy as np

import bmp
from bmp.archive.outcome import COLUMNS, TABLE, Outcome
from bmp.archive.reading_errors import ERROR_COLUMNS
from bmp.judge.criteria import CURRENT, NAMES
from bmp.report.results_json import safe_text
from bmp.report.rounding import with_uncertainty
from bmp.tables import READING_ERRORS, TEXT, WHOLE, Column
from bmp.trial import BoolArray, FloatArray

if TYPE_CHECKING:
    import pyarrow as pa

ARCHIVE_FORMAT: Final = "bmp-archive-1"
_FORMS: Final = {
    column.name: column.form for column in (*TABLE, *READING_ERRORS, Column("problem", "", TEXT))
}


def write_archive(outcome: Outcome, title: str, folder: Path) -> None:
    """Write the tables (CSV, Parquet, a workbook) and `trials.html` to a folder."""
    from pyarrow import parquet

    columns = list(zip(*outcome.rows, strict=True)) or [()] * len(COLUMNS)
    materials = dict(zip(COLUMNS, columns, strict=True))
    parquet.write_table(_table(materials), folder / "materials.parquet")
    _write_csv(materials, folder / "materials.csv")
    refused = [(name, line) for name, lines in sorted(outcome.refused.items()) for line in lines]
    trials, problems = zip(*refused, strict=True) if refused else ((), ())
    _write_csv({"trial": trials, "problem": problems}, folder / "refused.csv")
    found = list(zip(*outcome.errors, strict=True)) or [()] * len(ERROR_COLUMNS)
    errors = dict(zip(ERROR_COLUMNS, found, strict=True))
    _write_csv(errors, folder / "reading_errors.csv")
    if len(outcome.rows) <= MOST_ROWS_OF_THE_WORKBOOK:
        refusals = {"trial": trials, "problem": problems}
        _write_workbook(
            folder / "materials.xlsx",
            {"materials": materials, "refused": refusals, "reading errors": errors},
        )
    (folder / "trials.html").write_text(trials_page(outcome, title), encoding="utf-8")


MOST_ROWS_OF_THE_WORKBOOK: Final = 5_000
"""A larger table is for programs: as a workbook it would take longer than the archive itself."""
MOST_ROWS_OF_A_SHEET: Final = 1_048_575


def _write_workbook(path: Path, sheets: Mapping[str, Mapping[str, Sequence[Any]]]) -> None:
    """Write the tables as sheets; rows beyond what a sheet can hold stand in the CSV only."""
    import xlsxwriter

    options = {"constant_memory": True, "strings_to_formulas": False, "strings_to_urls": False}
    made = io.BytesIO()
    with xlsxwriter.Workbook(made, options) as book:
        bold = book.add_format({"bold": True})
        for title, columns in sheets.items():
            page = book.add_worksheet(title)
            page.freeze_panes(1, 1)
            page.write_row(0, 0, list(columns), bold)
            rows = islice(zip(*columns.values(), strict=True), MOST_ROWS_OF_A_SHEET)
            for number, row in enumerate(rows, start=1):
                for place, value in enumerate(row):
                    if isinstance(value, str):
                        page.write_string(number, place, value)
                    elif value is not None and isfinite(value):
                        page.write_number(number, place, value)
    path.write_bytes(made.getvalue())


def _write_csv(columns: Mapping[str, Sequence[Any]], path: Path) -> None:
    """Write columns without text that a spreadsheet takes for a formula."""
    from pyarrow import csv

    safe = {
        name: [safe_text(value) if value else value for value in values]
        for name, values in columns.items()
        if _FORMS[name] == TEXT
    }
    options = csv.WriteOptions(quoting_style="needed", include_header=False)
    with path.open("wb") as file:
        file.write(f"{','.join(columns)}\n".encode())
        csv.write_csv(_table({**columns, **safe}), file, options)


def _table(columns: Mapping[str, Sequence[Any]]) -> pa.Table:
    import pyarrow as pa

    arrays = [
        _texts(values) if _FORMS[name] == TEXT else _numbers(values, whole=_FORMS[name] == WHOLE)
        for name, values in columns.items()
    ]
    return pa.table(arrays, names=list(columns))


# Made from their memory: pyarrow's own way from lists loads pandas where it finds it, for nothing.


def _numbers(values: Sequence[float | None], whole: bool) -> pa.Array:
    import pyarrow as pa

    array: FloatArray = np.array(values, dtype=np.float64)
    known = ~np.isnan(array)
    kind = pa.int64() if whole else pa.float64()
    memory = pa.py_buffer(np.where(known, array, 0).astype(np.int64) if whole else array)
    return pa.Array.from_buffers(kind, array.size, [_filled(known), memory])


def _texts(values: Sequence[str | None]) -> pa.Array:
    import pyarrow as pa

    written = [(value or "").encode() for value in values]
    ends = np.cumsum([0, *map(len, written)], dtype=np.int32)
    known = np.array([value is not None for value in values], dtype=bool)
    memory = [_filled(known), pa.py_buffer(ends), pa.py_buffer(b"".join(written))]
    return pa.Array.from_buffers(pa.string(), len(written), memory)


def _filled(known: BoolArray) -> pa.Buffer | None:
    """Return which cells are filled, as bits; `None` where all are."""
    import pyarrow as pa

    return None if known.all() else pa.py_buffer(np.packbits(known, bitorder="little"))


def trials_page(outcome: Outcome, title: str) -> str:
    """Return the page that lists all trials by verdict."""
    from bmp.report.page import environment

    series: dict[str, list[str]] = {name: [] for name in outcome.because}
    for row in outcome.rows:
        series[row[0]].append(_yield_words(row))
    judged = sorted(outcome.because.items())
    page: str = (
        environment()
        .get_template("trials.html")
        .render(
            title=title,
            groups=[
                ("Valid", [name for name, why in judged if not why]),
                ("Not valid", [name for name, why in judged if why]),
            ],
            series=series,
            because=outcome.because,
            refused=sorted(outcome.refused.items()),
            looked=all(row[_COUNT] is not None for row in outcome.rows),
            troubled={row[0] for row in outcome.errors},
            criteria=NAMES[CURRENT],
            version=bmp.__version__,
        )
    )
    return page


_COUNT: Final = COLUMNS.index("reading_errors")
_FIELDS = ("series", "bmp", "ci95_low", "ci95_high", "unit", "jars")
_SHOWN = itemgetter(*(COLUMNS.index(name) for name in _FIELDS))


def _yield_words(row: Sequence[Any]) -> str:
    series, value, low, high, unit, jars = _SHOWN(row)
    half = None if low is None or high is None else (high - low) / 2.0
    return f"{series}: {with_uncertainty(value, half)} {unit} ({jars} jars)"
