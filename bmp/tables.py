"""The tables of a trial's results, each once: workbook, CSV, archive and data frames draw on these.

A table is rows of plain values under columns. A column has two names: `name` for programs, with its
unit at its end, and `header` for people. What is not known is `None` or NaN. A column is added here
and nowhere else.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import astuple, dataclass
from typing import Any, Final

import numpy as np

from bmp.compare import Comparison, sentence
from bmp.estimate import Estimate
from bmp.finding import Finding
from bmp.fit.models import MODELS
from bmp.fit.results import MaterialFits
from bmp.jar_columns import yield_unit
from bmp.judge import reading_errors
from bmp.normalise.gas import saturation_pressure_kPa
from bmp.results import Results
from bmp.tank.result import Span, TankState
from bmp.trial import FloatArray, Trial

WHOLE, ONE, TWO, THREE, FOUR, FIVE = "0", "0.0", "0.00", "0.000", "0.0000", "0.00000"
"""Number formats, by decimals."""
TEXT: Final = "@"


@dataclass(frozen=True)
class Column:
    """One column of a table."""

    name: str
    """For programs: with the unit at its end, where it has one unit."""
    header: str
    """For people: with the unit in brackets."""
    form: str = TWO
    """Number format of a workbook; `TEXT` for text."""
    width: float = 12.0
    """In characters."""


@dataclass(frozen=True, eq=False)
class Table:
    """Columns with their values, all of one length."""

    name: str
    columns: tuple[Column, ...]
    values: tuple[Sequence[Any], ...]
    """A sequence a column."""

    @property
    def rows(self) -> Iterator[tuple[Any, ...]]:
        """Return the rows."""
        return zip(*self.values, strict=True)

    def only(self, *names: str) -> Table:
        """Return the table with some of its columns, in the order given."""
        place = {column.name: number for number, column in enumerate(self.columns)}
        picked = [place[name] for name in names]
        return Table(
            self.name,
            tuple(self.columns[number] for number in picked),
            tuple(self.values[number] for number in picked),
        )


def _table(name: str, columns: Sequence[tuple[Column, Sequence[Any]]]) -> Table:
    return Table(name, tuple(c for c, _ in columns), tuple(values for _, values in columns))


def _of_rows(name: str, columns: Sequence[Column], rows: Iterable[Sequence[Any]]) -> Table:
    values = tuple(zip(*rows, strict=True)) or ((),) * len(columns)
    return Table(name, tuple(columns), values)


# --- yields ------------------------------------------------------------------------------------


YIELDS: Final = (
    Column("series", "series", TEXT, 24),
    Column("material", "material", TEXT, 24),
    Column("role", "role", TEXT, 10),
    Column("bmp", "yield", ONE, 8),
    Column("unit", "unit", TEXT, 16),
    Column("ci95_low", "95 % interval from", ONE, 9),
    Column("ci95_high", "to", ONE, 8),
    Column("u", "standard uncertainty of the mean"),
    Column("sd", "standard deviation, blank and VS in it"),
    Column("jars", "jars that count", WHOLE, 8),
    Column("jars_left_out", "jars left out", WHOLE, 8),
    Column("time_d", "day of the yield", TWO, 9),
    Column("finished", "finished", TEXT, 9),
    Column("per_fresh_NmL_per_g", "yield per fresh mass [NmL CH4/g]", TWO, 13),
    Column("blank_percent", "blank's share of the methane [%]", ONE, 12),
    Column("t50_d", "to half of the yield [d]", TWO, 10),
    Column("t90_d", "to 90 % of the yield [d]", TWO, 10),
    Column("chosen_model", "model chosen", TEXT, 20),
    Column("why_no_interval", "why no interval", TEXT, 34),
    Column("reliable_for", "verdict", TEXT, 44),
)
"""A row a series; an archive's table of materials has those of the same name."""


