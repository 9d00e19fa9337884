"""When to read and vent, so that no jar passes its pressure and no collector runs over."""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta

import numpy as np

from bmp.constants import (
    DENSITY_CH4_G_PER_ML,
    DENSITY_CO2_G_PER_ML,
    REFERENCE_PRESSURE_KPA,
    REFERENCE_TEMPERATURE_K,
    ZERO_CELSIUS_K,
)
from bmp.plan.dosing import ADVISED_SUBSTRATE_VS_G
from bmp.plan.draft import Draft, least_factor, make_draft
from bmp.plan.gas import (
    GasCurve,
    Three,
    gauge_kPa,
    pushed_out_mL,
    vapour_g_per_NmL,
    warming_kPa,
    wet_volume_mL,
)
from bmp.plan.hours import MOST_ROUNDS_A_DAY, Calendar, calendar_of
from bmp.plan.literature import LiteratureFeed
from bmp.plan.plan_request import PlanRequest
from bmp.trial import FloatArray

# Gauge pressure that no glass is planned to pass, and the cautious one: document 304 and the 2020
# draft.
LARGEST_GAUGE_KPA = 200.0
CAUTIOUS_GAUGE_KPA = 100.0
# The plan uses this share of a rating, because a feed may give gas twice as fast as the literature
# says. Common practice, no source; at a rating of 200 kPa it gives document 304's cautious figure.
SHARE_OF_RATING = 0.5
# Days between readings, each until a day of the trial: daily at first, at most 7 d late (documents
# 303 and 304); the days in between are common practice.
REGULAR_STEPS_D: tuple[tuple[float, float], ...] = ((7, 1), (14, 2), (30, 4), (math.inf, 7))
# Where the filling is left to the plan, it is what so many rounds a day bear.
USUAL_ROUNDS_A_DAY = 2


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
    biogas_NmL: Three
    """Low, middle, high."""
    gauge_kPa: Three | None
    """At the end of the interval in a closed jar; `None` with an open outlet."""
    volume_mL: Three | None
    """As read over water in the room, with what warming pushes out; of methane alone behind an
    absorber. `None` in a closed jar that is not measured by volume."""
    lost_g: Three | None
    """Mass that the jar loses, where it is weighed."""

    def as_read(self, measured: str) -> Three:
        """Return what is read by a way of measuring: gauge kPa, mL or g."""
        found = {"pressure": self.gauge_kPa, "mass": self.lost_g}.get(measured, self.volume_mL)
        if found is None:
            raise ValueError(f"a reading by {measured} was not planned")
        return found


def planned_limit_kPa(rating_kPa: float) -> float:
    """Return the gauge pressure that a plan stays below at the high end of the literature."""
    return min(SHARE_OF_RATING * rating_kPa, LARGEST_GAUGE_KPA)


def _start(draft: Draft) -> tuple[float, float]:
    """Return gauge pressure [kPa] and volume pushed out [mL] by warming after closing."""
    request, ambient = draft.request, draft.ambient_kPa
    room, warm = request.room_temperature_C, request.incubation_temperature_C
    headspace = draft.doses[0].headspace_mL
    return warming_kPa(ambient, room, warm), pushed_out_mL(headspace, ambient, room, warm, room)


def burden(draft: Draft, from_d: float, to_d: float) -> FloatArray:
    """Return what an interval's gas puts on every vessel: gauge kPa, or mL where it is open.

    Low, middle and high of every dose: shape (doses, 3).
    """
    gas = draft.biogas_NmL(from_d, to_d)
    pressure, volume = _start(draft) if from_d == 0 else (0.0, 0.0)
    if draft.request.outlet == "closed":
        headspace = draft.doses[0].headspace_mL
        return gauge_kPa(gas, headspace, draft.request.incubation_temperature_C, pressure)
    room = draft.request.room_temperature_C
    return wet_volume_mL(gas, draft.ambient_kPa, room) + max(volume, 0.0)


def limit(draft: Draft) -> float | None:
    """Return what a vessel bears: planned gauge kPa, or the collector's mL; `None`: no limit."""
    request = draft.request
    if request.outlet == "closed" and request.vessel_rating_kPa is not None:
        return planned_limit_kPa(request.vessel_rating_kPa)
    return request.collector_mL


def worst_burden(draft: Draft, from_d: float, to_d: float) -> float:
    """Return the largest burden of any jar at the high end of the literature.

    That a jar closed warmer than it stands cools down is no relief: the next interval has none.
    """
    relief = min(_start(draft)[0], 0.0) if from_d == 0 and draft.request.outlet == "closed" else 0.0
    return float(np.max(burden(draft, from_d, to_d)[:, 2])) - relief


def bearable_factor(draft: Draft, step_d: float) -> float:
    """Return how many times as much in each jar its vessel bears in the first `step_d` days.

    A closed jar's gas grows with what is in it while its headspace V - L shrinks; for a factor f
    the pressure is start + rise f (V - L)/(V - L f). Where water makes up the level, V - L stays.
    """
    bound = limit(draft)
    if bound is None:
        return math.inf
    pressure, volume = _start(draft)
    start = max(pressure if draft.request.outlet == "closed" else volume, 0.0)
    rise = worst_burden(draft, 0.0, step_d) - start
    room = max(bound - start, 0.0)
    if draft.request.outlet == "open" or draft.level_is_fixed:
        return room / rise
    jar, liquid = draft.request.jar_volume_mL, draft.liquid_mL
    return room * jar / (rise * (jar - liquid) + room * liquid)


