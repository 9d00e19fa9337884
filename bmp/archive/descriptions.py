"""Setups, materials and jars of some trials of an archive, as far as all in them is plain.

What may stand in a cell is said in `bmp.read`, which reads setups and materials here as well. A
trial in which it finds anything wrong is marked; it is then read cell by cell.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import compress

import numpy as np

from bmp.archive.as_arrays import Texts
from bmp.archive.jar_records import jars_of
from bmp.archive.setup_tables import SmallTables, TableOfTrials
from bmp.jar_columns import SEPARATOR, own_name
from bmp.problem import Problem
from bmp.read.cells import Unreadable, moment
from bmp.read.crucibles import read_crucibles, with_crucibles
from bmp.read.records import Rows, materials_of
from bmp.read.setup import read_setup
from bmp.read.tables import CellTable
from bmp.trial import BoolArray, FloatArray, IntArray, Jar, Material, Setup

ONCE = ("title", "started")
"""Items on which no figure rests; all others make a setup what it is."""


@dataclass(frozen=True, eq=False)
class Descriptions:
    """All but the readings of some trials."""

    names: tuple[str, ...]
    sound: BoolArray
    """Trials in which all is plain and as it must be, shape (trials,). Of others what stands here
    means nothing."""
    setups: tuple[Setup, ...]
    materials: tuple[tuple[Material, ...], ...]
    """Of each trial, with its number and `SEPARATOR` before their names."""
    jars: tuple[Jar, ...]
    """Of the sound trials, sorted by trial and name."""
    jar_trial: IntArray
    """Index into `names`, shape (jars,)."""
    jar_name: Texts
    """Their names in lower case."""


def descriptions_of(small: SmallTables, names: Sequence[str]) -> Descriptions:
    """Return what the tables say of some trials."""
    setups, with_setup = _setups(small.trial, names)
    materials, with_materials = _materials(small, names)
    jars, jar_trial, jar_name, with_jars = jars_of(small.jars, names, setups, materials)
    sound = with_setup & with_materials & with_jars
    kept = sound[jar_trial]
    return Descriptions(
        tuple(names), sound, setups, materials, tuple(compress(jars, kept.tolist())),
        jar_trial[kept], jar_name.rows(np.flatnonzero(kept)),
    )  # fmt: skip


# --- setups --------------------------------------------------------------------------------------


def _setups(table: TableOfTrials, names: Sequence[str]) -> tuple[tuple[Setup, ...], BoolArray]:
    """Return the setup of each trial, that of the same items read once, and where all is plain."""
    sound = np.ones(len(names), dtype=bool)
    index, number = table.of(names)
    item, value = (table.rows.texts[field].rows(index).written for field in ("item", "value"))
    written: list[list[tuple[str, str]]] = [[] for _ in names]
    once: list[list[str]] = [[] for _ in names]
    for trial, pair in zip(number.tolist(), zip(item, value, strict=True), strict=True):
        if pair[0].lower() in ONCE:
            once[trial].append(pair[0].lower())
            sound[trial] &= pair[0].lower() != "started" or _is_moment(pair[1])
        else:
            written[trial].append(pair)
    known: dict[tuple[tuple[str, str], ...], Setup | None] = {}
    setups = []
    for trial, pairs in enumerate(written):
        key = tuple(pairs)
        if key not in known:
            known[key] = _setup(table, key)
        setup = known[key]
        setups.append(setup or Setup(""))
        sound[trial] &= setup is not None and len(set(once[trial])) == len(once[trial])
        sound[trial] &= bool(pairs or once[trial])
    return tuple(setups), sound


def _is_moment(text: str) -> bool:
    try:
        return not text or bool(moment(text))
    except Unreadable:
        return False


def _setup(table: TableOfTrials, pairs: tuple[tuple[str, str], ...]) -> Setup | None:
    """Return the setup that items make; `None` where anything is wrong."""
    problems: list[Problem] = []
    rows = tuple((item or None, value or None) for item, value in pairs)
    written = CellTable(table.layout.table, ("item", "value"), rows, tuple(range(2, len(rows) + 2)))
    setup = read_setup(written, "", problems, [], [])
    return None if problems else setup


# --- materials -----------------------------------------------------------------------------------


def _materials(
    small: SmallTables, names: Sequence[str]
) -> tuple[tuple[tuple[Material, ...], ...], BoolArray]:
    """Return the materials of each trial, and where all is plain."""
    sound = np.ones(len(names), dtype=bool)
    table = small.materials
    index, number = table.of(names)
    rows = table.rows.rows(index)
    sound[number[rows.needs_cells]] = False
    if "mixture" in rows.texts:
        # its parts are told by name, and few trials have one
        sound[number[rows.texts["mixture"].code >= 0]] = False
    values: dict[str, FloatArray | list[str]] = {**rows.numbers}
    values |= {field: text.written for field, text in rows.texts.items()}
    values["name"] = [
        f"{trial}{SEPARATOR}{name}" if name else ""
        for trial, name in zip(number.tolist(), values["name"], strict=True)
    ]
    numbered = CellTable(table.layout.table, (), ((),) * index.size, tuple(range(index.size)))
    problems: list[Problem] = []
    found: list[list[Material]] = [[] for _ in names]
    for material, row in materials_of(Rows(numbered, table.layout.found, values), problems):
        found[number[row]].append(material)
    sound[number[[problem.row for problem in problems if problem.row is not None]]] = False
    for trial, name in enumerate(names):
        if name in small.crucibles:
            told: list[Problem] = []
            found[trial] = _with_crucibles(found[trial], small.crucibles[name], told)
            sound[trial] &= not told
    sound &= np.array([bool(some) for some in found], dtype=bool)
    return tuple(map(tuple, found)), sound


def _with_crucibles(
    materials: list[Material], table: CellTable, problems: list[Problem]
) -> list[Material]:
    """Return materials with TS and VS of their crucibles, which call them by their own names."""
    plain = tuple(replace(material, name=own_name(material.name)) for material in materials)
    weighed = with_crucibles(plain, read_crucibles(table, plain, problems, []), [])
    pairs = zip(weighed, materials, strict=True)
    return [replace(material, name=joined.name) for material, joined in pairs]
