"""`bmp check TRIAL`: read the tables and look for reading errors, before or during a trial."""

from __future__ import annotations

import argparse
from pathlib import Path

from bmp.commands.terminal import CHECK_FAILED, DONE, UNUSABLE, tell

HELP = "read a trial and look for reading errors in it, also while it runs"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Say what the command takes."""
    parser.add_argument("trial", type=Path, help="a workbook (.xlsx) or a folder of .csv tables")


def run(arguments: argparse.Namespace) -> int:
    """Say what was found; end with 2 where an analysis refuses the trial, 1 where anything was."""
    from bmp.check import check
    from bmp.normalise.gas_problems import falls_seen
    from bmp.read import read_with_problems
    from bmp.report.shown_units import beside

    trial, problems = read_with_problems(arguments.trial)
    if not trial.readings.jar.size:
        # before the first reading it is no problem that jars have none
        running, wrong = read_with_problems(arguments.trial, unfinished=True)
        if not wrong:
            trial, problems = running, ()
    found = check(trial, whole=not problems)
    units = trial.setup.show_units
    tell(trial.ignored, units)
    tell([*problems, *(falls_seen(trial, problems) if problems else ()), *found.problems], units)
    for line in found.lines:
        print(beside(line, units))
    if problems or found.problems:
        return UNUSABLE
    return CHECK_FAILED if found.worst in ("caution", "fail") else DONE