def fitting_draft(request: PlanRequest, literature: Mapping[str, LiteratureFeed]) -> Draft:
    """Return the draft; where the filling is left to the plan, no more than the vessel bears.

    The filling is then the most that needs no more than two rounds a day, or three where two
    would leave a jar less than half of the VS advised, but never less than leaves every jar its
    least VS and feed.
    """
    draft = make_draft(request, literature)
    if request.fill is not None or request.substrate_VS_g is not None or limit(draft) is None:
        return draft
    least = least_factor(draft)[0]
    times = calendar(draft)
    # Doses are rounded, so a hair less than the bound.
    usual, often = (
        0.995 * bearable_factor(draft, times.longest_gap_d(rounds_a_day))
        for rounds_a_day in (USUAL_ROUNDS_A_DAY, MOST_ROUNDS_A_DAY)
    )
    little = least_factor(draft, ADVISED_SUBSTRATE_VS_G / 2)[0]
    factor = max(usual, min(often, little), 1.001 * least)
    if factor >= 1:
        return draft
    fill = round(factor * draft.liquid_mL / request.jar_volume_mL, 4)
    fitted = make_draft(dataclasses.replace(request, fill=fill), literature)
    return dataclasses.replace(fitted, request=request)


def calendar(draft: Draft) -> Calendar:
    """Return when the jars of a draft may be read."""
    return calendar_of(draft.request.place, draft.request.started)


def shortest_gap_d(draft: Draft) -> float:
    """Return the longest time between rounds that no plan can shorten: a night or a weekend."""
    return calendar(draft).longest_gap_d(MOST_ROUNDS_A_DAY)


def plan_rounds(draft: Draft) -> tuple[Round, ...] | None:
    """Return all rounds, or `None` where even the shortest step is too long for the vessel."""
    bound, times = limit(draft), calendar(draft)

    def bearable(from_d: float, to_d: float) -> bool:
        return bound is None or worst_burden(draft, from_d, to_d) <= bound

    rounds: list[Round] = []
    time, end = 0.0, times.end_d(draft.request.days)
    while time < end - 1e-9:
        following = next_time_d(time, end, times, bearable)
        if following is None:
            return None
        started = draft.request.started
        at = None if started is None else started + timedelta(minutes=round(1440 * following))
        rounds.append(Round(len(rounds) + 1, following, following - time, at))
        time = following
    return tuple(rounds)


def next_time_d(
    time_d: float, end_d: float, times: Calendar, bearable: Callable[[float, float], bool]
) -> float | None:
    """Return the latest regular time after `time_d` that the vessel bears; `None`: none is.

    A daily round or one of two a day, whichever is later; where neither does, one of three.
    """
    regular = next(step for until, step in REGULAR_STEPS_D if time_d < until)

    def latest(times_a_day: int, within_d: float) -> float | None:
        found = (min(at, end_d) for at in times.after(time_d, times_a_day, within_d))
        return next((at for at in found if bearable(time_d, at)), None)

    usual = [at for at in (latest(1, regular), latest(2, 1.0)) if at is not None]
    return max(usual) if usual else latest(MOST_ROUNDS_A_DAY, 1.0)


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
    warm_K = draft.request.incubation_temperature_C + ZERO_CELSIUS_K
    per_mL = REFERENCE_PRESSURE_KPA * warm_K / REFERENCE_TEMPERATURE_K / draft.doses[0].headspace_mL
    gas = (gauge - _start(draft)[0]) / per_mL
    found = [
        hours_until(draft.curve(i, level), gas, draft.request.days) for i in range(len(draft.doses))
    ]
    return min((h for h in found if h is not None), default=None)


def expectations(draft: Draft, rounds: tuple[Round, ...]) -> tuple[Expectation, ...]:
    """Return what one jar of every material gives in every interval."""
    request = draft.request
    closed, weighed = request.outlet == "closed", request.measured == "mass"
    by_volume = not closed or request.measured in ("volume", "methane volume")
    expected: list[Expectation] = []
    for one in rounds:
        start = one.time_d - one.since_d if one.number > 1 else 0.0
        gas = draft.biogas_NmL(start, one.time_d)
        gauge = burden(draft, start, one.time_d)
        volume, lost = _volume_read_mL(draft, start, one.time_d), _lost_g(draft, start, one.time_d)
        for row, dose in enumerate(draft.doses):
            expected.append(
                Expectation(
                    material=dose.material,
                    time_d=one.time_d,
                    since_d=one.since_d,
                    biogas_NmL=_three(gas[row]),
                    gauge_kPa=_three(gauge[row]) if closed else None,
                    volume_mL=_three(volume[row]) if by_volume else None,
                    lost_g=_three(lost[row]) if weighed else None,
                )
            )
    return tuple(expected)


def _three(values: FloatArray) -> Three:
    return float(values[0]), float(values[1]), float(values[2])


def _volume_read_mL(draft: Draft, from_d: float, to_d: float) -> FloatArray:
    """Return what a cylinder shows after an interval: methane alone behind an absorber."""
    methane = draft.request.measured == "methane volume"
    gas = draft.methane_NmL(from_d, to_d) if methane else draft.biogas_NmL(from_d, to_d)
    pushed_out = max(_start(draft)[1], 0.0) if from_d == 0 else 0.0
    return wet_volume_mL(gas, draft.ambient_kPa, draft.request.room_temperature_C) + pushed_out


def _lost_g(draft: Draft, from_d: float, to_d: float) -> FloatArray:
    """Return the mass of gas and vapour that leaves a jar; what warming pushes out is not in it."""
    biogas, methane = draft.biogas_NmL(from_d, to_d), draft.methane_NmL(from_d, to_d)
    warm = draft.request.incubation_temperature_C
    dry = methane * DENSITY_CH4_G_PER_ML + (biogas - methane) * DENSITY_CO2_G_PER_ML
    return dry + biogas * vapour_g_per_NmL(draft.ambient_kPa, warm)
