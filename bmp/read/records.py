"""The tables `materials` and `jars` as records, with every gap and clash told."""

from __future__ import annotations

from collections.abc import Mapping, Sequence, Set
from dataclasses import dataclass, replace
from math import hypot
from typing import Any

import numpy as np

from bmp.limits import POSSIBLE
from bmp.problem import Problem, shown
from bmp.read.cells import words
from bmp.read.columns import (
    JARS,
    MATERIALS,
    Found,
    KnownColumn,
    example_header,
    match_columns,
    numbers,
    one_of,
)
from bmp.read.jar_rules import (
    EMPTY,
    JAR_RULES,
    LONGEST_NAME,
    MASSES,
    UNKNOWN,
    Contents,
    JarRule,
    Names,
    broken_names,
    broken_rules,
)
from bmp.read.mixture import EXAMPLE, NoMixture, mixture
from bmp.read.tables import CellTable
from bmp.theory import theories_of
from bmp.trial import BoolArray, Jar, Material, Setup

LEAST_SHARE = 1e-6
ROLES = ("inoculum", "substrate", "control", "weight check")


@dataclass(frozen=True)
class Rows:
    """A table's known columns: numbers and words by field, NaN and `` where a cell is empty."""

    table: CellTable
    found: Mapping[str, Found]
    values: Mapping[str, Any]
    known: tuple[KnownColumn, ...] = ()
    """What the table may hold, for naming a column that it lacks."""

    def number(self, field: str, index: int) -> float | None:
        """Return a number of a row, `None` where it was not given."""
        if field not in self.values:
            return None
        value = float(self.values[field][index])
        return None if value != value else value

    def text(self, field: str, index: int) -> str:
        """Return the words of a row."""
        return str(self.values[field][index]) if field in self.values else ""

    def problem(self, index: int, field: str, what: str, wanted: str) -> Problem:
        """Return a problem placed at a cell."""
        lacking = next((example_header(k) for k in self.known if k.field == field), field)
        header = self.found[field].header if field in self.found else lacking.strip("“”")
        return Problem(self.table.name, what, wanted, self.table.row_numbers[index], header)


def read_rows(
    table: CellTable, known: tuple[KnownColumn, ...], problems: list[Problem], ignored: list[str]
) -> Rows:
    """Return a table's cells by known field."""
    found = match_columns(table, known, problems, ignored)
    values = {
        field: numbers(table, column, problems)
        if column.known.is_number
        else [words(row[column.index]) for row in table.rows]
        for field, column in found.items()
    }
    return Rows(table, found, values, known)


def read_materials(
    table: CellTable, problems: list[Problem], ignored: list[str], unread: set[str] | None = None
) -> tuple[Material, ...]:
    """Return the materials; problems and unused columns are added to the lists.

    `unread` takes the names of those that could not be read, in lower case.
    """
    rows = read_rows(table, MATERIALS, problems, ignored)
    return _with_mixtures(rows, materials_of(rows, problems, unread), problems)


def _with_mixtures(
    rows: Rows, found: list[tuple[Material, int]], problems: list[Problem]
) -> tuple[Material, ...]:
    """Put in what each mixed material was mixed from, once all names are known."""
    names = [material.name for material, _ in found]
    mixed = []
    for material, index in found:
        text = rows.text("mixture", index)
        try:
            parts = mixture(text, names) if text else None
            mixed.append(replace(material, mixture=parts))
        except NoMixture as error:
            problems.append(rows.problem(index, "mixture", str(error), f"write it {EXAMPLE}"))
    return tuple(mixed)


