"""`bmp analyze TRIAL`: from the four tables to the report."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING

from bmp.commands.terminal import CHECK_FAILED, DONE, beside, progress, read_told

if TYPE_CHECKING:
    from bmp.judge.criteria import Criterion

HELP = "read a trial and write its report, pictures, workbook and results"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Say what the command takes."""
    parser.add_argument("trial", type=Path, help="a workbook (.xlsx) or a folder of .csv tables")
    parser.add_argument(
        "--out",
        type=Path,
        metavar="DIR",
        help="where to (default: TRIAL-results next to the input)",
    )
    parser.add_argument(
        "--replace", action="store_true", help="write even where another folder stands (it is kept)"
    )
    parser.add_argument(
        "--criteria", type=Path, metavar="FILE", help="validity criteria of your own (.csv)"
    )
    parser.add_argument(
        "--strict", action="store_true", help="exit with 1 when a validity check fails"
    )


def run(arguments: argparse.Namespace) -> int:
    """Analyse the trial and say where the results are."""
    from bmp.analyze import analyze
    from bmp.read.digest import input_digest
    from bmp.report.answer_text import answer_text
    from bmp.report.first_screen import first_screen
    from bmp.report.folder import check_place
    from bmp.report.results_json import FORMAT
    from bmp.report.write import write_results

    source: Path = arguments.trial
    out: Path = arguments.out or default_place(source)
    show = progress()
    trial = read_told(source, show)
    check_place(out, source, FORMAT, arguments.replace)
    results = analyze(trial, show, own_criteria(arguments.criteria))
    write_results(results, out, show, input_digest(source))
    show("")
    print(answer_text(first_screen(results), results.trial.setup.show_units), end="")
    print(f"Report: {out / 'report.html'}")
    failed = any(finding.outcome == "fail" for finding in results.checks)
    invalid = results.verdict is not None and not results.verdict.validated
    return CHECK_FAILED if arguments.strict and (failed or invalid) else DONE


def own_criteria(place: Path | None) -> tuple[Criterion, ...] | None:
    """Return the criteria in a file, `None` where none was named.

    Raises
    ------
    UnusableInput
        The file is no table of criteria.
    """
    from bmp.judge.criteria import read_criteria
    from bmp.problem import Problem, UnusableInput

    if place is None:
        return None
    if not place.is_file():
        what = "there is no such file" if not place.exists() else "this is not a file"
        wanted = "give a .csv file of criteria after --criteria, or leave it out"
        raise UnusableInput([Problem(str(place), what, wanted)])
    return read_criteria(place)


def default_place(source: Path) -> Path:
    """Return the results folder beside the input."""
    return beside(source, "-results")
