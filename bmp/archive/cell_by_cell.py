"""Tables that hold many trials, taken apart cell by cell."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import replace
from pathlib import Path

from bmp.archive.parts import CellPart, OneTrial
from bmp.problem import Problem, Problems, UnusableInput
from bmp.read.cells import words
from bmp.read.reader import TABLES
from bmp.read.tables import Cell, CellTable, read_csv

KINDS = (*TABLES, "crucibles")
TRIALS_IN_A_PART = 20
MOST_ROWS = 20_000_000
MOST_BYTES = 400_000_000
"""Of a table that is read cell by cell, all of it at once."""


def read_whole(paths: Mapping[str, Path], problems: list[Problem]) -> dict[str, CellTable]:
    """Return tables of an archive by name; what is wrong with them is added to `problems`."""
    tables = {}
    for name, path in paths.items():
        if path.stat().st_size > MOST_BYTES:
            what = f"the file is over {MOST_BYTES // 10**6} MB and not in the plainest form"
            wanted = "with commas between cells and points in numbers it is read in parts"
            problems.append(Problem(path.name, what, wanted))
            continue
        try:
            tables[name] = read_csv(path, problems, MOST_ROWS, MOST_BYTES)
        except UnusableInput as unusable:
            problems.extend(unusable.problems)
    return tables


def read_trials(paths: Mapping[str, Path]) -> dict[str, OneTrial]:
    """Return all trials of an archive's tables; see `by_trial`."""
    problems = Problems()
    return by_trial(read_whole(paths, problems), problems)


def by_trial(
    tables: Mapping[str, CellTable], told: Iterable[Problem], wanted: frozenset[str] | None = None
) -> dict[str, OneTrial]:
    """Return each trial's own rows of every table, sorted by the names of the trials.

    Materials and jars are sorted by name, so that nothing depends on the order of the rows.

    Parameters
    ----------
    tables
        By name.
    told
        Problems found so far: those of a row go to its trial.
    wanted
        Trials to return; all by default.

    Raises
    ------
    UnusableInput
        A table is wrong as a whole, has no column `trial`, or a row does not say of which trial it
        is.
    """
    problems = Problems()
    own: dict[str, dict[str, CellTable]] = {}
    told = list(told)
    rows = {(problem.table, problem.row) for problem in told}
    trial_of_row: dict[tuple[str, int | None], str] = {}
    for kind, table in tables.items():
        for name, part in _split(kind, table, wanted, problems).items():
            own.setdefault(name, {})[kind] = part
            if rows:
                keys = ((part.name, row) for row in part.row_numbers)
                trial_of_row |= {key: name for key in keys if key in rows}
    told_of: dict[str, list[Problem]] = {}
    for problem in told:
        name = trial_of_row.get((problem.table, problem.row), "")
        if name:
            told_of.setdefault(name, []).append(problem)
        elif wanted is None or problem.row is None:
            problems.append(problem)
    if problems:
        raise UnusableInput(problems)
    return {name: OneTrial(own[name], tuple(told_of.get(name, ()))) for name in sorted(own)}


def _trial_column(table: CellTable, problems: list[Problem]) -> int | None:
    """Return where the column `trial` stands; `None` with a problem told."""
    header = [text.strip().lower() for text in table.header]
    if "trial" in header:
        return header.index("trial")
    what = "there is no column “trial”"
    problems.append(Problem(table.name, what, "say in a first column of which trial a row is", 1))
    return None


def _split(
    kind: str, table: CellTable, wanted: frozenset[str] | None, problems: list[Problem]
) -> dict[str, CellTable]:
    at = _trial_column(table, problems)
    if at is None:
        return {}
    found: dict[str, list[tuple[tuple[Cell, ...], int]]] = {}
    for row, number in zip(table.rows, table.row_numbers, strict=True):
        name = words(row[at])
        if name and (wanted is None or name in wanted):
            found.setdefault(name, []).append(((*row[:at], *row[at + 1 :]), number))
        elif not name and any(cell is not None for cell in row):
            what = "the row does not say of which trial it is"
            problems.append(Problem(table.name, what, "fill in the column “trial”", number))
    header = (*table.header[:at], *table.header[at + 1 :])
    if kind in ("materials", "jars"):
        for own in found.values():
            own.sort(key=lambda pair: tuple(map(str, pair[0])))
    own_table = {}
    for name, own in found.items():
        rows, numbers = zip(*own, strict=True)
        own_table[name] = replace(table, header=header, rows=rows, row_numbers=numbers)
    return own_table


def cell_parts(trials: Mapping[str, OneTrial]) -> Iterator[CellPart]:
    """Return trials that are given cell by cell, in parts."""
    names = list(trials)
    for start in range(0, len(names), TRIALS_IN_A_PART):
        yield CellPart({name: trials[name] for name in names[start : start + TRIALS_IN_A_PART]})
