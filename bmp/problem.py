"""What makes an input unusable, told so that the person can mend it."""

from __future__ import annotations

from collections.abc import Iterable
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
        place = self.table
        if self.row is not None:
            place += f", row {self.row}"
        if self.column is not None:
            place += f", column “{_short(self.column)}”"
        return f"{place}: {self.what}; {self.wanted}"


class UnusableInput(Exception):
    """The input cannot be used. Holds every problem that was found, in reading order."""

    def __init__(self, problems: Iterable[Problem]) -> None:
        self.problems = tuple(problems)
        super().__init__("\n".join(str(problem) for problem in self.problems))


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