def yields_table(results: Results) -> Table:
    """Return a row a series with its yield, its errors and its times.

    `bmp`, its limits, `u` and `sd` are in the unit of the column `unit`.
    """
    yields = results.yields
    fits = [results.fits.get(one.series) for one in yields]
    values: dict[str, Sequence[Any]] = {
        "series": [one.series for one in yields],
        "material": [one.material for one in yields],
        "role": [one.role for one in yields],
        "bmp": [one.value for one in yields],
        "unit": [one.unit for one in yields],
        "ci95_low": [one.ci95 and one.ci95[0] for one in yields],
        "ci95_high": [one.ci95 and one.ci95[1] for one in yields],
        "u": [one.u for one in yields],
        "sd": [one.sd for one in yields],
        "jars": [len(one.jars) for one in yields],
        "jars_left_out": [len(results.left_out(one.series)) for one in yields],
        "time_d": [one.time_d for one in yields],
        "finished": [one.finished for one in yields],
        "per_fresh_NmL_per_g": [one.per_fresh for one in yields],
        "blank_percent": [one.blank_percent for one in yields],
        "t50_d": [f and f.t50_d.value for f in fits],
        "t90_d": [f and f.t90_d.value for f in fits],
        "chosen_model": [f and f.choice.model for f in fits],
        "why_no_interval": [one.why_no_interval for one in yields],
        "reliable_for": [results.feed_verdicts.get(one.series) for one in yields],
    }
    return Table("yields", YIELDS, tuple(values[column.name] for column in YIELDS))


# --- readings ----------------------------------------------------------------------------------

AS_READ: Final = {
    "volume_mL": Column("volume_mL", "volume as read [mL]"),
    "water_head_cm": Column("water_head_cm", "water in the gas tube [cm]"),
    "gauge_before_kPa": Column("gauge_before_kPa", "gauge pressure before [kPa]"),
    "gauge_after_kPa": Column("gauge_after_kPa", "gauge pressure after [kPa]"),
    "absolute_before_kPa": Column("absolute_before_kPa", "absolute pressure before [kPa]"),
    "absolute_after_kPa": Column("absolute_after_kPa", "absolute pressure after [kPa]"),
    "mass_g": Column("mass_g", "mass [g]", THREE),
    "mass_before_g": Column("mass_before_g", "mass before [g]", THREE),
    "mass_after_g": Column("mass_after_g", "mass after [g]", THREE),
    "syringe_gas_mL": Column("syringe_gas_mL", "gas in the syringe [mL]"),
    "syringe_gas_left_mL": Column("syringe_gas_left_mL", "gas left in the syringe [mL]"),
    "net_yield_mL_per_g": Column("net_yield_mL_per_g", "net yield as given [mL/g]"),
}
"""By name in `bmp.trial.READING_QUANTITIES`."""


def readings_table(results: Results) -> Table:
    """Return every reading with what was read, its factors and what came of it."""
    trial, gas = results.trial, results.gas
    read = trial.readings
    jars = [trial.jars[index] for index in read.jar.tolist()]
    columns: list[tuple[Column, Sequence[Any]]] = [
        (Column("jar", "jar", TEXT, 12), [jar.name for jar in jars]),
        (Column("series", "series", TEXT, 24), [jar.series for jar in jars]),
        (Column("left_out", "left out", TEXT, 24), [jar.left_out for jar in jars]),
        (Column("row", "row in the input", WHOLE, 9), read.row.tolist()),
        (Column("time_d", "time [d]", THREE, 9), read.time_d.tolist()),
        *((column, read.column(name).tolist()) for name, column in AS_READ.items()),
        *((column, values.tolist()) for column, values in _factors(results)),
        (Column("share_from", "methane share is", TEXT, 13), gas.share_from),
        (Column("gas_NmL", "dry gas since closing [NmL]"), gas.gas_NmL.tolist()),
        (Column("methane_NmL", "methane since closing [NmL CH4]"), gas.methane_NmL.tolist()),
        (Column("note", "note", TEXT, 30), read.note or ("",) * len(jars)),
    ]
    return _table("readings", columns)


