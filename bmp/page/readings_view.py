"""Today's readings: one form a round, made for the width of a telephone."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import datetime, timedelta
from typing import Any, Final, TypeAlias
from urllib.parse import unquote

from flask import Blueprint, abort, redirect, render_template, request, url_for

from bmp.page.conflict import Conflict
from bmp.page.entry_checks import Replicate, beside, doubts
from bmp.page.folder_state import folder_or_404, now, site, spoken
from bmp.page.journal import Entry
from bmp.page.open_trial import OpenTrial
from bmp.page.own_units import COOKIE, chosen, shown, unit_of
from bmp.page.readings_table import (
    ROUND_FIELDS,
    Cells,
    ReadingsTable,
    ReadRound,
    keys_in_order,
    last_before,
    later,
    order,
    rounds_read,
    rows_named,
    waiting,
)
from bmp.page.trial_setup import Setting, setting
from bmp.page.typed_numbers import TypedColumn, as_moment, column_of, typed_cell, typed_time
from bmp.read.cells import Unreadable
from bmp.trial import Jar, Setup

pages = Blueprint("readings", __name__)

CLOCKS_DIFFER: Final = timedelta(minutes=15)
SAME_ROUND_D: Final = 2.0 / 24.0
"""A form opened so soon after a round began goes on with it."""
MAIN_COLUMNS: Final[Mapping[str, tuple[str, ...]]] = {
    "volume": ("volume [mL]",),
    "methane volume": ("volume [mL]",),
    "pressure": ("gauge before [kPa]", "gauge after [kPa]"),
    "mass": ("mass before [g]", "mass after [g]"),
}
"""What is asked first, by way of measuring; a column of the table for the same comes before it."""
ALTERNATIVES: Final[Mapping[str, tuple[tuple[str, ...], ...]]] = {
    "pressure": (("absolute_before_kPa", "absolute_after_kPa"),),
    "mass": (("mass_g",),),
}
ROUND_COLUMNS: Final = ("temperature [°C]", "ambient [kPa]")
ALWAYS: Final = ("methane [%]", "note")


@pages.get("/readings")
def readings(name: str) -> Any:
    """Show the form of a round: the one asked for, or the one that is due now."""
    trial = folder_or_404(name)
    if trial.cannot_type:
        return _cannot_type(name, trial.cannot_type, trial.is_wide, own=trial.has_own)
    known = setting(trial.folder)
    if known.problems and not trial.shelf():
        why = str(known.problems[0])
        return _cannot_type(name, why, tables_first=True)
    if known.setup.given_net:
        why = "this trial holds finished curves; there is nothing to read"
        return _cannot_type(name, why)
    asked = request.args.get("round", "").strip()
    try:
        time = typed_time(asked, trial.sheet.dated) if asked else _round_now(trial)
    except Unreadable as error:
        abort(422, str(error))
    return render_template(
        "readings.html",
        name=name,
        is_now=not asked,
        problems=known.problems,
        clock=now().isoformat(),
        **_form(trial, known, time),
    )


def _cannot_type(
    name: str, why: str, wide: bool = False, tables_first: bool = False, own: bool = False
) -> str:
    return render_template(
        "cannot_type.html", name=name, why=why, wide=wide, tables_first=tables_first, own=own
    )


@pages.post("/readings/put-back")
def put_back(name: str) -> Any:
    """Put the readings back that were typed here, where the table cannot be used."""
    folder_or_404(name).put_back()
    return redirect(url_for("readings.readings", name=name), 303)


def asked_about(trial: OpenTrial) -> list[tuple[str, str, list[str]]]:
    """Return what is asked about in the latest round: time, jar and words."""
    known = setting(trial.folder)
    latest = rounds_read(trial.sheet)[:1]
    found = [
        (time, jar, said)
        for one in latest
        for jar, time in one.jars.items()
        if (said := _doubts(trial, known, jar, time))
    ]
    shared = [
        (one.time, "", said) for one in latest if (said := _doubts(trial, known, "", one.time))
    ]
    return [*shared, *found]


def _round_now(trial: OpenTrial) -> str:
    """Return the round that goes on, or a new one of this minute."""
    read = rounds_read(trial.sheet)
    if not trial.sheet.dated:
        due = waiting(trial.sheet)
        return due[0][0] if due else _next_day(read)
    time = now().isoformat(timespec="minutes")
    begun = [one for one in read if 0 <= order(time) - one.end < SAME_ROUND_D]
    return begun[0].time if begun else time


def _next_day(read: list[ReadRound]) -> str:
    return f"{(order(read[0].time) if read else 0.0) + 1.0:.10g}"


def _form(trial: OpenTrial, known: Setting, time: str) -> dict[str, Any]:
    names = trial.shelf()
    read = rounds_read(trial.sheet)
    round_ = next(
        (
            one
            for one in read
            if time in one.jars.values() or order(one.time) <= order(time) <= one.end
        ),
        None,
    )
    own = round_.jars if round_ is not None else {}
    here = [jar for jar in known.shelf(names) if jar.counted]
    first = round_.time if round_ is not None else time
    last = last_before(trial.sheet, first)
    units = _units()
    found = _findings_at(trial, {*own.values(), time})
    shelf = [
        _jar_card(
            trial,
            known,
            jar,
            own.get(jar.name, time),
            last.get(jar.name),
            units,
            found.get(jar.name, []),
        )
        for jar in here
    ]
    shared = [_own(trial, text) for text in ROUND_COLUMNS]
    at = trial.sheet.rounds.get(time, {})
    done = sum(bool(card["done"]) for card in shelf)
    return {
        "time": time,
        "dated": trial.sheet.dated,
        "jars": shelf,
        "done": done,
        "shared": [_field(column, at, units) for column in shared],
        "units": units,
        "strangers": strangers(trial.sheet, names),
        "names": names,
        "shared_version": trial.sheet.version("", time),
        "times": [one.time for one in read],
        "waiting": waiting(trial.sheet),
    }


def _own(trial: OpenTrial, text: str) -> TypedColumn:
    """Return the table's own column for a quantity, whatever its unit, else the usual one."""
    usual = column_of(text)
    own = (column_of(header) for header in trial.sheet.columns)
    return next((column for column in own if column.field == usual.field), usual)


