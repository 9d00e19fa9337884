"""Dates read month first that were meant day first, or the reverse."""

from __future__ import annotations

from datetime import datetime

import numpy as np

from bmp.judge.look import Look
from bmp.judge.trap import Seen, named
from bmp.trial import Trial


def swapped(day: datetime) -> datetime:
    """Return the date with day and month exchanged, where that is a date."""
    return day.replace(day=day.month, month=day.day) if day.day <= 12 else day


def _way_d(days: list[datetime]) -> float:
    """Return the days walked from each date to the next, going backwards counted too."""
    stamps = np.array([d.timestamp() for d in days]) / 86_400
    return float(np.abs(np.diff(stamps)).sum())


def _start_swapped(trial: Trial) -> tuple[Seen, ...]:
    """Find a start that is near the first reading only with day and month exchanged."""
    taken = [t for t in trial.readings.taken or () if t is not None]
    start = trial.setup.started
    if start is None or not taken:
        return ()
    first = min(taken)
    now, other = abs(first - start).days, abs(first - swapped(start)).days
    if now < 20 or other > 5 or now < 5 * other:
        return ()
    text = (
        f"The first reading lies {now} days from the start {start:%Y-%m-%d}, and {other} from "
        f"{swapped(start):%Y-%m-%d}: day and month are probably exchanged."
    )
    return (Seen(now, "started", text),)


def day_and_month(trial: Trial, seen: Look) -> tuple[Seen, ...] | None:
    """Find dates whose day and month were exchanged.

    In the order of the table, dates of one jar follow each other in short steps. Where the
    exchange of day and month (of all dates that allow it) makes the way through them less than
    half as long, they were read the wrong way round.
    """
    taken = trial.readings.taken
    if taken is None:
        return None
    rows = trial.readings.row
    suspects: list[int] = []
    for one in seen.of_jar:
        dated = [int(i) for i in one[np.argsort(rows[one], kind="stable")] if taken[i] is not None]
        days = [d for d in (taken[i] for i in dated) if d is not None]
        if len(days) < 3:
            continue
        other = [swapped(d) for d in days]
        if _way_d(days) > 2.0 * _way_d(other):
            suspects += [i for i, d, o in zip(dated, days, other, strict=True) if d != o]
    start = _start_swapped(trial)
    if not suspects:
        return start
    first = taken[suspects[0]]
    text = (
        "Read as they stand the dates jump by months; with day and month exchanged they follow "
        f"each other (first: {first:%Y-%m-%d}, else {swapped(first):%Y-%m-%d})."
        if first is not None
        else ""
    )
    return (Seen(len(suspects), named(trial, suspects), text), *start)
