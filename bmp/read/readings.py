"""The table `readings`, long (a row a jar and time) or wide (a column a jar), as flat arrays."""

from __future__ import annotations

from collections.abc import Mapping, Sequence, Set
from dataclasses import replace
from datetime import datetime

import numpy as np

from bmp.atmosphere import station_kPa
from bmp.problem import Problem, shown
from bmp.read.cells import Unreadable, moment, words
from bmp.read.columns import (
    READINGS,
    Found,
    KnownColumn,
    ignored_words,
    match_columns,
    match_unit,
    nearest_name,
    numbers,
    parse_header,
)
from bmp.read.tables import CellTable
from bmp.read.unmeasured import FIGURES, counted_as_none, noted
from bmp.trial import (
    NOT_MEASURED,
    READING_QUANTITIES,
    BoolArray,
    FloatArray,
    IntArray,
    Jar,
    Readings,
    Setup,
    says_not_measured,
)

# What a column of a jar holds in the wide layout, by way of measuring.
_WIDE: Mapping[str, str] = {
    "volume": "volume_mL",
    "methane volume": "volume_mL",
    "mass": "mass_g",
    "net yield": "net_yield_mL_per_g",
}

# Columns of the wide layout that hold for all jars of a row alike.
_SHARED = ("time_d", "taken", "water_head_cm", "temperature_C", "ambient_kPa", "methane_share")

_NOT_VENTED = ("not vented", "closed")
_WORDS: dict[str, tuple[str, ...]] = {
    "gauge_after_kPa": _NOT_VENTED,
    "absolute_after_kPa": _NOT_VENTED,
    **dict.fromkeys(FIGURES, (NOT_MEASURED,)),
}
_YES = ("yes", "y", "x", "true", "1", "emptied", "reset")
LATEST_D = 3650.0
"""Day of the last reading that a trial can have."""
_EMPTIED_NOTES = ("emptied", "reset to zero", "set to zero", "counter reset", "reset")


def read_readings(
    table: CellTable,
    jars: Sequence[Jar],
    setup: Setup,
    problems: list[Problem],
    ignored: list[str],
    unread: Set[str] = frozenset(),
) -> Readings:
    """Return the readings, sorted by jar and time; problems and unused columns go to the lists.

    `unread`: names in lower case of jars that could not be read; their rows are left out silently.
    """
    names = {parse_header(text).name.lower() for text in table.header}
    if "jar" in names:
        return _read_long(table, jars, setup, problems, ignored, unread)
    return _read_wide(table, jars, setup, problems, ignored)


def _read_long(
    table: CellTable,
    jars: Sequence[Jar],
    setup: Setup,
    problems: list[Problem],
    ignored: list[str],
    unread: Set[str],
) -> Readings:
    found = match_columns(table, READINGS, problems, ignored)
    if "jar" not in found:
        return empty_readings(table.name)
    index_of = {jar.name.lower(): index for index, jar in enumerate(jars)}
    texts = [words(row[found["jar"].index]) for row in table.rows]
    jar = np.array([index_of.get(text.lower(), -1) for text in texts], dtype=np.int64)
    wanted: dict[str, str] = {}
    for text, row, index in zip(texts, table.row_numbers, jar, strict=True):
        if index < 0 and text.lower() not in unread:
            if text not in wanted:
                # a file that names thousands of other jars is not helped by guesses
                near = nearest_name(text, [jar.name for jar in jars]) if len(wanted) < 50 else None
                hint = f": did you mean {shown(near)}?" if near else ""
                wanted[text] = f"write a jar of the table jars{hint}"
            what = f"{shown(text or None)} is not among the jars"
            problems.append(Problem(table.name, what, wanted[text], row, found["jar"].header))
    time_d, taken = _times(table, found, setup, problems)
    not_vented = _take_words(table, found, ("gauge_after_kPa", "absolute_after_kPa"))
    columns = {
        field: numbers(_without_words(table, column), column, problems)
        for field, column in found.items()
        if field in READING_QUANTITIES
    }
    notes = _texts(table, found, "note")
    unmeasured = _take_words(table, found, FIGURES)
    unmeasured |= np.array([says_not_measured(note) for note in notes], dtype=bool)
    columns, unmeasured = counted_as_none(columns, unmeasured, setup)
    notes = noted(notes, unmeasured)
    said = _texts(table, found, "emptied")
    emptied = np.array([text.lower() in _YES for text in said], dtype=bool)
    emptied |= _noted_falls(notes, jar, time_d, columns)
    rows = np.array(table.row_numbers, dtype=np.int64)
    return _sorted(
        table.name, jar, time_d, rows, columns, not_vented, emptied, notes, taken, jars, problems
    )


