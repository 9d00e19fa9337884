"""Reading errors of an archive's trials, looked for in each trial as `bmp check` does."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, Final

from bmp.judge.overall import touching
from bmp.judge.reading_errors import find_reading_errors
from bmp.tables import READING_ERRORS, error_rows
from bmp.trial import Trial

ERROR_COLUMNS: Final = ("trial", *(column.name for column in READING_ERRORS))
"""Of the table of reading errors: a row a finding and jar that it names."""


def reading_errors(name: str, trial: Trial) -> tuple[list[tuple[Any, ...]], dict[str, int]]:
    """Return the rows of a trial's reading errors, and by series how many touch it.

    An error that names no jar, or one of a blank, touches every series.
    """
    found = [
        finding for finding in find_reading_errors(trial) if finding.outcome in ("caution", "fail")
    ]
    rows = [(name, *row) for row in error_rows(found, trial)]
    series = {jar.series: jar.material for jar in trial.jars}
    count = {one: len(touching(found, one, material, trial)) for one, material in series.items()}
    return rows, count


def with_counts(
    rows: Sequence[tuple[Any, ...]], columns: Sequence[str], counts: dict[str, dict[str, int]]
) -> tuple[tuple[Any, ...], ...]:
    """Return rows of the table of materials with the number of reading errors filled in."""
    at, series = columns.index("reading_errors"), columns.index("series")
    return tuple(
        (*row[:at], counts.get(row[0], {}).get(row[series]), *row[at + 1 :]) for row in rows
    )
