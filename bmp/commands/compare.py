"""`bmp compare TRIAL [TRIAL …]`: which feed is better, inside a trial and across trials."""

from __future__ import annotations

import argparse
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from bmp.commands.terminal import DONE, progress, tell

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Sequence

    from bmp.compare import TrialsCompared
    from bmp.compare.within_trial import TrialComparisons
    from bmp.problem import Problem

HELP = "say which feed is better, by how much, and whether that is more than noise"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Say what the command takes."""
    parser.add_argument(
        "trials",
        type=Path,
        nargs="+",
        metavar="TRIAL",
        help="a workbook (.xlsx) or a folder of .csv tables",
    )
    parser.add_argument(
        "--out", type=Path, metavar="DIR", default=Path("comparison"), help="where to (comparison)"
    )
    parser.add_argument("--against", metavar="FEED", help="compare all others with this feed only")
    parser.add_argument(
        "--replace", action="store_true", help="write even where another folder stands (it is kept)"
    )


def run(arguments: argparse.Namespace) -> int:
    """Compare the feeds of the trials and say where the page is."""
    from bmp.compare.within_trial import compare_across
    from bmp.report.compare_page import COMPARISON_FORMAT, comparison_page, comparison_text
    from bmp.report.folder import check_place, write_folder
    from bmp.report.shown_units import beside

    out: Path = arguments.out
    for place in arguments.trials:
        check_place(out, place, COMPARISON_FORMAT, arguments.replace)
    names = trial_names(arguments.trials)
    show = progress()
    found, units = _comparisons(arguments.trials, names, arguments.against, show)
    across = compare_across(found, arguments.against) if len(found) > 1 else None
    show("write the comparison")

    def write(folder: Path) -> None:
        page = comparison_page(found, names, across, units)
        (folder / "comparison.html").write_text(page, encoding="utf-8")
        text = comparison_text(found, names, across)
        (folder / "comparison.json").write_text(text, encoding="utf-8")

    write_folder(out, COMPARISON_FORMAT, write)
    show("")
    for line in _said(found, names, across):
        print(beside(line, units))
    print(f"The comparison is in {out / 'comparison.html'}")
    return DONE


def _said(
    found: Sequence[TrialComparisons], names: Sequence[str], across: TrialsCompared | None
) -> Iterator[str]:
    """Yield what came out, a sentence a pair."""
    from bmp.compare import borrowed_sentences, sentence

    for one, name in zip(found, names, strict=True):
        head = f"In {name}: " if across else ""
        for c in one.first.comparisons if one.first else ():
            yield head + sentence(c)
        if one.borrowed is not None and one.borrowed.first is not None:
            for words in borrowed_sentences(one.borrowed.first.comparisons):
                yield head + words
    yield from across.unsound if across else ()
    for c in across.family.comparisons if across else ():
        yield sentence(c)
    for one, name in zip(found, names, strict=True):
        yield from one.equal_jars
        if one.why_none and not one.equal_jars:
            yield f"{name}: nothing is compared: {one.why_none}."


def trial_names(places: Sequence[Path]) -> list[str]:
    """Return a short name for each trial: its file or folder, numbered where two are alike."""
    stems = [p.resolve().stem if p.is_file() else p.resolve().name for p in places]
    return [
        f"{stem} ({stems[: index + 1].count(stem)})" if stems.count(stem) > 1 else stem
        for index, stem in enumerate(stems)
    ]


def _comparisons(
    places: Sequence[Path], names: Sequence[str], against: str | None, show: Callable[[str], None]
) -> tuple[list[TrialComparisons], tuple[str, ...]]:
    """Analyse every trial and compare its feeds; all unusable tables are told together.

    Returns
    -------
    tuple
        The comparisons, and the units that any of the trials wants beside the SI ones.
    """
    from bmp.analyze import analyze
    from bmp.compare.within_trial import compare_trial
    from bmp.problem import Problem, UnusableInput
    from bmp.read import read_with_problems

    problems: list[Problem] = []
    trials = []
    for place in places:
        try:
            trial, told = read_with_problems(place)
        except UnusableInput as unusable:
            told = unusable.problems
        else:
            trials.append(trial)
            tell(f"{place}: {line}" if len(places) > 1 else line for line in trial.ignored)
        problems += [_of_trial(place, problem, len(places) > 1) for problem in told]
    if problems:
        raise UnusableInput(problems)
    found = []
    for trial, name in zip(trials, names, strict=True):
        show(f"analyse {name}")
        done = analyze(trial)
        found.append(
            compare_trial(
                trial, done.gas, done.curves, done.yields, done.fits, name=name, against=against
            )
        )
    feeds = {feed.name for one in found for feed in one.feeds}
    if against is not None and against not in feeds:
        wanted = f"write one of: {', '.join(sorted(feeds))}"
        raise UnusableInput([Problem("--against", f"“{against}” is no feed here", wanted)])
    units = dict.fromkeys(unit for trial in trials for unit in trial.setup.show_units)
    return found, tuple(units)


def _of_trial(place: Path, problem: Problem, several: bool) -> Problem:
    """Return a problem that names its trial, where there are several and it does not already."""
    if not several or problem.table == str(place):
        return problem
    inside = "" if problem.table == place.name else f": {problem.table}"
    return replace(problem, table=f"{place}{inside}")
