from __future__ import annotations

from datetime import datetime, timedelta

import numpy as np
import pytest

from bmp.plan.hours import calendar_of
from bmp.plan.plan import plan_trial
from bmp.plan.plan_request import PlanRequest
from bmp.plan.reading_rounds import (
    burden,
    fitting_draft,
    hours_until_gauge,
    next_time_d,
    planned_limit_kPa,
    worst_burden,
)
from tests.plan_requests import BEDDING, CLOSED, INOCULUM, LITERATURE, OPEN, but


@pytest.mark.parametrize(("rating", "limit"), [(50, 25), (200, 100), (400, 200), (1000, 200)])
def test_half_a_rating_and_never_more_than_200_kPa(rating: float, limit: float) -> None:
    assert planned_limit_kPa(rating) == limit


def test_regular_rounds_without_a_limit() -> None:
    rounds = plan_trial(OPEN, LITERATURE).rounds
    assert [r.time_d for r in rounds[:9]] == [1, 2, 3, 4, 5, 6, 7, 9, 11]
    assert rounds[-1].time_d == 40
    assert max(r.since_d for r in rounds) <= 7
    start = OPEN.started
    assert start is not None
    for one in rounds:
        assert one.at == start + timedelta(days=one.time_d)


def test_no_closed_jar_passes_the_planned_pressure() -> None:
    plan = plan_trial(CLOSED, LITERATURE)
    assert plan.rounds[0].since_d < 1
    for expected in plan.expected:
        assert expected.volume_mL is None
        assert expected.gauge_kPa is not None
        low, middle, high = expected.gauge_kPa
        assert low <= middle <= high <= planned_limit_kPa(300)


def test_a_longer_step_would_pass_it() -> None:
    plan = plan_trial(but(CLOSED, fill=0.24), LITERATURE)
    assert max(r.since_d for r in plan.rounds if r.time_d < 5) < 0.5
    assert worst_burden(plan.draft, 0.0, 0.5) > planned_limit_kPa(300)


def test_no_collector_runs_over() -> None:
    plan = plan_trial(but(OPEN, collector_mL=1500), LITERATURE)
    for expected in plan.expected:
        assert expected.gauge_kPa is None
        assert expected.volume_mL is not None
        assert expected.volume_mL[2] <= 1500


def test_expected_gas_grows_with_what_is_in_the_jar() -> None:
    # The blank holds least, and all three ends are positive.
    draft = fitting_draft(OPEN, LITERATURE)
    load = burden(draft, 0.0, 1.0)
    assert load.shape == (4, 3)
    assert np.all(load > 0)
    assert np.all(load[0] <= load[1:].min(axis=0))


def test_half_days_are_made_up_at_a_daily_round() -> None:
    times = calendar_of("home", datetime(2027, 3, 1, 10))
    assert next_time_d(7.5, 40, times, lambda a, b: True) == 9.0
    assert next_time_d(39.0, 40, times, lambda a, b: True) == 40.0
    assert next_time_d(0.0, 40, times, lambda a, b: b - a <= 0.5) == 0.5
    # 10:00, then 14:30 and 22:00, 7:00.
    assert next_time_d(0.0, 40, times, lambda a, b: b - a <= 0.4) == pytest.approx(4.5 / 24)
    assert next_time_d(4.5 / 24, 40, times, lambda a, b: b - a <= 0.4) == pytest.approx(0.5)
    assert next_time_d(0.5, 40, times, lambda a, b: b - a <= 0.4) == pytest.approx(21 / 24)
    assert next_time_d(0.5, 40, times, lambda a, b: b - a <= 0.37) is None


@pytest.mark.parametrize("hour", [0, 5, 9, 14, 18, 23])
@pytest.mark.parametrize("plan_request", [OPEN, CLOSED])
def test_nobody_is_woken(hour: int, plan_request: PlanRequest) -> None:
    rounds = plan_trial(but(plan_request, started=datetime(2027, 3, 4, hour)), LITERATURE).rounds
    clocks = [r.at.hour + r.at.minute / 60 for r in rounds if r.at]
    assert len(clocks) == len(rounds)
    assert min(clocks) >= 7
    assert max(clocks) <= 22


@pytest.mark.parametrize("day", range(1, 8))
def test_a_school_reads_on_school_days(day: int) -> None:
    plan_request = but(OPEN, place="school", started=datetime(2027, 3, day, 11), collector_mL=3000)
    plan = plan_trial(plan_request, LITERATURE)
    for one in plan.rounds:
        assert one.at is not None
        assert one.at.weekday() < 5
        assert 8 <= one.at.hour + one.at.minute / 60 <= 16
    assert plan.rounds[-1].time_d >= plan_request.days


@pytest.mark.parametrize("hour", [3, 8, 10, 14, 20])
def test_two_rounds_a_day_stand_half_a_day_apart(hour: int) -> None:
    times = calendar_of("home", datetime(2027, 3, 1, hour))
    assert times.longest_gap_d(1) == 1.0
    assert times.longest_gap_d(2) == 0.5
    assert times.longest_gap_d(3) == pytest.approx(9 / 24)
    assert calendar_of("school", None).longest_gap_d(1) == 3.0


def test_expected_is_what_is_read() -> None:
    """Behind an absorber methane, on a scale grams, of the same gas."""
    volume, methane, mass = (
        plan_trial(but(OPEN, measured=way, incubation_temperature_C=20.0), LITERATURE)
        for way in ("volume", "methane volume", "mass")
    )
    for one, other, lost in zip(volume.expected, methane.expected, mass.expected, strict=True):
        assert one.biogas_NmL == other.biogas_NmL == lost.biogas_NmL
        assert one.lost_g is None
        share = other.as_read("methane volume")[2] / one.as_read("volume")[2]
        assert 0.49 < share < 0.56
        # Gas of 50 to 65 % methane weighs 1.15 to 1.35 g a litre, with its vapour some more.
        assert 1.1e-3 < lost.as_read("mass")[1] / lost.biogas_NmL[1] < 1.4e-3
    with pytest.raises(ValueError, match="by pressure was not planned"):
        volume.expected[0].as_read("pressure")


def test_hours_until_the_rating_agree_with_the_burden() -> None:
    draft = fitting_draft(CLOSED, LITERATURE)
    hours = hours_until_gauge(draft, 150.0, "high")
    assert hours is not None
    assert worst_burden(draft, 0.0, hours / 24) == pytest.approx(150.0, rel=1e-6)
    assert hours_until_gauge(draft, 1e6, "high") is None
    assert hours_until_gauge(draft, 1.0, "high") == 0.0


def test_days_without_a_start_have_no_date() -> None:
    plan = plan_trial(but(OPEN, started=None), LITERATURE)
    assert all(r.at is None for r in plan.rounds)


def test_slow_feed_alone_is_read_daily() -> None:
    start = datetime(2027, 1, 1, 10)
    plan_request = but(CLOSED, materials=(INOCULUM, BEDDING), control=False, started=start)
    assert plan_trial(plan_request, LITERATURE).rounds[0].since_d >= 0.5
