"""What a trial says to date: analysed once for each state of its files, and kept."""

from __future__ import annotations

import hashlib
import threading
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from markupsafe import Markup

from bmp.page.places import Place
from bmp.problem import Problem, UnusableInput

KEPT = 12
"""Analyses kept in memory."""
_ONE_AT_A_TIME = threading.Lock()
"""Drawing is not safe in several threads at once, and one analysis takes a core."""


def alone() -> threading.Lock:
    """Return the lock under which everything is computed and drawn."""
    return _ONE_AT_A_TIME


@dataclass(frozen=True, eq=False)
class SoFar:
    """Results, or the reasons why there are none."""

    state: str
    """Name of the state of the files that it was made from."""
    results: Any = None
    """`bmp.results.Results`, or `None`."""
    drawings: Mapping[str, Markup] = field(default_factory=dict)
    problems: tuple[Problem, ...] = ()
    empty: bool = False
    """No reading was taken yet."""


def state_of(place: Place) -> str:
    """Return a name for the content of all tables of a trial."""
    digest = hashlib.sha256()
    paths = [place.path] if place.is_workbook else sorted(place.path.glob("*.[cC][sS][vV]"))
    for path in paths:
        content = path.read_bytes()
        digest.update(f"{path.name}|{len(content)}|".encode() + content)
    return digest.hexdigest()[:24]


class Analyses:
    """The latest analyses, by trial and state of its files."""

    def __init__(self) -> None:
        self._kept: dict[tuple[str, str], SoFar] = {}
        self._written: dict[str, str] = {}

    def of(self, place: Place) -> SoFar:
        """Return what a trial says to date, from memory where its files did not change."""
        with _ONE_AT_A_TIME:
            state = state_of(place)
            key = (place.name, state)
            if key not in self._kept:
                self._kept[key] = _analysed(place, state)
                while len(self._kept) > KEPT:
                    del self._kept[next(iter(self._kept))]
            return self._kept[key]

    def write_report(self, place: Place) -> SoFar:
        """Write the results folder beside the trial, as `bmp analyze` does, if it is behind.

        Raises
        ------
        UnusableInput
            The folder holds files of other hands.
        """
        from bmp.report.folder import check_place
        from bmp.report.results_json import FORMAT
        from bmp.report.write import write_results

        found = self.of(place)
        if found.results is None:
            return found
        mark = place.results / "report.html"
        with _ONE_AT_A_TIME:
            if self._written.get(place.name) != found.state or not mark.exists():
                check_place(place.results, place.path, FORMAT, replace=False)
                write_results(found.results, place.results)
                self._written[place.name] = found.state
        return found


def _analysed(place: Place, state: str) -> SoFar:
    from bmp.analyze import analyze
    from bmp.page.pictures import drawings
    from bmp.read import read_with_problems

    try:
        trial, problems = read_with_problems(place.path, unfinished=True)
        if problems:
            return SoFar(state, problems=problems)
        if not trial.readings.time_d.size:
            return SoFar(state, empty=True)
        trial, problems = read_with_problems(place.path)
        if problems:
            return SoFar(state, problems=problems)
        results = analyze(trial)
        return SoFar(state, results, drawings(results))
    except UnusableInput as unusable:
        return SoFar(state, problems=unusable.problems)
    except Exception as error:
        # whatever a stranger's file holds, a person sees a sentence
        what = f"it cannot be used, and why is not known ({type(error).__name__}: {error})"
        return SoFar(state, problems=(Problem(place.name, what, "check the tables"),))


def series_to_date(found: SoFar) -> list[Mapping[str, Any]]:
    """Return one row a series: its yield to date, what the end may be, and the days left."""
    results = found.results
    last = float(results.trial.readings.time_d.max())
    return [_row(one, results.fits.get(one.series), last) for one in results.yields]


def _row(one: Any, fit: Any, last_d: float) -> Mapping[str, Any]:
    from bmp.report.rounding import short, with_uncertainty
    from bmp.report.sentences import half_width

    forecast = None if fit is None else fit.forecast
    stop = None if forecast is None else forecast.stop_day_d
    left = None if stop is None or stop.value is None else max(stop.value - last_d, 0.0)
    return {
        "series": one.series,
        "role": one.role,
        "value": with_uncertainty(one.value, half_width(one)),
        "unit": one.unit,
        "day": short(one.time_d),
        "done": one.finished is True,
        "words": None if forecast is None else forecast.words,
        "days_left": None if left is None else f"{left:.0f}",
    }
