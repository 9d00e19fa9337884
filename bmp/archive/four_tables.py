"""An archive as a folder of four tables: its readings in chunks, the other tables beside them.

A process reads the small tables once and then one chunk of readings after another. What is plain
goes as arrays; a trial in which anything else stands is read cell by cell.
"""

from __future__ import annotations

import warnings
from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

from bmp.archive.as_arrays import ArrayTable, Layout, layout_of, read_as_arrays
from bmp.archive.cell_by_cell import KINDS, by_trial, cell_parts, read_trials, read_whole
from bmp.archive.chunks import Chunk, survey
from bmp.archive.descriptions import descriptions_of
from bmp.archive.joined import join_readings
from bmp.archive.outcome import NOTHING, Outcome, analyze_together
from bmp.archive.parts import ArchivePart, CellPart, OneTrial, digest
from bmp.archive.setup_tables import SmallTables, read_small
from bmp.problem import Problem, Problems, UnusableInput
from bmp.read.columns import READINGS
from bmp.read.reader import TABLES
from bmp.read.tables import csv_files, missing_tables, read_lines

TRIALS_OF_A_MIXED_FILE = 100
SMALL = tuple(kind for kind in KINDS if kind != "readings")


@dataclass(frozen=True)
class Files:
    """The files of an archive, each with its size and time of change."""

    paths: tuple[tuple[str, Path], ...]
    state: tuple[tuple[int, int], ...]

    def __getitem__(self, kind: str) -> Path:
        """Return the file of a table."""
        return dict(self.paths)[kind]


def chunk_parts(place: Path) -> Iterator[ArchivePart]:
    """Return the parts of an archive that is given as a folder of four tables.

    Raises
    ------
    UnusableInput
        A table is missing or cannot be read, or does not say of which trial its rows are.
    """
    files = _files(place)
    layout = _layout(files)
    found = None if layout is None else survey(files["readings"], layout)
    # rows of mixed trials would be read cell by cell again for every part
    if found is None or (found.mixed and _small(files) is None):
        return cell_parts(read_trials(dict(files.paths)))
    groups: list[frozenset[str] | None] = [None]
    if found.mixed:
        names, size = found.names, TRIALS_OF_A_MIXED_FILE
        groups = [frozenset(names[at : at + size]) for at in range(0, len(names), size)]
    parts = [ChunkPart(files, chunk, some) for chunk in found.chunks for some in groups]
    return _with_unread(parts, files, frozenset(found.names))


def _files(place: Path) -> Files:
    """Return the files of an archive.

    Raises
    ------
    UnusableInput
        A table is missing.
    """
    found = csv_files(place)
    missing = missing_tables(place, TABLES, found, "a .csv file")
    if missing:
        raise UnusableInput(missing)
    paths = tuple((kind, found[kind]) for kind in KINDS if kind in found)
    states = [path.stat() for _, path in paths]
    return Files(paths, tuple((state.st_size, state.st_mtime_ns) for state in states))


def _with_unread(
    parts: list[ChunkPart], files: Files, read: frozenset[str]
) -> Iterator[ArchivePart]:
    """Return the parts, and after them the trials that have no reading at all."""
    yield from parts
    small = _small(files)
    names = {*_small_cells(files)} if small is None else small.names
    without = names - read
    if without:
        yield from cell_parts({name: _small_cells(files)[name] for name in sorted(without)})


# --- what a process reads once -------------------------------------------------------------------


@lru_cache(maxsize=1)
def _layout(files: Files) -> Layout | None:
    """Return where the columns of the readings stand; `None` where they must be read cell by cell.

    Raises
    ------
    UnusableInput
        With what is wrong with the header.
    """
    problems: list[Problem] = []
    layout = layout_of(files["readings"], READINGS, problems, [])
    if problems:
        raise UnusableInput(problems)
    return layout if layout is not None and {"jar", "time_d"} <= layout.found.keys() else None


@lru_cache(maxsize=1)
def _small(files: Files) -> SmallTables | None:
    """Return the small tables as arrays; `None` where they must be read cell by cell."""
    paths = dict(files.paths)
    if "crucibles" not in paths:
        return read_small(paths, {})
    problems = Problems()
    tables = read_whole({"crucibles": paths["crucibles"]}, problems)
    if problems:
        return None
    trials = by_trial(tables, ())
    return read_small(paths, {name: own.tables["crucibles"] for name, own in trials.items()})


@lru_cache(maxsize=1)
def _small_cells(files: Files) -> dict[str, OneTrial]:
    """Return the rows of the small tables by trial, cell by cell."""
    return read_trials({kind: path for kind, path in files.paths if kind in SMALL})


@lru_cache(maxsize=1)
def _digest_of_small(files: Files) -> str:
    return digest(path.read_bytes() for kind, path in files.paths if kind in SMALL)


# several parts of a file whose trials are mixed take their rows out of the same chunk
@lru_cache(maxsize=1)
def _digest_of(files: Files, chunk: Chunk) -> str:
    return digest([chunk.read(files["readings"])])


@lru_cache(maxsize=1)
def _plain(files: Files, chunk: Chunk) -> ArrayTable | None:
    layout = _layout(files)
    return None if layout is None else read_as_arrays(chunk.read(files["readings"]), layout)


@dataclass(frozen=True)
class ChunkPart:
    """The trials of some lines of a table of readings."""

    files: Files
    chunk: Chunk
    only: frozenset[str] | None
    """Those to take; `None`: all."""
    look: bool = True
    """For reading errors."""

    def key(self) -> str:
        """Return a name for the lines and all of the small tables."""
        small, own = _digest_of_small(self.files), _digest_of(self.files, self.chunk)
        # problems are told with the names of files and with rows
        names = [path.name for _, path in self.files.paths]
        row, only = self.chunk.row, sorted(self.only or ())
        return digest([small, own, self._header, names, row, only])

    @property
    def _header(self) -> tuple[str, ...]:
        layout = _layout(self.files)
        return () if layout is None else layout.header

    def outcome(self) -> Outcome:
        """Analyse the trials; one in which anything is not plain is read cell by cell."""
        small, table = _small(self.files), _plain(self.files, self.chunk)
        if small is None or table is None:
            return self._closer(self.only)
        names = [name for name in table.trial.words if self.only is None or name in self.only]
        try:
            descriptions = descriptions_of(small, names)
            outcome, left_out = analyze_together(join_readings(descriptions, table), self.look)
        except Exception as error:  # a trial of which nobody knows what is wrong is found singly
            warnings.warn(f"trials are analysed one by one ({error!r})", stacklevel=1)
            outcome, left_out = NOTHING, set(names)
        return outcome + self._closer(frozenset(left_out)) if left_out else outcome

    def _closer(self, names: frozenset[str] | None) -> Outcome:
        """Read some trials cell by cell; all of the chunk where none is named."""
        problems = Problems()
        path = self.files["readings"]
        raw = self.chunk.read(path)
        table = read_lines(raw, path.name, self._header, self.chunk.row, problems)
        readings = by_trial({"readings": table}, problems, names)
        cells = _small_cells(self.files)
        trials = {}
        for name in sorted(readings):
            own, small = readings[name], cells.get(name, OneTrial({}))
            trials[name] = OneTrial({**small.tables, **own.tables}, (*small.told, *own.told))
        return CellPart(trials, self.look).outcome()