def resets(note: str) -> bool:
    """Tell whether a note says that a counter or vessel was emptied."""
    return any(word in note.lower() for word in _EMPTIED_NOTES)


def _noted_falls(
    notes: Sequence[str], jar: IntArray, time_d: FloatArray, columns: Mapping[str, FloatArray]
) -> BoolArray:
    """Return which notes explain a fall of a running total, at their reading or the next one.

    A note is free text: without a fall it sets nothing back, whatever it says.
    """
    noted = np.array(list(map(resets, notes)), dtype=bool)
    if "volume_mL" not in columns or not noted.any():
        return np.zeros(noted.shape, dtype=bool)
    order = np.lexsort((time_d, jar))
    read, run = columns["volume_mL"][order], jar[order]
    fell = np.zeros(noted.shape, dtype=bool)
    fell[1:] = (run[1:] == run[:-1]) & (read[1:] < read[:-1])
    beside = fell.copy()
    beside[:-1] |= fell[1:]
    explains = np.zeros(noted.shape, dtype=bool)
    explains[order] = beside
    return noted & explains


def _texts(table: CellTable, found: Mapping[str, Found], field: str) -> list[str]:
    if field not in found:
        return [""] * len(table.rows)
    return [words(row[found[field].index]) for row in table.rows]


def _take_words(table: CellTable, found: Mapping[str, Found], fields: tuple[str, ...]) -> BoolArray:
    """Tell in which rows a word stands that one of these columns may hold in place of a number."""
    stands = np.zeros(len(table.rows), dtype=bool)
    for field in fields:
        texts = _texts(table, found, field)
        stands |= np.array([text.lower() in _WORDS[field] for text in texts], dtype=bool)
    return stands


def _without_words(table: CellTable, column: Found) -> CellTable:
    """Clear the words that a column may hold, so that the rest of it is numbers."""
    known = _WORDS.get(column.known.field)
    if known is None:
        return table
    at = column.index
    rows = tuple(
        (*row[:at], None, *row[at + 1 :]) if words(row[at]).lower() in known else row
        for row in table.rows
    )
    return CellTable(table.name, table.header, rows, table.row_numbers, table.semicolons)


def _times(
    table: CellTable, found: Mapping[str, Found], setup: Setup, problems: list[Problem]
) -> tuple[FloatArray, list[datetime | None] | None]:
    """Return days since closing, and the clock times where dates were given."""
    if "time_d" in found:
        time_d = numbers(table, found["time_d"], problems)
        taken = None
    elif "taken" in found:
        if setup.started is None:
            wanted = "add an item “started” to the table trial: when the jars were closed"
            problems.append(
                Problem(
                    table.name,
                    "readings carry dates, and there is no start",
                    wanted,
                    1,
                    found["taken"].header,
                )
            )
            return np.full(len(table.rows), np.nan), None
        taken = [
            _moment(table, row[found["taken"].index], number, found["taken"], problems)
            for row, number in zip(table.rows, table.row_numbers, strict=True)
        ]
        started = setup.started
        time_d = np.array(
            [
                np.nan if clock is None else (clock - started).total_seconds() / 86400.0
                for clock in taken
            ]
        )
    else:
        problems.append(
            Problem(table.name, "there is no column of time", "add “time [d]” or “taken”", 1)
        )
        return np.full(len(table.rows), np.nan), None
    _check_times(table, found, time_d, problems)
    return time_d, taken


def _moment(
    table: CellTable, cell: object, row: int, found: Found, problems: list[Problem]
) -> datetime | None:
    try:
        return None if cell is None else moment(cell)  # type: ignore[arg-type]
    except Unreadable as error:
        what = f"{shown(cell)} {error.why}"
        problems.append(Problem(table.name, what, str(error), row, found.header))
        return None


def _check_times(
    table: CellTable, found: Mapping[str, Found], time_d: FloatArray, problems: list[Problem]
) -> None:
    column = found["time_d" if "time_d" in found else "taken"]
    told = {problem.row for problem in problems if problem.column == column.header}
    for index in np.flatnonzero(~(time_d >= 0.0) | (time_d > LATEST_D)):
        row = table.row_numbers[index]
        cell = table.rows[index][column.index]
        if cell is None:
            problems.append(
                Problem(table.name, "the reading has no time", "give it one", row, column.header)
            )
        elif row not in told:
            problems.append(
                Problem(
                    table.name,
                    f"{shown(cell)} comes to day {time_d[index]:.4g} of the trial",
                    "a reading lies between closing the jars and ten years later",
                    row,
                    column.header,
                )
            )


