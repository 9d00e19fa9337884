"""Read a trial whole: every problem is found in one pass, then all are told together."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from bmp.problem import Problem, Problems, UnusableInput
from bmp.read.cells import words
from bmp.read.complete import check_complete
from bmp.read.crucibles import read_crucibles, with_crucibles
from bmp.read.readings import at_station, empty_readings, read_readings
from bmp.read.records import read_jars, read_materials
from bmp.read.setup import read_setup
from bmp.read.tables import CellTable, missing_tables, read_tables
from bmp.read.takeover.answers import answers_path, is_trial
from bmp.read.tank import TANK_TABLES, read_tank, read_tank_feeds
from bmp.read.unread import split_unread
from bmp.trial import Jar, Material, Readings, Setup, Trial

if TYPE_CHECKING:
    from bmp.read.takeover.take import TakenOver

TABLES = ("trial", "materials", "jars", "readings")


def read_trial(place: Path, unfinished: bool = False) -> Trial:
    """Read the four tables of a trial, and those of its main tank where there are such.

    Parameters
    ----------
    place : Path
        A workbook (`.xlsx`) with the sheets `trial`, `materials`, `jars` and `readings`, or a
        folder with `.csv` files of these names. Beside them may
        stand `crucibles`, which gives TS and VS, and `tank` with `tank feeds`.
    unfinished : bool
        Whether the trial still runs, so that a jar may have no reading yet.

    Raises
    ------
    UnusableInput
        With every problem found, each with its table, row and column.
    """
    trial, problems = read_with_problems(place, unfinished)
    if problems:
        raise UnusableInput(problems)
    return trial


def read_with_problems(place: Path, unfinished: bool = False) -> tuple[Trial, tuple[Problem, ...]]:
    """Return a trial as far as it can be read, and every problem, for looking at it all the same.

    Raises
    ------
    UnusableInput
        There is nothing to look at: a table is missing or cannot be opened.
    """
    if answers_path(place).is_file() and not is_trial(place):
        return _taken_over(place, unfinished)
    if place.is_file() and place.suffix.lower() in (".csv", ".tsv"):
        raise UnusableInput([own_sheet(place)])
    problems = Problems()
    tables = read_tables(place, (*TABLES, "crucibles", *TANK_TABLES), problems)
    missing = [name for name in TABLES if name not in tables]
    # a table that could not be read has its problem already, and so has a damaged workbook
    told = {problem.table.lower() for problem in problems}
    absent = (
        name for name in missing if not told & {f"{name}.csv", f"sheet {name}", place.name.lower()}
    )
    if len(missing) == len(TABLES):
        raise UnusableInput(problems or [own_sheet(place)])
    problems.extend(missing_tables(place, absent, tables))
    trial = trial_of(tables, place.stem, problems, unfinished)
    if missing:
        raise UnusableInput(problems)
    return trial, tuple(problems)


def own_sheet(place: Path) -> Problem:
    """Return the way out for a sheet that is not in the four tables of a trial."""
    what = f"the tables {', '.join(TABLES)} are not in it"
    wanted = f"if it is a sheet of your own making, type  bmp start “{place.name}”"
    return Problem(place.name, what, wanted)


def _taken_over(place: Path, unfinished: bool) -> tuple[Trial, tuple[Problem, ...]]:
    """Return the trial of a sheet of its owner's own, read by the answers beside it."""
    from bmp.read.takeover.take import in_own_words, taken_with_problems

    taken, open_ones = taken_with_problems(place)
    problems = Problems()
    trial = trial_of(taken.tables, place.resolve().stem, problems, unfinished)
    if open_ones:
        # what is wrong in a cell is so whatever the answers; what lacks may only follow from them
        told = (in_own_words(one, taken) for one in problems if one.column or _said(one, taken))
        places = {(one.table, one.row, one.column) for one in open_ones}
        more = [one for one in told if (one.table, one.row, one.column) not in places]
        raise UnusableInput([*open_ones, *more])
    trial = replace(trial, assumed=(*taken.said, *trial.assumed))
    return trial, tuple(in_own_words(problem, taken) for problem in problems)


def _said(problem: Problem, taken: TakenOver) -> bool:
    """Tell whether a problem is about what a person answered for the whole trial."""
    return problem.table == taken.tables["trial"].name and problem.row not in (None, 1)


