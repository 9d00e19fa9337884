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
from bmp.results import Results
from bmp.trial import FloatArray

WHOLE, ONE, TWO, THREE, FOUR = "0", "0.0", "0.00", "0.000", "0.0000"
"""Number formats, by decimals."""


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
    return (
        Sheet("summary", SUMMARY, summary_rows(results)),
        readings(results),
        Sheet("curves", CURVES, curve_rows(results)),
        Sheet("fits", FITS, fit_rows(results)),
        Sheet("checks", CHECKS, check_rows(results)),
        Sheet("assumed", ASSUMED, assumed_rows(results), 0),
    )


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


def summary_rows(results: Results) -> Iterator[Sequence[Any]]:
    """Yield a row a series."""
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
    "net_yield_mL_per_g": Column("net yield as handed in [mL/g]", TWO),
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
        (Column("jar", width=12), [jar.name for jar in jars]),
        (Column("series", width=24), [jar.series for jar in jars]),
        (Column("left out", width=9), ["" if jar.left_out is None else "yes" for jar in jars]),
        (Column("row in the input", WHOLE, 9), read.row.tolist()),
        (Column("time [d]", THREE, 9), read.time_d.tolist()),
        *((column, read.column(name).tolist()) for name, column in AS_READ.items()),
        *((column, values.tolist()) for column, values in _factors(results)),
        (Column("methane share is", width=13), gas.share_from),
        (Column("dry gas since closing [NmL]", TWO), gas.gas_NmL.tolist()),
        (Column("methane since closing [NmL CH4]", TWO), gas.methane_NmL.tolist()),
        (Column("note", width=30), read.note or ("",) * len(jars)),
    ]
    filled = [(column, values) for column, values in columns if any(map(_known, values))]
    rows = zip(*(values for _, values in filled), strict=True)
    return Sheet("readings", tuple(column for column, _ in filled), rows)


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


def _known(value: Any) -> bool:
    return bool(value) if isinstance(value, str) else value is not None and isfinite(value)


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


def fit_rows(results: Results) -> Iterator[Sequence[Any]]:
    """Yield every parameter of every model, of the series and of each jar."""
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


def _estimate_cells(estimate: Estimate) -> tuple[Any, ...]:
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


ASSUMED: Final = (Column("kind", width=26), Column("what", width=110))


def assumed_rows(results: Results) -> Iterator[Sequence[Any]]:
    """Yield all else that was said: assumptions, sizes of corrections, jars left out."""
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