def _read_wide(
    table: CellTable,
    jars: Sequence[Jar],
    setup: Setup,
    problems: list[Problem],
    ignored: list[str],
) -> Readings:
    shared = tuple(known for known in READINGS if known.field in _SHARED)
    unknown: list[str] = []
    found = match_columns(table, shared, problems, unknown)
    columns = _jar_columns(table, jars, shared, problems, ignored)
    columns = [one for one in columns if one[1] != "emptied" or any(
        other[0] == one[0] and other[1] != "emptied" for other in columns)]  # fmt: skip
    if not columns and not jars:
        return empty_readings(table.name)
    if not columns:
        wanted = "add a column “jar”, or a column for each jar such as “A1 [mL]”"
        problems.append(
            Problem(table.name, "neither a column “jar” nor a column named for a jar", wanted, 1)
        )
        return empty_readings(table.name)
    time_d, taken = _times(table, found, setup, problems)
    common = {
        field: numbers(table, found[field], problems)
        for field in found
        if field in READING_QUANTITIES
    }
    jar, at, own, closed, emptied, notes = _unfolded(table, columns, setup, problems)
    quantities = {field: values[at] for field, values in common.items()} | own
    clock = None if taken is None else [taken[i] for i in at]
    return _sorted(
        table.name,
        jar,
        time_d[at],
        np.array(table.row_numbers, dtype=np.int64)[at],
        quantities,
        closed,
        emptied,
        notes,
        clock,
        jars,
        problems,
    )


def _unfolded(
    table: CellTable,
    columns: Sequence[tuple[int, str, Found]],
    setup: Setup,
    problems: list[Problem],
) -> tuple[IntArray, IntArray, dict[str, FloatArray], BoolArray, BoolArray, list[str]]:
    """Return the readings of jars that have columns of their own, one after the other.

    Returns
    -------
    jar, row, quantities, not_vented, emptied, notes
        A reading each, where any column of the jar holds something; rows from 0.
    """
    fields = sorted({field for _, field, _ in columns} - {"emptied"})
    parts: dict[int, dict[str, FloatArray]] = {}
    closed: dict[int, BoolArray] = {}
    emptied: dict[int, BoolArray] = {}
    unread: dict[int, BoolArray] = {}
    no = np.zeros(len(table.rows), dtype=bool)
    for index, field, column in columns:
        if field == "emptied":
            said = _texts(table, {field: column}, field)
            emptied[index] = np.array([text.lower() in _YES for text in said], dtype=bool)
            continue
        words_in = _take_words(table, {field: column}, (field,) if field in _WORDS else ())
        values = numbers(_without_words(table, column), column, problems)
        if field in FIGURES:
            unread[index] = unread.get(index, no) | words_in
        parts.setdefault(index, {})[field] = values
        if field.endswith("_after_kPa"):
            closed[index] = words_in
    for index, gone in unread.items():
        parts[index], unread[index] = counted_as_none(parts[index], gone, setup)
    none = np.full(len(table.rows), np.nan)
    filled = {
        index: np.flatnonzero(np.any([~np.isnan(values) for values in own.values()], axis=0))
        for index, own in parts.items()
    }
    jar = np.concatenate([np.full(rows.size, index) for index, rows in filled.items()])
    at = np.concatenate(list(filled.values()))
    quantities = {
        field: np.concatenate([parts[i].get(field, none)[rows] for i, rows in filled.items()])
        for field in fields
    }
    not_vented = np.concatenate([closed.get(i, no)[rows] for i, rows in filled.items()])
    set_back = np.concatenate([emptied.get(i, no)[rows] for i, rows in filled.items()])
    unmeasured = np.concatenate([unread.get(i, no)[rows] for i, rows in filled.items()])
    return jar, at, quantities, not_vented, set_back, noted([""] * at.size, unmeasured)