def materials_of(
    rows: Rows, problems: list[Problem], unread: set[str] | None = None
) -> list[tuple[Material, int]]:
    """Return the materials of the rows, each with the index of its row; `unread` as above."""
    unread = set() if unread is None else unread
    if not _has(rows, ("name", "role"), ("material", "role"), problems):
        unread.update(words(cell).lower() for row in rows.table.rows for cell in row)
        return []
    materials: dict[str, tuple[Material, int]] = {}
    for index in range(len(rows.table.rows)):
        name, role = rows.text("name", index), rows.text("role", index).lower()
        if not name:
            problems.append(rows.problem(index, "name", "a material has no name", "give it one"))
        elif len(name) > LONGEST_NAME:
            unread.add(name.lower())
            problems.append(rows.problem(index, "name", *_too_long(name)))
        elif name.lower() in materials:
            problems.append(
                rows.problem(index, "name", f"{shown(name)} stands twice", "keep one row")
            )
        else:
            if role not in ROLES:
                what = f"{shown(role or None)} is no role"
                wanted = f"write one of: {', '.join(ROLES)}"
                problems.append(rows.problem(index, "role", what, wanted))
                role = _only_role_left(rows, index)
            if role:
                materials[name.lower()] = _material(rows, index, name, role, problems), index
            else:
                unread.add(name.lower())
    return list(materials.values())


def _only_role_left(rows: Rows, index: int) -> str:
    """Return the role that a material has where all others' are known; empty: nobody can tell.

    So what is wrong with it, its jars and their readings is told in the same run.
    """
    others = {rows.text("role", i).lower() for i in range(len(rows.table.rows)) if i != index}
    if not others <= {*ROLES}:
        return ""
    return "substrate" if "inoculum" in others else "inoculum"


def _too_long(name: str) -> tuple[str, str]:
    wanted = f"at most {LONGEST_NAME}, so that it fits into tables and pictures"
    return f"the name {shown(name)} has {len(name)} characters", wanted


def _has(
    rows: Rows, fields: tuple[str, ...], names: tuple[str, ...], problems: list[Problem]
) -> bool:
    missing = [name for field, name in zip(fields, names, strict=True) if field not in rows.found]
    for name in missing:
        problems.append(Problem(rows.table.name, f"there is no column “{name}”", "add it", 1))
    return not missing


_MATERIAL_NUMBERS = frozenset(known.field for known in MATERIALS if known.is_number)
_SHARES = (
    "TS",
    "VS",
    "methane_share",
    "methane_share_half_width",
    "carbohydrate",
    "protein",
    "lipid",
    "carbon",
    "nitrogen",
)


def _material(rows: Rows, index: int, name: str, role: str, problems: list[Problem]) -> Material:
    given: dict[str, float | None] = {
        field: rows.number(field, index) for field in rows.values if field in _MATERIAL_NUMBERS
    }
    for field in _SHARES:
        share = given.get(field)
        if share is not None and not _can_be(field, share):
            what = f"{100 * share:.4g} % cannot be"
            wanted = "a share lies between 0 and 100 %"
            problems.append(rows.problem(index, field, what, wanted))
            given[field] = None
    for field, value in given.items():
        if value is not None and value < 0.0:
            what = f"{shown(name)}: {value:.4g} cannot be"
            problems.append(rows.problem(index, field, what, "it is not below zero"))
    acidity, possible = given.get("pH"), POSSIBLE["pH"]
    if acidity is not None and acidity > possible.high:
        what = f"{shown(name)}: a pH of {acidity:.4g} cannot be"
        problems.append(rows.problem(index, "pH", what, f"it lies {possible.words}"))
    for field in ("VS", "VS_u"):
        given |= _per_fresh_mass(rows, index, field, given, name, problems)
    if "VS" in rows.found and rows.found["VS"].of == "TS" and given.get("TS_u") is not None:
        given["VS_u"] = _u_of_product(given)
    given |= _freedom(rows, index, given, problems)
    solids, volatile = given.get("TS"), given.get("VS")
    if solids is not None and volatile is not None and volatile > solids * (1 + 1e-9):
        what = f"VS ({100 * volatile:.4g} % of fresh mass) is more than TS ({100 * solids:.4g} %)"
        wanted = "VS is a part of TS: say of what each is a share"
        problems.append(rows.problem(index, "VS", f"{shown(name)}: {what}", wanted))
    formula = rows.text("formula", index) or None
    source = rows.text("solids_from", index)
    source = "" if source.lower() == "measured" else source
    material = Material(
        name=name, role=role, formula=formula, solids_from=source or None,
        origin=rows.text("origin", index) or None,
        storage=rows.text("storage", index) or None,
        pretreatment=rows.text("pretreatment", index) or None,
        **given,  # type: ignore[arg-type]
    )  # fmt: skip
    return _with_possible_theory(rows, index, material, problems)


