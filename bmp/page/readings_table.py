"""The table readings as it follows from the journal: replayed, changed, and written out.

Pure: a sheet and an entry in, a new sheet out.
"""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta
from functools import lru_cache
from typing import Any, Final, TypeAlias

import numpy as np

from bmp.page.journal import Entry
from bmp.page.typed_numbers import as_moment, column_of, typed_cell
from bmp.read.cells import Unreadable, number, words
from bmp.read.columns import parse_header
from bmp.read.tables import Cell, CellTable
from bmp.rounds import rounds as round_numbers

Key: TypeAlias = tuple[str, str]
"""Jar and time as their columns write them."""
Cells: TypeAlias = Mapping[str, str]
"""Filled cells by header."""

ROUND_FIELDS: Final = ("temperature_C", "ambient_kPa")
"""Read once for all jars of a round."""
LONGEST_PAUSE_D: Final = 0.25
"""After a longer pause a person types into a new round, whatever other jars did."""
LATEST_FOR_A_ROUND_D: Final = 0.5
"""A reading this much before its planned time still is that round's."""


@dataclass(frozen=True)
class ReadingsTable:
    """All readings of a trial."""

    columns: tuple[str, ...]
    """Headers in order; the first two are the jar and the time."""
    rows: Mapping[Key, Cells] = field(default_factory=dict)
    """Without what their round says."""
    rounds: Mapping[str, Cells] = field(default_factory=dict)
    """By time: what holds for all jars read then."""
    planned: tuple[Key, ...] = ()
    """Rows that wait for their reading, in the order of the table."""
    versions: Mapping[Key, int] = field(default_factory=dict)
    """Number of the last entry that changed a reading, or a round under the jar ``."""

    @property
    def time_column(self) -> str:
        """Return the header of the times."""
        return self.columns[1]

    @property
    def dated(self) -> bool:
        """Tell whether times are dates, not days."""
        return parse_header(self.time_column).name.lower() == "taken"

    def version(self, jar: str, time: str) -> int:
        """Return the number of the last entry that changed it, 0 for none."""
        return self.versions.get((jar, time), 0)

    def cells(self, key: Key) -> dict[str, str]:
        """Return a reading with what its round says."""
        return {**self.rows[key], **self.rounds.get(key[1], {})}

    def state(self) -> dict[str, Any]:
        """Return the whole sheet as a journal's line holds it."""
        return {
            "columns": list(self.columns),
            "rows": [[*key, dict(cells)] for key, cells in self.rows.items()],
            "rounds": {time: dict(cells) for time, cells in self.rounds.items()},
            "planned": [list(key) for key in self.planned],
        }


@lru_cache(100_000)
def order(time: str) -> float:
    """Return a number that sorts times."""
    at = as_moment(time)
    if at is not None:
        return (at - datetime(2000, 1, 1)).total_seconds() / 86400.0
    try:
        return number(time)
    except Unreadable:
        return float("inf")


def applied(sheet: ReadingsTable, entry: Entry) -> ReadingsTable:
    """Return the sheet after one entry of the journal."""
    return replayed([entry], sheet)


def replayed(entries: Iterable[Entry], start: ReadingsTable) -> ReadingsTable:
    """Return the sheet after all entries."""
    sheet = _own(start)
    for entry in entries:
        if entry.kind == "readings":
            sheet = _own(_taken_over(sheet, entry))
        elif entry.kind in ("reading", "round"):
            sheet = _changed(sheet, entry)
    return sheet


def _own(sheet: ReadingsTable) -> ReadingsTable:
    """Return a copy whose rows, rounds and versions are nobody else's."""
    return replace(
        sheet, rows=dict(sheet.rows), rounds=dict(sheet.rounds), versions=dict(sheet.versions)
    )


def _changed(sheet: ReadingsTable, entry: Entry) -> ReadingsTable:
    """Change a sheet that is nobody else's: a long journal is then replayed in its length."""
    rows: Any = sheet.rows
    key: Any = (entry.jar, entry.time)
    if entry.kind == "round":
        rows, key = sheet.rounds, entry.time
    if entry.after is None:
        rows.pop(key, None)
    else:
        rows[key] = entry.after
    sheet.versions[entry.jar, entry.time] = entry.number  # type: ignore[index]
    new = [h for h in entry.after or {} if h not in sheet.columns]
    return replace(sheet, columns=_in_order([*sheet.columns, *new])) if new else sheet


