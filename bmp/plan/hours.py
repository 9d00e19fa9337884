"""When people read jars: hours of the day, days of the week, and times a day.

A place has hours in which somebody is awake or at school. From them follow the times at which a
round may stand, and the longest gap that no plan can shorten: the night, or the weekend.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from itertools import pairwise

# Clock hours between which a round may stand, and days of the week (Monday is 0). Common practice,
# no source.
HOURS: dict[str, tuple[float, float]] = {
    "home": (7.0, 22.0),
    "laboratory": (7.0, 22.0),
    "school": (8.0, 16.0),
}
DAYS_OF_WEEK: dict[str, tuple[int, ...]] = {
    "home": tuple(range(7)),
    "laboratory": tuple(range(7)),
    "school": tuple(range(5)),
}
# A trial without a start is planned as if its jars were closed then: a Monday.
ASSUMED_START = datetime(2001, 1, 1, 10)
MOST_ROUNDS_A_DAY = 3
WEEK_D = 7


@dataclass(frozen=True)
class Calendar:
    """Times at which the jars of one trial may be read."""

    started: datetime
    first_h: float
    last_h: float
    days_of_week: tuple[int, ...]

    @property
    def daily_h(self) -> float:
        """Clock hour of the daily round: the start's, where somebody is there then."""
        clock = self.started.hour + self.started.minute / 60
        return min(max(clock, self.first_h), self.last_h)

    def clock_hours(self, times_a_day: int) -> tuple[float, ...]:
        """Return the clock hours of one, two or three rounds a day, as even as the hours allow."""
        daily, first, last = self.daily_h, self.first_h, self.last_h
        if times_a_day == 1:
            return (daily,)
        if times_a_day > 2:
            return (first, (first + last) / 2, last)
        other = daily + 12 if daily < 12 else daily - 12
        if first <= other <= last:
            return (min(daily, other), max(daily, other))
        if last - first >= 12:
            early = (first + last) / 2 - 6
            return (early, early + 12)
        return (first, last)

    def after(self, time_d: float, times_a_day: int, within_d: float) -> Iterator[float]:
        """Return the times of such rounds after a time, the last of them first [d]."""
        now = self.started + timedelta(days=time_d)
        hours = self.clock_hours(times_a_day)
        found = []
        for day in range(int(within_d) + 1 + WEEK_D):
            on = now.date() + timedelta(days=day)
            if on.weekday() in self.days_of_week:
                found += [self._time_d(on, hour) for hour in hours]
        found = [at for at in found if at > time_d + 1e-9]
        near = [at for at in found if at <= time_d + within_d + 1e-9]
        yield from reversed(near or found[:1])

    def end_d(self, days: float) -> float:
        """Return the time of the last round: the last day, or the next on which people are there.

        It stands at the trial's own hour.
        """
        end = self.started + timedelta(days=days)
        at, on = self._time_d(end.date(), self.daily_h), end.date()
        while on.weekday() not in self.days_of_week or at < days - 1e-9:
            on += timedelta(days=1)
            at = self._time_d(on, self.daily_h)
        return at

    def longest_gap_d(self, times_a_day: int) -> float:
        """Return the longest time between two such rounds of a week."""
        hours = self.clock_hours(times_a_day)
        week = [24 * day + hour for day in self.days_of_week for hour in hours]
        week.append(week[0] + 24 * WEEK_D)
        return max(late - early for early, late in pairwise(week)) / 24

    def _time_d(self, on: date, hour: float) -> float:
        at = datetime.combine(on, time()) + timedelta(hours=hour)
        return round((at - self.started) / timedelta(days=1), 9)


def calendar_of(place: str, started: datetime | None) -> Calendar:
    """Return the times of reading at one of `bmp.plan.plan_request.PLACES`."""
    return Calendar(started or ASSUMED_START, *HOURS[place], DAYS_OF_WEEK[place])
