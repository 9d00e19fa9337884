"""A part of an archive: some trials that one process reads and analyses in one go."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Protocol

import bmp
from bmp.archive.outcome import NOTHING, Outcome, analyze_trials
from bmp.problem import Problem, Problems, UnusableInput
from bmp.read import read_trial
from bmp.read.reader import TABLES, trial_of
from bmp.read.tables import CellTable
from bmp.trial import Trial

MOST_LINES = 50
"""Problems that are kept of one trial; then their number."""


class ArchivePart(Protocol):
    """Some trials of an archive."""

    @property
    def look(self) -> bool:
        """Return whether reading errors are looked for."""

    def key(self) -> str:
        """Return a name that stands for all that the part's results follow from."""

    def outcome(self) -> Outcome:
        """Read and analyse the trials."""


def digest(contents: Iterable[object]) -> str:
    """Return a name for contents and for this version of the tool."""
    name = hashlib.sha256(bmp.__version__.encode(), usedforsecurity=False)
    for content in contents:
        name.update(content if isinstance(content, bytes) else repr(content).encode())
        name.update(b"\x1e")
    return name.hexdigest()[:32]


@dataclass(frozen=True)
class FilePart:
    """Trials that are each a folder or a workbook."""

    names: tuple[str, ...]
    places: tuple[Path, ...]
    look: bool = True
    """For reading errors."""

    def key(self) -> str:
        """Return a name for the names, sizes and times of change of all files."""
        return digest((name, _state(p)) for name, p in zip(self.names, self.places, strict=True))

    def outcome(self) -> Outcome:
        """Read every trial and analyse those that can be used."""
        return analyzed(
            {
                name: lambda place=place: read_trial(place)  # type: ignore[misc]
                for name, place in zip(self.names, self.places, strict=True)
            },
            self.look,
        )


def _state(place: Path) -> list[tuple[str, int, int]]:
    files = sorted(place.iterdir()) if place.is_dir() else [place]
    return [(file.name, file.stat().st_size, file.stat().st_mtime_ns) for file in files]


@dataclass(frozen=True)
class OneTrial:
    """A trial's rows of tables that hold many."""

    tables: Mapping[str, CellTable]
    """By name."""
    told: tuple[Problem, ...] = ()
    """What was found to be wrong with its rows so far."""


@dataclass(frozen=True)
class CellPart:
    """Trials whose rows were picked out of tables that hold many."""

    trials: Mapping[str, OneTrial]
    look: bool = True
    """For reading errors."""

    def key(self) -> str:
        """Return a name for all cells."""
        return digest(
            (name, kind, vars(table))
            for name, trial in self.trials.items()
            for kind, table in trial.tables.items()
        )

    def outcome(self) -> Outcome:
        """Read every trial and analyse those that can be used."""
        return analyzed(
            {
                name: lambda name=name, own=own: trial_from(name, own)  # type: ignore[misc]
                for name, own in self.trials.items()
            },
            self.look,
        )


def trial_from(name: str, own: OneTrial) -> Trial:
    """Return a trial from its rows of tables that hold many.

    Raises
    ------
    UnusableInput
        With every problem of this trial.
    """
    problems = Problems(own.told)
    for kind in TABLES:
        if kind not in own.tables:
            what = f"the trial “{name[:40]}” has no row in the table “{kind}”"
            problems.append(Problem("the archive", what, "add its rows, or take the trial out"))
    trial = trial_of(own.tables, name, problems)
    if problems:
        raise UnusableInput(problems)
    return trial


def analyzed(read: Mapping[str, Callable[[], Trial]], look: bool) -> Outcome:
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
    return Outcome((), {}, refused) + _each_if_not_all(sound, look)


def _each_if_not_all(sound: Mapping[str, Trial], look: bool) -> Outcome:
    """Analyse all trials together; one by one where that fails, so that one does not stop all."""
    try:
        return analyze_trials(list(sound), list(sound.values()), look)
    except Exception as error:
        if len(sound) > 1:
            total = NOTHING
            for name, trial in sound.items():
                total = total + _each_if_not_all({name: trial}, look)
            return total
        words = f"bmp cannot use this and does not know why ({type(error).__name__}: {error})"
        return Outcome((), {}, dict.fromkeys(sound, (words,)))


def _lines(unusable: UnusableInput) -> tuple[str, ...]:
    lines = [" ".join(str(problem).split()) for problem in unusable.problems]
    more = len(lines) - MOST_LINES
    return tuple(lines[:MOST_LINES] + ([f"… and {more} more problems"] if more > 0 else []))
