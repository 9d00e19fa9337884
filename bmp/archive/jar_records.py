"""The jars of some trials of an archive, gone through together.

There are many times more jars than setups or materials. A jar that fails any rule of
`bmp.read.records` marks its trial, which is then read cell by cell, so that the words for what is
wrong stand there alone.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from bmp.archive.as_arrays import ArrayTable, Texts
from bmp.archive.setup_tables import TableOfTrials
from bmp.jar_columns import SEPARATOR
from bmp.read.jar_rules import MASSES, Contents, broken_rules
from bmp.read.records import LONGEST_NAME
from bmp.trial import WAYS_OF_MEASURING, BoolArray, FloatArray, IntArray, Jar, Material, Setup


def jars_of(
    table: TableOfTrials,
    names: Sequence[str],
    setups: Sequence[Setup],
    materials: Sequence[Sequence[Material]],
) -> tuple[list[Jar], IntArray, Texts, BoolArray]:
    """Return all jars of some trials, and the trials in which every jar is as it must be.

    Parameters
    ----------
    table
        The table `jars`.
    names, setups, materials
        Of the trials; the names of materials with the trial's number and `SEPARATOR` in front.

    Returns
    -------
    jars
        One that is not as it must be means nothing.
    trial : ndarray of int, shape (jars,)
    name : Texts
        In lower case.
    sound : ndarray of bool, shape (trials,)
    """
    index, trial = table.of(names)
    rows = table.rows.rows(index)
    words = {
        field: rows.texts.get(field, Texts(np.full(index.size, -1), ()))
        for field in ("name", "material", "inoculum", "group", "measured", "left_out")
    }
    name = words["name"].lower()
    usual = np.array([setup.measured for setup in setups])[trial].tolist()
    ways = [text or way for text, way in zip(words["measured"].lower().written, usual, strict=True)]
    measured = np.array(ways, dtype=object)
    net = measured == "net yield"
    with_blank = np.array([setup.blank for setup in setups], dtype=bool)[trial]
    of, inoculum, bad = _contents(trial, words, materials, net, with_blank)
    flat = [material for some in materials for material in some] or [Material("", "")]
    roles = np.array([material.role for material in flat])[of]
    roles[roles == "inoculum"] = "blank"
    grams = {f: np.nan_to_num(_numbers(rows, f)) for f in MASSES}
    headspace_mL = _numbers(rows, "headspace_mL")
    bad |= rows.needs_cells | (roles == "weight check") | _bad_names(trial, name)
    bad |= np.array([way not in WAYS_OF_MEASURING for way in ways], dtype=bool)
    contents = Contents(roles, measured, with_blank, headspace_mL=headspace_mL, **grams)
    bad |= broken_rules(contents).any(axis=0)
    sound = np.bincount(trial, minlength=len(names)) > 0
    sound[trial[bad]] = False
    columns = (
        words["name"].written, [flat[i].name for i in of.tolist()], roles.tolist(),
        [flat[i].name if i >= 0 else "" for i in inoculum.tolist()],
        *(values.tolist() for values in grams.values()),
        [None if value != value else value for value in headspace_mL.tolist()],
        [text or None for text in words["group"].written], ways,
        [text or None for text in words["left_out"].written],
    )  # fmt: skip
    return list(map(Jar, *columns)), trial, name, sound


def _numbers(rows: ArrayTable, field: str) -> FloatArray:
    return rows.numbers.get(field, np.full(rows.needs_cells.size, np.nan))


def _contents(
    trial: IntArray,
    words: Mapping[str, Texts],
    materials: Sequence[Sequence[Material]],
    net: BoolArray,
    with_blank: BoolArray,
) -> tuple[IntArray, IntArray, BoolArray]:
    """Return the material and the inoculum of each jar among all materials, and jars without.

    The inoculum is -1 where a jar needs none, and -1 stands for a material that is not there: it is
    no inoculum, which the last place of `is_inoculum` says. The rules are those of
    `bmp.read.records`.
    """
    of_trial = np.repeat(np.arange(len(materials)), [len(some) for some in materials])
    flat = [material for some in materials for material in some]
    inocula = np.array([material.role == "inoculum" for material in flat], dtype=bool)
    place = {material.name.lower(): index for index, material in enumerate(flat)}
    named, inoculum = (_named(trial, words[field], place) for field in ("material", "inoculum"))
    given, said = (words[field].code >= 0 for field in ("material", "inoculum"))
    is_inoculum = np.append(inocula, False)
    bad = (given & (named < 0)) | (said & ~is_inoculum[inoculum])
    number = np.bincount(of_trial[inocula], minlength=len(materials))
    only = np.full(len(materials), -1)
    only[of_trial[inocula]] = np.flatnonzero(inocula)
    only[number != 1] = -1
    inoculum = np.where(said, inoculum, only[trial])
    needs_none = net | is_inoculum[named] | ((number[trial] == 0) & ~with_blank)
    bad |= (inoculum < 0) & ~needs_none
    material = np.where(given, named, inoculum)
    bad |= material < 0
    # a blank holds the inoculum that it is named for
    return material, np.where(is_inoculum[material], material, inoculum), bad


def _named(trial: IntArray, texts: Texts, place: Mapping[str, int]) -> IntArray:
    """Return the material that each jar names; -1 where its trial has none of that name."""
    width = len(texts.words) + 1
    pairs, which = np.unique(trial * width + texts.code + 1, return_inverse=True)
    words = ("", *texts.words)
    keys = (f"{key // width}{SEPARATOR}{words[key % width].lower()}" for key in pairs.tolist())
    return np.array([place.get(key, -1) for key in keys], dtype=np.int64)[which]


def _bad_names(trial: IntArray, names: Texts) -> BoolArray:
    """Mark jars without a name, with a long one, or with one that stands twice in their trial."""
    long = np.array([*(len(word) > LONGEST_NAME for word in names.words), False], dtype=bool)
    key = trial * (len(names.words) + 1) + names.code
    _, which, count = np.unique(key, return_inverse=True, return_counts=True)
    bad: BoolArray = (names.code < 0) | long[names.code] | (count[which] > 1)
    return bad