def _in_order(headers: list[str]) -> tuple[str, ...]:
    """Return the headers with the note last, where there is one."""
    notes = [h for h in headers if column_of(h).field == "note"]
    return (*(h for h in headers if h not in notes), *notes)


def _taken_over(sheet: ReadingsTable, entry: Entry) -> ReadingsTable:
    """Return the sheet that other hands left; unchanged readings keep their version."""
    new = sheet_of(entry.after)
    # what stood there before the page came is nobody's change
    number = entry.number if sheet.versions or sheet.rows else 0
    versions = {
        (jar, time): sheet.version(jar, time)
        if sheet.rows.get((jar, time)) == cells
        and sheet.rounds.get(time, {}) == new.rounds.get(time, {})
        else number
        for (jar, time), cells in new.rows.items()
    }
    gone = {key: number for key in sheet.rows if key not in new.rows}
    rounds = {
        ("", time): sheet.version("", time)
        if sheet.rounds.get(time) == new.rounds.get(time)
        else number
        for time in {*sheet.rounds, *new.rounds}
    }
    return replace(new, versions={**sheet.versions, **rounds, **gone, **versions})


def sheet_of(state: Mapping[str, Any]) -> ReadingsTable:
    """Return the sheet that `ReadingsTable.state` told of."""
    return ReadingsTable(
        columns=tuple(state["columns"]),
        rows={(jar, time): cells for jar, time, cells in state["rows"]},
        rounds=state["rounds"],
        planned=tuple((jar, time) for jar, time in state["planned"]),
    )


# ---------------------------------------------------------------- from and to the file


def is_long(table: CellTable) -> bool:
    """Tell whether a table holds a row a jar and time."""
    names = {parse_header(text).name.lower() for text in table.header}
    return "jar" in names and bool(names & {"taken", "time"})


def from_table(table: CellTable, shelf: Sequence[str] = ()) -> ReadingsTable:
    """Return the sheet that a long table holds. No row and no cell is lost.

    Names of jars become those of the `shelf`, whatever their case.
    """
    spelled = {jar.lower(): jar for jar in shelf}
    names = [parse_header(text).name.lower() for text in table.header]
    jar_at = names.index("jar")
    time_at = names.index("taken" if "taken" in names else "time")
    if "time" in names:
        time_at = names.index("time")
    others = [i for i in range(len(table.header)) if i not in (jar_at, time_at)]
    columns = (table.header[jar_at], table.header[time_at], *(table.header[i] for i in others))
    rows: dict[Key, Cells] = {}
    for line in table.rows:
        cells = {
            table.header[i]: _text(line[i], table.header[i], table.semicolons)
            for i in others
            if line[i] is not None
        }
        jar = words(line[jar_at])
        time = _time_text(line[time_at], table.semicolons)
        key = _free((spelled.get(jar.lower(), jar), time), rows)
        rows[key] = cells
    return _with_rounds(ReadingsTable(columns, *_without_planned(rows)))


def from_text(text: str, shelf: Sequence[str] = ()) -> ReadingsTable:
    """Return the sheet that `to_csv` wrote."""
    header, *lines = list(csv.reader(io.StringIO(text)))
    rows = tuple(tuple(cell or None for cell in line) for line in lines)
    numbers = tuple(range(2, len(rows) + 2))
    return from_table(CellTable("readings.csv", tuple(header), rows, numbers), shelf)


WIDE: Final = {"volume": "volume [mL]", "methane volume": "volume [mL]", "mass": "mass [g]"}
"""What a column of a jar becomes, by how the jar is measured."""


