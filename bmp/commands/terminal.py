"""What every command says on the terminal, and how it ends."""

from __future__ import annotations

import errno
import sys
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Sequence
    from pathlib import Path

    from bmp.problem import Problem
    from bmp.trial import Trial

DONE, CHECK_FAILED, UNUSABLE = 0, 1, 2
MOST_LINES = 50


def tell(problems: Iterable[Problem | str], units: Sequence[str] = ()) -> None:
    """Print problems to standard error, a line a kind, at most fifty and then their number.

    Parameters
    ----------
    units
        Those that are wanted beside the SI ones.
    """
    from bmp.problem import gathered
    from bmp.report.shown_units import beside

    lines = [beside(" ".join(line.split()), units) for line in gathered(problems)]
    for line in lines[:MOST_LINES]:
        print(line, file=sys.stderr)
    if len(lines) > MOST_LINES:
        print(f"… and {len(lines) - MOST_LINES} more problems", file=sys.stderr)


def words_of(error: OSError) -> str:
    """Return what a failure of the system means, where, and what to do."""
    from bmp.moving import held

    place = error.filename or "the results"
    if error.errno in (errno.ENOSPC, errno.EDQUOT):
        return f"{place}: the disk is full; make room there, or write to another one"
    if held(error):
        return f"{place}: another program holds this open; close it there and type the same again"
    if error.errno == errno.EROFS:
        return f"{place}: nothing can be written there; write to another place"
    return f"{place}: {error.strerror or error}"


def read_told(place: Path, show: Callable[[str], None]) -> Trial:
    """Return a trial, after telling what in its tables is not used.

    Raises
    ------
    UnusableInput
        With every problem found.
    """
    from bmp.normalise.gas_problems import falls_seen
    from bmp.normalise.raw_gas import raw_gas, raw_gas_words
    from bmp.problem import UnusableInput
    from bmp.read import read_with_problems
    from bmp.report.shown_units import beside as beside_in

    show("read the tables")
    trial, problems = read_with_problems(place)
    show("")
    units = trial.setup.show_units
    tell(trial.ignored, units)
    if problems:
        for line in raw_gas_words(raw_gas(trial)):
            print(beside_in(line, units))
        raise UnusableInput([*problems, *falls_seen(trial, problems)])
    return trial


def beside(source: Path, ending: str) -> Path:
    """Return the place beside an input where something made of it goes by default.

    Of `.` that is beside the folder that one is in, not inside.
    """
    full = source.resolve()
    name = f"{full.stem if full.is_file() else full.name}{ending}"
    return source.with_name(name) if source.name not in ("", "..") else full.with_name(name)


def progress() -> Callable[[str], None]:
    """Return a function that shows the step at work on a terminal, and nothing when piped."""
    if not sys.stderr.isatty():
        return lambda step: None

    shown = 0

    def show(step: str) -> None:
        # blanks over the last step: old consoles print an erase code as letters
        nonlocal shown
        line = f"{step} …" if step else ""
        end = "" if step else "\r"
        print(f"\r{line.ljust(shown)}", end=end, file=sys.stderr, flush=True)
        shown = len(line)

    return show
