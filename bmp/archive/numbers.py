"""The readings of an archive as arrays: millions of rows, read once by a compiled reader.

Only what is plain is taken: a comma between cells, numbers with a point, times as numbers. A trial
in which anything else stands is named for a closer look, and read cell by cell as a single trial
is, with the same words for what is wrong.
"""

from __future__ import annotations

import csv
from collections.abc import Iterator, Mapping
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from bmp.archive.parts import ArrayPart, Part
from bmp.archive.places import (
    TRIALS_IN_A_PART,
    Archive,
    by_trial,
    read_small_tables,
    rows_of,
    table_parts,
    trial_column,
)
from bmp.problem import Problem, Problems, UnusableInput
from bmp.read.columns import READINGS, Found, match_columns
from bmp.read.tables import Table
from bmp.trial import READING_QUANTITIES, BoolArray, FloatArray, IntArray

if TYPE_CHECKING:
    import pyarrow as pa

LARGEST_NUMBER = 1e12


@dataclass(frozen=True, eq=False)
class Numbers:
    """All readings of an archive, sorted by trial."""

    trial: IntArray
    """Index into `trial_names`, sorted."""
    trial_names: tuple[str, ...]
    jar: IntArray
    jar_names: tuple[str, ...]
    row: IntArray
    time_d: FloatArray
    columns: Mapping[str, FloatArray]
    unplain: BoolArray
    """Rows in which something stands that is no plain number."""


def array_archive(place: Path) -> Archive:
    """Return an archive that is given as a folder of four tables.

    Raises
    ------
    UnusableInput
        A table is missing or cannot be read, or does not say of which trial its rows are.
    """
    files = {path.name.lower(): path for path in place.iterdir()}
    path = files.get("readings.csv", place / "readings.csv")
    with ThreadPoolExecutor(1) as beside:
        # the compiled reader works while the small tables are read, which tell of a missing one
        reading = beside.submit(read_numbers, path)
        small = by_trial(read_small_tables(place, leave="readings"))
    numbers = reading.result()

    def closer(names: frozenset[str] | None) -> Iterator[Part]:
        """Return trials cell by cell; all of them where none is named."""
        readings = rows_of(path, names)
        chosen = {*small, *readings} if names is None else names
        return table_parts({name: _tables(name, small, readings) for name in sorted(chosen)})

    if numbers is None:
        return Archive(closer(None))
    return Archive(_parts(small, numbers, path.name), closer)


def _tables(
    name: str, small: Mapping[str, Mapping[str, Table]], readings: Mapping[str, Table]
) -> dict[str, Table]:
    own = {"readings": readings[name]} if name in readings else {}
    return {**small.get(name, {}), **own}


def _parts(
    small: Mapping[str, Mapping[str, Table]], numbers: Numbers, table: str
) -> Iterator[Part]:
    names = sorted({*small, *numbers.trial_names})
    rank = {name: number for number, name in enumerate(numbers.trial_names)}
    ends = np.cumsum(np.bincount(numbers.trial, minlength=len(rank)))
    begins = np.concatenate([[0], ends[:-1]])
    unplain = set(np.unique(numbers.trial[numbers.unplain]).tolist())
    for first in range(0, len(names), TRIALS_IN_A_PART):
        some = names[first : first + TRIALS_IN_A_PART]
        ranks = [rank.get(name, -1) for name in some]
        known = [number for number in ranks if number >= 0]
        low = int(begins[known[0]]) if known else 0
        high = int(ends[known[-1]]) if known else 0
        starts, at = [], low
        for number in ranks:
            starts.append(at - low)
            at = int(ends[number]) if number >= 0 else at
        here = slice(low, high)
        yield ArrayPart(
            tables={name: small.get(name, {}) for name in some},
            starts=np.array([*starts, high - low]),
            jar=numbers.jar[here],
            jar_names=numbers.jar_names,
            row=numbers.row[here],
            time_d=numbers.time_d[here],
            columns={name: values[here] for name, values in numbers.columns.items()},
            table=table,
            again=frozenset(n for n, number in zip(some, ranks, strict=True) if number in unplain),
        )


# --- reading -------------------------------------------------------------------------------------


def read_numbers(path: Path) -> Numbers | None:
    """Return all readings of an archive; `None` where they must be read cell by cell.

    Raises
    ------
    UnusableInput
        The header cannot be used, or rows do not say of which trial they are.
    """
    header = _plain_header(path)
    if header is None:
        return None
    problems = Problems()
    frame = Table(path.name, header, (), ())
    at = trial_column(frame, problems)
    found = match_columns(frame, READINGS, problems, [])
    if problems:
        raise UnusableInput(problems)
    if at is None or "jar" not in found or "time_d" not in found:
        return None
    table = _arrow(path, len(header), at, found)
    if table is None:
        return None
    trial, trial_names = _coded(table, at)
    _refuse_nameless(path.name, trial)
    jar, jar_names = _coded(table, found["jar"].index, lower=True)
    row: IntArray = np.arange(2, trial.size + 2, dtype=np.int64)
    values, unplain = _values(table, found)
    del table
    if np.any(np.diff(trial) < 0):
        order = np.argsort(trial, kind="stable")
        trial, jar, row, unplain = trial[order], jar[order], row[order], unplain[order]
        values = {name: array[order] for name, array in values.items()}
    columns = {name: array for name, array in values.items() if name in READING_QUANTITIES}
    return Numbers(
        trial, trial_names, jar, jar_names, row, values["time_d"], columns, unplain | (jar < 0)
    )


