"""A large table of readings in stretches, each with whole trials, so that several are read at once.

The whole file is looked through once, for its lines and its column of trials alone.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from bmp.archive.plain import Layout, arrow_table, coded_texts
from bmp.problem import Problem, UnusableInput
from bmp.trial import BoolArray, IntArray

STRETCH_BYTES = 4_000_000
BLOCK_BYTES = 1 << 24
NEWLINE = 10


@dataclass(frozen=True)
class Stretch:
    """Some lines of a file."""

    begin: int
    """First byte."""
    end: int
    row: int
    """Of the first line, the header's being 1."""

    def read(self, path: Path) -> bytes:
        """Return the lines."""
        with path.open("rb") as file:
            file.seek(self.begin)
            return file.read(self.end - self.begin)


@dataclass(frozen=True)
class Survey:
    """What lies where in a table of readings."""

    stretches: tuple[Stretch, ...]
    names: tuple[str, ...]
    """Of all trials that have a row."""
    mixed: bool
    """Rows of one trial lie between those of others; then there is one stretch."""


def survey(path: Path, layout: Layout) -> Survey | None:
    """Return the stretches of a file; `None` where it must be read cell by cell.

    Raises
    ------
    UnusableInput
        A row that holds something does not say of which trial it is.
    """
    import pyarrow as pa

    whole = np.memmap(path, dtype=np.uint8, mode="r")
    starts, end = _lines(whole)
    if not starts.size:
        return Survey((), (), mixed=False)
    words = pa.dictionary(pa.int32(), pa.string())
    raw = memoryview(whole.data)[int(starts[0]) :]
    table = arrow_table(raw, len(layout.header), {str(layout.trial): words}, threads=True)
    # an empty line or a line break within a cell would shift what stands in which row
    if table is None or table.num_rows != starts.size:
        return None
    trial = coded_texts(table.column(0))
    _refuse_nameless(layout.table, whole, starts, trial.code < 0)
    named = np.flatnonzero(trial.code >= 0)
    code = trial.code[named]
    begins = named[np.append(True, code[1:] != code[:-1])] if named.size else named
    mixed = begins.size > len(trial.words)
    cuts = begins[:1] if mixed else _cuts(begins, starts)
    ends = [*starts[cuts[1:]].tolist(), end]
    stretches = tuple(
        Stretch(int(starts[row]), stop, int(row) + 2)
        for row, stop in zip(cuts.tolist(), ends, strict=True)
    )
    return Survey(stretches, trial.words, mixed)


def _lines(whole: np.ndarray) -> tuple[IntArray, int]:
    """Return where each line below the header begins, and where the last one that is filled ends.

    Lines that stand empty at the end are left out.
    """
    end = whole.size
    while end and whole[end - 1] in (NEWLINE, 13):
        end -= 1
    breaks = np.concatenate([np.zeros(0, dtype=np.int64), *_breaks(whole, end)])
    return breaks + 1, end


def _breaks(whole: np.ndarray, end: int) -> Iterator[IntArray]:
    for at in range(0, end, BLOCK_BYTES):
        yield np.flatnonzero(whole[at : min(at + BLOCK_BYTES, end)] == NEWLINE) + at


def _refuse_nameless(table: str, whole: np.ndarray, starts: IntArray, nameless: BoolArray) -> None:
    """Refuse rows without a trial that hold anything at all."""
    ends = np.append(starts[1:], whole.size)
    filled = [
        row
        for row in np.flatnonzero(nameless).tolist()
        if whole[starts[row] : ends[row]].tobytes().strip(b'," \t\r\n')
    ]
    if filled:
        what = f"{len(filled)} rows do not say of which trial they are"
        if len(filled) == 1:
            what = "the row does not say of which trial it is"
        raise UnusableInput([Problem(table, what, "fill in the column “trial”", filled[0] + 2)])


def _cuts(begins: IntArray, starts: IntArray) -> IntArray:
    """Return the rows at which stretches begin, each at the begin of a trial."""
    stretch = (starts[begins] - starts[begins[:1]]) // STRETCH_BYTES
    first = np.append(True, stretch[1:] != stretch[:-1]) if begins.size else np.zeros(0, dtype=bool)
    cuts: IntArray = begins[first]
    return cuts