def from_wide(table: CellTable, measured: Mapping[str, str]) -> ReadingsTable:
    """Return the sheet of a table with a row a time and a column a jar.

    Parameters
    ----------
    measured
        How each jar is measured, by its name in small letters.

    Raises
    ------
    Unreadable
        A column belongs to no jar, or a cell holds no number.
    """
    names = [parse_header(text).name for text in table.header]
    lower = [name.lower() for name in names]
    if not {"time", "taken"} & set(lower):
        raise Unreadable("there is no column of time: add “time [d]” or “taken”")
    time_at = lower.index("time" if "time" in lower else "taken")
    jars = {at: name for at, name in enumerate(names) if name.lower() in measured}
    shared = [at for at in range(len(names)) if at != time_at and at not in jars]
    ways = {at: measured[name.lower()] for at, name in jars.items()}
    if not ways or set(ways.values()) - set(WIDE):
        raise Unreadable("no column is named for a jar that is read by volume or mass")
    columns = {at: column_of(WIDE[way]) for at, way in ways.items()}
    rows: dict[Key, Cells] = {}
    for line in table.rows:
        time = _time_text(line[time_at], table.semicolons)
        common = {
            table.header[at]: _text(line[at], table.header[at], table.semicolons)
            for at in shared
            if line[at] is not None
        }
        for at, name in jars.items():
            if line[at] is not None:
                text = _text(line[at], columns[at].header, table.semicolons)
                unit = parse_header(table.header[at]).unit or ""
                cell = typed_cell(columns[at], f"{text} {unit}")
                rows[_free((name, time), rows)] = {**common, columns[at].header: cell}
    own = dict.fromkeys(column.header for column in columns.values())
    header = ("jar", table.header[time_at], *own, *(table.header[at] for at in shared))
    return _with_rounds(ReadingsTable(header, rows))


def _free(key: Key, rows: Mapping[Key, Cells]) -> Key:
    """Return a key that no other row has: a row that stands twice stays twice, and is told of."""
    jar, time = key
    while (jar, time) in rows:
        time += " "
    return jar, time


def _text(cell: Cell, header: str, semicolons: bool) -> str:
    column = column_of(header)
    if isinstance(cell, int | float) and not isinstance(cell, bool):
        return f"{cell:.15g}"
    text = words(cell)
    if semicolons and column.unit:
        try:
            return f"{number(text, semicolons=True):.15g}"
        except Unreadable:
            return text
    return text


def _time_text(cell: Cell, semicolons: bool) -> str:
    if isinstance(cell, int | float) and not isinstance(cell, bool):
        return f"{cell:.10g}"
    text = words(cell)
    at = as_moment(text) if not isinstance(cell, datetime) else cell
    if at is not None:
        return at.isoformat(timespec="seconds" if at.second else "minutes")
    try:
        return f"{number(text, semicolons):.10g}"
    except Unreadable:
        return text


def _without_planned(
    rows: Mapping[Key, Cells],
) -> tuple[dict[Key, Cells], dict[str, Cells], tuple[Key, ...]]:
    """Set apart the rows that wait: empty ones after the last reading of their jar."""
    last: dict[str, float] = {}
    for (jar, time), cells in rows.items():
        if cells:
            last[jar] = max(last.get(jar, -1.0), order(time))
    waits = {
        key for key, cells in rows.items() if not cells and order(key[1]) > last.get(key[0], -1.0)
    }
    kept = {key: cells for key, cells in rows.items() if key not in waits}
    return kept, {}, tuple(key for key in rows if key in waits)


def _with_rounds(sheet: ReadingsTable) -> ReadingsTable:
    """Move what all jars of one time agree on to their round."""
    shared = [h for h in sheet.columns if column_of(h).field in ROUND_FIELDS]
    by_time: dict[str, list[Key]] = {}
    for key in sheet.rows:
        by_time.setdefault(key[1].strip(), []).append(key)
    rounds: dict[str, Cells] = {}
    rows = {key: dict(cells) for key, cells in sheet.rows.items()}
    for time, keys in by_time.items():
        for header in shared:
            values = {sheet.rows[key].get(header, "") for key in keys}
            if len(values) == 1 and (value := values.pop()):
                rounds[time] = {**rounds.get(time, {}), header: value}
                for key in keys:
                    rows[key].pop(header, None)
    return replace(sheet, rows=rows, rounds=rounds)


def still_planned(sheet: ReadingsTable) -> list[Key]:
    """Return the planned rows whose round no reading of their jar has reached yet."""
    last: dict[str, float] = {}
    for jar, time in sheet.rows:
        last[jar] = max(last.get(jar, -1.0), order(time))
    before: dict[str, float] = {}
    waiting = []
    for jar, time in sorted(sheet.planned, key=lambda key: order(key[1])):
        at = order(time)
        early = min(LATEST_FOR_A_ROUND_D, (at - before.get(jar, at - 2.0)) / 2.0)
        before[jar] = at
        if last.get(jar, -1.0) < at - early:
            waiting.append((jar, time))
    return waiting


