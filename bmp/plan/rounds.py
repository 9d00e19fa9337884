"""When to read and vent, so that no jar passes its pressure and no collector runs over."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime, timedelta

import numpy as np

from bmp.constants import REFERENCE_PRESSURE_KPA, REFERENCE_TEMPERATURE_K, ZERO_CELSIUS_K
from bmp.plan.draft import Draft
from bmp.plan.gas import LEVELS, GasCurve, gauge_kPa, pushed_out_mL, warming_kPa, wet_volume_mL

# Gauge pressure that no glass passes and the cautious one: document 304 and the 2020 draft.
LARGEST_GAUGE_KPA = 200.0
CAUTIOUS_GAUGE_KPA = 100.0
# The plan uses this share of a rating, because a feed may give gas twice as fast as the literature
# says. Common practice, no source; for a rating of 200 kPa it is document 304's cautious figure.
SHARE_OF_RATING = 0.5
# Days between readings, each until a day of the trial: daily at first, at most 7 d late (documents
# 303 and 304); the days in between are common practice.
REGULAR_STEPS_D: tuple[tuple[float, float], ...] = ((7, 1), (14, 2), (30, 4), (math.inf, 7))
# Shorter steps where a day is too long. Nobody is asked to come more often than every 8 h.
SHORT_STEPS_D: tuple[float, ...] = (0.5, 1 / 3)


@dataclass(frozen=True)
class Round:
    """One round of readings: every jar is read and, where it is closed, vented."""

    number: int
    time_d: float
    since_d: float
    """Time since the round before."""
    at: datetime | None
    """Date and time, where the trial's start is known."""


@dataclass(frozen=True)
class Expectation:
    """What one jar of a material is expected to give between two rounds."""

    material: str
    time_d: float
    since_d: float
    biogas_NmL: tuple[float, float, float]
    """Low, middle, high."""
    gauge_kPa: tuple[float, float, float] | None
    """At the end of the interval in a closed jar; `None` with an open outlet."""
    volume_mL: tuple[float, float, float] | None
    """As read over water in the room, with what warming pushes out; `None` in a closed jar."""


def planned_limit_kPa(rating_kPa: float) -> float:
    """Return the gauge pressure that a plan stays below at the high end of the literature."""
    return min(SHARE_OF_RATING * rating_kPa, CAUTIOUS_GAUGE_KPA)


def _start(draft: Draft) -> tuple[float, float]:
    """Return gauge pressure [kPa] and volume pushed out [mL] by warming after closing."""
    wishes, ambient = draft.wishes, draft.ambient_kPa
    room, warm = wishes.room_temperature_C, wishes.incubation_temperature_C
    headspace = draft.doses[0].headspace_mL
    return warming_kPa(ambient, room, warm), pushed_out_mL(headspace, ambient, room, warm, room)


def burden(draft: Draft, curves: list[GasCurve], from_d: float, to_d: float) -> np.ndarray:
    """Return what each curve puts on its vessel in an interval: gauge kPa, or mL if it is open."""
    gas = np.array([float(c.biogas_NmL(to_d) - c.biogas_NmL(from_d)) for c in curves])
    pressure, volume = _start(draft) if from_d == 0 else (0.0, 0.0)
    if draft.wishes.outlet == "closed":
        headspace = draft.doses[0].headspace_mL
        return gauge_kPa(gas, headspace, draft.wishes.incubation_temperature_C, pressure)
    room = draft.wishes.room_temperature_C
    return wet_volume_mL(gas, draft.ambient_kPa, room) + max(volume, 0.0)


def limit(draft: Draft) -> float | None:
    """Return what a vessel bears: planned gauge kPa, or the collector's mL; `None`: no limit."""
    wishes = draft.wishes
    if wishes.outlet == "closed" and wishes.vessel_rating_kPa is not None:
        return planned_limit_kPa(wishes.vessel_rating_kPa)
    return wishes.collector_mL


