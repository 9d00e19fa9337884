"""The workbook: every number, for those who go on computing with them."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from math import isfinite
from pathlib import Path
from typing import Any, Final

import numpy as np
from openpyxl import Workbook
from openpyxl.cell import WriteOnlyCell
from openpyxl.cell.cell import ILLEGAL_CHARACTERS_RE
from openpyxl.styles import Alignment, Font, PatternFill
from openpyxl.utils import get_column_letter

from bmp.fit.models import MODELS
from bmp.results import Results
from bmp.trial import FloatArray

WHOLE, ONE, TWO, THREE, FOUR = "0", "0.0", "0.00", "0.000", "0.0000"
TEXT: Final = "@"
FORMULA_SIGNS: Final = ("=", "+", "-", "@", "\t", "\r")
LONGEST_TEXT: Final = 32_000


@dataclass(frozen=True)
class Column:
    """One column of a sheet: its header with unit, number format and width in characters."""

    header: str
    form: str = TEXT
    width: float = 12.0


def write_workbook(results: Results, path: Path) -> None:
    """Write all results as a workbook.

    Sheets: summary, readings, curves, fits, checks, assumed.

    Parameters
    ----------
    results : Results
    path : Path
        Written over where it exists.
    """
    book = Workbook(write_only=True)
    book.properties.creator = "bmp"
    book.properties.title = _clean(results.trial.setup.title)
    _sheet(book, "summary", SUMMARY, _summary_rows(results))
    _sheet(book, "readings", READINGS, _reading_rows(results))
    _sheet(book, "curves", CURVES, _curve_rows(results))
    _sheet(book, "fits", FITS, _fit_rows(results))
    _sheet(book, "checks", CHECKS, _check_rows(results))
    _sheet(book, "assumed", ASSUMED, _assumed_rows(results))
    book.save(path)


def _sheet(
    book: Workbook, name: str, columns: Sequence[Column], rows: Iterable[Sequence[Any]]
) -> None:
    sheet = book.create_sheet(name)
    sheet.freeze_panes = "B2" if len(columns) > 3 else "A2"
    for number, column in enumerate(columns, start=1):
        sheet.column_dimensions[get_column_letter(number)].width = column.width
    sheet.row_dimensions[1].height = 45.0
    header, shade = Font(bold=True), PatternFill("solid", fgColor="FFE8EEF2")
    cells = []
    for column in columns:
        cell = WriteOnlyCell(sheet, column.header)
        cell.font, cell.fill = header, shade
        cell.alignment = Alignment(wrap_text=True, vertical="top")
        cells.append(cell)
    sheet.append(cells)
    # one cell a column serves for all rows: a row is written before the next is begun
    reused = [_body_cells(sheet, column) for column in columns]
    for row in rows:
        sheet.append([_filled(kinds, value) for kinds, value in zip(reused, row, strict=True)])


@dataclass(frozen=True)
class _Body:
    """The cells that stand in turn for every cell of a column."""

    number: Any
    text: Any
    quoted: Any


def _body_cells(sheet: Any, column: Column) -> _Body:
    made = [WriteOnlyCell(sheet) for _ in range(3)]
    made[0].number_format = column.form if column.form != TEXT else "General"
    top = Alignment(wrap_text=column.width >= 30, vertical="top")
    made[1].alignment = made[2].alignment = top
    # shown as the text that it is, also after somebody edits the cell
    made[2].quotePrefix = True
    return _Body(*made)


def _filled(body: _Body, value: Any) -> Any:
    if value is None or value == "":
        return None
    if isinstance(value, str):
        text = _clean(value)
        cell = body.quoted if text.startswith(FORMULA_SIGNS) else body.text
        cell._value, cell.data_type = text, "s"
        return cell
    if isinstance(value, float) and not isfinite(value):
        return None
    body.number._value, body.number.data_type = value, "n"
    return body.number


def _clean(text: str) -> str:
    return ILLEGAL_CHARACTERS_RE.sub("\N{REPLACEMENT CHARACTER}", text)[:LONGEST_TEXT]


# --- summary -----------------------------------------------------------------------------------

SUMMARY: Final = (
    Column("series", width=26),
    Column("role", width=11),
    Column("yield", ONE),
    Column("unit", width=20),
    Column("95 % interval, low", ONE),
    Column("95 % interval, high", ONE),
    Column("standard deviation between jars, blank and VS in it", TWO, 17),
    Column("standard uncertainty of the mean", TWO, 13),
    Column("jars that count", WHOLE),
    Column("jars left out", WHOLE),
    Column("day of the yield [d]", TWO),
    Column("yield per fresh mass [NmL CH4/g]", TWO, 15),
    Column("the blank's part of the methane [%]", ONE, 15),
    Column("model chosen", width=20),
    Column("half of the yield by day [d]", TWO),
    Column("90 % of the yield by day [d]", TWO),
    Column("why no interval", width=34),
    Column("verdict", width=50),
)


def _summary_rows(results: Results) -> Iterable[Sequence[Any]]:
    for one in results.yields:
        fit = results.fits.get(one.series)
        low, high = one.ci95 or (None, None)
        yield (
            one.series, one.role, one.value, one.unit, low, high, one.sd, one.u, len(one.jars),
            len(results.left_out(one.series)), one.time_d, one.per_fresh, one.blank_percent,
            fit.choice.model if fit else None, fit.t50_d.value if fit else None,
            fit.t90_d.value if fit else None, one.why_no_interval,
            results.feed_verdicts.get(one.series),
        )  # fmt: skip


# --- readings ----------------------------------------------------------------------------------

READINGS: Final = (
    Column("jar", width=12),
    Column("series", width=24),
    Column("role", width=11),
    Column("counted", width=9),
    Column("row in the input", WHOLE, 9),
    Column("time [d]", THREE),
    Column("volume as read [mL]", TWO),
    Column("gauge pressure before [kPa]", TWO),
    Column("gauge pressure after [kPa]", TWO),
    Column("absolute pressure before [kPa]", TWO),
    Column("absolute pressure after [kPa]", TWO),
    Column("mass [g]", THREE),
    Column("mass before [g]", THREE),
    Column("mass after [g]", THREE),
    Column("net yield as handed in [mL/g]", TWO),
    Column("air pressure [kPa]", TWO),
    Column("gas pressure [kPa]", TWO),
    Column("gas temperature [°C]", ONE),
    Column("headspace temperature [°C]", ONE),
    Column("water vapour in the gas read [kPa]", THREE),
    Column("factor to dry gas at 0 °C and 101.325 kPa", "0.00000", 14),
    Column("methane share used [%]", TWO),
    Column("share is", width=13),
    Column("dry gas since closing [NmL]", TWO),
    Column("methane since closing [NmL CH4]", TWO),
    Column("note", width=30),
)


def _reading_rows(results: Results) -> Iterable[Sequence[Any]]:
    trial, gas, readings = results.trial, results.gas, results.trial.readings
    jars = trial.jars
    raw = (
        "volume_mL", "gauge_before_kPa", "gauge_after_kPa", "absolute_before_kPa",
        "absolute_after_kPa", "mass_g", "mass_before_g", "mass_after_g", "net_yield_mL_per_g",
    )  # fmt: skip
    volumes = np.isfinite(readings.column("volume_mL"))
    columns: list[FloatArray] = [
        *(readings.column(name) for name in raw),
        gas.state.ambient_kPa,
        *(np.where(volumes, values, np.nan) for values in (gas.state.gas_kPa, gas.state.gas_C)),
        gas.state.headspace_C,
        *(
            np.where(volumes, values, np.nan)
            for values in (gas.state.gas_vapour_kPa, gas.state.factor)
        ),
        100.0 * gas.share,
    ]
    notes = readings.note or ("",) * readings.jar.size
    lists = [column.tolist() for column in columns]
    heads = [
        (jar.name, jar.series, jar.role, "yes" if jar.left_out is None else "no") for jar in jars
    ]
    for jar, row, time_d, share_from, dry, methane, note, *rest in zip(
        readings.jar.tolist(), readings.row.tolist(), readings.time_d.tolist(), gas.share_from,
        gas.gas_NmL.tolist(), gas.methane_NmL.tolist(), notes, *lists, strict=True,
    ):  # fmt: skip
        yield *heads[jar], row, time_d, *rest, share_from, dry, methane, note


# --- curves, fits, checks, assumed -------------------------------------------------------------

CURVES: Final = (
    Column("series", width=24),
    Column("jar", width=12),
    Column("counted", width=9),
    Column("time [d]", THREE),
    Column("net methane", TWO),
    Column("taken off for the inoculum", TWO),
    Column("unit", width=20),
)


def _curve_rows(results: Results) -> Iterable[Sequence[Any]]:
    units = {one.series: one.unit for one in results.yields}
    curves, jars = results.curves, results.trial.jars
    for index, time_d, net, blank in zip(
        curves.jar.tolist(), curves.time_d.tolist(), curves.net.tolist(),
        curves.from_blank.tolist(), strict=True,
    ):  # fmt: skip
        jar = jars[index]
        counted = "yes" if jar.left_out is None else "no"
        yield jar.series, jar.name, counted, time_d, net, blank, units.get(jar.series)


FITS: Final = (
    Column("series", width=24),
    Column("jar (empty: all jars)", width=14),
    Column("model", width=22),
    Column("chosen", width=9),
    Column("parameter", width=12),
    Column("value", "0.0000"),
    Column("95 % interval, low", "0.0000"),
    Column("95 % interval, high", "0.0000"),
    Column("unit", width=20),
    Column("interval is", width=20),
    Column("why not determined", width=50),
    Column("root mean square residual", THREE, 14),
    Column("R²", FOUR),
    Column("AICc", TWO),
    Column("Durbin-Watson", TWO, 12),
)


def _fit_rows(results: Results) -> Iterable[Sequence[Any]]:
    members = {one.series: one.jars for one in results.yields}
    for series, fit in results.fits.items():
        for estimate, words in (
            (fit.t50_d, "half of the measured yield by day"),
            (fit.t90_d, "90 % of the measured yield by day"),
            (fit.peak_rate, "highest rate"),
            (fit.peak_d, "day of the highest rate"),
        ):
            yield series, None, None, None, words, *_estimate_cells(estimate), *[None] * 4
        for name in MODELS:
            if name not in fit.models:
                continue
            model = fit.models[name]
            chosen = "yes" if name == fit.choice.model else "no"
            for parameter, estimate in model.parameters.items():
                yield (
                    series, None, name, chosen, parameter, *_estimate_cells(estimate), model.rmse,
                    model.r2, model.aicc, model.durbin_watson,
                )  # fmt: skip
            for jar, own in zip(members[series], model.jars, strict=True):
                jar_name = results.trial.jars[jar].name
                for parameter, estimate in own.parameters.items():
                    yield (
                        series, jar_name, name, chosen, parameter, *_estimate_cells(estimate),
                        own.rmse, own.r2, None, own.durbin_watson,
                    )  # fmt: skip


def _estimate_cells(estimate: Any) -> tuple[Any, ...]:
    low, high = estimate.ci95 or (None, None)
    return estimate.value, low, high, estimate.unit, estimate.interval_from, estimate.why


CHECKS: Final = (
    Column("check", width=30),
    Column("outcome", width=11),
    Column("of", width=24),
    Column("found", "0.000", 12),
    Column("limit", width=24),
    Column("what it means", width=60),
    Column("what to do", width=44),
    Column("source", width=44),
)


def _check_rows(results: Results) -> Iterable[Sequence[Any]]:
    if results.verdict is not None:
        outcome = "pass" if results.verdict.validated else "fail"
        yield "verdict", outcome, None, None, None, results.verdict.words, None, None
    for finding in results.checks:
        yield (
            finding.check, finding.outcome, finding.where, finding.value, finding.limit,
            finding.meaning, finding.advice, finding.source,
        )  # fmt: skip


ASSUMED: Final = (Column("kind", width=26), Column("what", width=110))


def _assumed_rows(results: Results) -> Iterable[Sequence[Any]]:
    yield "trial", results.trial.setup.title
    yield "reference state", "dry gas at 0 °C and 101.325 kPa"
    for sentence in results.assumed:
        yield "taken for granted", sentence
    for size in results.corrections:
        for series, change in size.percent.items():
            shown = "not known" if change is None else f"{change:.2f} %"
            yield "what a correction did", f"{size.name}, {series}: {shown} ({size.meaning})"
    for jar in results.trial.jars:
        if jar.left_out is not None:
            yield "jar left out", f"{jar.name}: {jar.left_out}"
    for sentence in results.ignored:
        yield "not used", sentence
