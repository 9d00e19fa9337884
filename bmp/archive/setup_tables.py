"""The tables `trial`, `materials` and `jars` of an archive, sorted by trial."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from bmp.archive.as_arrays import ArrayTable, Layout, holds_anything, layout_of, read_as_arrays
from bmp.problem import Problem
from bmp.read.columns import JARS, MATERIALS, KnownColumn
from bmp.read.tables import CellTable
from bmp.trial import IntArray

TRIAL: tuple[KnownColumn, ...] = (KnownColumn("item", "item"), KnownColumn("value", "value"))
KNOWN: Mapping[str, tuple[KnownColumn, ...]] = {
    "trial": TRIAL,
    "materials": MATERIALS,
    "jars": JARS,
}
NEEDED: Mapping[str, tuple[str, ...]] = {
    "trial": ("item", "value"),
    "materials": ("name", "role"),
    "jars": ("name",),
}


@dataclass(frozen=True, eq=False)
class TableOfTrials:
    """One of these tables, its rows sorted by trial and then by their first column."""

    layout: Layout
    rows: ArrayTable
    place: Mapping[str, tuple[int, int]]
    """Where the rows of each trial begin and end."""

    def of(self, trials: Sequence[str]) -> tuple[IntArray, IntArray]:
        """Return the rows of some trials in a row, and which of the trials each belongs to."""
        spans = np.array([self.place.get(name, (0, 0)) for name in trials], dtype=np.int64)
        spans = spans.reshape(len(trials), 2)
        count = spans[:, 1] - spans[:, 0]
        number = np.repeat(np.arange(len(trials)), count)
        within = np.arange(number.size) - np.repeat(np.cumsum(count) - count, count)
        return spans[number, 0] + within, number


@dataclass(frozen=True, eq=False)
class SmallTables:
    """All of an archive but its readings."""

    trial: TableOfTrials
    materials: TableOfTrials
    jars: TableOfTrials
    crucibles: Mapping[str, CellTable]
    """By trial, cell by cell."""

    @property
    def names(self) -> set[str]:
        """Names of all trials that have a row anywhere."""
        return {*self.trial.place, *self.materials.place, *self.jars.place, *self.crucibles}


def read_small(paths: Mapping[str, Path], crucibles: Mapping[str, CellTable]) -> SmallTables | None:
    """Return the tables; `None` where they must be read cell by cell.

    Parameters
    ----------
    paths
        The files of `trial`, `materials` and `jars`.
    crucibles
        Rows of that table by trial.
    """
    trial, materials, jars = (_table(paths[kind], kind) for kind in ("trial", "materials", "jars"))
    if trial is None or materials is None or jars is None:
        return None
    return SmallTables(trial, materials, jars, crucibles)


def _table(path: Path, kind: str) -> TableOfTrials | None:
    problems: list[Problem] = []
    layout = layout_of(path, KNOWN[kind], problems, [])
    if layout is None or problems or not set(NEEDED[kind]) <= layout.found.keys():
        return None
    own = [text.lower() for at, text in enumerate(layout.header) if at != layout.trial]
    if kind == "trial" and own[:2] != ["item", "value"]:
        return None
    lines = path.read_bytes().partition(b"\n")[2]
    rows = read_as_arrays(lines, layout)
    if rows is not None and (rows.trial.code < 0).any():
        rows = read_as_arrays(
            b"\n".join(line for line in lines.split(b"\n") if holds_anything(line)), layout
        )
    if rows is None or (rows.trial.code < 0).any():
        return None
    first = rows.texts[NEEDED[kind][0]].code
    rows = rows.rows(np.lexsort((first, rows.trial.code)))
    ends = np.cumsum(np.bincount(rows.trial.code, minlength=len(rows.trial.words))).tolist()
    place = dict(zip(rows.trial.words, zip([0, *ends], ends, strict=False), strict=True))
    return TableOfTrials(layout, rows, place)
