"""`bmp due TRIAL`: which readings of a running trial wait today."""

from __future__ import annotations

import argparse
from datetime import date
from pathlib import Path

from bmp.commands.terminal import DONE

HELP = "say which readings of a running trial are due today"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Say what the command takes."""
    parser.add_argument("trial", type=Path, help="the logbook, or another trial that still runs")
    parser.add_argument("--on", type=_day, metavar="DATE", help="another day, such as 2027-03-31")


def _day(text: str) -> date:
    """Return a day as it may be typed; one that is written otherwise is said as it should be."""
    from bmp.read.cells import Unreadable, moment

    try:
        return date.fromisoformat(text)
    except ValueError:
        pass
    try:
        right = moment(text).date().isoformat()
    except Unreadable as unreadable:
        right = f"the day such as 2027-03-31, since “{text}” {unreadable.why}"
    raise argparse.ArgumentTypeError(f"write {right}")


def run(arguments: argparse.Namespace) -> int:
    """Say what is due."""
    from bmp.plan.due import due, due_words
    from bmp.problem import Problem, UnusableInput
    from bmp.read import read_trial
    from bmp.report.shown_units import beside

    trial = read_trial(arguments.trial, unfinished=True)
    day: date = arguments.on or date.today()
    try:
        waiting = due(trial, day)
    except ValueError as error:
        wanted = "add when the jars were closed as the item “started”"
        raise UnusableInput([Problem("trial", str(error), wanted)]) from None
    for line in due_words(waiting, trial, day):
        print(beside(line, trial.setup.show_units))
    return DONE