def _jar_columns(
    table: CellTable,
    jars: Sequence[Jar],
    shared: tuple[KnownColumn, ...],
    problems: list[Problem],
    ignored: list[str],
) -> list[tuple[int, str, Found]]:
    """Return the columns of jars: (index of the jar, quantity, column)."""
    index_of = {jar.name.lower(): index for index, jar in enumerate(jars)}
    others = {known.name.lower() for known in shared}
    long_only = {known.name.lower() for known in READINGS} - others
    units = {known.field: known for known in READINGS}
    columns: dict[tuple[int, str], tuple[int, str, Found]] = {}
    for at, text in enumerate(table.header):
        header = parse_header(text)
        index, quantity = _jar_and_quantity(header.name, index_of)
        if index is None:
            if header.name.lower() in long_only:
                where = "is used only in the layout with a row for each reading"
                ignored.append(f"{table.name}: the column {shown(text)} {where}")
            elif text and header.name.lower() not in others:
                ignored.append(ignored_words(table.name, "column", text, [*index_of, *others]))
            continue
        jar = jars[index]
        field = _PARTS.get(quantity) if quantity else _WIDE.get(jar.measured)
        if field is None:
            what = f"the column does not say which pressure of jar {shown(jar.name)} it holds"
            wanted = f"write “{jar.name} gauge before [kPa]”, or gauge after, absolute before, …"
            problems.append(Problem(table.name, what, wanted, 1, text))
        elif (index, field) in columns:
            what = f"jar {shown(jar.name)} has two columns"
            problems.append(Problem(table.name, what, "keep one", 1, text))
        else:
            known = KnownColumn(header.name, field, units[field].unit, units[field].of)
            rule = match_unit(known, header, table.name, problems, 1)
            if rule is not None:
                columns[index, field] = index, field, Found(units[field], at, text, rule, header.of)
    return list(columns.values())


# What may stand behind the name of a jar on its columns.
_PARTS: Mapping[str, str] = {
    known.name: known.field
    for known in READINGS
    if known.field.startswith(("gauge", "absolute", "mass")) or known.name in ("volume", "emptied")
}


def _jar_and_quantity(name: str, index_of: Mapping[str, int]) -> tuple[int | None, str]:
    """Return the jar that a header names, and its quantity where it says one: `A1 gauge after`."""
    plain = name.lower()
    if plain in index_of:
        return index_of[plain], ""
    for quantity in sorted(_PARTS, key=len, reverse=True):
        jar = plain.removesuffix(f" {quantity}")
        if jar != plain and jar in index_of:
            return index_of[jar], quantity
    return None, ""


def at_station(readings: Readings, altitude_m: float) -> Readings:
    """Bring air pressures that were reduced to sea level back to the altitude."""
    if "ambient_kPa" not in readings.columns:
        return readings
    ambient = readings.columns["ambient_kPa"] * station_kPa(1.0, altitude_m)
    return replace(readings, columns={**readings.columns, "ambient_kPa": ambient})


def empty_readings(name: str) -> Readings:
    """Return readings that hold nothing."""
    none = np.zeros(0)
    return Readings(
        none.astype(np.int64),
        none,
        none.astype(np.int64),
        {},
        none.astype(bool),
        none.astype(bool),
        (),
        None,
        name,
    )


def _sorted(
    name: str,
    jar: IntArray,
    time_d: FloatArray,
    row: IntArray,
    columns: Mapping[str, FloatArray],
    not_vented: np.ndarray,
    emptied: np.ndarray,
    notes: Sequence[str],
    taken: Sequence[datetime | None] | None,
    jars: Sequence[Jar],
    problems: list[Problem],
) -> Readings:
    """Sort by jar and time; the same jar and time twice is a problem."""
    good = (jar >= 0) & np.isfinite(time_d)
    order = np.flatnonzero(good)[np.lexsort((time_d[good], jar[good]))]
    jar, time_d, row = jar[order], time_d[order], row[order]
    twice = np.flatnonzero((np.diff(jar) == 0) & (np.diff(time_d) == 0.0))
    for index in twice:
        what = (
            f"jar {shown(jars[jar[index]].name)} has a reading at this time in row "
            f"{min(row[index], row[index + 1])} already"
        )
        problems.append(Problem(name, what, "keep one", int(max(row[index], row[index + 1]))))
    return Readings(
        jar=jar,
        time_d=time_d,
        row=row,
        columns={field: values[order] for field, values in columns.items()},
        not_vented=not_vented[order],
        emptied=emptied[order],
        note=tuple(notes[index] for index in order),
        taken=None if taken is None else tuple(taken[index] for index in order),
        table=name,
    )