def columns_of(
    trial: OpenTrial, setup: Setup, jar: Jar
) -> tuple[list[TypedColumn], list[TypedColumn]]:
    """Return what is asked of a jar first, and what may be added."""
    table = [column_of(header) for header in trial.sheet.columns[2:]]
    has = {column.field for column in table}
    for fields in ALTERNATIVES.get(jar.measured, ()):
        if fields[0] in has:
            first = [next(c for c in table if c.field == f) for f in fields if f in has]
            break
    else:
        first = [_own(trial, text) for text in MAIN_COLUMNS.get(jar.measured, ())]
    # the methane share is at hand where it was read before
    first += [c for c in table if c.field == "methane_share" and _fits(c, jar)]
    taken = {column.field for column in first} | set(ROUND_FIELDS)
    more = [c for c in table if c.known is not None and c.field not in taken]
    missing = [column_of(text) for text in ALWAYS if column_of(text).field not in has]
    if setup.cumulative and "emptied" not in has:
        missing.insert(0, column_of("emptied"))
    more += [column for column in missing if _fits(column, jar)]
    return first, sorted(more, key=lambda column: column.field == "note")


def _fits(column: TypedColumn, jar: Jar) -> bool:
    return not (column.field == "methane_share" and jar.measured == "methane volume")


Field: TypeAlias = tuple[TypedColumn, str, str]
"""A column, what stands there as the person's units have it, and that unit."""


def _units() -> dict[str, str]:
    """Return the units that the person has chosen in this browser."""
    return chosen(unquote(request.cookies.get(COOKIE, "")))


def _field(column: TypedColumn, cells: Cells, units: Mapping[str, str]) -> Field:
    return column, shown(column, cells.get(column.header, ""), units), unit_of(column, units)


def _jar_card(
    trial: OpenTrial,
    known: Setting,
    jar: Jar,
    time: str,
    last: tuple[str, Cells] | None,
    units: Mapping[str, str],
    found: list[str],
) -> dict[str, Any]:
    first, more = columns_of(trial, known.setup, jar)
    cells = trial.sheet.rows.get((jar.name, time), {})
    said = _doubts(trial, known, jar.name, time) if cells else []
    return {
        "jar": jar,
        "time": time,
        "first": [_field(column, cells, units) for column in first],
        "more": [_field(column, cells, units) for column in more],
        "more_open": any(cells.get(column.header) for column in more),
        "version": trial.sheet.version(jar.name, time),
        "done": any(cells.get(column.header) for column in first),
        "last": None
        if last is None
        else (last[0], [_field(c, last[1], units) for c in first if last[1].get(c.header)]),
        "doubts": [*said, *found],
    }


def _findings_at(trial: OpenTrial, at: set[str]) -> dict[str, list[str]]:
    """Return what the last analysis found at the readings of a round, by jar."""
    place = site().find(trial.folder.name)
    analysed = site().analyses.known(place) if place is not None else None
    if analysed is None:
        return {}
    keys = keys_in_order(trial.sheet, trial.shelf())
    found: dict[str, list[str]] = {}
    for one in analysed.seen:
        for row in rows_named(f"{one.where} {one.meaning}"):
            if row - 2 < len(keys) and keys[row - 2][1] in at:
                said = found.setdefault(keys[row - 2][0], [])
                words = f"{one.check}: {one.meaning} {one.advice}".strip()
                if words not in said:
                    said.append(words)
    return found


