"""What stands in each sheet of the workbook."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from math import isfinite
from typing import Any, Final

import numpy as np

from bmp.estimate import Estimate
from bmp.fit.models import MODELS
from bmp.normalise.gas import saturation_pressure_kPa
from bmp.report.compare_sheet import COLUMNS, comparison_rows
from bmp.report.first_screen import first_screen
from bmp.report.rounding import percent
from bmp.report.tank_rows import quantities
from bmp.results import Results
from bmp.tank.result import Range, TankResult
from bmp.trial import FloatArray

WHOLE, ONE, TWO, THREE, FOUR = "0", "0.0", "0.00", "0.000", "0.0000"
"""Number formats, by decimals."""
TEXT: Final = "@"


@dataclass(frozen=True)
class Column:
    """One column of a sheet: its header with unit, number format and width in characters."""

    header: str
    form: str = TWO
    width: float = 12.0


@dataclass(frozen=True)
class Sheet:
    """One sheet: values in rows, in the order of the columns; `None` and NaN stay empty."""

    name: str
    columns: Sequence[Column]
    rows: Iterable[Sequence[Any]]
    frozen_columns: int = 1


def sheets(results: Results) -> tuple[Sheet, ...]:
    """Return the sheets of the workbook in their order."""
    tank = () if results.tank is None else (Sheet("tank", TANK, tank_rows(results.tank)),)
    return (
        Sheet("answer", ANSWER, answer_rows(results), 0),
        summary(results),
        readings(results),
        Sheet("curves", CURVES, curve_rows(results)),
        Sheet("fits", FITS, fit_rows(results)),
        Sheet(
            "comparisons",
            [Column(*column) for column in COLUMNS],
            comparison_rows(results.comparisons.records),
        ),
        Sheet("checks", CHECKS, check_rows(results)),
        *tank,
        Sheet("assumed", ASSUMED, assumed_rows(results), 0),
    )


# --- answer ------------------------------------------------------------------------------------

ANSWER: Final = (Column("question", TEXT, 22), Column("answer", TEXT, 100))


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


# --- summary -----------------------------------------------------------------------------------


def summary(results: Results) -> Sheet:
    """Return a row a series with its yield, its errors and its times."""
    yields = results.yields
    fits = [results.fits.get(one.series) for one in yields]
    columns: list[tuple[Column, Sequence[Any]]] = [
        (Column("series", TEXT, 24), [one.series for one in yields]),
        (Column("role", TEXT, 10), [one.role for one in yields]),
        (Column("yield", ONE, 8), [one.value for one in yields]),
        (Column("unit", TEXT, 16), [one.unit for one in yields]),
        (Column("95 % interval from", ONE, 9), [one.ci95 and one.ci95[0] for one in yields]),
        (Column("to", ONE, 8), [one.ci95 and one.ci95[1] for one in yields]),
        (Column("standard uncertainty of the mean", TWO), [one.u for one in yields]),
        (Column("standard deviation, blank and VS in it", TWO), [one.sd for one in yields]),
        (Column("jars that count", WHOLE, 8), [len(one.jars) for one in yields]),
        (
            Column("jars left out", WHOLE, 8),
            [len(results.left_out(one.series)) or None for one in yields],
        ),
        (Column("day of the yield", TWO, 9), [one.time_d for one in yields]),
        (
            Column("yield per fresh mass [NmL CH4/g]", TWO, 13),
            [one.per_fresh for one in yields],
        ),
        (
            Column("blank's share of the methane [%]", ONE, 12),
            [one.blank_percent for one in yields],
        ),
        (Column("to half of the yield [d]", TWO, 10), [fit and fit.t50_d.value for fit in fits]),
        (Column("to 90 % of the yield [d]", TWO, 10), [fit and fit.t90_d.value for fit in fits]),
        (Column("model chosen", TEXT, 20), [fit and fit.choice.model for fit in fits]),
        (Column("why no interval", TEXT, 34), [one.why_no_interval for one in yields]),
        (
            Column("verdict", TEXT, 44),
            [results.feed_verdicts.get(one.series) for one in yields],
        ),
    ]
    return _filled("summary", columns)


def _filled(name: str, columns: Sequence[tuple[Column, Sequence[Any]]]) -> Sheet:
    """Return a sheet of those columns that hold anything."""
    filled = [(column, values) for column, values in columns if any(map(_known, values))]
    rows = zip(*(values for _, values in filled), strict=True)
    return Sheet(name, tuple(column for column, _ in filled), rows)


def _known(value: Any) -> bool:
    return bool(value) if isinstance(value, str) else value is not None and isfinite(value)


# --- readings ----------------------------------------------------------------------------------

AS_READ: Final = {
    "volume_mL": Column("volume as read [mL]", TWO),
    "water_head_cm": Column("water in the gas tube [cm]", TWO),
    "gauge_before_kPa": Column("gauge pressure before [kPa]", TWO),
    "gauge_after_kPa": Column("gauge pressure after [kPa]", TWO),
    "absolute_before_kPa": Column("absolute pressure before [kPa]", TWO),
    "absolute_after_kPa": Column("absolute pressure after [kPa]", TWO),
    "mass_g": Column("mass [g]", THREE),
    "mass_before_g": Column("mass before [g]", THREE),
    "mass_after_g": Column("mass after [g]", THREE),
    "syringe_gas_mL": Column("gas in the syringe [mL]", TWO),
    "syringe_gas_left_mL": Column("gas left in the syringe [mL]", TWO),
    "net_yield_mL_per_g": Column("net yield as given [mL/g]", TWO),
}
"""By name in `bmp.trial.READING_QUANTITIES`."""


def readings(results: Results) -> Sheet:
    """Return every reading with what was read, its factors and what came of it.

    A column that holds nothing in this trial is left out.
    """
    trial, gas = results.trial, results.gas
    read = trial.readings
    jars = [trial.jars[index] for index in read.jar.tolist()]
    columns: list[tuple[Column, Sequence[Any]]] = [
        (Column("jar", TEXT, 12), [jar.name for jar in jars]),
        (Column("series", TEXT, 24), [jar.series for jar in jars]),
        (Column("left out", TEXT, 9), ["" if jar.left_out is None else "yes" for jar in jars]),
        (Column("row in the input", WHOLE, 9), read.row.tolist()),
        (Column("time [d]", THREE, 9), read.time_d.tolist()),
        *((column, read.column(name).tolist()) for name, column in AS_READ.items()),
        *((column, values.tolist()) for column, values in _factors(results)),
        (Column("methane share is", TEXT, 13), gas.share_from),
        (Column("dry gas since closing [NmL]", TWO), gas.gas_NmL.tolist()),
        (Column("methane since closing [NmL CH4]", TWO), gas.methane_NmL.tolist()),
        (Column("note", TEXT, 30), read.note or ("",) * len(jars)),
    ]
    return _filled("readings", columns)


def _factors(results: Results) -> list[tuple[Column, FloatArray]]:
    """Return the state of the gas: of a volume as it was read, of a closed jar under its lid."""
    gas, state = results.gas, results.gas.state
    volume = np.isfinite(results.trial.readings.column("volume_mL"))
    measured = np.isfinite(gas.methane_NmL)
    lid = measured & ~volume
    return [
        (Column("air pressure [kPa]", TWO), np.where(measured, state.ambient_kPa, np.nan)),
        (Column("pressure of the gas read [kPa]", TWO), np.where(volume, state.gas_kPa, np.nan)),
        (Column("temperature of the gas read [°C]", ONE), np.where(volume, state.gas_C, np.nan)),
        (
            Column("water vapour in the gas read [kPa]", THREE),
            np.where(volume, state.gas_vapour_kPa, np.nan),
        ),
        (
            Column("factor to dry gas at 0 °C and 101.325 kPa", "0.00000", 14),
            np.where(volume, state.factor, np.nan),
        ),
        (Column("headspace [mL]", ONE), np.where(lid, state.headspace_mL, np.nan)),
        (Column("headspace temperature [°C]", ONE), np.where(lid, state.headspace_C, np.nan)),
        (
            Column("water vapour under the lid [kPa]", THREE),
            np.where(lid, saturation_pressure_kPa(state.headspace_C), np.nan),
        ),
        (Column("methane share used [%]", TWO), 100.0 * gas.share),
    ]


# --- curves, fits, checks, assumed -------------------------------------------------------------

CURVES: Final = (
    Column("series", TEXT, 24),
    Column("jar", TEXT, 12),
    Column("counted", TEXT, 9),
    Column("time [d]", THREE),
    Column("net methane", TWO),
    Column("blank's methane, subtracted", TWO),
    Column("unit", TEXT, 20),
)


def curve_rows(results: Results) -> Iterator[Sequence[Any]]:
    """Yield the net curve of every jar that holds a sample."""
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
    Column("series", TEXT, 24),
    Column("jar (empty: all jars)", TEXT, 14),
    Column("model", TEXT, 22),
    Column("chosen", TEXT, 9),
    Column("quantity", TEXT, 28),
    Column("value", "0.0000"),
    Column("95 % interval, low", "0.0000"),
    Column("95 % interval, high", "0.0000"),
    Column("unit", TEXT, 20),
    Column("interval is", TEXT, 20),
    Column("why not determined", TEXT, 50),
    Column("root mean square residual", THREE, 14),
    Column("R²", FOUR),
    Column("AICc", TWO),
    Column("Durbin-Watson", TWO, 12),
)


def fit_rows(results: Results) -> Iterator[Sequence[Any]]:
    """Yield every parameter of every model, of the series and of each jar."""
    members = {one.series: one.jars for one in results.yields}
    for series, fit in results.fits.items():
        for estimate, words in (
            (fit.t50_d, "to half of the measured yield"),
            (fit.t90_d, "to 90 % of the measured yield"),
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


def _estimate_cells(estimate: Estimate) -> tuple[Any, ...]:
    low, high = estimate.ci95 or (None, None)
    return estimate.value, low, high, estimate.unit, estimate.interval_from, estimate.why


CHECKS: Final = (
    Column("check", TEXT, 30),
    Column("outcome", TEXT, 11),
    Column("of", TEXT, 24),
    Column("found", "0.000", 12),
    Column("limit", TEXT, 24),
    Column("what was seen, or why it is looked at", TEXT, 60),
    Column("what to do", TEXT, 44),
    Column("source", TEXT, 44),
)


def check_rows(results: Results) -> Iterator[Sequence[Any]]:
    """Yield the verdict and every check."""
    if results.verdict is not None:
        outcome = "pass" if results.verdict.validated else "fail"
        yield "verdict", outcome, None, None, None, results.verdict.words, None, None
    for finding in results.checks:
        yield (
            finding.check, finding.outcome, finding.where, finding.value, finding.limit,
            finding.meaning, finding.advice, finding.source,
        )  # fmt: skip


ASSUMED: Final = (Column("kind", TEXT, 26), Column("what", TEXT, 110))


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
        if jar.left_out is not None:
            yield "jar left out", f"{jar.name}: {jar.left_out}"
    for sentence in results.ignored:
        yield "not used", sentence


# --- tank --------------------------------------------------------------------------------------

TANK: Final = (
    Column("estimate", TEXT, 38),
    Column("unit", TEXT, 16),
    *(
        Column(f"{diet}{part}", THREE)
        for diet in ("today", "planned")
        for part in ("", ", from", ", to")
    ),
)


def tank_rows(tank: TankResult) -> Iterator[Sequence[Any]]:
    """Return every number of the tank's two diets; a span has its ends next to it."""
    for (name, unit, now), (_, _, then) in zip(
        quantities(tank.today), quantities(tank.planned), strict=True
    ):
        yield name, unit, *_ends(now), *_ends(then)


def _ends(value: float | Range | None) -> tuple[float | None, float | None, float | None]:
    if isinstance(value, Range):
        return value.value, value.low, value.high
    return value, None, None
