"""What `bmp archive` writes: the table of materials, the trials that were refused, and a page."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Sequence
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
    _write_csv(folder / "materials.csv", COLUMNS, outcome.rows)
    _write_parquet(folder / "materials.parquet", outcome.rows)
    refused = ((name, line) for name, lines in sorted(outcome.refused.items()) for line in lines)
    _write_csv(folder / "refused.csv", ("trial", "problem"), refused)
    (folder / "trials.html").write_text(trials_page(outcome, title), encoding="utf-8")


def _write_csv(path: Path, header: Sequence[str], rows: Iterable[Sequence[Any]]) -> None:
    with path.open("w", encoding="utf-8", newline="") as file:
        out = csv.writer(file, lineterminator="\n")
        out.writerow(header)
        out.writerows(
            [safe_text(cell) if isinstance(cell, str) else cell for cell in row] for row in rows
        )


def _write_parquet(path: Path, rows: Sequence[Sequence[Any]]) -> None:
    """Write the table by way of CSV text: from lists, pyarrow loads pandas where it finds it."""
    import pyarrow as pa
    from pyarrow import csv as arrow_csv
    from pyarrow import parquet

    types = {name: pa.string() if name in _TEXT else pa.float64() for name in COLUMNS}
    types["jars"] = pa.int64()
    text = io.StringIO()
    csv.writer(text, lineterminator="\n").writerows([COLUMNS, *rows])
    table = arrow_csv.read_csv(
        pa.py_buffer(text.getvalue().encode()),
        convert_options=arrow_csv.ConvertOptions(
            column_types=types, null_values=[""], strings_can_be_null=True
        ),
    )
    parquet.write_table(table, path)


def trials_page(outcome: Outcome, title: str) -> str:
    """Return the page that lists all trials by verdict."""
    from bmp.report.page import environment

    series: dict[str, list[str]] = {name: [] for name in outcome.because}
    for row in outcome.rows:
        series[row[0]].append(_yield_words(dict(zip(COLUMNS, row, strict=True))))
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


def _yield_words(row: dict[str, Any]) -> str:
    shown = with_uncertainty(row["bmp"], row["u"])
    return f"{row['series']}: {shown} {row['unit']} ({row['jars']} jars)"
