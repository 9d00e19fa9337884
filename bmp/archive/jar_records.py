"""The jars of some trials of an archive, gone through together.

There are many times more jars than setups or materials. A jar that breaks any rule of
`bmp.read.jar_rules` marks its trial, which is then read cell by cell and told what is wrong.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from bmp.archive.as_arrays import ArrayTable, Texts
from bmp.archive.setup_tables import TableOfTrials
from bmp.jar_columns import SEPARATOR
from bmp.read.jar_rules import (
    EMPTY,
    MASSES,
    UNKNOWN,
    Contents,
    Names,
    broken_names,
    broken_rules,
)
from bmp.trial import BoolArray, FloatArray, IntArray, Jar, Material, Setup


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
    flat = [material for some in materials for material in some]
    named = Names(
        trial=trial,
        name=name.code,
        length=np.array([*map(len, name.words), 0])[name.code],
        measured=np.array(ways, dtype=object),
        material=_named(trial, words["material"], flat),
        inoculum=_named(trial, words["inoculum"], flat),
        with_blank=np.array([setup.blank for setup in setups], dtype=bool)[trial],
        role=np.array([material.role for material in flat], dtype=object),
        of_trial=np.repeat(np.arange(len(materials)), [len(some) for some in materials]),
        told=np.zeros(trial.size, dtype=bool),
    )
    bad = np.any([broken for _, broken in broken_names(named)], axis=0) | rows.needs_cells
    # what is not there stands at the end: `EMPTY` and `UNKNOWN`
    roles = np.append(named.role, ["", ""])[named.content]
    called = [*(material.name for material in flat), "", ""]
    roles[roles == "inoculum"] = "blank"
    grams = {f: np.nan_to_num(_numbers(rows, f)) for f in MASSES}
    headspace_mL = _numbers(rows, "headspace_mL")
    contents = Contents(roles, named.measured, named.with_blank, headspace_mL=headspace_mL, **grams)
    bad |= (roles == "weight check") | broken_rules(contents).any(axis=0)
    sound = np.bincount(trial, minlength=len(names)) > 0
    sound[trial[bad]] = False
    columns = (
        words["name"].written, [called[i] for i in named.content.tolist()], roles.tolist(),
        [called[i] for i in named.inoculum_held.tolist()],
        *(values.tolist() for values in grams.values()),
        [None if value != value else value for value in headspace_mL.tolist()],
        [text or None for text in words["group"].written], ways,
        [text or None for text in words["left_out"].written],
    )  # fmt: skip
    return list(map(Jar, *columns)), trial, name, sound


def _numbers(rows: ArrayTable, field: str) -> FloatArray:
    return rows.numbers.get(field, np.full(rows.needs_cells.size, np.nan))


def _named(trial: IntArray, texts: Texts, materials: Sequence[Material]) -> IntArray:
    """Return which of all materials each jar names, as `Names.material`."""
    place = {material.name.lower(): index for index, material in enumerate(materials)}
    pairs, which = np.unique(trial * (len(texts.words) + 1) + texts.code + 1, return_inverse=True)
    of, word = np.divmod(pairs, len(texts.words) + 1)
    keys = (
        f"{number}{SEPARATOR}{texts.words[at - 1].lower()}" if at else ""
        for number, at in zip(of.tolist(), word.tolist(), strict=True)
    )
    found = [place.get(key, UNKNOWN) if key else EMPTY for key in keys]
    return np.array(found, dtype=np.int64)[which]
