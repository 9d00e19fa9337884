"""Broken archives, read as arrays and cell by cell: both ways must come to the same.

`python -m tests.fuzz.archives [COUNT] [FIRST]` (default 3,000 archives from number 0), one process.
Prints how many trials came to results and to refusals, and every archive where the ways differ.
"""

from __future__ import annotations

import random
import sys
import tempfile
from collections import Counter
from collections.abc import Callable, Iterator
from functools import reduce
from operator import add
from pathlib import Path

from bmp.archive.cell_by_cell import KINDS, cell_parts, read_trials
from bmp.archive.find import find_archive
from bmp.archive.outcome import NOTHING, Outcome
from bmp.archive.parts import ArchivePart
from bmp.problem import UnusableInput
from bmp.read.tables import csv_files
from tests.fuzz.mutate import Tables, bases
from tests.tables import JARS, LONG, MATERIALS, archive_of, with_item, write_csv

CELLS = (
    "", " ", "x", "0", "-1", "5", " 5 ", "5.", "+5", ".5", "1e1", "1e13", "1,5", "1,500", "nan",
    "inf", "-inf", "NaN", "0x1F", "1_0", "١", "5 mL", "true", "not vented", "closed", "yes", "oats",
    "OATS", " oats", "digestate", "N1", "n1", "A 1", "A1 ", "inoculum", "control", "Substrate",
    "weight check", "volume", "Pressure", "mass", "net yield", "none", "kept", "2027-03-01", "37",
    "reset to zero", "C6H10O5", "C99", "50 % oats + 50 % digestate", "a" * 120, "99999999", "1e-9",
    "ü", "T1", "=1+1", "\x1f",
)  # fmt: skip
HEADERS = (
    "note", "emptied", "taken", "group", "leave out", "measured", "inoculum material", "water [g]",
    "methane [%]", "temperature [°F]", "ambient [inHg]", "water head [in]", "mixture", "formula",
    "pH", "TS uncertainty [% of fresh mass]", "COD [g/g]", "protein [% of VS]", "weather",
)  # fmt: skip


def below_sea_pressure() -> Tables:
    """Return a trial on a mountain, its air pressures read off a weather report for sea level."""
    trial = with_item("ambient [kPa]", None)
    trial = with_item("altitude [m]", 800, with_item("ambient is", "sea level", trial))
    pressures = [[*LONG[0], "ambient [kPa]"], *([*row, 99 + row[1] / 10] for row in LONG[1:])]
    return {"trial": trial, "materials": MATERIALS, "jars": JARS, "readings": pressures}


def broken_archive(rng: random.Random, folder: Path) -> Path:
    """Write an archive of a few trials of different ways with a few things wrong."""
    # wide tables and dates are not read as arrays at all
    some = [tables for number, tables in enumerate(bases()) if number not in (1, 5)]
    some.append(below_sea_pressure())
    trials = {f"T{number}": rng.choice(some) for number in range(rng.choice((1, 2, 3, 5)))}
    content = archive_of(trials)
    for _ in range(rng.choice((0, 1, 1, 2, 4))):
        _break(content, rng)
    place = write_csv(folder / "archive", content)
    if rng.random() < 0.2:
        path = place / f"{rng.choice(list(content))}.csv"
        path.write_bytes(_broken_bytes(path.read_bytes(), rng))
    return place


def _break(content: Tables, rng: random.Random) -> None:
    rows = content[rng.choice(("trial", "materials", "jars", "readings", "readings"))]
    what = 0.85 if len(rows) == 1 else rng.random()
    if what < 0.6:
        row = rows[rng.randrange(1, len(rows))] if rng.random() < 0.95 else rows[0]
        row[rng.randrange(len(row))] = rng.choice(CELLS)
    elif what < 0.8:
        header, filled = rng.choice(HEADERS), rng.random() < 0.5
        rows[0].append(header)
        for row in rows[1:]:
            row.append(rng.choice(CELLS) if rng.random() < (0.5 if filled else 0.02) else None)
    elif what < 0.9:
        rows.insert(rng.randrange(1, len(rows) + 1), list(rng.choice(rows[1:] or rows)))
    else:
        del rows[rng.randrange(1, len(rows))]


