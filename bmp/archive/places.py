"""Where the trials of an archive lie: a folder of trials, or tables with a column `trial`."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, replace
from pathlib import Path

from bmp.archive.parts import FilePart, Part, TablePart
from bmp.problem import Problem, Problems, UnusableInput
from bmp.read.cells import words
from bmp.read.reader import TABLES
from bmp.read.tables import Cell, Table, read_csv, read_tables

TRIALS_IN_A_PART = 100
FILES_IN_A_PART = 20
MOST_ROWS = 20_000_000
MOST_BYTES = 4_000_000_000
KINDS = (*TABLES, "crucibles")


@dataclass(frozen=True)
class Archive:
    """An archive in parts that are worked on alone, in the order of the trials' names."""

    parts: Iterator[Part]
    closer: Callable[[frozenset[str]], Iterator[Part]] | None = None
    """Returns the trials named in parts that look at every cell."""


def find_archive(place: Path) -> Archive:
    """Return the archive that lies in a folder or workbook.

    Raises
    ------
    UnusableInput
        There is no trial in the place.
    """
    if place.is_dir() and not _has_tables(place):
        return Archive(_files(place))
    if not place.is_dir():
        problems = Problems()
        tables = read_tables(place, KINDS, problems)
        if problems:
            raise UnusableInput(problems)
        return Archive(table_parts(by_trial(tables)))
    from bmp.archive.numbers import array_archive

    return array_archive(place)


def _has_tables(place: Path) -> bool:
    return any(path.name.lower() == "trial.csv" for path in place.iterdir())


def _files(place: Path) -> Iterator[Part]:
    found = sorted(path for path in place.iterdir() if _is_trial(path))
    if not found:
        what = "the folder holds no trial"
        wanted = "put folders or workbooks of trials into it, or tables with a column “trial”"
        raise UnusableInput([Problem(place.name, what, wanted)])
    stems = [path.stem if path.is_file() else path.name for path in found]
    names = [
        stem if stems.count(stem) == 1 else path.name
        for stem, path in zip(stems, found, strict=True)
    ]
    starts = range(0, len(found), FILES_IN_A_PART)
    pieces = [slice(start, start + FILES_IN_A_PART) for start in starts]
    return (FilePart(tuple(names[piece]), tuple(found[piece])) for piece in pieces)


def _is_trial(path: Path) -> bool:
    if path.name.startswith((".", "~$")):
        return False
    if path.is_dir():
        return (
            any(child.suffix.lower() == ".csv" for child in path.iterdir())
            and not (path / "files.json").exists()
        )
    return path.suffix.lower() == ".xlsx"


def read_small_tables(place: Path, leave: str) -> dict[str, Table]:
    """Read the tables of an archive but one.

    Raises
    ------
    UnusableInput
        With what is wrong with any of them.
    """
    problems = Problems()
    files = {path.stem.strip().lower(): path for path in sorted(place.glob("*.[cC][sS][vV]"))}
    tables = {}
    for name in KINDS:
        if name in files and name != leave and files[name].is_file():
            try:
                tables[name] = read_csv(files[name], problems, MOST_ROWS, MOST_BYTES)
            except UnusableInput as unusable:
                problems.extend(unusable.problems)
    problems.extend(
        Problem(place.name, f"there is no table “{name}”", "add it as a .csv file")
        for name in TABLES
        if name not in files
    )
    if problems:
        raise UnusableInput(problems)
    return tables


def by_trial(tables: Mapping[str, Table]) -> dict[str, dict[str, Table]]:
    """Return each trial's own rows of every table, by trial and name of the table, sorted.

    Jars are sorted by name, so that nothing depends on the order of the rows.

    Raises
    ------
    UnusableInput
        A table has no column `trial`, or a row does not say of which trial it is.
    """
    problems = Problems()
    whole: dict[str, dict[str, Table]] = {}
    for kind, table in tables.items():
        for name, own in _split(kind, table, problems).items():
            whole.setdefault(name, {})[kind] = own
    if problems:
        raise UnusableInput(problems)
    return {name: whole[name] for name in sorted(whole)}


def trial_column(table: Table, problems: list[Problem]) -> int | None:
    """Return where the column `trial` stands; `None` with a problem told."""
    header = [text.strip().lower() for text in table.header]
    if "trial" in header:
        return header.index("trial")
    what = "there is no column “trial”"
    problems.append(Problem(table.name, what, "say in a first column of which trial a row is", 1))
    return None


def _split(kind: str, table: Table, problems: list[Problem]) -> dict[str, Table]:
    at = trial_column(table, problems)
    if at is None:
        return {}
    header = (*table.header[:at], *table.header[at + 1 :])
    rows: dict[str, list[tuple[tuple[Cell, ...], int]]] = {}
    for row, number in zip(table.rows, table.row_numbers, strict=True):
        name = words(row[at])
        if name:
            rows.setdefault(name, []).append(((*row[:at], *row[at + 1 :]), number))
        else:
            what = "the row does not say of which trial it is"
            problems.append(Problem(table.name, what, "fill in the column “trial”", number))
    if kind in ("materials", "jars"):
        for own in rows.values():
            own.sort(key=lambda pair: tuple(map(str, pair[0])))
    return {
        name: replace(
            table,
            header=header,
            rows=tuple(row for row, _ in own),
            row_numbers=tuple(number for _, number in own),
        )
        for name, own in rows.items()
    }


def table_parts(trials: Mapping[str, Mapping[str, Table]]) -> Iterator[Part]:
    """Return trials that are given cell by cell, in parts."""
    names = list(trials)
    for start in range(0, len(names), FILES_IN_A_PART):
        yield TablePart({name: trials[name] for name in names[start : start + FILES_IN_A_PART]})


def rows_of(path: Path, wanted: frozenset[str] | None) -> dict[str, Table]:
    """Return the rows of some trials (or of all) out of a large table of readings, cell by cell.

    Raises
    ------
    UnusableInput
        As `by_trial`.
    """
    problems = Problems()
    table = read_csv(path, problems, MOST_ROWS, MOST_BYTES)
    at = trial_column(table, problems)
    if at is None:
        raise UnusableInput(problems)
    if wanted is None:
        return _checked(_split("readings", table, problems), problems)
    kept = [index for index, row in enumerate(table.rows) if words(row[at]) in wanted]
    some = replace(
        table,
        rows=tuple(table.rows[index] for index in kept),
        row_numbers=tuple(table.row_numbers[index] for index in kept),
    )
    return _checked(_split("readings", some, problems), problems)


def _checked(tables: dict[str, Table], problems: Problems) -> dict[str, Table]:
    # a row with a cell astray is told with its own trial, not here
    nameless = [problem for problem in problems if "which trial" in problem.what]
    if nameless:
        raise UnusableInput(nameless)
    return tables