def strangers(sheet: ReadingsTable, shelf: Sequence[str]) -> dict[str, list[str]]:
    """Return the times of readings by the name of a jar that is not in the table of jars."""
    known = {name.lower() for name in shelf}
    found: dict[str, list[str]] = {}
    for jar, time in sheet.rows:
        if jar.lower() not in known:
            found.setdefault(jar, []).append(time)
    return {jar: sorted(times_, key=order) for jar, times_ in found.items()}


@pages.post("/readings/stranger")
def stranger(name: str) -> Any:
    """Give the readings of a jar that is not in the table to one that is, or remove them."""
    trial = folder_or_404(name)
    old, new = request.form.get("jar", ""), request.form.get("to", "")
    if new and new not in trial.shelf():
        abort(422, f"There is no jar “{new[:40]}”.")
    double = [t for jar, t in trial.sheet.rows if jar == old and (new, t) in trial.sheet.rows]
    if new and double:
        abort(409, f"Jar {new} has a reading of {spoken(double[0])} already.")

    def change(sheet: ReadingsTable) -> ReadingsTable:
        rows = {
            (new if jar == old else jar, time): cells
            for (jar, time), cells in sheet.rows.items()
            if jar != old or new
        }
        return replace(sheet, rows=rows)

    trial.change_readings(change)
    return redirect(url_for("readings.readings", name=name), 303)


@pages.post("/readings/move")
def move(name: str) -> Any:
    """Correct the time of a round: all its readings go along."""
    trial = folder_or_404(name)
    old = request.form.get("from", "")
    try:
        new = typed_time(request.form.get("to", ""), trial.sheet.dated)
    except Unreadable as error:
        abort(422, str(error))
    words = unlikely_time(new, setting(trial.folder).setup.started, now())
    if words:
        abort(422, f"Not changed: {words}.")
    round_ = next((one for one in rounds_read(trial.sheet) if old in one.jars.values()), None)
    if round_ is None:
        abort(404, "There is no such round.")
    by_d = order(new) - order(old)
    moved = {at: later(at, by_d) for at in {*round_.jars.values(), old}}
    kept = {key for key in trial.sheet.rows if round_.jars.get(key[0]) != key[1]}
    double = [jar for jar, at in round_.jars.items() if (jar, moved[at]) in kept]
    if double:
        abort(409, f"Not changed: jar {double[0]} has a reading of {spoken(new)} already.")

    def change(sheet: ReadingsTable) -> ReadingsTable:
        rows = {
            (jar, moved[at] if round_.jars.get(jar) == at else at): cells
            for (jar, at), cells in sheet.rows.items()
        }
        rounds = {moved.get(at, at): cells for at, cells in sheet.rounds.items()}
        return replace(sheet, rows=rows, rounds=rounds)

    if new != old:
        trial.change_readings(change)
    return redirect(url_for("readings.readings", name=name, round=new), 303)


@pages.post("/readings/by-rows")
def by_rows(name: str) -> Any:
    """Give a table with a column a jar a row a jar and time, so that readings can be typed."""
    trial = folder_or_404(name)
    measured = {jar.name.lower(): jar.measured for jar in setting(trial.folder).jars}
    try:
        trial.lay_out_by_rows(measured)
    except Unreadable as error:
        abort(422, str(error))
    return redirect(url_for("readings.readings", name=name), 303)


@pages.post("/readings/save")
def save(name: str) -> Any:
    """Keep one reading. The answer comes only when the journal has it on the disk."""
    trial = folder_or_404(name)
    asked = request.get_json()
    if not _is_reading(asked):
        abort(422, "This is no reading.")
    jar = str(asked.get("jar", ""))
    if jar and jar not in trial.shelf():
        abort(422, f"There is no jar “{jar[:40]}”.")
    try:
        time = typed_time(str(asked.get("time", "")), trial.sheet.dated)
        cells, wrong = _typed(trial, asked["cells"])
    except Unreadable as error:
        abort(422, str(error))
    if wrong:
        return {"wrong": wrong}, 422
    sure = asked.get("sure") is True
    name_of_request = asked.get("request", "")
    if not (sure or trial.known(name_of_request) or (jar, time) in trial.sheet.rows):
        words = unlikely_time(time, setting(trial.folder).setup.started, now())
        if words:
            return _told(Conflict(words, {}, 0, time, "time")), 409
    try:
        entry = trial.save(
            jar,
            time,
            cells,
            asked.get("version", 0),
            name_of_request,
            sure=sure,
        )
    except Conflict as conflict:
        return _told(conflict), 409
    return _kept(trial, entry)


