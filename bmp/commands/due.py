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
    parser.add_argument(
        "--on", type=date.fromisoformat, metavar="DATE", help="another day, such as 2027-03-31"
    )


def run(arguments: argparse.Namespace) -> int:
    """Say what is due."""
    from bmp.plan.due import due, due_words
    from bmp.problem import Problem, UnusableInput
    from bmp.read import read_trial

    trial = read_trial(arguments.trial, unfinished=True)
    day: date = arguments.on or date.today()
    try:
        waiting = due(trial, day)
    except ValueError as error:
        wanted = "add when the jars were closed as the item “started”"
        raise UnusableInput([Problem("trial", str(error), wanted)]) from None
    for line in due_words(waiting, trial, day):
        print(line)
    return DONE