def _factors(results: Results) -> list[tuple[Column, FloatArray]]:
    """Return the state of the gas: of a volume as it was read, of a closed jar under its lid."""
    gas, state = results.gas, results.gas.state
    volume = np.isfinite(results.trial.readings.column("volume_mL"))
    measured = np.isfinite(gas.methane_NmL)
    lid = measured & ~volume
    columns = (
        ("ambient_kPa", "air pressure [kPa]", TWO, measured, state.ambient_kPa),
        ("gas_kPa", "pressure of the gas read [kPa]", TWO, volume, state.gas_kPa),
        ("gas_C", "temperature of the gas read [°C]", ONE, volume, state.gas_C),
        ("gas_vapour_kPa", "water vapour in the gas read [kPa]", THREE, volume,
         state.gas_vapour_kPa),
        ("factor", "factor to dry gas at 0 °C and 101.325 kPa", FIVE, volume, state.factor),
        ("headspace_mL", "headspace [mL]", ONE, lid, state.headspace_mL),
        ("headspace_C", "headspace temperature [°C]", ONE, lid, state.headspace_C),
        ("headspace_vapour_kPa", "water vapour under the lid [kPa]", THREE, lid,
         saturation_pressure_kPa(state.headspace_C)),
        ("methane_percent", "methane share used [%]", TWO, True, 100.0 * gas.share),
    )  # fmt: skip
    return [
        (
            Column(name, header, form, 14 if name == "factor" else 12),
            np.where(here, values, np.nan),
        )
        for name, header, form, here, values in columns
    ]


# --- curves ------------------------------------------------------------------------------------

CURVES: Final = (
    Column("series", "series", TEXT, 24),
    Column("material", "material", TEXT, 24),
    Column("jar", "jar", TEXT, 12),
    Column("role", "role", TEXT, 10),
    Column("counted", "counted", TEXT, 9),
    Column("time_d", "time [d]", THREE),
    Column("methane_NmL", "methane since closing [NmL CH4]"),
    Column("net", "net methane"),
    Column("from_blank", "blank's methane, subtracted"),
    Column("unit", "unit", TEXT, 20),
    Column("net_NmL_per_gVS", "net methane [NmL CH4/g VS]"),
)


def curves_table(results: Results) -> Table:
    """Return every reading of every jar: its methane and, where it holds a sample, its net yield.

    `net` and `from_blank` are in the unit of the column `unit`.
    """
    gas, curves, jars = results.gas, results.curves, results.trial.jars
    per = {one.series: one.per for one in results.yields}
    at = zip(curves.jar.tolist(), curves.time_d.tolist(), strict=True)
    both = zip(curves.net.tolist(), curves.from_blank.tolist(), strict=True)
    net = dict(zip(at, both, strict=True))
    rows = []
    for index, time_d, methane in zip(
        gas.jar.tolist(), gas.time_d.tolist(), gas.methane_NmL.tolist(), strict=True
    ):
        jar = jars[index]
        value, blank = net.get((index, time_d), (None, None))
        of_yield = per.get(jar.series)
        rows.append(
            (
                jar.series, jar.material, jar.name, jar.role,
                jar.counted, time_d, methane, value, blank,
                of_yield and yield_unit(of_yield),
                value if (of_yield or "VS") == "VS" else None,
            )
        )  # fmt: skip
    return _of_rows("curves", CURVES, rows)


# --- kinetics ----------------------------------------------------------------------------------

KINETICS: Final = (
    Column("series", "series", TEXT, 24),
    Column("jar", "jar (empty: all jars)", TEXT, 14),
    Column("model", "model", TEXT, 22),
    Column("chosen", "chosen", TEXT, 9),
    Column("quantity", "quantity", TEXT, 28),
    Column("value", "value", FOUR),
    Column("ci95_low", "95 % interval, low", FOUR),
    Column("ci95_high", "95 % interval, high", FOUR),
    Column("unit", "unit", TEXT, 20),
    Column("interval_from", "interval is", TEXT, 20),
    Column("why_not_determined", "why not determined", TEXT, 50),
    Column("rmse", "root mean square residual", THREE, 14),
    Column("r2", "R²", FOUR),
    Column("aicc", "AICc"),
    Column("durbin_watson", "Durbin-Watson", TWO, 12),
)


def kinetics_table(results: Results) -> Table:
    """Return every parameter of every model, of the series and of each jar, a row each."""
    members = {one.series: one.jars for one in results.yields}
    rows = [
        row
        for series, fit in results.fits.items()
        for row in _kinetics_rows(
            series, fit, [results.trial.jars[jar].name for jar in members[series]]
        )
    ]
    return _of_rows("kinetics", KINETICS, rows)


