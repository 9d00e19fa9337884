"""What makes an input unusable, told so that the person can mend it."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass


@dataclass(frozen=True)
class Problem:
    """One thing that is wrong with the input: where it stands, what it is, what would be right."""

    table: str
    """Name of the sheet or file."""
    what: str
    wanted: str
    row: int | None = None
    """Row as the spreadsheet or editor counts it; the header is row 1."""
    column: str | None = None

    def __str__(self) -> str:
        return self.at("" if self.row is None else f"row {self.row}", self.what)

    def at(self, rows: str, what: str) -> str:
        """Return the line for this problem with other words for its rows and for what it is."""
        place = f"{self.table}, {rows}" if rows else self.table
        if self.column is not None:
            place += f", column “{_short(self.column)}”"
        return f"{place}: {what}; {self.wanted}"


class UnusableInput(Exception):
    """The input cannot be used. Holds every problem that was found, in reading order."""

    def __init__(self, problems: Iterable[Problem]) -> None:
        self.problems = tuple(problems)
        super().__init__("\n".join(str(problem) for problem in self.problems))

    def __reduce__(self) -> tuple[type[UnusableInput], tuple[tuple[Problem, ...]]]:
        """Return how another process makes the same error."""
        return UnusableInput, (self.problems,)


_VARIES = re.compile(r"“[^”]*”|[+-]?\d[\d.,]*(?:e[+-]?\d+)?")
_QUOTED = re.compile(r"“[^”]*”")
MOST_RANGES, MOST_ALIKE = 6, 4


def gathered(problems: Iterable[Problem | str]) -> list[str]:
    """Return a line a problem; those of one kind in one column share a line with all their rows.

    Of one kind are problems that ask for the same thing in words that differ only in what is
    quoted and in figures. Text among the problems stays as it is.
    """
    kinds: dict[object, list[Problem | str]] = {}
    for problem in problems:
        kind: object = problem
        if isinstance(problem, Problem):
            # what stands for an item differs; the item it stands for is the subject
            said, stands, item = problem.what.partition(" stands for ")
            what = _VARIES.sub("#", said) + stands + item
            kind = (problem.table, problem.column, what, problem.wanted)
        kinds.setdefault(kind, []).append(problem)
    return [
        _one_line([p for p in kind if isinstance(p, Problem)]) or str(kind[0])
        for kind in kinds.values()
    ]


def _one_line(alike: Sequence[Problem]) -> str:
    if not alike:
        return ""
    first = alike[0]
    rows = sorted({problem.row for problem in alike if problem.row is not None})
    quoted = list(dict.fromkeys(" ".join(_QUOTED.findall(p.what)[:1]) for p in alike))[1:]
    what = first.what
    if quoted:
        more = f" and {len(quoted) - MOST_ALIKE} more" if len(quoted) > MOST_ALIKE else ""
        what += f" (also {', '.join(quoted[:MOST_ALIKE])}{more})"
    elif len({problem.what for problem in alike}) > 1:
        what += " (the others are alike)" if first.row is None else f" (so in row {first.row})"
    return first.at(_rows_words(rows), what)


def _rows_words(rows: Sequence[int]) -> str:
    """Return `rows 2-51, 60 and 211 more` for ascending row numbers."""
    if len(rows) < 2:
        return "".join(f"row {row}" for row in rows)
    ranges: list[list[int]] = []
    for row in rows:
        if ranges and row == ranges[-1][1] + 1:
            ranges[-1][1] = row
        else:
            ranges.append([row, row])
    words = [f"{low}-{high}" if high > low else f"{low}" for low, high in ranges[:MOST_RANGES]]
    left = sum(high - low + 1 for low, high in ranges[MOST_RANGES:])
    return f"rows {', '.join(words)}" + (f" and {left} more" if left else "")


MOST_PROBLEMS = 5_000


class Problems(list[Problem]):
    """A list of problems that ends the reading when there are more than anybody will read."""

    def append(self, problem: Problem) -> None:
        """Add a problem.

        Raises
        ------
        UnusableInput
            The list is full: a file that is wrong a million times would fill the memory.
        """
        super().append(problem)
        if len(self) >= MOST_PROBLEMS:
            raise UnusableInput(self)

    def extend(self, problems: Iterable[Problem]) -> None:
        """Add several problems; raises as `append` does."""
        for problem in problems:
            self.append(problem)


def shown(cell: object) -> str:
    """Return a cell's content for a message: quoted, on one line, at most 40 characters."""
    if cell is None:
        return "an empty cell"
    if isinstance(cell, float) and cell.is_integer() and abs(cell) < 1e15:
        cell = int(cell)
    return f"“{_short(str(cell))}”"


def _short(text: str, length: int = 40) -> str:
    """Return `text` on one line, cut to `length` characters, control characters shown as spaces."""
    text = "".join(letter if letter.isprintable() else " " for letter in text[: length + 1])
    return text if len(text) <= length else text[: length - 1] + "…"