def keys_in_order(sheet: ReadingsTable, shelf: Sequence[str]) -> list[Key]:
    """Return jar and time of each row of the file, from its row 2 on."""
    place = {jar.lower(): index for index, jar in enumerate(shelf)}
    return sorted(
        [*sheet.rows, *still_planned(sheet)],
        key=lambda key: (order(key[1]), place.get(key[0].lower(), len(place)), key[0]),
    )


def rows_named(words: str) -> list[int]:
    """Return the rows of the file that a sentence names: `A1 day 3 (row 12)`."""
    return [int(number) for number in re.findall(r"\brow (\d+)", words)]


def to_csv(sheet: ReadingsTable, shelf: Sequence[str]) -> str:
    """Return the table as CSV text: by time, the jars of one time in the order of the shelf."""
    headers = list(sheet.columns)
    for cells in sheet.rounds.values():
        headers += [h for h in cells if h not in headers]
    columns = _in_order(headers)
    keys = keys_in_order(sheet, shelf)
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(columns)
    for jar, time in keys:
        cells = sheet.cells((jar, time)) if (jar, time) in sheet.rows else {}
        writer.writerow([jar, time.strip(), *(cells.get(h, "") for h in columns[2:])])
    return text.getvalue()


# ---------------------------------------------------------------- what a sheet tells


def waiting(sheet: ReadingsTable) -> list[tuple[str, list[str]]]:
    """Return the planned rounds that wait: their time and the jars, the earliest first."""
    rounds: dict[str, list[str]] = {}
    for jar, time in still_planned(sheet):
        rounds.setdefault(time, []).append(jar)
    return sorted(rounds.items(), key=lambda one: order(one[0]))


@dataclass(frozen=True)
class ReadRound:
    """Readings that belong together: one a jar."""

    time: str
    """Of the first of them."""
    jars: Mapping[str, str]
    """Time of each jar's reading."""
    end: float
    """Of the last of them, as `order` has it."""


def rounds_read(sheet: ReadingsTable) -> list[ReadRound]:
    """Return the rounds that hold a reading, the latest first."""
    keys = sorted(sheet.rows, key=lambda key: order(key[1]))
    at = np.array([order(time) for _, time in keys])
    # what is no time comes last, in a round of its own
    at = np.where(np.isfinite(at), at, at[np.isfinite(at)].max(initial=0.0) + 1e4)
    place = {jar: index for index, jar in enumerate(dict.fromkeys(jar for jar, _ in keys))}
    number = round_numbers(np.array([place[jar] for jar, _ in keys], dtype=np.int64), at)
    starts = (np.diff(number, prepend=-1) > 0) | (np.diff(at, prepend=-np.inf) > LONGEST_PAUSE_D)
    found: list[ReadRound] = []
    for (jar, time), when, new in zip(keys, at.tolist(), starts.tolist(), strict=True):
        if new:
            jars: dict[str, str] = {}
            found.append(ReadRound(time, jars, when))
        jars[jar] = time
        found[-1] = replace(found[-1], end=when)
    return found[::-1]


def times(sheet: ReadingsTable) -> list[str]:
    """Return the times of all rounds that hold a reading, the latest first."""
    return [one.time for one in rounds_read(sheet)]


def later(time: str, by_d: float) -> str:
    """Return a time some days later, as its column writes it."""
    at = as_moment(time)
    if at is not None:
        moved = at + timedelta(minutes=round(1440.0 * by_d))
        return moved.isoformat(timespec="seconds" if moved.second else "minutes")
    return f"{order(time) + by_d:.10g}"


def last_before(sheet: ReadingsTable, time: str) -> dict[str, tuple[str, Cells]]:
    """Return the last reading before a time by jar, each with its time."""
    end = order(time)
    last: dict[str, tuple[float, str]] = {}
    for jar, at in sheet.rows:
        when = order(at)
        if when < end and when > last.get(jar, (-1.0, ""))[0]:
            last[jar] = (when, at)
    return {jar: (at, sheet.cells((jar, at))) for jar, (_, at) in last.items()}
