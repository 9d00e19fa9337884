"""A large table of readings in chunks, each with whole trials, so that several are read at once.

The whole file is looked through once, for its lines and its column of trials alone.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from bmp.archive.as_arrays import Layout, arrow_table, coded_texts, holds_anything
from bmp.problem import Problem, UnusableInput
from bmp.runs import first
from bmp.trial import IntArray

CHUNK_BYTES = 4_000_000
BLOCK_BYTES = 1 << 20
NEWLINE = 10
MOST_NAMELESS = 1_000
"""Rows without a trial, mostly empty ones, that are looked at each by itself."""


@dataclass(frozen=True)
class Chunk:
    """Some lines of a file."""

    begin: int
    """First byte."""
    end: int
    row: int
    """Of the first line, the header's being 1."""

    def read(self, path: Path) -> bytes:
        """Return the lines."""
        return _bytes(path, self.begin, self.end)


@dataclass(frozen=True)
class Survey:
    """What lies where in a table of readings."""

    chunks: tuple[Chunk, ...]
    names: tuple[str, ...]
    """Of all trials that have a row."""
    mixed: bool
    """Rows of one trial lie between those of others; then there is one chunk."""


def survey(path: Path, layout: Layout) -> Survey | None:
    """Return the chunks of a file; `None` where it must be read cell by cell.

    Raises
    ------
    UnusableInput
        A row that holds something does not say of which trial it is.
    """
    import pyarrow as pa

    lines = _lines(path)
    if not lines.count:
        return Survey((), (), mixed=False)
    words = pa.dictionary(pa.int32(), pa.string())
    table = arrow_table(path, len(layout.header), {str(layout.trial): words})
    # an empty line or a line break within a cell would shift what stands in which row
    if table is None or table.num_rows != lines.count:
        return None
    trial = coded_texts(table.column(0))
    firsts = np.append(0, np.flatnonzero(trial.code[1:] != trial.code[:-1]) + 1)
    nameless = np.flatnonzero(trial.code < 0)
    if nameless.size > MOST_NAMELESS:
        return None
    if nameless.size:
        _refuse_nameless(layout.table, lines, nameless.tolist())
        firsts = firsts[trial.code[firsts] >= 0]
        firsts = firsts[first(trial.code[firsts])]
    mixed = firsts.size > len(trial.words)
    rows = (firsts[:1] if mixed else _cuts(firsts, lines)).tolist()
    begins = lines.begins(rows)
    chunks = tuple(
        Chunk(begin, end, row + 2)
        for row, begin, end in zip(rows, begins, [*begins[1:], lines.end], strict=True)
    )
    return Survey(chunks, trial.words, mixed)


@dataclass(frozen=True, eq=False)
class _Lines:
    """The lines of a file below its header, counted from nought: line n begins after break n."""

    path: Path
    end: int
    """Where the last line ends that is not empty."""
    breaks: IntArray
    """Line breaks before each block of `BLOCK_BYTES`, and in all."""

    @property
    def count(self) -> int:
        """Number of lines."""
        return int(self.breaks[-1])

    def begins(self, rows: Sequence[int]) -> list[int]:
        """Return the first byte of some lines."""
        blocks = np.searchsorted(self.breaks, rows, side="right") - 1
        return [
            self._after_break(block, row - int(self.breaks[block]))
            for block, row in zip(blocks.tolist(), rows, strict=True)
        ]

    def _after_break(self, block: int, nth: int) -> int:
        """Return the first byte after a line break of a block."""
        at = block * BLOCK_BYTES
        letters = np.frombuffer(_bytes(self.path, at, at + BLOCK_BYTES), dtype=np.uint8)
        return at + int(np.flatnonzero(letters == NEWLINE)[nth]) + 1

    def text(self, row: int) -> bytes:
        """Return a line."""
        (begin,) = self.begins([row])
        end = self.begins([row + 1])[0] if row + 1 < self.count else self.end
        return _bytes(self.path, begin, end)


def _bytes(path: Path, begin: int, end: int) -> bytes:
    with path.open("rb") as file:
        file.seek(begin)
        return file.read(end - begin)


def _lines(path: Path) -> _Lines:
    """Return the lines of a file; those that stand empty at the end are left out."""
    counts, end, at, empty = [], 0, 0, 0
    with path.open("rb") as file:
        while block := file.read(BLOCK_BYTES):
            counts.append(block.count(b"\n"))
            filled = len(block.rstrip(b"\r\n"))
            if filled:
                end, empty = at + filled, 0
            empty += block.count(b"\n", filled)
            at += len(block)
    breaks = np.cumsum([0, *counts])
    return _Lines(path, end, np.minimum(breaks, breaks[-1] - empty))


def _refuse_nameless(table: str, lines: _Lines, nameless: list[int]) -> None:
    """Refuse rows without a trial that hold anything at all."""
    filled = [row for row in nameless if holds_anything(lines.text(row))]
    if filled:
        what = f"{len(filled)} rows do not say of which trial they are"
        if len(filled) == 1:
            what = "the row does not say of which trial it is"
        raise UnusableInput([Problem(table, what, "fill in the column “trial”", filled[0] + 2)])


def _cuts(firsts: IntArray, lines: _Lines) -> IntArray:
    """Return the lines at which chunks begin, each the first of a trial."""
    begin = lines.begins([0])[0]
    size = max(1, round(CHUNK_BYTES * lines.count / max(1, lines.end - begin)))
    chunk = (firsts - firsts[:1]) // size
    cuts: IntArray = firsts[first(chunk)]
    return cuts
