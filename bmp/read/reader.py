"""Read a trial whole: every problem is found in one pass, then all are told together."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

from bmp.problem import Problem, UnusableInput
from bmp.read.complete import check_complete
from bmp.read.crucibles import read_crucibles, with_crucibles
from bmp.read.readings import empty_readings, read_readings
from bmp.read.records import read_jars, read_materials
from bmp.read.setup import read_setup
from bmp.read.tables import Table, read_tables
from bmp.read.tank import TANK_TABLES, read_tank, read_tank_feeds
from bmp.read.unread import split_unread
from bmp.trial import Jar, Material, Trial

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
    tables = read_tables(place, (*TABLES, "crucibles", *TANK_TABLES))
    problems: list[Problem] = [
        Problem(place.name, f"there is no table “{name}”", "add it as a sheet or a .csv file")
        for name in TABLES
        if name not in tables
    ]
    if problems:
        raise UnusableInput(problems)
    trial = _trial(tables, place.stem, problems)
    if not problems and not unfinished:
        problems.extend(check_complete(trial, tables["jars"].name))
    return trial, tuple(problems)


def _trial(tables: dict[str, Table], title: str, problems: list[Problem]) -> Trial:
    ignored: list[str] = []
    assumed: list[str] = []
    setup = read_setup(tables["trial"], title, problems, ignored, assumed)
    materials = read_materials(tables["materials"], problems, ignored)
    if "crucibles" in tables:
        solids = read_crucibles(tables["crucibles"], materials, problems, ignored)
        materials = with_crucibles(materials, solids, assumed)
    assumed += [
        f"The solids of {material.name} are not measured but from: {material.solids_from}."
        for material in materials
        if material.solids_from is not None
    ]
    jars = read_jars(tables["jars"], materials, setup, problems, ignored)
    # readings of jars that could not be read would only repeat that problem
    readings = (
        empty_readings(tables["readings"].name)
        if problems and len(jars) < len(tables["jars"].rows)
        else read_readings(tables["readings"], jars, setup, problems, ignored)
    )
    tank, feeds = _tank(tables, materials, jars, problems, ignored)
    readings, unread = split_unread(readings)
    if unread.jar.size:
        ignored.append(f"{unread.table}: {unread.jar.size} rows wait for their reading")
    return Trial(
        setup, materials, jars, readings, tuple(assumed), tuple(ignored), unread, tank, feeds
    )


def _tank(
    tables: dict[str, Table],
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
