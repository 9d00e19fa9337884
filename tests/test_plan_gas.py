from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from bmp.plan.draft import make_draft
from bmp.plan.gas import (
    gas_curve,
    gauge_kPa,
    interval_shares,
    pace_of,
    stop_days,
    total_biogas_NmL,
    warming_kPa,
)
from bmp.plan.literature import LiteratureRange
from tests.plan_requests import LITERATURE, OPEN

FEEDS = sorted(LITERATURE)


def test_curve_starts_at_nothing_and_ends_at_its_total() -> None:
    draft = make_draft(OPEN, LITERATURE)
    curve = draft.curve(2, "middle")
    gas = curve.biogas_NmL(np.array([0.0, 1.0, 10.0, 1e4]))
    assert gas[0] == 0
    assert np.all(np.diff(gas) > 0)
    assert gas[-1] == pytest.approx(curve.feed_total_NmL + curve.inoculum_total_NmL)


def test_blank_holds_inoculum_gas_alone() -> None:
    draft = make_draft(OPEN, LITERATURE)
    curve = draft.curve(0, "high")
    assert curve.feed_total_NmL == 0
    # Upper end: 117 NmL CH4/g VS at 55 % CH4.
    assert curve.inoculum_total_NmL == pytest.approx(draft.doses[0].inoculum_VS_g * 117 / 0.55)


@given(
    name=st.sampled_from(FEEDS),
    start=st.floats(0, 60),
    length=st.floats(0.2, 14),
    k=st.floats(0, 1),
    methane=st.floats(0, 1),
    share=st.floats(0, 1),
    lag=st.floats(0, 1),
)
def test_any_curve_within_the_literature_stays_within_the_interval(
    name: str, start: float, length: float, k: float, methane: float, share: float, lag: float
) -> None:
    feed = LITERATURE[name]
    whole = total_biogas_NmL(LiteratureRange(2.0, 2.0), feed)
    shares = interval_shares(pace_of(feed, 37.0), start, start + length)
    low, middle, high = (one * share for one, share in zip(whole, shares, strict=True))

    def inside(found: object, part: float) -> float:
        return found.low + part * (found.high - found.low)  # type: ignore[attr-defined]

    rate = inside(feed.k_per_d, k)
    total = 2.0 * inside(feed.methane_NmL_per_gVS, methane) / inside(feed.methane_share, share)
    since = np.maximum(np.array([start, start + length]) - lag * feed.latest_start_d, 0.0)
    gas = total * float(np.diff(-np.exp(-rate * since))[0])
    assert gas <= high * (1 + 1e-9)
    if lag == 0:
        assert low * (1 - 1e-9) <= gas
    assert low <= middle <= high


def test_intervals_add_up_to_the_curve() -> None:
    draft = make_draft(OPEN, LITERATURE)
    feed = LITERATURE["food waste"]
    curve = gas_curve(draft.doses[3], feed, LITERATURE["inoculum"], "middle", 37.0)
    times = [0.0, 0.5, 1.0, 3.0, 10.0]
    parts = [draft.biogas_NmL(a, b)[3, 1] for a, b in pairwise(times)]
    assert sum(parts) == pytest.approx(float(curve.biogas_NmL(10.0)))


@pytest.mark.parametrize("start", [0.0, 0.7, 2.0, 5.0])
@pytest.mark.parametrize("name", sorted(set(FEEDS) - {"inoculum"}))
def test_the_fullest_days_of_real_jars_are_within_the_largest_share(
    name: str, start: float
) -> None:
    """Ring test of Hafner et al. 2020: up to 60 % in a day, 89 % in three."""
    for warm_C in (20.0, 37.0, 52.0):
        pace = pace_of(LITERATURE[name], warm_C)
        assert interval_shares(pace, start, start + 1)[2] >= 0.60
        assert interval_shares(pace, start, start + 3)[2] >= 0.89


def test_cold_jars_give_their_gas_later() -> None:
    """22 °C against 37 °C: 4.7 % a kelvin over 15 K is half the rate."""
    feed = LITERATURE["cattle slurry"]
    warm, cold = pace_of(feed, 37.0), pace_of(feed, 22.0)
    assert cold.middle_per_d == pytest.approx(warm.middle_per_d / 1.047**15)
    assert cold.fastest_per_d == warm.fastest_per_d
    dose = make_draft(OPEN, LITERATURE).doses[2]
    late = [stop_days(dose, feed, LITERATURE["inoculum"], warm_C) for warm_C in (22.0, 37.0)]
    assert late[0][0] > late[1][0]
    assert late[0][1] > late[1][1]


def test_gauge_pressure_by_hand() -> None:
    # 100 NmL into 200 mL at 37 °C: 101.325 * 0.5 * 310.15/273.15 = 57.525 kPa.
    assert float(gauge_kPa(np.array(100.0), 200.0, 37.0)) == pytest.approx(57.525, abs=0.001)


def test_no_warming_no_pressure() -> None:
    assert warming_kPa(95.0, 37.0, 37.0) == pytest.approx(0.0, abs=1e-12)
    assert warming_kPa(101.325, 20.0, 37.0) == pytest.approx(9.68, abs=0.01)
    assert warming_kPa(101.325, 30.0, 20.0) < 0
