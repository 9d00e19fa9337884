"""Reading errors of an archive's trials, looked for in each trial as `bmp check` does."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from typing import Any, Final

from bmp.finding import Finding
from bmp.judge.overall import touching
from bmp.judge.reading_errors import find_reading_errors
from bmp.trial import Trial

ERROR_COLUMNS: Final = ("trial", "jar", "time_d", "error", "outcome", "meaning")
"""Of the table of reading errors: a row a finding and jar that it names."""
_PLACE: Final = re.compile(r"(?P<jar>.*?)(?: day (?P<day>[-+.\de]+).*)?$")


def reading_errors(name: str, trial: Trial) -> tuple[list[tuple[Any, ...]], dict[str, int]]:
    """Return the rows of a trial's reading errors, and by series how many touch it.

    An error that names no jar, or one of a blank, touches every series.
    """
    found = [
        finding for finding in find_reading_errors(trial) if finding.outcome in ("caution", "fail")
    ]
    rows = [
        (name, jar, day, finding.check, finding.outcome, finding.meaning)
        for finding in found
        for jar, day in _places(finding, trial)
    ]
    series = {jar.series: jar.material for jar in trial.jars}
    count = {one: len(touching(found, one, material, trial)) for one, material in series.items()}
    return rows, count


def _places(finding: Finding, trial: Trial) -> Iterable[tuple[str | None, float | None]]:
    """Return each jar, with the day, that a finding names; a single blank where it names none."""
    jars = {jar.name for jar in trial.jars}
    places: list[tuple[str | None, float | None]] = []
    for part in finding.where.split(", "):
        place = _PLACE.match(part.partition(" and ")[0].strip())
        if place is not None and place["jar"] in jars:
            places.append((place["jar"], None if place["day"] is None else float(place["day"])))
    return places or [(None, None)]


def with_counts(
    rows: Sequence[tuple[Any, ...]], columns: Sequence[str], counts: dict[str, dict[str, int]]
) -> tuple[tuple[Any, ...], ...]:
    """Return rows of the table of materials with the number of reading errors filled in."""
    at, series = columns.index("reading_errors"), columns.index("series")
    return tuple(
        (*row[:at], counts.get(row[0], {}).get(row[series]), *row[at + 1 :]) for row in rows
    )
