"""A table with a column `trial` as arrays, by a compiled reader, where what stands in it is plain.

Plain is a comma between cells, text in UTF-8 and numbers with a point. Rows in which anything else
stands are marked: their trials are read cell by cell, as a single trial is, with the same words for
what is wrong. So nothing here tells of a problem.
"""

from __future__ import annotations

import csv
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from bmp.problem import Problem
from bmp.read.cells import PLAIN_NUMBER
from bmp.read.columns import Found, KnownColumn, match_columns
from bmp.read.tables import MOST_COLUMNS, CellTable
from bmp.trial import BoolArray, FloatArray, IntArray

if TYPE_CHECKING:
    import pyarrow as pa

LARGEST_NUMBER = 1e12
LONGEST_HEADER = 100_000
"""In letters; a longer one is not plain."""


@dataclass(frozen=True)
class Layout:
    """Where everything stands in a table, by its header."""

    table: str
    header: tuple[str, ...]
    trial: int
    """The column `trial`."""
    found: Mapping[str, Found]


@dataclass(frozen=True, eq=False)
class Texts:
    """A column of words."""

    code: IntArray
    """Index into `words`, shape (rows,); -1 where the cell is empty."""
    words: tuple[str, ...]

    @property
    def written(self) -> list[str]:
        """Return the words of each row, `` where the cell is empty."""
        words = (*self.words, "")
        return [words[code] for code in self.code.tolist()]

    def rows(self, index: IntArray) -> Texts:
        """Return some rows, without the words that stand in others alone."""
        codes, code = np.unique(self.code[index], return_inverse=True)
        empty = int(codes.size > 0 and codes[0] < 0)
        return Texts(code - empty, tuple(self.words[one] for one in codes[empty:].tolist()))

    def lower(self) -> Texts:
        """Return the column in lower case."""
        words = sorted({word.lower() for word in self.words})
        number = {word: index for index, word in enumerate(words)}
        code = np.array([*(number[word.lower()] for word in self.words), -1], dtype=np.int64)
        return Texts(code[self.code], tuple(words))


@dataclass(frozen=True, eq=False)
class ArrayTable:
    """The rows of a table as arrays."""

    trial: Texts
    texts: Mapping[str, Texts]
    """Columns of words by field."""
    numbers: Mapping[str, FloatArray]
    """Columns of numbers by field, in the project's units; NaN where a cell is empty."""
    needs_cells: BoolArray
    """Rows in which something stands that is no plain number."""

    def rows(self, index: IntArray) -> ArrayTable:
        """Return some rows."""
        return ArrayTable(
            self.trial.rows(index),
            {name: text.rows(index) for name, text in self.texts.items()},
            {name: values[index] for name, values in self.numbers.items()},
            self.needs_cells[index],
        )


def plain_header(path: Path) -> tuple[str, ...] | None:
    """Return the header of a CSV file; `None` where the file must be read cell by cell."""
    with path.open("rb") as file:
        start = file.readline(2 * LONGEST_HEADER)
    try:
        line = start.decode("utf-8-sig").rstrip("\r\n")
    except UnicodeDecodeError:
        return None
    if not line or line.count('"') % 2 or any(letter in line for letter in ";\t\0\r"):
        return None
    if len(line) > LONGEST_HEADER:
        return None
    header = tuple(text.strip() for text in next(csv.reader([line])))
    return header if len(header) <= MOST_COLUMNS else None


def layout_of(
    path: Path, known: Sequence[KnownColumn], problems: list[Problem], ignored: list[str]
) -> Layout | None:
    """Return where the columns stand; `None` where the file must be read cell by cell.

    What is wrong with the header is added to `problems`.
    """
    header = plain_header(path)
    if header is None:
        return None
    names = [text.lower() for text in header]
    if "trial" not in names:
        return None
    trial = names.index("trial")
    # the column of trials is no column of a trial's own table
    own = CellTable(path.name, (*header[:trial], *header[trial + 1 :]), (), ())
    found = {
        field: replace(one, index=one.index + (one.index >= trial))
        for field, one in match_columns(own, known, problems, ignored).items()
    }
    return Layout(path.name, header, trial, found)


def holds_anything(line: bytes) -> bool:
    """Tell whether any cell of a line is filled."""
    return bool(line.strip(b'," \t\r\n'))