def high_curves(draft: Draft) -> list[GasCurve]:
    """Return every dose's curve at the high end of the literature."""
    return [draft.curve(i, "high") for i in range(len(draft.doses))]


def worst_burden(draft: Draft, from_d: float, to_d: float) -> float:
    """Return the largest burden of any jar at the high end of the literature."""
    return float(np.max(burden(draft, high_curves(draft), from_d, to_d)))


def plan_rounds(draft: Draft) -> tuple[Round, ...] | None:
    """Return all rounds, or `None` where even the shortest step is too long for the vessel."""
    bound = limit(draft)

    def bearable(from_d: float, to_d: float) -> bool:
        return bound is None or worst_burden(draft, from_d, to_d) <= bound

    rounds: list[Round] = []
    time = 0.0
    while time < draft.wishes.days - 1e-9:
        following = next_time_d(time, draft.wishes.days, bearable)
        if following is None:
            return None
        started = draft.wishes.started
        at = None if started is None else started + timedelta(hours=round(24 * following, 3))
        rounds.append(Round(len(rounds) + 1, following, following - time, at))
        time = following
    return tuple(rounds)


def next_time_d(
    time_d: float, days: float, bearable: Callable[[float, float], bool]
) -> float | None:
    """Return the latest regular time after `time_d` that the vessel bears.

    Whole days fall on the clock time of the start, so a half day is made up at the next round.
    """
    regular = next(step for until, step in REGULAR_STEPS_D if time_d < until)
    whole = [float(math.floor(time_d + 1e-9) + s) for s in (7, 4, 2, 1) if s <= regular]
    short = [time_d + s for s in SHORT_STEPS_D]
    short = [round(s) if abs(s - round(s)) < 1e-6 else s for s in short]
    for end in [*whole, *short]:
        end = min(float(end), days)
        if bearable(time_d, end):
            return end
    return None


def hours_until(curve: GasCurve, gas_NmL: float, longest_d: float) -> float | None:
    """Return hours from closing until the curve has given so much gas; `None`: not that soon."""
    from scipy.optimize import brentq

    if gas_NmL <= 0:
        return 0.0
    if float(curve.biogas_NmL(longest_d)) < gas_NmL:
        return None
    return 24 * float(brentq(lambda t: float(curve.biogas_NmL(t)) - gas_NmL, 0.0, longest_d))


def hours_until_gauge(draft: Draft, gauge: float, level: str) -> float | None:
    """Return hours from closing until the fastest jar reaches a gauge pressure unvented."""
    warm_K = draft.wishes.incubation_temperature_C + ZERO_CELSIUS_K
    per_mL = REFERENCE_PRESSURE_KPA * warm_K / REFERENCE_TEMPERATURE_K / draft.doses[0].headspace_mL
    gas = (gauge - _start(draft)[0]) / per_mL
    found = [
        hours_until(draft.curve(i, level), gas, draft.wishes.days) for i in range(len(draft.doses))
    ]
    return min((h for h in found if h is not None), default=None)


def expectations(draft: Draft, rounds: tuple[Round, ...]) -> tuple[Expectation, ...]:
    """Return what every material gives in every interval."""
    expected: list[Expectation] = []
    for one in rounds:
        start = one.time_d - one.since_d if one.number > 1 else 0.0
        for i, dose in enumerate(draft.doses):
            curves = [draft.curve(i, level) for level in LEVELS]
            gas = [float(c.biogas_NmL(one.time_d) - c.biogas_NmL(start)) for c in curves]
            load = burden(draft, curves, start, one.time_d)
            three = (float(load[0]), float(load[1]), float(load[2]))
            closed = draft.wishes.outlet == "closed"
            expected.append(
                Expectation(
                    material=dose.material,
                    time_d=one.time_d,
                    since_d=one.since_d,
                    biogas_NmL=(gas[0], gas[1], gas[2]),
                    gauge_kPa=three if closed else None,
                    volume_mL=None if closed else three,
                )
            )
    return tuple(expected)
