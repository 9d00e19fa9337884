"""Dates read month first that were meant day first, or the reverse."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime

import numpy as np

from bmp.judge.cause import Cause, readings_by_row
from bmp.judge.reading_error import Seen, named
from bmp.judge.rough_gas import RoughGas
from bmp.trial import IntArray, Trial


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


def day_and_month(trial: Trial, seen: RoughGas) -> tuple[Seen, ...] | None:
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


def month_off(trial: Trial, seen: RoughGas) -> Cause | None:
    """Find readings that fit in only with the month before or after the one that was written.

    Such a reading stands out of the order of the table, or in a round of its own, and a month
    away the jar lacks a reading where the others have one.
    """
    taken = trial.readings.taken
    if taken is None or trial.setup.started is None or trial.readings.jar.size < 8:
        return None
    r = trial.readings
    count = np.bincount(seen.round, minlength=len(seen.time_d))
    jars = max(int(np.median(count)), 1)
    moved: dict[int, datetime] = {}
    for j, one in enumerate(seen.of_jar):
        own = readings_by_row(r, j)
        days = r.time_d[own]
        for place, i in enumerate(own):
            date = taken[i]
            low = days[place - 1] if place else 0.0
            high = days[place + 1] if place + 1 < own.size else np.inf
            if date is None or (low <= days[place] <= high and high < np.inf):
                continue
            for step in (1, -1):
                other = _in_month(date, step)
                if other is None:
                    continue
                day = (other - trial.setup.started).total_seconds() / 86400.0
                fits = low < day < high and day > 0
                if place + 1 == own.size:
                    fits = fits and count[seen.round[i]] < 0.5 * jars and _in_a_round(
                        trial, seen, one, day
                    )  # fmt: skip
                if fits and not (low <= days[place] <= high and high < np.inf):
                    moved[int(i)] = other
                    break
    if not moved or len(moved) > 0.3 * r.jar.size:
        return None
    return _month_cause(trial, moved)


def _in_month(date: datetime, step: int) -> datetime | None:
    month = date.month + step
    year = date.year + (month > 12) - (month < 1)
    try:
        return date.replace(year=year, month=(month - 1) % 12 + 1)
    except ValueError:
        return None


def _in_a_round(trial: Trial, seen: RoughGas, one: IntArray, day: float) -> bool:
    """Tell whether a day is that of a round in which the jar has no reading."""
    k = int(np.argmin(np.abs(seen.time_d - day)))
    lacks = not np.any(seen.round[one] == k)
    gap = np.diff(seen.time_d).min(initial=1.0)
    return lacks and abs(seen.time_d[k] - day) < max(0.5 * gap, 0.3)


def _month_cause(trial: Trial, moved: dict[int, datetime]) -> Cause:
    r, started = trial.readings, trial.setup.started
    assert started is not None
    assert r.taken is not None
    time_d = r.time_d.copy()
    taken = list(r.taken)
    for i, date in moved.items():
        time_d[i] = (date - started).total_seconds() / 86400.0
        taken[i] = date
    order = np.lexsort((time_d, r.jar))
    readings = replace(
        r,
        time_d=time_d[order],
        row=r.row[order],
        jar=r.jar[order],
        columns={name: values[order] for name, values in r.columns.items()},
        not_vented=r.not_vented[order],
        emptied=r.emptied[order],
        note=tuple(r.note[i] for i in order),
        taken=tuple(taken[i] for i in order),
    )
    first = min(moved)
    old = r.taken[first]
    text = (
        f"With {moved[first]:%Y-%m-%d} for {old:%Y-%m-%d} the reading falls into the row of the "
        "others: probably the month is wrong."
    )
    where = named(trial, list(moved))
    return Cause("date a month off", len(moved), where, text, replace(trial, readings=readings))
