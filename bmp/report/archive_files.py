"""What `bmp archive` writes: the table of materials, the trials that were refused, and a page."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Sequence
from operator import itemgetter
from pathlib import Path
from typing import Any, Final

import bmp
from bmp.archive.analyze import COLUMNS, Outcome
from bmp.judge.criteria import CURRENT, NAMES
from bmp.report.results_json import safe_text
from bmp.report.rounding import with_uncertainty

ARCHIVE_FORMAT: Final = "bmp-archive-1"
_TEXT: Final = frozenset({"trial", "material", "role", "chosen_model", "verdict", "series", "unit"})


def write_archive(outcome: Outcome, title: str, folder: Path) -> None:
    """Write `materials.csv`, `materials.parquet`, `refused.csv` and `trials.html` to a folder."""
    rows = [list(row) for row in outcome.rows]
    safe = [_safe(row) for row in rows]
    text = _csv_text(COLUMNS, safe)
    (folder / "materials.csv").write_text(text, encoding="utf-8", newline="")
    _write_parquet(folder / "materials.parquet", text if safe == rows else _csv_text(COLUMNS, rows))
    refused = ((name, line) for name, lines in sorted(outcome.refused.items()) for line in lines)
    text = _csv_text(("trial", "problem"), map(_safe, refused))
    (folder / "refused.csv").write_text(text, encoding="utf-8", newline="")
    (folder / "trials.html").write_text(trials_page(outcome, title), encoding="utf-8")


def _safe(row: Iterable[Any]) -> list[Any]:
    return [safe_text(cell) if isinstance(cell, str) else cell for cell in row]


def _csv_text(header: Sequence[str], rows: Iterable[Sequence[Any]]) -> str:
    text = io.StringIO()
    csv.writer(text, lineterminator="\n").writerows([header, *rows])
    return text.getvalue()


def _write_parquet(path: Path, text: str) -> None:
    """Write the table from its CSV text: from lists, pyarrow loads pandas where it finds it."""
    import pyarrow as pa
    from pyarrow import csv as arrow_csv
    from pyarrow import parquet

    types = {name: pa.string() if name in _TEXT else pa.float64() for name in COLUMNS}
    types["jars"] = pa.int64()
    options = arrow_csv.ConvertOptions(
        column_types=types, null_values=[""], strings_can_be_null=True
    )
    table = arrow_csv.read_csv(pa.py_buffer(text.encode()), convert_options=options)
    parquet.write_table(table, path)


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
                ("Validated", [name for name, why in judged if not why]),
                ("Not validated", [name for name, why in judged if why]),
            ],
            series=series,
            because=outcome.because,
            refused=sorted(outcome.refused.items()),
            criteria=NAMES[CURRENT],
            version=bmp.__version__,
        )
    )
    return page


_SHOWN = itemgetter(*(COLUMNS.index(name) for name in ("series", "bmp", "u", "unit", "jars")))


def _yield_words(row: Sequence[Any]) -> str:
    series, value, u, unit, jars = _SHOWN(row)
    return f"{series}: {with_uncertainty(value, u)} {unit} ({jars} jars)"
