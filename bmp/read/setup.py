"""The table `trial`: what holds for the whole trial, with what is assumed where it is silent."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from math import hypot
from typing import Any

from bmp.atmosphere import standard_atmosphere_kPa, station_kPa
from bmp.limits import POSSIBLE
from bmp.problem import Problem, shown
from bmp.published_errors import BARRIER_LIQUIDS, METHANE_METERS, published_error
from bmp.read.cells import (
    ERROR_WANTED,
    PERCENTAGE,
    Unreadable,
    is_error,
    moment,
    percent,
    quantity,
    words,
)
from bmp.read.columns import ITEMS, Header, KnownColumn, ignored_words, match_unit, parse_known
from bmp.read.tables import CellTable
from bmp.shown_units import UNITS, shown_units
from bmp.trial import ASSUMED_SHARE_HALF_WIDTH, WAYS_OF_MEASURING, Setup

# Words that an item may hold, and what each means.
CHOICES: Mapping[str, Mapping[str, Any]] = {
    "measured": {way: way for way in WAYS_OF_MEASURING},
    "basis": {"vs": "VS", "ts": "TS", "fresh": "fresh", "fresh mass": "fresh"},
    "cumulative": {"interval": False, "cumulative": True},
    "gas_kept": {"kept": True, "passed on": False},
    "closed_between_readings": {"open": False, "closed": True},
    "gas_is_wet": {"wet": True, "dry": False},
    "flush_excluded": {"flush gas excluded": True, "as measured": False},
    "blank": {"measured": True, "none": False},
    "barrier_liquid": {liquid: liquid for liquid in BARRIER_LIQUIDS},
    "methane_meter": {meter: meter for meter in METHANE_METERS},
    "ambient_is": {"station": "station", "sea level": "sea level"},
}

_GASES: Mapping[str, Mapping[str, float]] = {
    "nitrogen": {"N2": 1.0},
    "n2": {"N2": 1.0},
    "air": {"N2": 0.79, "O2": 0.21},
    "none": {"N2": 0.79, "O2": 0.21},
    "carbon dioxide": {"CO2": 1.0},
    "co2": {"CO2": 1.0},
    "helium": {"He": 1.0},
    "he": {"He": 1.0},
    "argon": {"Ar": 1.0},
    "ar": {"Ar": 1.0},
}


LONGEST_TEXT = 200
"""Of a title; the rest of a longer one is cut off."""


@dataclass(frozen=True)
class Written:
    """One item as it stands in the table."""

    value: Any
    row: int
    header: str


def read_setup(
    table: CellTable, title: str, problems: list[Problem], ignored: list[str], assumed: list[str]
) -> Setup:
    """Return the trial's setup; problems, unused items and assumptions are added to the lists."""
    if [text.lower() for text in table.header[:2]] != ["item", "value"]:
        wanted = "the first row must read: item, value"
        problems.append(
            Problem(table.name, f"the header is {shown(', '.join(table.header))}", wanted, 1)
        )
        return Setup(title=title)
    written = _items(table, problems, ignored)
    values = {name: item.value for name, item in written.items()}
    _station_pressure(table, written, values, problems, assumed)
    values["ambient_reduced"] = values.pop("ambient_is", "station") == "sea level"
    setup = Setup(**({"title": title} | values))
    return _with_assumptions(table, setup, written, problems, assumed)


def _items(table: CellTable, problems: list[Problem], ignored: list[str]) -> dict[str, Written]:
    by_name = {known.name.lower(): known for known in ITEMS}
    written: dict[str, Written] = {}
    for row, line in zip(table.row_numbers, table.rows, strict=True):
        text = words(line[0])
        cell = line[1] if len(line) > 1 else None
        header = parse_known(text, by_name)
        known = by_name.get(header.name.lower())
        if known is None:
            ignored.append(ignored_words(table.name, "item", text, by_name))
        elif known.field in written:
            problems.append(
                Problem(table.name, f"the item “{known.name}” stands twice", "keep one", row)
            )
        elif cell is not None:
            value = _value(known, cell, header, table, row, problems)
            if value is not None:
                written[known.field] = Written(value, row, text)
    return written


def item_quantity(
    known: KnownColumn,
    header: Header,
    cell: Any,
    table: CellTable,
    row: int,
    problems: list[Problem],
) -> float | None:
    """Return an item's value in the project's unit; `None`, with a problem told, without a unit.

    Raises
    ------
    Unreadable
        The cell is no number, or one that cannot be.
    """
    rule = match_unit(known, header, table.name, problems, row)
    if rule is None or known.unit is None:
        return None
    value = quantity(cell, rule, known.unit, table.semicolons)
    return altitude(value) if known.field == "altitude_m" else value


def _value(
    known: KnownColumn,
    cell: Any,
    header: Header,
    table: CellTable,
    row: int,
    problems: list[Problem],
) -> Any:
    def wrong(wanted: str, why: str = "") -> None:
        what = f"{shown(cell)} stands for “{known.name}”" + (f" and {why}" if why else "")
        problems.append(Problem(table.name, what, wanted, row))

    try:
        if known.unit is not None:
            return item_quantity(known, header, cell, table, row, problems)
        if is_error(cell):
            raise Unreadable(ERROR_WANTED)
        if known.field == "started":
            return moment(cell)
    except Unreadable as error:
        return wrong(str(error), error.why)
    if known.field == "flush_gas":
        gas = flush_gas(words(cell))
        return (
            gas
            if gas is not None
            else wrong("write nitrogen, air, none, or such as “70 % N2 + 30 % CO2”")
        )
    if known.field == "show_units":
        units = shown_units(words(cell))
        listed = f"write US customary, or some of: {', '.join(UNITS)}"
        return units if units is not None else wrong(listed)
    if known.field in CHOICES:
        choices = CHOICES[known.field]
        chosen = choices.get(words(cell).lower())
        return chosen if chosen is not None else wrong(f"write one of: {', '.join(choices)}")
    text = words(cell)
    return text if len(text) <= LONGEST_TEXT else text[: LONGEST_TEXT - 1] + "…"