def _kinetics_rows(series: str, fit: MaterialFits, jars: Sequence[str]) -> Iterator[Sequence[Any]]:
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
        chosen = name == fit.choice.model
        for parameter, estimate in model.parameters.items():
            yield (
                series, None, name, chosen, parameter, *_estimate_cells(estimate), model.rmse,
                model.r2, model.aicc, model.durbin_watson,
            )  # fmt: skip
        for jar, own in zip(jars, model.jars, strict=True):
            for parameter, estimate in own.parameters.items():
                yield (
                    series, jar, name, chosen, parameter, *_estimate_cells(estimate),
                    own.rmse, own.r2, None, own.durbin_watson,
                )  # fmt: skip


def _estimate_cells(estimate: Estimate) -> tuple[Any, ...]:
    low, high = estimate.ci95 or (None, None)
    return estimate.value, low, high, estimate.unit, estimate.interval_from, estimate.why


# --- comparisons -------------------------------------------------------------------------------

COMPARISONS: Final = (
    Column("a", "feed", TEXT, 24),
    Column("b", "against", TEXT, 24),
    Column("quantity", "quantity", TEXT, 14),
    Column("basis", "basis", TEXT, 9),
    Column("unit", "unit", TEXT, 20),
    Column("difference", "difference", FOUR),
    Column("ci95_low", "95 % interval from", FOUR),
    Column("ci95_high", "to", FOUR),
    Column("ratio", "ratio", THREE, 9),
    Column("ratio_ci95_low", "95 % interval of the ratio from", THREE),
    Column("ratio_ci95_high", "to", THREE, 9),
    Column("p_adjusted", "p, all comparisons allowed for", FOUR),
    Column("verdict", "verdict", TEXT),
    Column("time_a_d", "day of the feed", TWO, 9),
    Column("time_b_d", "day of the other", TWO, 9),
    Column("finished", "finished", TEXT, 9),
    Column("detectable", "would not have shown below", FOUR),
    Column("words", "in words", TEXT, 110),
)


def comparisons_table(results: Results) -> Table:
    """Return a row a comparison of a trial's feeds."""
    return records_table(results.comparisons.records)


def records_table(records: Iterable[Comparison]) -> Table:
    """Return a row a comparison; differences and what could be detected are in its `unit`."""
    rows = []
    for one in records:
        low, high = one.difference.ci95 or (None, None)
        ratio_low, ratio_high = one.ratio.ci95 or (None, None)
        rows.append(
            (
                one.a, one.b, one.quantity, one.basis, one.unit, one.difference.value, low, high,
                one.ratio.value, ratio_low, ratio_high, one.p_adjusted, one.verdict,
                *(one.time_d or (None, None)), one.finished, one.detectable, sentence(one),
            )
        )  # fmt: skip
    return _of_rows("comparisons", COMPARISONS, rows)


# --- checks and reading errors -----------------------------------------------------------------

CHECKS: Final = (
    Column("check", "check", TEXT, 30),
    Column("outcome", "outcome", TEXT, 11),
    Column("where", "of", TEXT, 24),
    Column("value", "found", THREE),
    Column("limit", "limit", TEXT, 24),
    Column("meaning", "what was seen, or why it is looked at", TEXT, 60),
    Column("advice", "what to do", TEXT, 44),
    Column("source", "source", TEXT, 44),
)


def checks_table(results: Results) -> Table:
    """Return the verdict and every check, a row each."""
    rows: list[Sequence[Any]] = []
    if results.verdict is not None:
        outcome = "pass" if results.verdict.validated else "fail"
        rows.append(("verdict", outcome, None, None, None, results.verdict.words, None, None))
    return _of_rows("checks", CHECKS, [*rows, *findings_table(results.checks).rows])


def findings_table(findings: Iterable[Finding]) -> Table:
    """Return a row a finding."""
    rows = [
        (f.check, f.outcome, f.where, f.value, f.limit, f.meaning, f.advice, f.source)
        for f in findings
    ]
    return _of_rows("checks", CHECKS, rows)


READING_ERRORS: Final = (
    Column("jar", "jar", TEXT, 12),
    Column("time_d", "day", THREE, 9),
    Column("error", "reading error", TEXT, 30),
    Column("outcome", "outcome", TEXT, 11),
    Column("meaning", "what was seen", TEXT, 60),
)
_PLACE: Final = re.compile(r"(?P<jar>.*?)(?: day (?P<day>[-+.\de]+).*)?$")


