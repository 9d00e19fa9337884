"""The tank's answer as rows for people: what the page and the terminal both show."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from bmp.report.shown_units import beside
from bmp.tables import MORE_WATER, tank_quantities
from bmp.tank.result import RangeCheck, Span, TankResult
from bmp.tank.verdict import say

UNKNOWN = "not known"
# Names of the pictures, with what stands below each.
TANK_PICTURES: Mapping[str, str] = {
    "tank-gas": "Methane a day by feed. Bar: the span of the whole, which joins the trial's "
    "interval, the temperature and the step from jar to tank.",
    "tank-ramp-load": "Load of each week of the change.",
    "tank-ramp-gas": "Methane expected at the end of each week.",
    "tank-heat": "Bars: heat that the tank needs on the planned diet. Lines with bands: what the "
    "own gas gives after the burner.",
}
WEEK_BY_WEEK = "Week by week (estimate)"
ESTIMATE = "Every number is an estimate; low and high in brackets."


@dataclass(frozen=True)
class TankTable:
    """A table with its title; every row as long as the header."""

    title: str
    header: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    open: bool = True
    """Whether the page shows it without a click, and the print at all."""


def tank_tables(result: TankResult, units: Sequence[str] = ()) -> tuple[TankTable, ...]:
    """Return every table of the tank's answer that has a row, `units` beside the SI ones."""
    tables = (
        _summary(result),
        _gas(result),
        _ranges(result),
        _ramp(result),
        _stop_signs(result),
        _months(result),
        _colder(result),
        _uses(result),
        _degradability(result),
    )
    return tuple(
        replace(table, rows=tuple(tuple(beside(cell, units) for cell in row) for row in table.rows))
        for table in tables
        if table.rows
    )


def _plain(value: float | None, unit: str = "") -> str:
    return UNKNOWN if value is None else f"{say(value)} {unit}".rstrip()


def _span(span: Span | None, unit: str = "") -> str:
    if span is None:
        return UNKNOWN
    value, low, high = (say(x) for x in (span.value, span.low, span.high))
    return f"{value} {unit}".rstrip() + f" ({low} to {high})"


def _percent(share: float | None) -> float | None:
    return None if share is None else 100 * share


def _summary(result: TankResult) -> TankTable:
    both = zip(tank_quantities(result.today), tank_quantities(result.planned), strict=True)
    rows = tuple(
        (name, _shown(name, unit, now), _shown(name, unit, then))
        for (name, unit, now), (_, _, then) in both
        if not (now is None and then is None)
    )
    return TankTable("The tank today and as planned", ("estimate", "today", "planned"), rows)


def _shown(name: str, unit: str, value: float | Span | None) -> str:
    if name == MORE_WATER and value == 0.0:
        return "none"
    return _span(value, unit) if isinstance(value, Span) else _plain(value, unit)


def _gas(result: TankResult) -> TankTable:
    rows = [
        (
            row.material,
            name,
            _plain(row.amount_kg_per_d, "kg"),
            _plain(row.yield_NL_per_kg, "NL/kg"),
            _plain(_percent(row.share_of_jar_yield), "%"),
            row.why if row.methane_NL_per_d is None else _span(row.methane_NL_per_d, "NL"),
        )
        for name, state in (("today", result.today), ("planned", result.planned))
        for row in state.by_material
    ]
    header = ("feed", "diet", "a day", "methane per kg", "of the jar's yield", "methane a day")
    return TankTable("Gas by feed (estimate)", header, tuple(rows))


def _ranges(result: TankResult) -> TankTable:
    words = {True: "inside", False: "outside", None: "an optimum, not judged"}
    rows = [
        (
            check.quantity,
            _in_unit(check, check.value),
            _limits(check, row["low"], row["high"]),
            words[row["inside"]],
            str(row["meaning"]),
            str(row["source"]),
        )
        for check in result.planned.ranges
        for row in check.ranges
    ]
    header = ("planned diet", "estimate", "range", "lies", "what the range is", "source")
    title = "Compared with published ranges, which disagree"
    return TankTable(title, header, tuple(rows), open=False)


IN_PERCENT = ("TS of the mixture", "lipid share of COD")
"""Shares that people read in percent, as the table above them has them."""


def _in_unit(check: RangeCheck, value: float) -> str:
    if check.quantity in IN_PERCENT:
        return f"{say(100.0 * value)} %"
    return f"{say(value)} {check.unit}".rstrip()


def _limits(check: RangeCheck, low: float | None, high: float | None) -> str:
    low_text, high_text = ("" if x is None else _in_unit(check, x) for x in (low, high))
    if low_text and high_text:
        return f"{low_text} to {high_text}"
    if low_text:
        return f"at least {low_text}"
    return f"at most {high_text}" if high_text else ""


def _ramp(result: TankResult) -> TankTable:
    rows = [
        (
            str(week.week),
            ", ".join(f"{say(kg)} kg {name}" for name, kg in week.amounts_kg_per_d.items()),
            _plain(week.load_kgVS_per_m3_d),
            _plain(week.expected_methane_NL_per_d, "NL"),
            _plain(week.expected_times_today),
        )
        for week in result.ramp
    ]
    header = (
        "week",
        "a day",
        "load, kg VS/(m³ d)",
        "methane a day at its end",
        "meter, times today's",
    )
    return TankTable(WEEK_BY_WEEK, header, tuple(rows))


def _stop_signs(result: TankResult) -> TankTable:
    rows = tuple(
        (sign["sign"], sign["stop_at"], sign["do"], sign["source"]) for sign in result.stop_signs
    )
    return TankTable("Signs to stop at", ("sign", "stop at", "what to do", "source"), rows)


def _months(result: TankResult) -> TankTable:
    rows = [
        (
            month.month,
            f"{say(month.air_temperature_C)} °C",
            _plain(month.need_today_kWh_per_d),
            _span(month.useful_gas_today_kWh_per_d),
            _plain(month.need_planned_kWh_per_d),
            _span(month.useful_gas_planned_kWh_per_d),
        )
        for month in result.months
    ]
    header = ("month", "air", "need today", "own gas today", "need planned", "own gas planned")
    return TankTable("Heat by month, kWh a day (estimate)", header, tuple(rows), open=False)


def _colder(result: TankResult) -> TankTable:
    rows = tuple(
        (f"{say(row.temperature_C)} °C", _span(row.methane_NL_per_d, "NL"))
        for row in result.colder_tank
    )
    header = ("tank held at", "methane a day, planned diet")
    return TankTable("What a colder tank gives (estimate)", header, rows, open=False)


def _uses(result: TankResult) -> TankTable:
    rows = tuple(
        (str(use["use"]), f"{say(use['low'])} to {say(use['high'])} {use['unit']}", use["source"])
        for use in result.planned.uses
    )
    header = ("use", "good for", "source")
    title = "What all the gas would do, either or (estimate)"
    return TankTable(title, header, rows, open=False)


def _degradability(result: TankResult) -> TankTable:
    rows = tuple(
        (
            name,
            f"{say(row['theoretical']['whole_NmL_per_gVS'])} NmL/g VS, by "
            f"{row['theoretical']['by']}",
            f"{say(100 * row['value'])} %",
            str(row["meaning"]),
        )
        for name, row in result.degradability.items()
    )
    header = ("feed", "theory at most", "measured of it", "meaning")
    return TankTable("Compared with theory", header, rows, open=False)
