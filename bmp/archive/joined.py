"""The trials of a chunk of readings, joined without making a trial of each first."""

from __future__ import annotations

from collections.abc import Hashable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from bmp.archive.as_arrays import ArrayTable, Texts
from bmp.archive.descriptions import Descriptions
from bmp.archive.join import kind_of, moved_constants, plain_setup
from bmp.atmosphere import station_kPa
from bmp.jar_columns import JarColumns, jar_columns, own_name
from bmp.read.readings import LATEST_D, resets
from bmp.trial import READING_QUANTITIES, BoolArray, FloatArray, IntArray, Readings, Setup, Trial


@dataclass(frozen=True, eq=False)
class JoinedTrials:
    """Trials with their readings. Those that are not sound have none and take part in nothing."""

    descriptions: Descriptions
    sound: BoolArray
    setups: tuple[Setup, ...]
    """As `plain_setup` returns them."""
    kinds: tuple[Hashable, ...]
    """Of each trial: see `kind_of`."""
    readings: Readings
    """Of all sound trials, jars as in `descriptions`."""
    moved: tuple[Mapping[str, float], ...]
    """Constants of each trial's setup that stand in its readings."""

    def trial(self, number: int) -> Trial:
        """Return one trial by itself, as it was written."""
        descriptions = self.descriptions
        first, last = np.searchsorted(descriptions.jar_trial, (number, number + 1))
        begin, end = np.searchsorted(self.readings.jar, (first, last))
        whole, here = self.readings, slice(int(begin), int(end))
        readings = Readings(
            whole.jar[here] - first,
            whole.time_d[here],
            whole.row[here],
            {n: v[here] for n, v in whole.columns.items() if n not in self.moved[number]},
            whole.not_vented[here],
            whole.emptied[here],
            whole.note[here] or ("",) * int(end - begin),
        )
        return Trial(
            setup=descriptions.setups[number],
            materials=tuple(
                replace(m, name=own_name(m.name)) for m in descriptions.materials[number]
            ),
            jars=tuple(
                replace(jar, material=own_name(jar.material), inoculum=own_name(jar.inoculum))
                for jar in descriptions.jars[first:last]
            ),
            readings=readings,
        )

    def joined(self, numbers: Sequence[int]) -> JarColumns:
        """Return some trials of one kind as one."""
        descriptions, chosen = self.descriptions, np.zeros(len(self.setups), dtype=bool)
        chosen[numbers] = True
        rank = np.cumsum(chosen) - 1
        of_jar = chosen[descriptions.jar_trial]
        place = np.cumsum(of_jar) - 1
        readings = self.readings
        if not of_jar.all():
            readings = readings.where(of_jar[readings.jar])
            readings = replace(readings, jar=place[readings.jar])
        trial = Trial(
            setup=self.setups[numbers[0]],
            materials=tuple(m for number in numbers for m in descriptions.materials[number]),
            jars=tuple(
                jar for jar, kept in zip(descriptions.jars, of_jar.tolist(), strict=True) if kept
            ),
            readings=readings,
        )
        names = tuple(descriptions.names[number] for number in numbers)
        return jar_columns(trial, names, rank[descriptions.jar_trial[of_jar]], by_name=True)


def join_readings(descriptions: Descriptions, table: ArrayTable) -> JoinedTrials:
    """Return the trials of some rows of a table of readings.

    Parameters
    ----------
    descriptions
        What the other tables say of the trials.
    table
        Their rows.
    """
    trial = _trials(table.trial, descriptions.names)
    jar = _jars(trial, table.texts["jar"].lower(), descriptions)
    time_d = table.numbers["time_d"]
    order = _order(jar, time_d)
    jar, time_d, trial = jar[order], time_d[order], trial[order]
    bad = (table.needs_cells | _changes_meaning(table))[order] | (jar < 0)
    bad |= ~((time_d >= 0.0) & (time_d <= LATEST_D))
    bad[1:] |= (jar[1:] == jar[:-1]) & (time_d[1:] == time_d[:-1])
    size = len(descriptions.names)
    sound = descriptions.sound & (np.bincount(trial[bad & (trial >= 0)], minlength=size) == 0)
    sound &= np.bincount(trial[trial >= 0], minlength=size) > 0
    kept = sound[trial] & (trial >= 0)
    quantities = table.numbers.keys() & set(READING_QUANTITIES)
    columns = {field: table.numbers[field][order] for field in sorted(quantities)}
    if not kept.all():
        trial, jar, time_d = trial[kept], jar[kept], time_d[kept]
        columns = {field: values[kept] for field, values in columns.items()}
    return _with_setups(descriptions, sound, trial, jar, time_d, columns)


