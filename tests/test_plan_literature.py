from __future__ import annotations

import pytest

from bmp.plan.dosing import ADVISED_RATIO
from bmp.plan.gas import interval_shares, pace_of
from bmp.plan.literature import CELLULOSE, LiteratureRange
from tests.plan_requests import LITERATURE


def test_every_feed_is_possible() -> None:
    for feed in LITERATURE.values():
        assert 0 < feed.methane_NmL_per_gVS.low <= feed.methane_NmL_per_gVS.high <= 1015
        assert 0.4 < feed.methane_share.low <= feed.methane_share.high < 0.8
        assert 0 < feed.k_per_d.low <= feed.k_per_d.high <= 1
        assert feed.methane_NmL_per_gVS.low < feed.methane_NmL_per_gVS.middle
        assert feed.methane_NmL_per_gVS.middle < feed.methane_NmL_per_gVS.high
        assert feed.pace in ADVISED_RATIO
        assert feed.source
        if feed.VS is not None and feed.TS is not None:
            assert 0 < feed.VS.low < feed.VS.high <= 1 or feed.name == "microcrystalline cellulose"
            assert feed.VS.high <= feed.TS.high


def test_range_is_rectangular() -> None:
    # JCGM 100:2008, 4.3.7: half-width over the square root of three.
    assert LiteratureRange(10, 16).u == pytest.approx(3 / 3**0.5)
    assert LiteratureRange(10, 16).middle == 13


def test_inoculum_range_spans_the_two_published_figures() -> None:
    VS = LITERATURE["inoculum"].VS
    assert VS is not None
    assert VS.low == pytest.approx(0.015, abs=0.0005)
    assert VS.high == pytest.approx(0.040, abs=0.0005)


def test_cellulose_rate_gives_the_printed_peak() -> None:
    """Documents 303/304: biogas peak typically 200, over 300 mL/(g VS d) possible but rare."""
    pace, feed = pace_of(LITERATURE[CELLULOSE], 37.0), LITERATURE[CELLULOSE]
    methane, share = feed.methane_NmL_per_gVS, feed.methane_share
    middle, most = interval_shares(pace, 0.0, 1.0)[1:]
    assert 190 < methane.middle / share.middle * middle < 250
    assert methane.high / share.low * most > 300


# Highest published yields, NmL CH4/g VS: works named in reference_data/literature_yields.
PUBLISHED_HIGH = {
    "vegetable residue": 501,
    "slaughter waste": 651,
    "straw": 303,
    "horse manure": 273,
    "poultry manure": 508,
    "banana plant": 451,
    "food waste": 560,
    "cattle slurry": 283,
    "pig slurry": 410,
    "fat or grease": 980,
    "spent grain": 345,
    "coffee pulp": 294,
    "bagasse": 125,
}
# Low ends of published normal results.
PUBLISHED_LOW = {
    "cereal silage": 329,
    "beet": 350,
    "grass silage": 197,
    "fat or grease": 350,
    "sewage sludge": 125,
    "poultry manure": 287,
}


def test_ranges_hold_the_published_ends() -> None:
    for name, high in PUBLISHED_HIGH.items():
        assert LITERATURE[name].methane_NmL_per_gVS.high >= high, name
    for name, low in PUBLISHED_LOW.items():
        assert LITERATURE[name].methane_NmL_per_gVS.low <= low, name


def test_every_feed_but_the_unknown_can_be_dosed_without_an_oven() -> None:
    assert [name for name, feed in LITERATURE.items() if feed.VS is None] == ["unknown feed"]


def test_inoculum_stays_below_the_activity_rule() -> None:
    """2020 protocol draft: below 20 mL CH4/(g VS d) at the start."""
    feed = LITERATURE["inoculum"]
    assert feed.methane_NmL_per_gVS.high * feed.k_per_d.high < 20
