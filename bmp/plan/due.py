"""Which readings of a running trial are due."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from bmp.cautions import CAUTIONS
from bmp.trial import Trial


@dataclass(frozen=True)
class DueRound:
    """Jars that wait for a reading planned at one time."""

    at: datetime
    jars: tuple[str, ...]


@dataclass(frozen=True)
class Due:
    """What waits on a day: earlier rounds, the day's own, and the first one after it."""

    overdue: tuple[DueRound, ...]
    today: tuple[DueRound, ...]
    following: DueRound | None


def due(trial: Trial, day: date) -> Due:
    """Return what a trial's logbook waits for on a day.

    Raises
    ------
    ValueError
        Where the logbook counts days and the trial has no start to count from.
    """
    waiting = _rounds(trial)
    overdue = tuple(r for r in waiting if r.at.date() < day)
    today = tuple(r for r in waiting if r.at.date() == day)
    later = [r for r in waiting if r.at.date() > day]
    return Due(overdue, today, later[0] if later else None)


def _rounds(trial: Trial) -> list[DueRound]:
    """Return the waiting rows by their planned time, earliest first."""
    unread = trial.unread
    if unread is None or unread.jar.size == 0:
        return []
    jars: dict[datetime, list[tuple[int, str]]] = {}
    for index, (jar, time_d, row) in enumerate(
        zip(unread.jar, unread.time_d, unread.row, strict=True)
    ):
        at = None if unread.taken is None else unread.taken[index]
        if at is None and trial.setup.started is None:
            raise ValueError("the logbook counts days, and the trial has no start")
        if at is None and trial.setup.started is not None:
            at = trial.setup.started + timedelta(minutes=round(1440 * float(time_d)))
        if at is not None:
            jars.setdefault(at, []).append((int(row), trial.jars[jar].name))
    return [DueRound(at, tuple(n for _, n in sorted(found))) for at, found in sorted(jars.items())]


def due_words(waiting: Due, trial: Trial, day: date) -> list[str]:
    """Return what is due in sentences, with the caution for closed jars that were not vented."""
    jars = len(trial.jars)
    said = [f"Overdue since {_clock(one.at)}: {_names(one.jars, jars)}" for one in waiting.overdue]
    said += [f"Due {one.at:%H:%M} on {day}: {_names(one.jars, jars)}" for one in waiting.today]
    if not said:
        said.append(f"Nothing is due on {day}.")
    if waiting.following is not None:
        following = waiting.following
        said.append(f"Next: {_clock(following.at)}: {_names(following.jars, jars)}")
    setup = trial.setup
    closed = setup.closed_between_readings
    if closed is None:
        closed = setup.measured in ("pressure", "mass")
    if waiting.overdue and closed:
        caution = next(c for c in CAUTIONS if c.id == "closed glass")
        said.append(f"Caution: {caution.text} {caution.figure} ({caution.source}).")
    return said


def _clock(at: datetime) -> str:
    return f"{at:%a %Y-%m-%d %H:%M}"


def _names(names: Sequence[str], of: int) -> str:
    return f"all {of} jars" if len(names) == of else ", ".join(names)
