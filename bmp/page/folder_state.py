"""What all pages share: the folder, its open trials, and what was analysed."""

from __future__ import annotations

import threading
from contextlib import suppress
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path

from flask import abort, current_app

from bmp.page.open_trial import OpenTrial
from bmp.page.results_to_date import Analyses
from bmp.page.trial_folders import Place, find, places
from bmp.page.worker import Run, directly
from bmp.problem import UnusableInput


@dataclass(eq=False)
class Site:
    """One folder of trials, served."""

    root: Path
    only: set[str] = field(default_factory=set)
    """Names of the trials that are shown, where the folder given was a trial itself: that one, and
    those made from its page. Empty: all."""
    analyses: Analyses = field(default_factory=Analyses)
    run: Run = directly
    """How what takes long is called."""
    _open: dict[Path, OpenTrial] = field(default_factory=dict)
    _lock: threading.Lock = field(default_factory=threading.Lock)

    def places(self) -> list[Place]:
        """Return the trials."""
        return [p for p in places(self.root) if not self.only or p.name in self.only]

    def find(self, name: str) -> Place | None:
        """Return the trial of that name, or the one that was called so before."""
        if self.only and name not in self.only:
            return None
        found = find(self.root, name)
        if found is not None:
            return found
        for place in self.places():
            with suppress(UnusableInput, OSError):
                opens = not place.is_workbook and not place.refused
                if opens and name in self.open(place).former_names:
                    return place
        return None

    def show(self, name: str) -> None:
        """Show a trial that was made here, also where one alone is shown."""
        if self.only:
            self.only.add(name)

    def open(self, place: Place) -> OpenTrial:
        """Return a folder of tables, opened once for all pages."""
        with self._lock:
            trial = self._open.get(place.path)
            if trial is None:
                trial = self._open[place.path] = OpenTrial(place.path)
        trial.refresh()
        return trial

    def forget(self, path: Path) -> None:
        """Close a trial that lies elsewhere now."""
        with self._lock:
            self._open.pop(path, None)

    def behind(self, name: str) -> str:
        """Return why a trial's table is behind what was kept; empty where it is not."""
        trial = self._open.get(self.root / name)
        return "" if trial is None else trial.behind

    def close(self) -> None:
        """Bring all tables up to their journals."""
        for trial in list(self._open.values()):
            trial.flush()
        self.analyses.close()


def site() -> Site:
    """Return the site of the request."""
    found: Site = current_app.extensions["bmp"]
    return found


def place_or_404(name: str) -> Place:
    """Return the trial of that name, or answer that there is none."""
    place = site().find(name)
    if place is None:
        abort(404, "There is no trial of this name.")
    if place.refused:
        abort(409, f"{place.name}: {place.refused}")
    return place


def folder_or_404(name: str) -> OpenTrial:
    """Return a trial of tables, opened; a workbook is only looked at."""
    place = place_or_404(name)
    if place.is_workbook:
        abort(404, "A workbook is kept as it was uploaded.")
    return site().open(place)


def now() -> datetime:
    """Return the clock of this machine, to the minute."""
    return datetime.now().replace(second=0, microsecond=0)


def spoken(time: str) -> str:
    """Return a time as people read it: `2 Mar 2027, 10:03`, or `day 2.5`."""
    try:
        at = datetime.fromisoformat(time)
    except ValueError:
        return f"day {time.strip()}"
    return f"{at.day} {at:%b %Y, %H:%M}"