def _with_possible_theory(
    rows: Rows, index: int, material: Material, problems: list[Problem]
) -> Material:
    """Return the material; a formula or composition that cannot be is a problem, and left out."""
    try:
        theories_of(material)
        return material
    except ValueError as error:
        wanted = "correct it, or leave the cell empty"
        field = "formula" if material.formula else "carbohydrate"
        problems.append(rows.problem(index, field, f"{material.name}: {error}", wanted))
        return replace(material, formula=None, carbohydrate=None, protein=None, lipid=None)


def _can_be(field: str, share: float) -> bool:
    return LEAST_SHARE <= share <= 1.0 if field in ("TS", "VS") else 0.0 <= share <= 1.0


def _freedom(
    rows: Rows, index: int, given: Mapping[str, float | None], problems: list[Problem]
) -> dict[str, float | None]:
    """Return the degrees of freedom of the solids' errors, where their replicates are told."""
    count = given.get("solids_replicates")
    if count is None:
        return {}
    if count < 1 or count != round(count):
        what, wanted = f"{count:.4g} is not a number of samples", "a whole number, 1 or more"
        problems.append(rows.problem(index, "solids_replicates", what, wanted))
        return {"solids_replicates": None}
    return {
        name: count - 1 if count > 1 and given.get(f"{solid}_u") else None
        for name, solid in (("TS_dof", "TS"), ("VS_dof", "VS"))
    }


def _u_of_product(given: Mapping[str, float | None]) -> float | None:
    """Return the uncertainty of VS per fresh mass where it was handed in per TS."""
    solids, volatile = given.get("TS"), given.get("VS")
    if not solids or volatile is None:
        return given.get("VS_u")
    return float(hypot(given.get("VS_u") or 0.0, volatile / solids * (given["TS_u"] or 0.0)))


def _per_fresh_mass(
    rows: Rows,
    index: int,
    field: str,
    given: Mapping[str, float | None],
    name: str,
    problems: list[Problem],
) -> dict[str, float | None]:
    """Return a share of TS as a share of fresh mass."""
    share, solids = given.get(field), given.get("TS")
    if share is None or rows.found[field].of != "TS":
        return {}
    if solids is None:
        what = f"{shown(name)}: VS is given per TS, and there is no TS"
        problems.append(rows.problem(index, field, what, "give TS as well, or VS of fresh mass"))
        return {}
    return {field: share * solids}


def read_jars(
    table: CellTable,
    materials: tuple[Material, ...],
    setup: Setup,
    problems: list[Problem],
    ignored: list[str],
    unread_materials: Set[str] = frozenset(),
    unread: set[str] | None = None,
) -> tuple[Jar, ...]:
    """Return the jars; problems and unused columns are added to the lists.

    `unread` takes the names of jars that could not be read, in lower case; nothing is told of a
    jar of one of `unread_materials`, since that material's own problem is told.
    """
    unread = set() if unread is None else unread
    rows = read_rows(table, JARS, problems, ignored)
    if not _has(rows, ("name",), ("jar",), problems):
        return ()
    names = _names(rows, materials, setup, unread_materials)
    broken = broken_names(names)
    sound = ~names.told & ~np.any([which for _, which in broken], axis=0)
    indices = np.flatnonzero(sound).tolist()
    jars = tuple(_jar(rows, index, materials, names) for index in indices)
    written = [rows.text("name", index).lower() for index in range(len(table.rows))]
    unread.update(
        {name for name, good in zip(written, sound, strict=True) if name and not good}
        - {jar.name.lower() for jar in jars}
    )
    found = _name_problems(rows, broken, names, materials) + _broken(rows, jars, indices, setup)
    problems += sorted(found, key=lambda problem: problem.row or 0)
    return jars