def read_as_arrays(raw: bytes, layout: Layout) -> ArrayTable | None:
    """Return rows as arrays; `None` where they must be read cell by cell.

    Parameters
    ----------
    raw
        Lines of a file, without its header.
    layout
        That of the file.
    """
    table = _arrow(raw, layout)
    if table is None:
        return None
    texts = {
        field: _texts(table, one.index)
        for field, one in layout.found.items()
        if not one.known.is_number
    }
    needs_cells = np.zeros(table.num_rows, dtype=bool)
    numbers = {}
    for field, one in layout.found.items():
        if one.known.is_number:
            number, strange = _numbers(table.column(str(one.index)))
            needs_cells |= strange
            numbers[field] = number * one.conversion.factor + one.conversion.offset
    return ArrayTable(_texts(table, layout.trial), texts, numbers, needs_cells)


def _arrow(raw: bytes, layout: Layout) -> pa.CellTable | None:
    """Return the columns that count, named by their number; `None` where rows do not fit."""
    import pyarrow as pa

    words = pa.dictionary(pa.int32(), pa.string())
    coded = {str(one.index): words for one in layout.found.values() if not one.known.is_number}
    coded[str(layout.trial)] = words
    places = [str(one.index) for one in layout.found.values() if one.known.is_number]
    if not raw:
        types = coded | dict.fromkeys(places, pa.float64())
        return pa.table({name: pa.array([], kind) for name, kind in types.items()})
    # one cell that is no number makes a column of text of all
    for kind in (pa.float64(), words):
        types = coded | dict.fromkeys(places, kind)
        table = arrow_table(pa.py_buffer(raw), len(layout.header), types)
        if table is not None:
            return table
    return None


def arrow_table(
    source: pa.Buffer | Path, width: int, types: Mapping[str, pa.DataType]
) -> pa.CellTable | None:
    """Return some columns of so many, named by their number, in the types that are given.

    A buffer holds lines without a header. `None` where a row has more or fewer columns, or a cell
    is not of its column's type.
    """
    import pyarrow as pa
    from pyarrow import csv as arrow_csv

    names = [str(number) for number in range(width)]
    whole = isinstance(source, Path)
    try:
        return arrow_csv.read_csv(
            source,
            arrow_csv.ReadOptions(
                column_names=names, skip_rows=int(whole), use_threads=whole,
                block_size=1 << (22 if whole else 24),
            ),
            arrow_csv.ParseOptions(delimiter=","),
            arrow_csv.ConvertOptions(
                column_types=types, include_columns=list(types), null_values=[""],
                strings_can_be_null=True, quoted_strings_can_be_null=True,
            ),
        )  # fmt: skip
    except pa.ArrowInvalid:
        return None


def _texts(table: pa.CellTable, place: int) -> Texts:
    return coded_texts(table.column(str(place)))


def coded_texts(column: pa.ChunkedArray) -> Texts:
    """Return a column of words with each inner gap one blank, as everywhere in the project."""
    if not len(column):
        return Texts(np.zeros(0, dtype=np.int64), ())
    whole = column.unify_dictionaries().combine_chunks()
    written = [" ".join(str(name).split()) for name in whole.dictionary.to_pylist()]
    words = sorted(set(written) - {""})
    number = {word: index for index, word in enumerate(words)}
    code = np.array([*(number.get(word, -1) for word in written), -1], dtype=np.int64)
    codes, known = _values(whole.indices, np.dtype(np.int32))
    return Texts(code[codes if known.all() else np.where(known, codes, -1)], tuple(words))


def _numbers(column: pa.ChunkedArray) -> tuple[FloatArray, BoolArray]:
    """Return a column as numbers, and where a cell is filled with anything else."""
    import pyarrow as pa

    if not len(column):
        return np.zeros(0), np.zeros(0, dtype=bool)
    if pa.types.is_dictionary(column.type):
        texts = coded_texts(column)
        value = np.array([*map(_number, texts.words), np.nan])
        number, known = value[texts.code], texts.code >= 0
    else:
        values, known = _values(column.combine_chunks(), np.dtype(np.float64))
        number = np.where(known, values, np.nan)
    return number, known & ~(np.abs(number) < LARGEST_NUMBER)


def _number(text: str) -> float:
    return float(text) if PLAIN_NUMBER.fullmatch(text) else np.nan


def _values(array: pa.Array, kind: np.dtype) -> tuple[np.ndarray, BoolArray]:
    """Return what an array holds, and where it holds anything.

    Straight from its memory: the reader's own way to NumPy loads pandas, which takes longer than
    reading all of a small archive.
    """
    filled, memory = array.buffers()
    begin, end = array.offset, array.offset + len(array)
    values = np.frombuffer(memory, kind)[begin:end]
    if array.null_count == 0:
        return values, np.ones(len(array), dtype=bool)
    bits = np.unpackbits(np.frombuffer(filled, np.uint8), bitorder="little")
    return values, bits[begin:end].astype(bool)
