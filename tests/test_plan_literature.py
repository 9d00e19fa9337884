from __future__ import annotations

import pytest

from bmp.plan.dosing import ADVISED_RATIO
from bmp.plan.literature import Range
from tests.plan_wishes import LITERATURE


def test_every_feed_is_possible() -> None:
    for feed in LITERATURE.values():
        assert 0 < feed.methane_NmL_per_gVS.low <= feed.methane_NmL_per_gVS.high <= 1015
        assert 0.4 < feed.methane_share.low <= feed.methane_share.high < 0.8
        assert 0 < feed.k_per_d.low <= feed.k_per_d.high < 1
        assert feed.pace in ADVISED_RATIO
        assert feed.source
        if feed.VS is not None and feed.TS is not None:
            assert 0 < feed.VS.low < feed.VS.high <= 1 or feed.name == "microcrystalline cellulose"
            assert feed.VS.high <= feed.TS.high


def test_range_is_rectangular() -> None:
    # JCGM 100:2008, 4.3.7: half-width over the square root of three.
    assert Range(10, 16).u == pytest.approx(3 / 3**0.5)
    assert Range(10, 16).middle == 13


def test_inoculum_range_spans_the_two_published_figures() -> None:
    VS = LITERATURE["inoculum"].VS
    assert VS is not None
    assert VS.low == pytest.approx(0.015, abs=0.0005)
    assert VS.high == pytest.approx(0.040, abs=0.0005)


def test_cellulose_rate_gives_the_printed_peak() -> None:
    """Documents 303/304: biogas peak typically 200, over 300 mL/(g VS d) possible but rare."""
    feed = LITERATURE["microcrystalline cellulose"]
    first_day = feed.methane_NmL_per_gVS.high / feed.methane_share.low
    first_day *= 1 - 2.718281828459045**-feed.k_per_d.high
    assert 300 < first_day < 330


def test_inoculum_stays_below_the_activity_rule() -> None:
    """2020 protocol draft: below 20 mL CH4/(g VS d) at the start."""
    feed = LITERATURE["inoculum"]
    assert feed.methane_NmL_per_gVS.high * feed.k_per_d.high < 20