def _order(jar: IntArray, time_d: FloatArray) -> IntArray | slice:
    """Return how rows come to be sorted by jar and time; most tables are."""
    later = (jar[1:] > jar[:-1]) | ((jar[1:] == jar[:-1]) & (time_d[1:] >= time_d[:-1]))
    return slice(None) if later.all() else np.lexsort((time_d, jar))


def _trials(written: Texts, names: Sequence[str]) -> IntArray:
    """Return the index into `names` of each row; -1 where it is none of them."""
    place = {name: index for index, name in enumerate(names)}
    number = np.array([*(place.get(word, -1) for word in written.words), -1], dtype=np.int64)
    return number[written.code]


def _jars(trial: IntArray, written: Texts, descriptions: Descriptions) -> IntArray:
    """Return the index into the jars of each row; -1 where its trial has no such jar."""
    number = {word: code for code, word in enumerate(written.words)}
    width = len(number) + 1  # the last place is that of an empty cell and of a jar never read
    names, jars = descriptions.jar_name, len(descriptions.jars)
    code = np.array([number.get(word, width - 1) for word in names.words], dtype=np.int64)
    place = np.full((len(descriptions.names) + 1, width), -1)
    place[descriptions.jar_trial, code[names.code]] = np.arange(jars)
    place[:, -1] = -1
    return place[trial, written.code]


def _changes_meaning(table: ArrayTable) -> BoolArray:
    """Mark rows with words that make a number mean something else."""
    marked = np.zeros(table.needs_cells.size, dtype=bool)
    for field in ("emptied", "taken"):
        if field in table.texts:
            marked |= table.texts[field].code >= 0
    if "note" in table.texts:
        notes = table.texts["note"]
        marked |= np.array([*map(resets, notes.words), False], dtype=bool)[notes.code]
    return marked


def _with_setups(
    descriptions: Descriptions,
    sound: BoolArray,
    trial: IntArray,
    jar: IntArray,
    time_d: FloatArray,
    columns: Mapping[str, FloatArray],
) -> JoinedTrials:
    """Write into the readings what means the same there, and say which trials are of one kind."""
    filled = _filled(trial, columns, len(descriptions.names))
    ways: list[set[str]] = [set() for _ in descriptions.names]
    for number, one in zip(descriptions.jar_trial.tolist(), descriptions.jars, strict=True):
        ways[number].add(one.measured)
    moved = [
        moved_constants(setup, ways[number], filled[number])
        for number, setup in enumerate(descriptions.setups)
    ]
    # trials with the same items share one setup
    plain: dict[tuple[object, ...], Setup] = {}
    setups = []
    for setup, constants in zip(descriptions.setups, moved, strict=True):
        key = (id(setup), *constants)
        if key not in plain:
            plain[key] = plain_setup(setup, constants)
        setups.append(plain[key])
    kinds = [kind_of(setup, ways[number], filled[number]) for number, setup in enumerate(setups)]
    columns = _with_constants(_at_station(descriptions, trial, columns), moved, trial)
    none = np.zeros(jar.size, dtype=bool)
    readings = Readings(jar, time_d, np.arange(jar.size), columns, none, none, ())
    return JoinedTrials(descriptions, sound, tuple(setups), tuple(kinds), readings, tuple(moved))


def _filled(trial: IntArray, columns: Mapping[str, FloatArray], size: int) -> list[set[str]]:
    """Return the columns in which anything stands, by trial."""
    filled: list[set[str]] = [set() for _ in range(size)]
    for column, values in columns.items():
        count = np.bincount(trial[~np.isnan(values)], minlength=size)
        for number in np.flatnonzero(count).tolist():
            filled[number].add(column)
    return filled


def _with_constants(
    columns: Mapping[str, FloatArray], moved: Sequence[Mapping[str, float]], trial: IntArray
) -> dict[str, FloatArray]:
    """Return columns with the constants of the trials that have them in place of readings.

    A constant air pressure is at the station already; the columns must be so before.
    """
    out = dict(columns)
    for name in sorted({name for constants in moved for name in constants}):
        constant = np.array([constants.get(name, np.nan) for constants in moved])[trial]
        out[name] = np.where(np.isnan(constant), columns.get(name, np.nan), constant)
    return out


def _at_station(
    descriptions: Descriptions, trial: IntArray, columns: Mapping[str, FloatArray]
) -> Mapping[str, FloatArray]:
    """Return columns with air pressures at the altitude where they were told for sea level."""
    factor = np.array(
        [
            station_kPa(1.0, setup.altitude_m)
            if setup.ambient_reduced and setup.altitude_m is not None
            else 1.0
            for setup in descriptions.setups
        ]
    )
    if "ambient_kPa" not in columns or np.all(factor == 1.0):
        return columns
    return {**columns, "ambient_kPa": columns["ambient_kPa"] * factor[trial]}