def _names(
    rows: Rows, materials: Sequence[Material], setup: Setup, unread_materials: Set[str]
) -> Names:
    """Return the names in the rows of a trial's jars."""
    count = len(rows.table.rows)
    name, material, inoculum, measured = (
        [rows.text(field, index) for index in range(count)]
        for field in ("name", "material", "inoculum", "measured")
    )
    place = {one.name.lower(): number for number, one in enumerate(materials)}
    number = {one: index for index, one in enumerate(dict.fromkeys(map(str.lower, name)))}
    of, held = (
        np.array([place.get(text.lower(), UNKNOWN) if text else EMPTY for text in texts], int)
        for texts in (material, inoculum)
    )
    check = np.array([*(one.role == "weight check" for one in materials), False, False])[of]
    ways = [way.lower() or setup.measured for way in measured]
    named = zip(map(str.lower, material), map(str.lower, inoculum), strict=True)
    return Names(
        trial=np.zeros(count, dtype=np.int64),
        name=np.array([number[one.lower()] if one else -1 for one in name], dtype=np.int64),
        length=np.array([len(one) for one in name], dtype=np.int64),
        measured=np.where(check, "mass", np.array(ways, dtype=object)),
        material=of,
        inoculum=held,
        with_blank=np.full(count, setup.blank),
        role=np.array([one.role for one in materials], dtype=object),
        of_trial=np.zeros(len(materials), dtype=np.int64),
        told=np.array(
            [
                bool(unread_materials) and (not materials or not unread_materials.isdisjoint(both))
                for both in named
            ],
            dtype=bool,
        ),
    )


def _name_problems(
    rows: Rows,
    broken: Sequence[tuple[JarRule, BoolArray]],
    names: Names,
    materials: Sequence[Material],
) -> list[Problem]:
    """Return a problem for each rule for names that a jar breaks, in the order of the rows."""
    inocula = one_of([one.name for one in materials if one.role == "inoculum"])
    every = one_of([one.name for one in materials])
    found = []
    for index, which in zip(*np.nonzero([which for _, which in broken])[::-1], strict=True):
        rule = broken[which][0]
        name = rows.text("name", index)
        value = names.measured[index] if rule.field == "measured" else rows.text(rule.field, index)
        what = rule.what.format(name=shown(name), length=len(name), value=shown(value))
        wanted = rule.wanted.format(inocula=inocula, materials=every)
        found.append(rows.problem(index, rule.field, what, wanted))
    return found


def _jar(rows: Rows, index: int, materials: Sequence[Material], names: Names) -> Jar:
    material, inoculum = (
        materials[at] if at >= 0 else None
        for at in (names.content[index], names.inoculum_held[index])
    )
    assert material is not None
    return Jar(
        name=rows.text("name", index),
        material=material.name,
        role="blank" if material.role == "inoculum" else material.role,
        inoculum="" if inoculum is None else inoculum.name,
        headspace_mL=rows.number("headspace_mL", index),
        group=rows.text("group", index) or None,
        measured=str(names.measured[index]),
        left_out=rows.text("left_out", index) or None,
        **{f: rows.number(f, index) or 0.0 for f in MASSES},
    )


def _broken(rows: Rows, jars: Sequence[Jar], indices: Sequence[int], setup: Setup) -> list[Problem]:
    """Return a problem for each rule that a jar breaks; the row of each jar is in `indices`."""
    numbers_of = {
        field: np.array([rows.number(field, index) for index in indices], dtype=np.float64)
        for field in (*MASSES, "headspace_mL")
    }
    grams = {field: np.nan_to_num(numbers_of[field]) for field in MASSES}
    contents = Contents(
        role=np.array([jar.role for jar in jars], dtype=object),
        measured=np.array([jar.measured for jar in jars], dtype=object),
        with_blank=np.full(len(jars), setup.blank),
        headspace_mL=numbers_of["headspace_mL"],
        **grams,
    )
    found = []
    for jar, which in zip(*np.nonzero(broken_rules(contents).T), strict=True):
        rule = JAR_RULES[which]
        what = rule.what.format(
            name=shown(jars[jar].name), value=getattr(contents, rule.field)[jar]
        )
        found.append(rows.problem(indices[jar], rule.field, what, rule.wanted))
    return found
