"""A part of an archive: some trials that one process reads and analyses in one go."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Protocol

import numpy as np

import bmp
from bmp.archive.analyze import NOTHING, Outcome, analyze_trials
from bmp.problem import Problem, Problems, UnusableInput
from bmp.read import read_trial
from bmp.read.complete import check_complete
from bmp.read.reader import TABLES, trial_of
from bmp.read.readings import empty_readings
from bmp.read.tables import Table
from bmp.trial import FloatArray, IntArray, Readings, Trial

MOST_LINES = 50
"""Problems that are kept of one trial; then their number."""


class Part(Protocol):
    """Some trials of an archive."""

    def key(self) -> str:
        """Return a name that stands for all that the part's results follow from."""

    def outcome(self) -> Outcome:
        """Read and analyse the trials."""


def digest(contents: Iterable[object]) -> str:
    """Return a name for contents and for this version of the tool."""
    name = hashlib.blake2b(bmp.__version__.encode(), digest_size=16)
    for content in contents:
        name.update(
            content.tobytes() if isinstance(content, np.ndarray) else repr(content).encode()
        )
        name.update(b"\x1e")
    return name.hexdigest()


@dataclass(frozen=True)
class FilePart:
    """Trials that are each a folder or a workbook."""

    names: tuple[str, ...]
    places: tuple[Path, ...]

    def key(self) -> str:
        """Return a name for the names, sizes and times of change of all files."""
        return digest((name, _state(p)) for name, p in zip(self.names, self.places, strict=True))

    def outcome(self) -> Outcome:
        """Read every trial and analyse those that can be used."""
        return analyzed(
            {
                name: lambda place=place: read_trial(place)  # type: ignore[misc]
                for name, place in zip(self.names, self.places, strict=True)
            }
        )


def _state(place: Path) -> list[tuple[str, int, int]]:
    files = sorted(place.iterdir()) if place.is_dir() else [place]
    return [(file.name, file.stat().st_size, file.stat().st_mtime_ns) for file in files]


@dataclass(frozen=True)
class TablePart:
    """Trials whose rows were picked out of tables that hold many."""

    tables: Mapping[str, Mapping[str, Table]]
    """By trial and name of the table."""

    def key(self) -> str:
        """Return a name for all cells."""
        return digest(
            (name, kind, vars(table))
            for name, tables in self.tables.items()
            for kind, table in tables.items()
        )

    def outcome(self) -> Outcome:
        """Read every trial and analyse those that can be used."""
        return analyzed(
            {
                name: lambda name=name, tables=tables: trial_from(name, tables)  # type: ignore[misc]
                for name, tables in self.tables.items()
            }
        )


def trial_from(name: str, tables: Mapping[str, Table], told: Iterable[Problem] = ()) -> Trial:
    """Return a trial from its rows of tables that hold many.

    Raises
    ------
    UnusableInput
        With every problem of this trial, those `told` already among them.
    """
    problems = Problems(told)
    for kind in TABLES:
        if kind not in tables:
            what = f"the trial “{name[:40]}” has no row in the table “{kind}”"
            problems.append(Problem("the archive", what, "add its rows, or take the trial out"))
    trial = trial_of(tables, name, problems)
    if problems:
        raise UnusableInput(problems)
    return trial


@dataclass(frozen=True, eq=False)
class ArrayPart:
    """Trials whose readings came as numbers; the other tables are small and come as cells."""

    tables: Mapping[str, Mapping[str, Table]]
    """By trial and name of the table, without `readings`."""
    starts: IntArray
    """Where the readings of each trial begin, and where the last ones end."""
    jar: IntArray
    """Index into `jar_names`."""
    jar_names: tuple[str, ...]
    """In lower case."""
    row: IntArray
    time_d: FloatArray
    columns: Mapping[str, FloatArray]
    table: str
    again: frozenset[str]
    """Trials that need a closer look at their cells."""

    def key(self) -> str:
        """Return a name for all cells and numbers."""
        arrays = (self.starts, self.jar, self.time_d, *self.columns.values())
        cells = TablePart(self.tables).key()
        names = (self.jar_names, tuple(self.columns), sorted(self.again))
        return digest((cells, *names, *arrays))

    def outcome(self) -> Outcome:
        """Analyse the trials in which all is plain; name the others in `again`."""
        sound: dict[str, Callable[[], Trial]] = {}
        again = []
        number_of = {name: number for number, name in enumerate(self.jar_names)}
        places = np.full(len(number_of) + 1, -1)
        for index, name in enumerate(self.tables):
            trial = None if name in self.again else self._trial(index, name, number_of, places)
            if trial is None:
                again.append(name)
            else:
                sound[name] = lambda trial=trial: trial  # type: ignore[misc]
        return replace(analyzed(sound), again=tuple(again))

    def _trial(
        self, index: int, name: str, number_of: Mapping[str, int], places: IntArray
    ) -> Trial | None:
        """Return a trial; `None` where anything about it is not plain.

        `places` is filled with -1, for the place of each name among the trial's jars.
        """
        tables = self.tables[name]
        problems = Problems()
        if not {"trial", "materials", "jars"} <= tables.keys():
            return None
        frame = trial_of(tables, name, problems)
        if problems:
            return None
        here = slice(self.starts[index], self.starts[index + 1])
        own = [number_of.get(jar.name.lower(), len(number_of)) for jar in frame.jars]
        places[own] = np.arange(len(own))
        jar = places[self.jar[here]]
        places[own] = -1
        time_d = self.time_d[here]
        if not jar.size or jar.min() < 0 or not np.isfinite(time_d).all():
            return None
        if time_d.min() < 0.0 or time_d.max() > 3650.0:
            return None
        order = np.lexsort((time_d, jar))
        jar, time_d = jar[order], time_d[order]
        if np.any((np.diff(jar) == 0) & (np.diff(time_d) == 0.0)):
            return None
        none = np.zeros(jar.size, dtype=bool)
        columns = {field: values[here][order] for field, values in self.columns.items()}
        readings = Readings(
            jar, time_d, self.row[here][order], columns, none, none, (), None, self.table
        )
        names = {kind: kind for kind in TABLES}
        trial = replace(frame, readings=readings, unread=empty_readings(self.table))
        return None if check_complete(trial, names) else trial


def analyzed(read: Mapping[str, Callable[[], Trial]]) -> Outcome:
    """Return what came of trials, each of which is read by a function; none stops the others."""
    refused: dict[str, tuple[str, ...]] = {}
    sound: dict[str, Trial] = {}
    for name, reading in read.items():
        try:
            sound[name] = reading()
        except UnusableInput as unusable:
            refused[name] = _lines(unusable)
        except OSError as error:
            refused[name] = (f"{error.filename or name}: {error.strerror or error}",)
    return Outcome((), {}, refused) + _each_if_not_all(sound)


def _each_if_not_all(sound: Mapping[str, Trial]) -> Outcome:
    """Analyse all trials together; one by one where that fails, so that one does not stop all."""
    try:
        return analyze_trials(list(sound), list(sound.values()))
    except Exception as error:
        if len(sound) > 1:
            total = NOTHING
            for name, trial in sound.items():
                total = total + _each_if_not_all({name: trial})
            return total
        words = f"bmp cannot use this and does not know why ({type(error).__name__}: {error})"
        return Outcome((), {}, dict.fromkeys(sound, (words,)))


def _lines(unusable: UnusableInput) -> tuple[str, ...]:
    lines = [" ".join(str(problem).split()) for problem in unusable.problems]
    more = len(lines) - MOST_LINES
    return tuple(lines[:MOST_LINES] + ([f"… and {more} more problems"] if more > 0 else []))