def reading_errors_table(results: Results) -> Table:
    """Return a row a reading error and jar that it names."""
    kinds = {kind.name for kind in reading_errors.READING_ERRORS}
    found = [
        finding
        for finding in results.checks
        if finding.check in kinds and finding.outcome in ("caution", "fail")
    ]
    return _of_rows("reading errors", READING_ERRORS, error_rows(found, results.trial))


def error_rows(found: Sequence[Finding], trial: Trial) -> list[tuple[Any, ...]]:
    """Return the rows of reading errors: a row a finding and jar."""
    jars = {jar.name for jar in trial.jars}
    return [
        (jar, day, finding.check, finding.outcome, finding.meaning)
        for finding in found
        for jar, day in _places(finding, jars)
    ]


def _places(finding: Finding, jars: set[str]) -> Iterable[tuple[str | None, float | None]]:
    """Return each jar, with the day, that a finding names; a single blank where it names none."""
    places: list[tuple[str | None, float | None]] = []
    for part in finding.where.split(", "):
        place = _PLACE.match(part.partition(" and ")[0].strip())
        if place is not None and place["jar"] in jars:
            places.append((place["jar"], None if place["day"] is None else float(place["day"])))
    return places or [(None, None)]


# --- tank --------------------------------------------------------------------------------------

TANK: Final = (
    Column("estimate", "estimate", TEXT, 38),
    Column("unit", "unit", TEXT, 16),
    *(
        Column(f"{diet}{name}", f"{diet}{words}", THREE)
        for diet in ("today", "planned")
        for name, words in (("", ""), ("_low", ", from"), ("_high", ", to"))
    ),
)
MORE_WATER: Final = "more water needed to pour"


def tank_table(results: Results) -> Table:
    """Return every number of the tank's two diets; a span has its ends next to it."""
    tank = results.tank
    if tank is None:
        return _of_rows("tank", TANK, ())
    rows = [
        (name, unit, *_ends(now), *_ends(then))
        for (name, unit, now), (_, _, then) in zip(
            tank_quantities(tank.today), tank_quantities(tank.planned), strict=True
        )
    ]
    return _of_rows("tank", TANK, rows)


def _ends(value: float | Span | None) -> tuple[float | None, float | None, float | None]:
    if isinstance(value, Span):
        return value.value, value.low, value.high
    return value, None, None


def tank_quantities(state: TankState) -> Iterator[tuple[str, str, float | Span | None]]:
    """Yield name, unit and value of everything that is estimated of one diet."""
    share = state.heat_share_from_gas
    percent = None if share is None else Span(*(100.0 * x for x in astuple(share)))
    yield "fed a day", "kg", state.total_kg_per_d
    yield "retention", "d", state.retention_d
    yield "organic load", "kg VS/(m³ d)", state.load_kgVS_per_m3_d
    yield "TS of the mixture", "%", _percent(state.TS_share)
    yield "C:N of the mixture", "", state.C_to_N
    yield "lipid, share of VS", "%", _percent(state.lipid_share_of_VS)
    yield "total ammonia N", "mg/L", state.total_ammonia_N_mg_per_L
    yield "ammonia N if all nitrogen were released", "mg/L", state.total_ammonia_N_upper_mg_per_L
    yield "free ammonia N", "mg/L", state.free_ammonia_mgN_per_L
    yield MORE_WATER, "kg a day", state.water_to_add_kg_per_d
    yield "methane a day", "NL", state.methane_NL_per_d
    yield "biogas a day", "NL", state.biogas_NL_per_d
    yield "heating value of the gas", "kWh a day", state.gas_kWh_per_d
    yield "heat the tank needs", "kWh a day", state.heat_need_kWh_per_d
    yield "of it through the wall", "kWh a day", state.heat_loss_kWh_per_d
    yield "of it to warm the feed", "kWh a day", state.feed_warming_kWh_per_d
    yield "own flame covers", "%", percent
    yield "own flame enough down to", "°C", state.own_flame_down_to_C
    yield "empty bag full after", "h", state.storage_full_after_h
    yield "digestate out", "kg a day", state.digestate_kg_per_d
    yield "nitrogen in the digestate", "g a day", state.digestate_N_g_per_d


def _percent(share: float | None) -> float | None:
    return None if share is None else 100 * share