def altitude(value_m: float) -> float:
    """Return an altitude [m], of which an air pressure is made at once.

    Raises
    ------
    Unreadable
        Nobody lives there, and the atmosphere's formula does not hold.
    """
    possible = POSSIBLE["altitude_m"]
    if not possible.holds(value_m):
        raise Unreadable(f"write the height above sea level, {possible.words}")
    return value_m


def flush_gas(text: str) -> Mapping[str, float] | None:
    """Return the mole fractions of a gas such as `nitrogen` or `70 % N2 + 30 % CO2`, or `None`."""
    if text.lower() in _GASES:
        return _GASES[text.lower()]
    mixed: dict[str, float] = {}
    for part in text.lower().split("+"):
        match = re.fullmatch(rf"\s*{PERCENTAGE}\s*([a-z0-9 ]+?)\s*", part)
        if match is None or match[2] not in _GASES:
            return None
        for gas, share in _GASES[match[2]].items():
            mixed[gas] = mixed.get(gas, 0.0) + share * percent(match[1]) / 100
    return mixed if abs(sum(mixed.values()) - 1.0) < 0.005 else None


def _station_pressure(
    table: CellTable,
    written: Mapping[str, Written],
    values: dict[str, Any],
    problems: list[Problem],
    assumed: list[str],
) -> None:
    """Bring the air pressure to the station: from the altitude alone, or from sea level."""
    altitude, ambient = values.get("altitude_m"), values.get("ambient_kPa")
    if values.get("ambient_is") == "sea level":
        if altitude is None:
            row = written["ambient_is"].row
            problems.append(
                Problem(
                    table.name,
                    "the air pressure is said to be that of sea level, and no altitude is given",
                    "add an item “altitude [m]”",
                    row,
                )
            )
        else:
            assumed.append(
                f"Air pressures were given for sea level; at {altitude:.0f} m they are taken as "
                f"{100 * station_kPa(1.0, altitude):.1f} % of that (standard atmosphere)."
            )
            if ambient is not None:
                values["ambient_kPa"] = station_kPa(ambient, altitude)
    if ambient is None and altitude is not None:
        values["ambient_kPa"] = standard_atmosphere_kPa(altitude)
        assumed.append(
            f"No barometer: where a reading has no air pressure, {values['ambient_kPa']:.1f} "
            f"kPa is taken, the standard atmosphere at {altitude:.0f} m (weather moves it by "
            "1 to 3 %)."
        )


def _with_assumptions(
    table: CellTable,
    setup: Setup,
    written: Mapping[str, Written],
    problems: list[Problem],
    assumed: list[str],
) -> Setup:
    changes: dict[str, Any] = {}
    if "incubation_temperature_C" not in written and not setup.given_net:
        assumed.append(
            "The jars are assumed to be at 37 °C, since no incubation temperature was given."
        )
    if setup.methane_share is not None and "methane_share_half_width" not in written:
        half, also = ASSUMED_SHARE_HALF_WIDTH, ""
        if setup.barrier_liquid not in (None, "none"):
            error = published_error(str(setup.barrier_liquid))
            taken = error.typical / 100
            half = hypot(half, setup.methane_share * taken / (1 - taken))
            also = f"; about {error.typical:g} % of the gas taken up by {error.name} is counted in"
        changes["methane_share_half_width"] = half
        assumed.append(
            f"The methane share of {100 * setup.methane_share:.0f} % is assumed to be right within "
            f"{100 * half:.0f} percentage points either way (common practice, no source{also}). "
            "This widens the interval of the yields."
        )
    if "methane_share_half_width" in written:
        changes["measured_share_half_width"] = setup.methane_share_half_width
    elif setup.methane_meter is not None:
        error = published_error(setup.methane_meter)
        assumed.append(
            f"Shares read with the {error.name} are taken to be right within ± {error.typical:g} "
            f"percentage points, the same in all jars ({error.source}); the intervals hold it."
        )
    if "share_before_absorber" in written:
        changes["share_before_absorber_half_width"] = 0.0
    _check_ranges(table, setup, written, problems)
    return Setup(**(setup.__dict__ | changes))


# How an item's range is named where it is not a plain one.
_NAMED: Mapping[str, str] = {
    "ambient_kPa": "an absolute air pressure ",
    "closing_kPa": "an absolute pressure ",
}


def _check_ranges(
    table: CellTable, setup: Setup, written: Mapping[str, Written], problems: list[Problem]
) -> None:
    for field, item in written.items():
        value, possible = getattr(setup, field, None), POSSIBLE.get(field)
        if possible is None or value is None:
            continue
        nothing = field == "methane_share" and value == 0.0
        if nothing or not possible.holds(value):
            wanted = "above 0 and at most 100 %" if nothing else possible.words
            problems.append(
                Problem(
                    table.name,
                    f"“{item.header}” comes to {value:.4g}",
                    f"it must be {_NAMED.get(field, '')}{wanted}",
                    item.row,
                )
            )
