"""Reading a sheet of one's own: its answers are looked for beside it, asked for where they lack."""

from __future__ import annotations

import textwrap
from dataclasses import dataclass, replace
from pathlib import Path

from bmp.moving import whole
from bmp.problem import Problem, UnusableInput
from bmp.read.tables import CellTable
from bmp.read.takeover.answers import (
    ENDING,
    Answers,
    AnswerSection,
    answers_path,
    as_text,
    open_problems,
    read_answers,
)
from bmp.read.takeover.build import ASSUMED_SHARE_WORDS, build_tables, share_assumed
from bmp.read.takeover.columns import KINDS, NOT_USED, UNITS, shown_unit
from bmp.read.takeover.grid import read_grids
from bmp.read.takeover.propose import SheetQuestions, draft


@dataclass(frozen=True)
class TakenOver:
    """The four tables of a trial that stands in a sheet of its owner's own making."""

    tables: dict[str, CellTable]
    headers: dict[tuple[str, str], str]
    """(table, name of ours) -> the owner's header, for messages."""
    said: tuple[str, ...]
    """Plain sentences: by which answers it is read."""


def look_through(place: Path) -> tuple[SheetQuestions, Path]:
    """Return everything that is asked about a sheet, and where its answers are kept.

    A sheet without answers of its own is proposed those of one beside it with the same headers,
    such as last week's under another name; a person still confirms them.

    Raises
    ------
    UnusableInput
        The place or its answers cannot be read.
    """
    path = answers_path(place)
    grids, title = read_grids(place), place.resolve().stem
    if path.is_file():
        return draft(grids, title, read_answers(path), path.name), path
    found = draft(grids, title, None, path.name)
    known = _answers_beside(found, path)
    if known is None:
        return found, path
    answers, other = known
    again = draft(grids, title, replace(answers, confirmed=False), path.name)
    return replace(again, taken_from=other), path


MOST_BESIDE = 200
"""Files of answers in one folder that are looked at."""


def _answers_beside(found: SheetQuestions, path: Path) -> tuple[Answers, str] | None:
    """Return a person's confirmed answers about a sheet with the same headers, with their file."""
    wanted = _columns(found.answers)
    beside = [p for p in path.parent.glob(f"*{ENDING}") if p.is_file()][:MOST_BESIDE]
    for other in sorted(beside, key=lambda p: p.stat().st_mtime, reverse=True):
        try:
            answers = read_answers(other)
        except UnusableInput:
            continue
        if answers.confirmed and wanted and _columns(answers) == wanted:
            return answers, other.name
    return None


def _columns(answers: Answers) -> set[str]:
    """Return the columns of all tables of a sheet as the answers name them."""
    return {
        key
        for title, lines in answers.sections.items()
        if title.startswith("table in ")
        for key in lines
        if key.startswith("column ")
    }


def write_answers(found: SheetQuestions, place: Path, path: Path, confirmed: bool = False) -> None:
    """Write the file of answers, whole or not at all."""
    # the mark at its front lets every editor of Windows see that it is UTF-8
    text = as_text(found.sections, place.resolve().name, confirmed, answer_words())
    with whole(path) as new:
        new.write_text(text, encoding="utf-8-sig")


def answer_words() -> list[str]:
    """Return what a table can hold and a column can be, for the head of the file of answers."""
    said = ", ".join(column_words())
    return [
        f"A table holds one of: {'; '.join(KINDS)}.",
        "A column is one of these, with the unit of your figures, or not used:",
        *textwrap.wrap(said, 90),
        "A column of one jar is: jar A1; jar A1, after (venting); jar A1, methane [%].",
        "A column of the methane of one feed is: material straw, methane [%].",
    ]


def column_words() -> list[str]:
    """Return what a column can be, with an example of its unit."""
    names = dict.fromkeys(name for kind in KINDS.values() for name in kind)
    return [f"{n} [{shown_unit(n)}]" if UNITS.get(n) else n for n in names]


def take_over(place: Path) -> TakenOver:
    """Return the four tables of a sheet whose answers a person has confirmed.

    Raises
    ------
    UnusableInput
        With everything that is not answered or cannot be read.
    """
    taken, problems = taken_with_problems(place)
    if problems:
        raise UnusableInput(problems)
    return taken


def taken_with_problems(place: Path) -> tuple[TakenOver, tuple[Problem, ...]]:
    """Return the four tables as far as they can be read, and what is still wrong.

    Raises
    ------
    UnusableInput
        There is no table in it.
    """
    found, path = look_through(place)
    if not found.mapped:
        what = "there is no table in it that could be readings"
        raise UnusableInput([Problem(place.name, what, "give the sheet with the readings")])
    problems = [*found.problems, *open_problems(found.answers, _not_of_cells(found), path.name)]
    problems += _new_columns(found, place, path)
    # a cell that cannot be read is told at its place in the sheet
    tables, wrong, headers = build_tables(found.mapped, found.answers, path.name)
    problems += wrong
    said = [f"The sheet is read as {path.name} says."]
    said += [ASSUMED_SHARE_WORDS] if share_assumed(found.answers) else []
    said += [f"Assumed for {s}: {line.key} = {line.value}." for s, line in found.new]
    return TakenOver(tables, headers, tuple(said)), tuple(problems)


def _not_of_cells(found: SheetQuestions) -> list[AnswerSection]:
    return [
        replace(one, lines=tuple(line for line in one.lines if not line.key.startswith("cell ")))
        for one in found.sections
    ]


def _new_columns(found: SheetQuestions, place: Path, path: Path) -> list[Problem]:
    """Return a problem for each column that the answers do not know: nobody has confirmed it."""
    wanted = f"type  bmp start “{place}”  and confirm it"
    return [
        Problem(path.name, f"[{section}] {line.key} is new", wanted)
        for section, line in found.new
        if line.key.startswith("column ") and line.value not in (NOT_USED, "note")
    ]


def in_own_words(problem: Problem, taken: TakenOver) -> Problem:
    """Return a problem with the owner's header in place of ours."""
    if problem.column is None:
        return problem
    name = problem.column.partition(" [")[0]
    own = taken.headers.get((problem.table, name))
    return problem if own is None else replace(problem, column=own)


__all__ = ["ENDING", "Answers", "TakenOver", "in_own_words", "look_through",
           "take_over", "taken_with_problems", "write_answers"]  # fmt: skip