def unlikely_time(time: str, started: datetime | None, clock: datetime) -> str:
    """Say why no reading can have been taken then; empty where one can."""
    at = as_moment(time)
    days = None if at is not None else order(time)
    if at is None and started is not None and days is not None and math.isfinite(days):
        at = started + timedelta(days=days)
    if at is None:
        return ""
    if at > clock + CLOCKS_DIFFER:
        return f"{spoken(time)} is still to come (it is now {spoken(clock.isoformat())})"
    if started is not None and at < started:
        return f"{spoken(time)} is before the jars were closed ({spoken(started.isoformat())})"
    return ""


def _is_reading(asked: Any) -> bool:
    """Tell whether a request has the shape of a reading."""
    if not isinstance(asked, dict) or not isinstance(asked.get("cells"), dict):
        return False
    request_name, version = asked.get("request", ""), asked.get("version", 0)
    named = isinstance(request_name, str) and len(request_name) <= 80
    return named and isinstance(version, int) and not isinstance(version, bool)


def _typed(trial: OpenTrial, cells: Mapping[str, Any]) -> tuple[dict[str, str], dict[str, str]]:
    """Return the cells as the table takes them, and by header what is wrong with the others."""
    good, wrong = {}, {}
    for header, text in cells.items():
        column = column_of(str(header)[:100])
        allowed = column.known is not None or header in trial.sheet.columns
        if not allowed or header in trial.sheet.columns[:2]:
            raise Unreadable(f"“{str(header)[:40]}” is no column of readings")
        try:
            good[header] = typed_cell(column, str(text))
        except Unreadable as error:
            wrong[header] = str(error)
    return good, wrong


def _told(conflict: Conflict) -> dict[str, Any]:
    return {
        "conflict": conflict.words,
        "now": dict(conflict.now),
        "shown": _in_own_units(conflict.now),
        "version": conflict.version,
        "time": conflict.time,
        "kind": conflict.kind,
    }


def _in_own_units(cells: Cells) -> dict[str, str]:
    units = _units()
    return {header: shown(column_of(header), text, units) for header, text in cells.items()}


def _kept(trial: OpenTrial, entry: Entry) -> dict[str, Any]:
    return {
        "version": trial.sheet.version(entry.jar, entry.time),
        "shown": _in_own_units(entry.after or {}),
        "behind": trial.behind,
        "at": entry.at[11:19],
        "doubts": _doubts(trial, setting(trial.folder), entry.jar, entry.time),
    }


def _doubts(trial: OpenTrial, known: Setting, jar: str, time: str) -> list[str]:
    """Look at a reading beside the jar's last one and its replicate jars, or at a round."""
    key = (jar, time)
    cells = trial.sheet.rows.get(key) if jar else trial.sheet.rounds.get(time)
    before = last_before(trial.sheet, time).get(jar, ("", {}))[1] if jar else {}
    values, earlier, written = {}, {}, {}
    for header, text in (cells or {}).items():
        column = column_of(header)
        value, old = column.in_own_unit(text), column.in_own_unit(before.get(header, ""))
        if value is not None:
            values[column.field] = value
            written[column.field] = f"{text} {column.unit}|{before.get(header, '')} {column.unit}"
        if old is not None:
            earlier[column.field] = old
    if any(column_of(h).field == "emptied" and text for h, text in before.items()):
        earlier.pop("volume_mL", None)
    said = doubts(values, earlier, cumulative=known.setup.cumulative, written=written)
    return [*said, *beside(values, _replicates(trial, known, jar, time))]


def _replicates(trial: OpenTrial, known: Setting, jar: str, time: str) -> list[Replicate]:
    """Return what the other jars of the same feed gave in the same round."""
    mine = next((one for one in known.jars if one.name == jar), None)
    if mine is None:
        return []
    others = {one.name for one in known.jars if one.series == mine.series and one.name != jar}
    found = []
    for (name, at), cells in trial.sheet.rows.items():
        if name in others and abs(order(at) - order(time)) <= SAME_ROUND_D:
            values = {
                column.field: value
                for header, text in cells.items()
                if (value := (column := column_of(header)).in_own_unit(text)) is not None
            }
            found.append(Replicate(name, values))
    return found


@pages.get("/readings/go")
def go(name: str) -> Any:
    """Go to the form of another round."""
    return redirect(url_for("readings.readings", name=name, round=request.args.get("at", "")), 303)
