"""What a trial says to date: analysed once for each state of its files, and kept."""

from __future__ import annotations

import shutil
import tempfile
import threading
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from markupsafe import Markup

from bmp.finding import Finding
from bmp.page.problem_cells import MarkedTable, marked
from bmp.page.trial_folders import Place
from bmp.page.worker import Run, directly
from bmp.problem import Problem, UnusableInput
from bmp.read.digest import input_digest

KEPT = 12
"""Analyses kept in memory."""


@dataclass(frozen=True, eq=False)
class SoFar:
    """Results, or the reasons why there are none."""

    state: str
    """Name of the state of the files that it was made from."""
    results: Any = None
    """`bmp.results.Results`, or `None`."""
    problems: tuple[Problem, ...] = ()
    tables: tuple[MarkedTable, ...] = ()
    """The problems at their cells."""
    seen: tuple[Finding, ...] = ()
    """Reading errors, and what else a look at the tables finds."""
    empty: bool = False
    """No reading was taken yet."""
    raw: tuple[str, ...] = ()
    """Raw gas of the jars while nothing tells their methane, in lines."""


def state_of(place: Place) -> str:
    """Return a name for the content of all tables of a trial."""
    return input_digest(place.path)[:24]


class Analyses:
    """The latest analyses, by trial and state of its files."""

    def __init__(self, run: Run = directly) -> None:
        self._run = run
        self._kept: dict[tuple[Any, ...], Any] = {}
        self._locks: dict[tuple[Any, ...], threading.Lock] = {}
        self._written: dict[str, tuple[str, Path]] = {}
        self._aside: Path | None = None

    def _once(self, key: tuple[Any, ...], function: Any, *given: Any) -> Any:
        """Return what a function gives, from memory where it was asked the same before."""
        with self._locks.setdefault(key, threading.Lock()):
            if key not in self._kept:
                self._kept[key] = self._run(function, *given)
                for old in list(self._kept)[: max(len(self._kept) - KEPT, 0)]:
                    self._kept.pop(old, None)
                    self._locks.pop(old, None)
            return self._kept[key]

    def of(self, place: Place) -> SoFar:
        """Return what a trial says to date, from memory where its files did not change."""
        state = state_of(place)
        found: SoFar = self._once((place.name, state), analysed, place, state)
        return found

    def known(self, place: Place) -> SoFar | None:
        """Return what is known already; nothing is computed."""
        found: SoFar | None = self._kept.get((place.name, state_of(place)))
        return found

    def tank_pictures(self, place: Place, units: Sequence[str]) -> Mapping[str, Markup]:
        """Return the pictures of a trial's tank, their axes in the units wanted."""
        found = self.of(place)
        drawn: Mapping[str, Markup] = self._once(
            (place.name, found.state, "tank", *units), draw_tank, found.results, units
        )
        return drawn

    def groups(self, place: Place) -> Mapping[str, Any] | None:
        """Return what the groups of a trial show."""
        found = self.of(place)
        made: Mapping[str, Any] | None = self._once(
            (place.name, found.state, "groups"), groups_of, found.results
        )
        return made

    def page_in(self, place: Place, what: str, units: tuple[str, ...]) -> str:
        """Return the report or the page for a class as it is for who wants those units."""
        found = self.of(place)
        made: str = self._once(
            (place.name, found.state, what, *units), page_in, found.results, what, units
        )
        return made

    def comparison(self, places: Sequence[Place], units: Sequence[str]) -> tuple[str, list[str]]:
        """Return the page that compares trials, and what it says in sentences."""
        found = [self.of(place) for place in places]
        states = ((place.name, one.state) for place, one in zip(places, found, strict=True))
        results, names = [one.results for one in found], [place.name for place in places]
        made: tuple[str, list[str]] = self._once((*states, *units), compared, results, names, units)
        return made

    def write_report(self, place: Place) -> Path | None:
        """Write the results folder beside the trial, as `bmp analyze` does, if it is behind.

        Returns
        -------
        Path or None
            The folder: elsewhere, where beside the trial nothing can be written. `None`: there are
            no results.

        Raises
        ------
        UnusableInput
            The folder holds files of other hands.
        """
        found = self.of(place)
        if found.results is None:
            return None
        with self._locks.setdefault((place.name, "report"), threading.Lock()):
            state, folder = self._written.get(place.name, ("", place.results))
            if state != found.state or not (folder / "report.html").exists():
                folder = place.results
                try:
                    self._run(write_report, found.results, folder, place.path)
                except OSError:
                    self._aside = self._aside or Path(tempfile.mkdtemp(prefix="bmp-page-"))
                    folder = self._aside / place.results.name
                    self._run(write_report, found.results, folder, place.path)
                self._written[place.name] = (found.state, folder)
        return folder

    def close(self) -> None:
        """Remove what was written elsewhere."""
        if self._aside is not None:
            shutil.rmtree(self._aside, ignore_errors=True)


# ---------------------------------------------------------------- done in the other process