def trial_of(
    tables: Mapping[str, CellTable], title: str, problems: list[Problem], unfinished: bool = False
) -> Trial:
    """Return a trial as far as its tables can be read; what is wrong is added to the list.

    Parameters
    ----------
    tables
        By name. Of a table that is missing nothing is told, nor of what lacks in consequence.
    title
        Used where the table `trial` gives none.
    unfinished
        As in `read_trial`.
    """
    ignored: list[str] = []
    assumed: list[str] = []
    bad: set[str] = set()
    setup = Setup(title)
    if "trial" in tables:
        setup = read_setup(tables["trial"], title, problems, ignored, assumed)
    materials = _materials(tables, problems, ignored, assumed, bad)
    jars, readings = _jars_and_readings(tables, materials, setup, problems, ignored, bad)
    tank, feeds = _tank(tables, materials, jars, problems, ignored)
    if setup.ambient_reduced and setup.altitude_m is not None:
        readings = at_station(readings, setup.altitude_m)
    readings, unread = split_unread(readings)
    ignored += _waiting(unread, problems)
    trial = Trial(
        setup, materials, jars, readings, tuple(assumed), tuple(ignored), unread, tank, feeds
    )
    if not unfinished and all(name in tables for name in TABLES):
        names = {name: tables[name].name for name in TABLES}
        problems.extend(check_complete(trial, names, problems, bad))
    return trial


def _waiting(unread: Readings, problems: list[Problem]) -> list[str]:
    """Say how many rows wait for their reading; a row whose cells cannot be read does not."""
    told = {problem.row for problem in problems if problem.table == unread.table}
    count = 0 if 1 in told else len(set(unread.row.tolist()) - told)
    if not count:
        return []
    waiting = f"{count} rows wait for their" if count > 1 else "1 row waits for its"
    return [f"{unread.table}: {waiting} reading"]


def _materials(
    tables: Mapping[str, CellTable],
    problems: list[Problem],
    ignored: list[str],
    assumed: list[str],
    bad: set[str],
) -> tuple[Material, ...]:
    """Return the materials with their solids; names that could not be read go to `bad`."""
    if "materials" not in tables:
        return ()
    materials = read_materials(tables["materials"], problems, ignored, bad)
    if "crucibles" in tables:
        solids = read_crucibles(tables["crucibles"], materials, problems, ignored)
        materials = with_crucibles(materials, solids, assumed)
    assumed += [
        f"The solids of {material.name} are not measured but from: {material.solids_from}."
        for material in materials
        if material.solids_from is not None
    ]
    return materials


def _jars_and_readings(
    tables: Mapping[str, CellTable],
    materials: tuple[Material, ...],
    setup: Setup,
    problems: list[Problem],
    ignored: list[str],
    bad: set[str],
) -> tuple[tuple[Jar, ...], Readings]:
    """Return jars and readings; nothing is told of what only follows from a name in `bad`."""
    jars: tuple[Jar, ...] = ()
    if "jars" in tables:
        known = bad if "materials" in tables else _texts(tables["jars"])
        bad_jars: set[str] = set()
        jars = read_jars(tables["jars"], materials, setup, problems, ignored, known, bad_jars)
        bad |= bad_jars
    if "readings" not in tables:
        return jars, empty_readings("readings")
    known = bad if jars else _texts(tables["readings"])
    return jars, read_readings(tables["readings"], jars, setup, problems, ignored, known)


def _texts(table: CellTable) -> set[str]:
    """Return every text of a table: names that cannot be checked count as known."""
    return {words(cell).lower() for row in table.rows for cell in row}


def _tank(
    tables: Mapping[str, CellTable],
    materials: tuple[Material, ...],
    jars: tuple[Jar, ...],
    problems: list[Problem],
    ignored: list[str],
) -> tuple[Mapping[str, float | str] | None, tuple[Mapping[str, float | str], ...]]:
    """Return the main tank and its feeds; one of the two tables without the other is a problem."""
    given = [name for name in TANK_TABLES if name in tables]
    if not given:
        return None, ()
    if len(given) == 1:
        (missing,) = set(TANK_TABLES) - set(given)
        what = f"there is a table “{given[0]}” and no table “{missing}”"
        problems.append(Problem(tables[given[0]].name, what, "add it, or take this one away"))
        return None, ()
    tank = read_tank(tables["tank"], problems, ignored)
    return tank, read_tank_feeds(tables["tank feeds"], materials, jars, problems, ignored)
