"""The small text file in which a person confirms how a sheet is read, and its lines.

A file has sections, `[trial]`, and lines, `ambient [kPa] = 101.3`; what stands behind a `#` is a
remark. A `?` waits for its answer. `confirmed = yes` at the top is the person's own word.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path

from bmp.problem import Problem, UnusableInput, shown

UNKNOWN = "?"
ENDING = ".answers.txt"
_WIDE = 64


@dataclass(frozen=True)
class Line:
    """One question with the answer that is proposed, `?` where nothing is."""

    key: str
    value: str = UNKNOWN
    remark: str = ""
    choices: tuple[str, ...] = ()
    """What can be answered, where that is a list."""

    @property
    def open(self) -> bool:
        """Whether it waits for its answer."""
        return UNKNOWN in self.value


@dataclass(frozen=True)
class AnswerSection:
    """Lines on one subject: a table of the sheet, the trial, the materials, the jars."""

    title: str
    lines: tuple[Line, ...]
    remark: str = ""


@dataclass(frozen=True)
class Answers:
    """What a person wrote: by section and key, each with the line of the file."""

    confirmed: bool
    sections: Mapping[str, Mapping[str, str]]
    line_numbers: Mapping[tuple[str, str], int] = field(default_factory=dict)

    def get(self, section: str, key: str) -> str | None:
        """Return an answer; `None` where there is none."""
        return self.sections.get(section, {}).get(canonical(key))

    def line(self, section: str, key: str) -> int | None:
        """Return the line of the file in which an answer stands."""
        return self.line_numbers.get((section, canonical(key)))


_LETTER = re.compile(r"^column [A-Z]{1,3} (?=\")")


def canonical(key: str) -> str:
    """Return a key without what changes when columns are moved: the letter above them."""
    return _LETTER.sub("column ", key)


def is_trial(place: Path) -> bool:
    """Tell whether a folder is a trial in our own tables: answers about sheets are none about it.

    It may have the name of the sheet that it was taken over from.
    """
    return place.is_dir() and any(one.name.lower() == "trial.csv" for one in place.iterdir())


def answers_path(place: Path) -> Path:
    """Return where the answers about a workbook, CSV file or folder are kept: beside it."""
    full = place.resolve()
    return full.with_name((full.name if full.is_dir() else full.stem) + ENDING)


def as_text(
    sections: Sequence[AnswerSection], name: str, confirmed: bool, words: Sequence[str] = ()
) -> str:
    """Return the file as it is written for a person; `words` are what it can be answered with."""
    lines = [
        f"# How {name} is read.",
        "# 1. Put your answer in place of each ? and correct what is wrong.",
        "#    A line you do not know about: write  not known",
        "# 2. When every line is right, write  yes  here:",
        f"confirmed = {'yes' if confirmed else 'no'}",
        f"# 3. Save this file and type:  bmp analyze {_quoted(name)}",
        "# Keep this file next to the sheet: its next version is read without a question.",
        *(f"# {line}" for line in words),
    ]
    for section in sections:
        if not section.lines:
            continue
        lines += ["", f"[{section.title}]"]
        lines += [f"# {section.remark}"] if section.remark else []
        for line in section.lines:
            remark = "; ".join(filter(None, (line.remark, _choices(line))))
            value = quoted(line.value) if "#" in line.value else line.value
            text = f"{line.key} = {value}"
            lines.append(f"{text:<{_WIDE}} # {remark}" if remark else text)
    return "\n".join(map(_printable, lines)) + "\n"


def _printable(text: str) -> str:
    return "".join(letter if letter.isprintable() else " " for letter in text)


def _choices(line: Line) -> str:
    return f"one of: {', '.join(line.choices)}" if line.choices else ""


def _quoted(name: str) -> str:
    return f'"{name}"' if " " in name else name


def answers_of(sections: Sequence[AnswerSection], confirmed: bool) -> Answers:
    """Return proposals as if they were answers."""
    return Answers(
        confirmed,
        {s.title: {canonical(line.key): line.value for line in s.lines} for s in sections},
    )


def read_answers(path: Path) -> Answers:
    """Read the file of answers.

    Raises
    ------
    UnusableInput
        A line is neither a section, a remark nor `name = answer`.
    """
    text = path.read_bytes().decode("utf-8-sig", errors="replace")
    problems: list[Problem] = []
    answers = parse(text, path.name, problems)
    if problems:
        raise UnusableInput(problems)
    return answers


_SECTION = re.compile(r"\[(.+)\]")


def parse(text: str, name: str, problems: list[Problem]) -> Answers:
    """Return the answers of a text; lines that cannot be read go to the list."""
    confirmed = False
    sections: dict[str, dict[str, str]] = {}
    numbers: dict[tuple[str, str], int] = {}
    here = ""
    for number, raw in enumerate(text.replace("\r\n", "\n").split("\n"), 1):
        line = _without_remark(raw).strip()
        if not line:
            continue
        if (match := _SECTION.fullmatch(line)) and not _equals(line):
            here = match[1].strip()
            sections.setdefault(here, {})
            continue
        at = _equals(line)
        if at is None:
            what = f"{shown(line)} is no answer"
            problems.append(Problem(name, what, "write  name = answer", number))
            continue
        key, value = line[:at].strip(), line[at + 1 :].strip()
        if len(value) > 1 and value[0] == value[-1] == '"' and value.count('"') == 2:
            value = value.strip('"').strip()
        if not here and key.lower() == "confirmed":
            confirmed = value.lower() in ("yes", "y", "ja", "oui", "si", "sí")
        else:
            sections.setdefault(here, {})[canonical(key)] = value
            numbers[here, canonical(key)] = number
    return Answers(confirmed, sections, numbers)


def _without_remark(line: str) -> str:
    """Return a line up to its remark; a # inside quotes is the sheet's own."""
    for place, letter in _outside_quotes(line):
        if letter == "#" and (place == 0 or line[place - 1].isspace()):
            return line[:place]
    return line


def _equals(line: str) -> int | None:
    return next((place for place, letter in _outside_quotes(line) if letter == "="), None)


def _outside_quotes(line: str) -> Iterator[tuple[int, str]]:
    inside = False
    for place, letter in enumerate(line):
        if letter == '"':
            inside = not inside
        elif not inside:
            yield place, letter


def quoted(text: str) -> str:
    """Return a name of the sheet's own in quotes, as keys have it."""
    return '"' + " ".join(_printable(text).replace('"', "″").split()) + '"'


def open_problems(answers: Answers, sections: Sequence[AnswerSection], name: str) -> list[Problem]:
    """Return what is still to be answered, a problem each, all at once."""
    problems = []
    for section in sections:
        for line in section.lines:
            value = answers.get(section.title, line.key)
            if value is None or UNKNOWN in value or not value:
                wanted = line.remark or "put your answer in place of the ?"
                if line.choices:
                    wanted = f"write one of: {', '.join(line.choices)}"
                what = f"[{section.title}] {line.key} has no answer yet"
                problems.append(Problem(name, what, wanted, answers.line(section.title, line.key)))
    if not answers.confirmed:
        problems.append(
            Problem(name, "nobody has confirmed it yet", "read it and write “confirmed = yes”")
        )
    return problems