def analysed(place: Place, state: str) -> SoFar:
    """Analyse a trial as it lies in the folder."""
    from bmp.analyze import analyze
    from bmp.check import check
    from bmp.normalise.gas_problems import falls_seen
    from bmp.normalise.raw_gas import raw_gas_words
    from bmp.read import read_with_problems

    try:
        trial, problems = read_with_problems(place.path, unfinished=True)
        if not problems and not trial.readings.time_d.size:
            return SoFar(state, empty=True)
        if not problems:
            trial, problems = read_with_problems(place.path)
        if problems:
            found = check(trial, whole=False)
            raw = tuple(raw_gas_words(found.raw))
            problems = (*problems, *falls_seen(trial, problems))
            return _with_problems(place, state, problems, found.findings, raw)
        results = analyze(trial)
        seen = tuple(one for one in results.checks if one.outcome in ("fail", "caution"))
        return SoFar(state, results, seen=seen)
    except UnusableInput as unusable:
        return _with_problems(place, state, unusable.problems)
    except Exception as error:
        # whatever a stranger's file holds, a person sees a sentence
        what = f"this trial cannot be analysed ({type(error).__name__}: {error})"
        return SoFar(state, problems=(Problem(place.name, what, "check the tables"),))


def _with_problems(
    place: Place,
    state: str,
    problems: tuple[Problem, ...],
    seen: tuple[Finding, ...] = (),
    raw: tuple[str, ...] = (),
) -> SoFar:
    tables = tuple(marked(place.path, problems))
    return SoFar(state, problems=problems, tables=tables, seen=seen, raw=raw)


def draw_tank(results: Any, units: Sequence[str]) -> Mapping[str, Markup]:
    """Draw the pictures of the tank for use inside a page."""
    import matplotlib as mpl

    from bmp.page.pictures import drawings
    from bmp.report.axes_in import axes_in
    from bmp.report.series_style import STYLE
    from bmp.report.tank_figures import tank_pictures

    places = {one.series: place for place, one in enumerate(results.yields)}
    with mpl.rc_context(STYLE):
        drawn = tank_pictures(results.tank, places)
        axes_in(drawn.values(), units)
        return drawings(drawn)


def groups_of(results: Any) -> Mapping[str, Any] | None:
    """Return what the section of the groups shows, where a trial has groups."""
    from bmp.report.groups import groups

    return groups(results)


def page_in(results: Any, what: str, units: tuple[str, ...]) -> str:
    """Return one of the pages of a results folder, made for who wants other units."""
    from bmp.report.class_page import class_page
    from bmp.report.figures import figures, save_figures
    from bmp.report.page import render_page, unbroken

    setup = replace(results.trial.setup, show_units=units)
    shown = replace(results, trial=replace(results.trial, setup=setup))
    with tempfile.TemporaryDirectory() as folder:
        svg = save_figures(figures(shown), Path(folder))
    page = class_page(shown, svg) if what == "class.html" else render_page(shown, svg)
    return unbroken(page or "")


def compared(
    results: Sequence[Any], names: Sequence[str], units: Sequence[str]
) -> tuple[str, list[str]]:
    """Compare the feeds of trials: the whole page, and a sentence a pair."""
    from bmp.compare import sentence
    from bmp.compare.within_trial import compare_across, compare_trial
    from bmp.report.compare_page import comparison_page
    from bmp.report.shown_units import beside

    if len(results) == 1:
        found, across = [results[0].comparisons], None
    else:
        found = [
            compare_trial(one.trial, one.gas, one.curves, one.yields, one.fits, name=name)
            for one, name in zip(results, names, strict=True)
        ]
        across = compare_across(found)
    heads = [f"In {name}: " if across else "" for name in names]
    said = [
        head + sentence(one)
        for head, trial in zip(heads, found, strict=True)
        if trial.first
        for one in trial.first.comparisons
    ]
    said += [sentence(one) for one in across.family.comparisons] if across else []
    said += [
        " ".join(one.equal_jars) or f"{name}: nothing is compared: {one.why_none}."
        for name, one in zip(names, found, strict=True)
        if one.why_none
    ]
    said = [beside(words, units) for words in said]
    return comparison_page(found, list(names), across, units), said


def write_report(results: Any, out: Path, source: Path) -> None:
    """Write a results folder."""
    from bmp.report.folder import check_place
    from bmp.report.results_json import FORMAT
    from bmp.report.write import write_results

    check_place(out, source, FORMAT, replace=False)
    write_results(results, out)


# ---------------------------------------------------------------- shown


def series_to_date(results: Any) -> list[Mapping[str, Any]]:
    """Return one row a series: its yield to date, what the end may be, and the days left."""
    last = float(results.trial.readings.time_d.max())
    return [_row(one, results.fits.get(one.series), last) for one in results.yields]


def _row(one: Any, fit: Any, last_d: float) -> Mapping[str, Any]:
    from bmp.report.quantities import half_width
    from bmp.report.rounding import short, with_uncertainty

    forecast = None if fit is None else fit.forecast
    stop = None if forecast is None else forecast.stop_day_d
    left = None if stop is None or stop.value is None else max(stop.value - last_d, 0.0)
    return {
        "series": one.series,
        "role": one.role,
        "value": with_uncertainty(one.value, half_width(one)),
        "unit": one.unit,
        "day": short(one.time_d),
        "done": one.finished,
        "words": None if forecast is None else forecast.words,
        "days_left": None if left is None else f"{left:.0f}",
    }
