"""Setups, materials and jars of some trials of an archive, as far as all in them is plain.

What may stand in a cell is said in `bmp.read`. Setups and materials are read by it; jars, of which
there are most, are gone through together here: a jar that fails any rule marks its trial, which is
then read cell by cell, so that `bmp.read` says what is wrong.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import compress

import numpy as np

from bmp.archive.plain import PlainTable
from bmp.archive.small import SmallTables, TableOfTrials
from bmp.problem import Problem
from bmp.read.cells import Unreadable, moment
from bmp.read.crucibles import read_crucibles, with_crucibles
from bmp.read.records import (
    LEAST_HEADSPACE_ML,
    LEAST_MASS_G,
    LONGEST_NAME,
    MOST_HEADSPACE_ML,
    MOST_MASS_G,
    Rows,
    materials_of,
)
from bmp.read.setup import read_setup
from bmp.read.tables import Table
from bmp.trial import WAYS_OF_MEASURING, BoolArray, FloatArray, IntArray, Jar, Material, Setup

SEPARATOR = "\x1f"
"""Stands in joined trials between a trial's number and the name of its material."""
ONCE = ("title", "started")
"""Items on which no figure rests; all others make a setup what it is."""


@dataclass(frozen=True, eq=False)
class Frames:
    """All but the readings of some trials."""

    names: tuple[str, ...]
    sound: BoolArray
    """Trials in which all is plain and as it must be, shape (trials,); the rest means nothing of
    others."""
    setups: tuple[Setup, ...]
    materials: tuple[tuple[Material, ...], ...]
    """Of each trial, with its number and `SEPARATOR` before their names."""
    jars: tuple[Jar, ...]
    """Of the sound trials, sorted by trial and name."""
    jar_trial: IntArray
    """Index into `names`, shape (jars,)."""


def frames_of(small: SmallTables, names: Sequence[str]) -> Frames:
    """Return what the tables say of some trials."""
    setups, with_setup = _setups(small.trial, names)
    materials, with_materials = _materials(small, names)
    jars, jar_trial, with_jars = _jars(small.jars, names, setups, materials)
    sound = with_setup & with_materials & with_jars
    kept = sound[jar_trial]
    return Frames(
        tuple(names), sound, setups, materials, tuple(compress(jars, kept.tolist())),
        jar_trial[kept],
    )  # fmt: skip


# --- setups --------------------------------------------------------------------------------------


def _setups(table: TableOfTrials, names: Sequence[str]) -> tuple[tuple[Setup, ...], BoolArray]:
    """Return the setup of each trial, that of the same items read once, and where all is plain."""
    sound = np.ones(len(names), dtype=bool)
    index, number = table.of(names)
    item, value = table.rows.texts["item"][index], table.rows.texts["value"][index]
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
    own = Table(table.layout.table, ("item", "value"), rows, tuple(range(2, len(rows) + 2)))
    setup = read_setup(own, "", problems, [], [])
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
    sound[number[rows.unplain]] = False
    if "mixture" in rows.texts:
        # its parts are told by name, and few trials have one
        sound[number[rows.texts["mixture"].code >= 0]] = False
    everything = np.arange(index.size)
    values: dict[str, FloatArray | list[str]] = {**rows.numbers}
    values |= {field: text[everything] for field, text in rows.texts.items()}
    values["name"] = [
        f"{trial}{SEPARATOR}{name}" if name else ""
        for trial, name in zip(number.tolist(), values["name"], strict=True)
    ]
    own = Table(table.layout.table, (), ((),) * index.size, tuple(everything.tolist()))
    problems: list[Problem] = []
    found: list[list[Material]] = [[] for _ in names]
    for material, row in materials_of(Rows(own, table.layout.found, values), problems):
        found[number[row]].append(material)
    sound[number[[problem.row for problem in problems if problem.row is not None]]] = False
    for trial in (trial for trial, name in enumerate(names) if name in small.crucibles):
        found[trial] = _with_crucibles(found[trial], small.crucibles[names[trial]], problems := [])
        sound[trial] &= not problems
    sound &= np.array([bool(some) for some in found], dtype=bool)
    return tuple(map(tuple, found)), sound


def _with_crucibles(
    materials: list[Material], table: Table, problems: list[Problem]
) -> list[Material]:
    """Return materials with TS and VS of their crucibles, which call them by their own names."""
    fronts = [material.name.partition(SEPARATOR)[0] + SEPARATOR for material in materials]
    plain = tuple(
        replace(material, name=material.name.removeprefix(front))
        for material, front in zip(materials, fronts, strict=True)
    )
    weighed = with_crucibles(plain, read_crucibles(table, plain, problems, []), [])
    return [
        replace(material, name=front + material.name)
        for material, front in zip(weighed, fronts, strict=True)
    ]


# --- jars ----------------------------------------------------------------------------------------


