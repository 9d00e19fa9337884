"""`bmp tank TRIAL`: what the jars mean for the main tank, on the terminal."""

from __future__ import annotations

import argparse
from pathlib import Path

from bmp.commands.terminal import DONE, progress, read_told

HELP = "carry the yields of a trial to its main tank and print what to expect"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Say what the command takes."""
    parser.add_argument(
        "trial",
        type=Path,
        help="a workbook (.xlsx) or a folder of .csv tables, with the tables tank and tank feeds",
    )
    parser.add_argument("--all", action="store_true", help="print every table")


def run(arguments: argparse.Namespace) -> int:
    """Print the tank's answer."""
    from bmp.analyze import analyze
    from bmp.problem import Problem, UnusableInput
    from bmp.report.tank_text import tank_text

    show = progress()
    trial = read_told(arguments.trial, show)
    if trial.tank is None:
        what = "there are no tables “tank” and “tank feeds”"
        wanted = "add them to the others as sheets or .csv files"
        raise UnusableInput([Problem(arguments.trial.name, what, wanted)])
    results = analyze(trial, show)
    show("")
    if results.tank is not None:
        print(tank_text(results.tank, arguments.all, results.trial.setup.show_units), end="")
    return DONE