def _broken_bytes(raw: bytes, rng: random.Random) -> bytes:
    way = rng.randrange(7)
    lines = raw.split(b"\r\n")
    if way == 0:
        return b"\n".join(lines)
    if way == 1:
        return raw.rstrip()
    if way == 2:
        return b"\xef\xbb\xbf" + raw
    if way == 3:
        lines.insert(rng.randrange(1, len(lines)), b"")
    elif way == 4:
        lines.insert(rng.randrange(1, len(lines)), b",,, ,")
    elif way == 5:
        lines[rng.randrange(1, len(lines) - 1)] += b",astray"
    else:
        at = rng.randrange(len(raw))
        # a file half in UTF-8 and half not is read whole in the other code, or chunk by chunk
        bytes_put_in = (b'"', b"\0", b"\n", b'"\n"', *([b"\xff"] if raw.isascii() else []))
        return raw[:at] + rng.choice(bytes_put_in) + raw[at:]
    return b"\r\n".join(lines)


def both_ways(place: Path) -> tuple[Outcome | list[str], Outcome | list[str]]:
    """Return what an archive comes to as arrays and cell by cell, or why it cannot be used."""
    return _come_to(lambda: find_archive(place)), _come_to(lambda: _cell_by_cell(place))


def _come_to(parts: Callable[[], Iterator[ArchivePart]]) -> Outcome | list[str]:
    try:
        return reduce(add, (part.outcome() for part in parts()), NOTHING)
    except UnusableInput as unusable:
        return [str(problem) for problem in unusable.problems]


def _cell_by_cell(place: Path) -> Iterator[ArchivePart]:
    return cell_parts(read_trials({k: p for k, p in csv_files(place).items() if k in KINDS}))


def difference(one: Outcome | list[str], other: Outcome | list[str]) -> str:
    """Return where two outcomes differ; empty where they do not, but for rounding."""
    if isinstance(one, list) or isinstance(other, list):
        # a header that is wrong is told once, or with every trial
        return f"unusable one way only: {one} {other}" if _some(one) or _some(other) else ""
    if one.refused != other.refused:
        return f"refused: {one.refused} and {other.refused}"
    if one.because != other.because:
        return f"not validated because: {one.because} and {other.because}"
    rows, others = sorted(one.rows, key=_place), sorted(other.rows, key=_place)
    if len(rows) != len(others):
        return f"rows: {rows} and {others}"
    for row, twin in zip(rows, others, strict=True):
        if not all(map(_same, row, twin)):
            return f"row: {row} and {twin}"
    return ""


def _some(outcome: Outcome | list[str]) -> bool:
    return isinstance(outcome, Outcome) and bool(outcome.because)


def _place(row: tuple[object, ...]) -> tuple[str, str]:
    return str(row[0]), str(row[-2])


def _same(one: object, other: object) -> bool:
    if isinstance(one, float) and isinstance(other, float):
        return abs(one - other) <= 1e-9 * max(abs(one), abs(other)) + 1e-12
    return one == other


def main(count: int, first: int) -> None:
    """Compare so many archives and print what came of them."""
    ends: Counter[str] = Counter()
    for seed in range(first, first + count):
        with tempfile.TemporaryDirectory() as folder:
            one, other = both_ways(broken_archive(random.Random(seed), Path(folder)))
        found = difference(one, other)
        if found:
            print(f"archive {seed}: {found}", flush=True)
        ends["archives that differ"] += bool(found)
        if isinstance(one, Outcome):
            ends["trials with results"] += len(one.because)
            ends["trials refused"] += len(one.refused)
        else:
            ends["archives unusable"] += 1
    print(f"{count} archives: {dict(ends)}")


if __name__ == "__main__":
    given = [int(word) for word in sys.argv[1:]]
    main(*(given + [3_000, 0][len(given) :]))
