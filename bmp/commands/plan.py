"""`bmp plan REQUEST`: from what a person has to doses, a logbook and a sheet for the wall."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING

from bmp.commands.terminal import DONE, UNUSABLE, beside, progress, read_told, tell

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from bmp.cautions import Caution
    from bmp.plan.plan import Plan

HELP = "plan a trial: doses, readings, expected gas, a logbook to fill in, what to watch"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Say what the command takes."""
    parser.add_argument(
        "request",
        type=Path,
        help="a plan request (workbook or folder with plan and materials), or a trial",
    )
    parser.add_argument(
        "--out", type=Path, metavar="DIR", help="where to (default: REQUEST-plan next to the input)"
    )
    parser.add_argument(
        "--replace", action="store_true", help="write even where another folder stands (it is kept)"
    )
    parser.add_argument(
        "--all", action="store_true", help="print every advice, and the cautions in full"
    )


def run(arguments: argparse.Namespace) -> int:
    """Plan the trial and say where the files are, or why it cannot be and what could."""
    from bmp.plan.literature import read_literature
    from bmp.plan.plan import plan_trial
    from bmp.plan.read_request import changed_words, read_request, refused_problems
    from bmp.plan.refusal import PlanRefused
    from bmp.plan.write import FORMAT, write_plan
    from bmp.report.folder import check_place, write_folder
    from bmp.report.page_beside import page_beside

    source: Path = arguments.request
    if _is_trial(source):
        return _from_trial(source, arguments.out)
    out: Path = arguments.out or beside(source, "-plan")
    written = read_request(source)
    tell(written.ignored)
    _keep_a_logbook(out, arguments.replace)
    check_place(out, source, FORMAT, arguments.replace)
    try:
        plan = plan_trial(written.request, read_literature())
    except PlanRefused as refused:
        tell(refused_problems(written, refused), written.beside)
        if refused.nearest is not None:
            words = changed_words(written.request, refused.nearest, written.units)
            tell([f"nearest possible plan: {words}"], written.beside)
        return UNUSABLE
    units = written.beside

    def shown(page: str) -> str:
        return page_beside(page, units)

    write_folder(out, FORMAT, lambda folder: write_plan(plan, folder, shown), keep=True)
    print("\n".join(_said(plan, written.assumed, arguments.all, units)))
    print(f"Logbook: {out / 'logbook.xlsx'}. Wall sheet: {out / 'wall-sheet.html'}")
    return DONE


def _is_trial(source: Path) -> bool:
    """Tell whether a place holds a trial's tables and no plan."""
    from bmp.read.tables import read_tables

    found = read_tables(source, ("plan", "jars", "readings"), [])
    return "plan" not in found and {"jars", "readings"} <= set(found)


def _from_trial(source: Path, out: Path | None) -> int:
    """Write a plan request for the next trial, filled in from this one."""
    from bmp.analyze import analyze
    from bmp.commands.start import new_place, quoted
    from bmp.plan.next_trial import next_trial
    from bmp.plan.request_form import write_request

    results = analyze(read_told(source, progress()))
    found = next_trial(results.trial, results.yields)
    place = new_place(out or beside(source, "-next"), "plan request.xlsx")
    write_request(place, found.items, found.materials)
    jars, blanks = found.items["jars_per_material"], found.items["blanks"]
    print(f"Proposed: {jars} jars of each material and {blanks} blanks.")
    print("\n".join(_bullets("-", found.why, results.trial.setup.show_units)))
    print(f"The plan request is {quoted(place)}: check each value and change what you like.")
    print(f"Then type: bmp plan {quoted(place)}")
    return DONE


def _said(
    plan: Plan, assumed: tuple[str, ...], everything: bool, units: Sequence[str]
) -> list[str]:
    """Return the plan in lines: doses, what matters, what is assumed, safety.

    What holds for every trial and the cautions in full are on the wall sheet; `everything` prints
    them too.
    """
    from bmp.plan.advice import ALWAYS
    from bmp.plan.plan import dosing_lines

    watch = [line for line in plan.watch if everything or line not in ALWAYS]
    safety = [_in_full(one) if everything else one.line for one in plan.cautions]
    return [
        *dosing_lines(plan),
        f"{len(plan.jars)} jars in {len(plan.rounds)} rounds of readings.",
        *_bullets("-", watch, units),
        *_bullets("- assumed:", (*assumed, *plan.assumed), units),
        *_bullets("!", safety, units),
        *([] if everything else ["What holds for every trial: on the wall sheet, or with --all."]),
    ]


def _bullets(sign: str, texts: Iterable[str], units: Sequence[str] = ()) -> list[str]:
    from bmp.report.answer_text import WIDTH
    from bmp.report.shown_units import folded

    return [
        line for text in texts for line in folded(f"{sign} {text}", units, WIDTH, following="  ")
    ]


def _in_full(caution: Caution) -> str:
    return caution.text + (f" {caution.figure}." if caution.figure else "")


def _keep_a_logbook(out: Path, replace: bool) -> None:
    """Refuse to write over a logbook, which may hold a trial's only readings."""
    from bmp.problem import Problem, UnusableInput

    if (out / "logbook.xlsx").exists() and not replace:
        wanted = "give another folder with --out, or --replace (the old one is kept too)"
        raise UnusableInput(
            [Problem(str(out), "there is a logbook here that may hold readings", wanted)]
        )
