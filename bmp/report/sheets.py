"""What stands in each sheet of the workbook."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from math import isfinite
from typing import Any, Final

from bmp.report.first_screen import first_screen
from bmp.report.rounding import percent
from bmp.report.shown_units import beside
from bmp.results import Results
from bmp.tables import (
    TEXT,
    Column,
    Table,
    checks_table,
    comparisons_table,
    curves_table,
    kinetics_table,
    readings_table,
    tank_table,
    yields_table,
)


@dataclass(frozen=True)
class WorkbookSheet:
    """One sheet: values in rows, in the order of the columns; `None` and NaN stay empty."""

    name: str
    columns: Sequence[Column]
    rows: Iterable[Sequence[Any]]
    frozen_columns: int = 1


def sheets(results: Results) -> tuple[WorkbookSheet, ...]:
    """Return the sheets of the workbook in their order; sentences have the units wanted too."""
    tank = () if results.tank is None else (_sheet("tank", tank_table(results)),)
    return (
        _read_by_people(WorkbookSheet("answer", ANSWER, answer_rows(results), 0), results),
        _filled("summary", yields_table(results)),
        _filled("readings", readings_table(results)),
        _net_curves(results),
        _sheet("fits", kinetics_table(results)),
        _sheet("comparisons", comparisons_table(results)),
        _read_by_people(_sheet("checks", checks_table(results)), results),
        *tank,
        _read_by_people(WorkbookSheet("assumed", ASSUMED, assumed_rows(results), 0), results),
    )


def _read_by_people(sheet: WorkbookSheet, results: Results) -> WorkbookSheet:
    """Return a sheet of sentences with the units beside the SI ones that the trial wants."""
    units = results.trial.setup.show_units
    rows = (
        [beside(cell, units) if isinstance(cell, str) else cell for cell in row]
        for row in sheet.rows
    )
    return replace(sheet, rows=rows) if units else sheet


def _sheet(name: str, table: Table) -> WorkbookSheet:
    return WorkbookSheet(name, table.columns, table.rows)


def _filled(name: str, table: Table) -> WorkbookSheet:
    """Return a sheet of those columns that hold anything."""
    filled = [
        column.name
        for column, values in zip(table.columns, table.values, strict=True)
        if any(map(_known, values))
    ]
    return _sheet(name, table.only(*filled))


def _net_curves(results: Results) -> WorkbookSheet:
    """Return the net curve of every jar that holds a sample."""
    shown = ("series", "jar", "counted", "time_d", "net", "from_blank", "unit")
    table = curves_table(results).only(*shown)
    net = shown.index("net")
    return WorkbookSheet(
        "curves", table.columns, (row for row in table.rows if row[net] is not None)
    )


def _known(value: Any) -> bool:
    return bool(value) if isinstance(value, str) else value is not None and isfinite(value)


# --- answer ------------------------------------------------------------------------------------

ANSWER: Final = (Column("question", "question", TEXT, 22), Column("answer", "answer", TEXT, 100))


def answer_rows(results: Results) -> Iterator[Sequence[Any]]:
    """Yield the first screen of the report, a row a sentence."""
    screen = first_screen(results)
    yield "trial", results.trial.setup.title
    yield "valid?", f"{screen.sign} {screen.verdict}".strip()
    for sentence in (*screen.reasons, *screen.use):
        yield "", sentence
    for one in screen.feeds:
        parts = (
            one.yield_words,
            f"{one.fresh_words} fresh" if one.fresh_words else "",
            one.half_words,
            one.remark,
        )
        yield one.series, "; ".join(part for part in parts if part)
    yield "", screen.basis.rstrip(":")
    for name, sentences in (
        ("which is better?", screen.better),
        ("tank", (screen.tank,) if screen.tank else ()),
        ("what to do next", screen.next_steps),
    ):
        for sentence in sentences:
            yield name, sentence


# --- assumed -----------------------------------------------------------------------------------

ASSUMED: Final = (Column("kind", "kind", TEXT, 26), Column("what", "what", TEXT, 110))


def assumed_rows(results: Results) -> Iterator[Sequence[Any]]:
    """Yield all else that was said: assumptions, sizes of corrections, jars left out."""
    yield "trial", results.trial.setup.title
    yield "reference state", "dry gas at 0 °C and 101.325 kPa"
    for sentence in results.assumed:
        yield "assumed", sentence
    for size in results.corrections:
        for series, change in size.percent.items():
            shown = "not known" if change is None else percent(change)
            yield "what a correction did", f"{size.name}, {series}: {shown} ({size.meaning})"
    for jar in results.trial.jars:
        if not jar.counted:
            yield "jar left out", f"{jar.name}: {jar.left_out}"
    for sentence in results.ignored:
        yield "not used", sentence