def _jars(
    table: TableOfTrials,
    names: Sequence[str],
    setups: Sequence[Setup],
    materials: Sequence[Sequence[Material]],
) -> tuple[list[Jar], IntArray, BoolArray]:
    """Return all jars, the trial of each, and the trials in which every jar is as it must be."""
    index, trial = table.of(names)
    rows = table.rows.rows(index)
    everything = np.arange(index.size)
    words = {
        field: rows.texts[field][everything] if field in rows.texts else [""] * index.size
        for field in ("name", "material", "inoculum", "group", "measured", "left_out")
    }
    own = np.array([setup.measured for setup in setups])[trial].tolist()
    ways = [text.lower() or way for text, way in zip(words["measured"], own, strict=True)]
    net = np.array([way == "net yield" for way in ways], dtype=bool)
    of, inoculum, bad = _contents(trial, words, materials, setups, net)
    flat = [material for some in materials for material in some] or [Material("", "")]
    roles = np.array([material.role for material in flat])[of]
    roles[roles == "inoculum"] = "blank"
    grams = {f: np.nan_to_num(_numbers(rows, f)) for f in ("inoculum_g", "sample_g", "water_g")}
    headspace_mL = _numbers(rows, "headspace_mL")
    with_blank = np.array([setup.blank for setup in setups])[trial]
    pressure = np.array([way == "pressure" for way in ways], dtype=bool)
    bad |= rows.unplain | (roles == "weight check") | _bad_names(trial, words["name"])
    bad |= np.array([way not in WAYS_OF_MEASURING for way in ways], dtype=bool)
    bad |= ~net & _bad_masses(grams, roles == "blank", with_blank)
    bad |= ~net & _bad_headspace(headspace_mL, pressure)
    sound = np.bincount(trial, minlength=len(names)) > 0
    sound[trial[bad]] = False
    columns = (
        words["name"], [flat[i].name for i in of.tolist()], roles.tolist(),
        [flat[i].name if i >= 0 else "" for i in inoculum.tolist()],
        *(values.tolist() for values in grams.values()),
        [None if value != value else value for value in headspace_mL.tolist()],
        [text or None for text in words["group"]], ways,
        [text or None for text in words["left_out"]],
    )  # fmt: skip
    return list(map(Jar, *columns)), trial, sound


def _numbers(rows: PlainTable, field: str) -> FloatArray:
    return rows.numbers.get(field, np.full(rows.unplain.size, np.nan))


def _contents(
    trial: IntArray,
    words: Mapping[str, list[str]],
    materials: Sequence[Sequence[Material]],
    setups: Sequence[Setup],
    net: BoolArray,
) -> tuple[IntArray, IntArray, BoolArray]:
    """Return the material and the inoculum of each jar among all materials, and jars without.

    The inoculum is -1 where a jar needs none. The rules are those of `bmp.read.records`.
    """
    counts = [len(some) for some in materials]
    of_trial = np.repeat(np.arange(len(materials)), counts)
    flat = [material for some in materials for material in some]
    inocula = np.array([material.role == "inoculum" for material in flat], dtype=bool)
    place = {material.name.lower(): index for index, material in enumerate(flat)}

    def named(texts: list[str]) -> IntArray:
        pairs = zip(trial.tolist(), texts, strict=True)
        keys = (f"{number}{SEPARATOR}{text.lower()}" for number, text in pairs)
        return np.array([place.get(key, -1) for key in keys], dtype=np.int64)

    given = np.array([bool(text) for text in words["material"]], dtype=bool)
    said = np.array([bool(text) for text in words["inoculum"]], dtype=bool)
    own, inoculum = named(words["material"]), named(words["inoculum"])
    is_inoculum = np.append(inocula, False)
    bad = (given & (own < 0)) | (said & ~is_inoculum[inoculum])
    number = np.bincount(of_trial[inocula], minlength=len(materials))
    only = np.full(len(materials), -1)
    only[of_trial[inocula]] = np.flatnonzero(inocula)
    only[number != 1] = -1
    inoculum = np.where(said, inoculum, only[trial])
    with_blank = np.array([setup.blank for setup in setups], dtype=bool)[trial]
    needs_none = net | is_inoculum[own] | ((number[trial] == 0) & ~with_blank)
    bad |= (inoculum < 0) & ~needs_none
    material = np.where(given, own, inoculum)
    bad |= material < 0
    # a blank holds the inoculum that it is named for
    return material, np.where(is_inoculum[material], material, inoculum), bad


def _bad_names(trial: IntArray, names: list[str]) -> BoolArray:
    """Mark jars without a name, with a long one, or with one that stands twice in their trial."""
    seen: set[tuple[int, str]] = set()
    bad = np.zeros(trial.size, dtype=bool)
    for index, key in enumerate(zip(trial.tolist(), map(str.lower, names), strict=True)):
        bad[index] = not 0 < len(key[1]) <= LONGEST_NAME or key in seen
        seen.add(key)
    return bad


def _bad_masses(
    grams: Mapping[str, FloatArray], blank: BoolArray, with_blank: BoolArray
) -> BoolArray:
    bad = np.zeros(blank.size, dtype=bool)
    for value in grams.values():
        bad |= (value != 0.0) & ~((value >= LEAST_MASS_G) & (value < MOST_MASS_G))
    bad |= with_blank & (grams["inoculum_g"] == 0.0)
    bad |= (grams["sample_g"] > 0.0) == blank
    return bad


def _bad_headspace(headspace_mL: FloatArray, needed: BoolArray) -> BoolArray:
    unknown = np.isnan(headspace_mL)
    fits = (headspace_mL >= LEAST_HEADSPACE_ML) & (headspace_mL < MOST_HEADSPACE_ML)
    bad: BoolArray = (unknown & needed) | (~unknown & ~fits)
    return bad
