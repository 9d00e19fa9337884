"""Read a trial whole: every problem is found in one pass, then all are told together."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

from bmp.problem import Problem, Problems, UnusableInput
from bmp.read.cells import words
from bmp.read.complete import check_complete
from bmp.read.readings import empty_readings, read_readings
from bmp.read.records import read_jars, read_materials
from bmp.read.setup import read_setup
from bmp.read.tables import Table, read_tables
from bmp.trial import Jar, Material, Setup, Trial

TABLES = ("trial", "materials", "jars", "readings")


def read_trial(place: Path) -> Trial:
    """Read the four tables of a trial.

    Parameters
    ----------
    place : Path
        A workbook (`.xlsx`) with the sheets `trial`, `materials`, `jars` and `readings`, or a
        folder with `.csv` files of these names.

    Raises
    ------
    UnusableInput
        With every problem found, each with its table, row and column.
    """
    trial, problems = read_with_problems(place)
    if problems:
        raise UnusableInput(problems)
    return trial


def read_with_problems(place: Path) -> tuple[Trial, tuple[Problem, ...]]:
    """Return a trial as far as it can be read, and every problem, for looking at it all the same.

    Raises
    ------
    UnusableInput
        There is nothing to look at: a table is missing or cannot be opened.
    """
    problems = Problems()
    tables = read_tables(place, TABLES, problems)
    missing = [name for name in TABLES if name not in tables]
    # a table that could not be read has its problem already, and so has a damaged workbook
    told = {problem.table.lower() for problem in problems}
    problems.extend(
        Problem(place.name, f"there is no table “{name}”", "add it as a sheet or a .csv file")
        for name in missing
        if not told & {f"{name}.csv", f"sheet {name}", place.name.lower()}
    )
    if len(missing) == len(TABLES):
        raise UnusableInput(problems)
    trial = trial_of(tables, place.stem, problems)
    if missing:
        raise UnusableInput(problems)
    return trial, tuple(problems)


def trial_of(tables: Mapping[str, Table], title: str, problems: list[Problem]) -> Trial:
    """Return a trial as far as its tables can be read; what is wrong is added to the list.

    Parameters
    ----------
    tables
        By name. A table that is missing is taken for empty, and nothing is told of what lacks in
        consequence.
    title
        Used where the table `trial` gives none.
    """
    ignored: list[str] = []
    assumed: list[str] = []
    setup = Setup(title)
    materials: tuple[Material, ...] = ()
    jars: tuple[Jar, ...] = ()
    readings = empty_readings("readings")
    bad_materials: set[str] = set()
    bad_jars: set[str] = set()
    if "trial" in tables:
        setup = read_setup(tables["trial"], title, problems, ignored, assumed)
    if "materials" in tables:
        materials = read_materials(tables["materials"], problems, ignored, bad_materials)
    if "jars" in tables:
        if "materials" not in tables:
            bad_materials = _texts(tables["jars"])
        jars = read_jars(
            tables["jars"], materials, setup, problems, ignored, bad_materials, bad_jars
        )
    if "readings" in tables:
        if not jars:
            bad_jars = _texts(tables["readings"])
        readings = read_readings(tables["readings"], jars, setup, problems, ignored, bad_jars)
    trial = Trial(setup, materials, jars, readings, tuple(assumed), tuple(ignored))
    if len(tables) == len(TABLES):
        names = {name: table.name for name, table in tables.items()}
        problems.extend(check_complete(trial, names, problems, bad_materials | bad_jars))
    return trial


def _texts(table: Table) -> set[str]:
    """Return every text of a table: names that cannot be checked count as known."""
    return {words(cell).lower() for row in table.rows for cell in row}