def _plain_header(path: Path) -> tuple[str, ...] | None:
    with path.open("rb") as file:
        start = file.readline(1_000_000)
    try:
        line = start.decode("utf-8-sig").rstrip("\r\n")
    except UnicodeDecodeError:
        return None
    if not line or any(letter in line for letter in ";\t\0"):
        return None
    return tuple(text.strip() for text in next(csv.reader([line])))


def _arrow(path: Path, width: int, trial: int, found: Mapping[str, Found]) -> pa.Table | None:
    """Return the columns that count, named by their number; `None` where they do not fit."""
    import pyarrow as pa
    from pyarrow import csv as arrow_csv

    names = [str(number) for number in range(width)]
    coded = pa.dictionary(pa.int32(), pa.string())
    texts = {str(one.index): pa.string() for one in found.values()}
    numeric = {
        str(one.index): pa.float64() for name, one in found.items() if one.known.unit is not None
    }
    codes = {str(trial): coded, str(found["jar"].index): coded}
    for types in (texts | numeric | codes, texts | codes):
        try:
            table = arrow_csv.read_csv(
                path,
                arrow_csv.ReadOptions(column_names=names, skip_rows=1, block_size=1 << 24),
                arrow_csv.ParseOptions(delimiter=","),
                arrow_csv.ConvertOptions(
                    column_types=types, include_columns=list(types), null_values=[""],
                    strings_can_be_null=True, quoted_strings_can_be_null=True,
                ),
            )  # fmt: skip
        except pa.ArrowInvalid:
            continue
        # an empty line would shift the rows that messages name
        return table if table.num_rows == _lines(path) - 1 else None
    return None


def _lines(path: Path) -> int:
    """Return the number of lines, those that stand empty at the end left out."""
    count, empty = 0, 0
    with path.open("rb") as file:
        while block := file.read(1 << 24):
            count += block.count(b"\n")
            tail = block.rstrip(b"\r\n")
            ending = block[len(tail) :].count(b"\n")
            empty = ending if tail else empty + ending
    return count - empty + 1


def _coded(table: pa.Table, at: int, lower: bool = False) -> tuple[IntArray, tuple[str, ...]]:
    """Return a column of names as indices into its sorted names; -1 where it is empty."""
    column = table.column(str(at)).unify_dictionaries().combine_chunks()
    if not len(column):
        return np.zeros(0, dtype=np.int64), ()
    codes = column.indices.fill_null(-1).to_numpy(zero_copy_only=False)
    written = [" ".join(str(name).split()) for name in column.dictionary.to_pylist()]
    written = [name.lower() for name in written] if lower else written
    names = sorted(set(written) - {""})
    rank = {name: number for number, name in enumerate(names)}
    ranks = np.array([*(rank.get(name, -1) for name in written), -1], dtype=np.int64)
    return ranks[codes], tuple(names)


def _refuse_nameless(table: str, trial: IntArray) -> None:
    nameless = np.flatnonzero(trial < 0)
    if nameless.size:
        what = f"{nameless.size} rows do not say of which trial they are"
        wanted = "fill in the column “trial”"
        raise UnusableInput([Problem(table, what, wanted, int(nameless[0]) + 2)])


def _values(table: pa.Table, found: Mapping[str, Found]) -> tuple[dict[str, FloatArray], BoolArray]:
    """Return the numbers in the project's units, and in which rows a cell is no plain number."""
    unplain = np.zeros(table.num_rows, dtype=bool)
    values = {}
    for name, one in found.items():
        column = table.column(str(one.index))
        if name in ("emptied", "note", "taken"):
            unplain |= column.is_valid().to_numpy()
        elif name != "jar":
            number, wrong = _as_numbers(column)
            unplain |= wrong
            values[name] = number * one.conversion.factor + one.conversion.offset
            filled = np.isfinite(number)
            if name != "time_d" and not filled.any():
                del values[name]
    return values, unplain


def _as_numbers(column: pa.ChunkedArray) -> tuple[FloatArray, BoolArray]:
    import pandas as pd
    import pyarrow as pa

    if pa.types.is_string(column.type):
        number = pd.to_numeric(column.to_pandas(), errors="coerce").to_numpy(dtype=float)
    else:
        number = column.to_numpy()
    strange = ~(np.abs(number) < LARGEST_NUMBER)
    if column.null_count:
        strange &= column.is_valid().to_numpy()
    return number, strange
