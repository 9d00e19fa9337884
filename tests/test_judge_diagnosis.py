"""What curves and typed-in figures hint at, and what an acid feed loses in the oven."""

from dataclasses import replace

import numpy as np
import pytest

from bmp.judge.diagnosis import (
    FeedCurve,
    below_zero,
    composition_hints,
    diagnose,
    dose_series,
    free_ammonia_share,
    odd_jars,
    tangent_lag_d,
    two_phases,
)
from bmp.judge.silage import acid_feed, corrected_solids
from bmp.trial import Material, Setup

DAYS = np.arange(1.0, 46.0)
RNG = np.random.default_rng(4)


def gompertz(B0, Rm, lag, t=DAYS):
    return B0 * np.exp(-np.exp(Rm * np.e / B0 * (lag - t) + 1))


def curve(net, scatter=0.01, ratio=2.0):
    jars = np.stack([net * (1 + scatter * k) for k in (-1, 0, 1)])
    return FeedCurve("feed", DAYS, jars, ratio, ("A1", "A2", "A3"))


CONTROL = curve(gompertz(370, 40, 1.0))


@pytest.mark.parametrize("lag", [1.0, 3.0, 6.0, 10.0])
def test_lag_of_a_gompertz_curve(lag):
    """By definition the tangent at the inflection meets zero at the lag (Zwietering 1990)."""
    assert tangent_lag_d(DAYS, gompertz(350, 40, lag)) == pytest.approx(lag, abs=0.25)


def test_no_lag_in_first_order_and_none_at_all_in_a_flat_curve():
    assert tangent_lag_d(DAYS, 350 * (1 - np.exp(-0.2 * DAYS))) < 0.2
    assert tangent_lag_d(DAYS, -np.ones(45)) is None


def named(feed):
    return {f.check: f for f in diagnose(feed, CONTROL, Setup("t")) if f.outcome == "caution"}


def test_a_late_start_beside_the_control():
    found = named(curve(gompertz(400, 40, 9.0)))
    assert set(found) == {"start compared with the control"}
    assert "consistent with" in found["start compared with the control"].meaning
    assert not named(curve(gompertz(400, 40, 2.5)))


def test_air_under_the_lid_is_no_inhibition():
    slow = diagnose(CONTROL, CONTROL, Setup("t", flush_gas={"N2": 0.79, "O2": 0.21}))
    assert slow[0].outcome == "pass"
    assert "oxygen is used up" in slow[0].meaning


def test_overload_needs_little_inoculum_and_a_late_start():
    assert "overload" in named(curve(gompertz(400, 40, 12.0), ratio=0.5))
    assert "overload" not in named(curve(gompertz(400, 40, 1.0), ratio=0.5))
    assert "overload" not in named(curve(gompertz(400, 40, 12.0), ratio=2.0))


def test_two_phases_in_all_jars_only():
    late = 150 * (1 - np.exp(-0.5 * DAYS)) + gompertz(200, 25, 16.0)
    (found,) = two_phases(curve(late))
    assert 6 < found.value < 16
    one_only = FeedCurve("feed", DAYS, np.stack([late, gompertz(350, 40, 1), gompertz(350, 40, 1)]))
    assert not two_phases(one_only)


@pytest.mark.parametrize("shape", ["first order", "gompertz", "two pools"])
def test_ordinary_curves_are_not_called_two_phase(shape):
    net = {
        "first order": 300 * (1 - np.exp(-0.15 * DAYS)),
        "gompertz": gompertz(300, 30, 4.0),
        "two pools": 200 * (1 - np.exp(-0.6 * DAYS)) + 150 * (1 - np.exp(-0.06 * DAYS)),
    }[shape]
    noisy = net + RNG.normal(0, 1.5, (3, 45))
    assert not two_phases(FeedCurve("feed", DAYS, noisy))


def test_below_zero_only_beyond_the_scatter():
    assert below_zero(curve(-40 * (1 - np.exp(-0.2 * DAYS))))
    around = FeedCurve("feed", DAYS, np.stack([np.full(45, v) for v in (-20.0, 1.0, 15.0)]))
    assert not below_zero(around)


def test_a_jar_at_half_of_its_replicates_is_only_proposed():
    net = gompertz(300, 30, 1.0)
    feed = FeedCurve("feed", DAYS, np.stack([net, 0.5 * net, 1.04 * net]), 2.0, ("A1", "A2", "A3"))
    (found,) = odd_jars(feed)
    assert found.outcome == "caution"
    assert found.meaning.startswith("Jar A2 gave ")
    assert "technical reason" in found.advice
    assert not odd_jars(curve(net, scatter=0.08))


def test_dose_series_needs_ratios_apart():
    feeds = [replace(CONTROL, series=f"s{r}", inoculum_to_substrate=r) for r in (2.0, 2.1)]
    assert dose_series(feeds, ["feed", "feed"]) == []
    feeds = [replace(CONTROL, series=f"s{r}", inoculum_to_substrate=r) for r in (2.0, 4.0)]
    (series,) = dose_series(feeds, ["feed", "feed"])
    assert [one.series for one in series.doses] == ["s4.0", "s2.0"]
    assert series.findings()[0].outcome == "pass"


@pytest.mark.parametrize(
    ("changes", "check"),
    [
        ({"lipid": 0.35}, "fat"),
        ({"protein": 0.6}, "protein"),
        ({"carbon": 0.45, "nitrogen": 0.05}, "C:N"),
        ({"carbon": 0.45, "nitrogen": 0.005}, "C:N"),
        ({"ammonium_N_g_per_kg": 3.0}, "ammonia"),
    ],
)
def test_hints_from_what_was_typed_in(changes, check):
    (found,) = composition_hints(Material("feed", "substrate", **changes), 37.0, None)
    assert found.check == check
    assert found.outcome == "caution"


def test_no_hints_from_an_ordinary_feed():
    plain = Material(
        "feed", "substrate", lipid=0.05, protein=0.15, carbon=0.45, nitrogen=0.018,
        ammonium_N_g_per_kg=0.4,
    )  # fmt: skip
    assert composition_hints(plain, 37.0, 7.8) == []


def test_ten_parts_of_carbon_rich_feed_to_one_of_meat():
    """Common practice, no source."""
    (found,) = composition_hints(Material("meat", "substrate", protein=0.7), 37.0, None)
    assert found.advice == "Feed at least ten parts of carbon-rich feed to one of this."


def test_acids_put_back():
    """10 g/kg of acids, 73.5 % lost: VS 20 % becomes 20.735 % of fresh mass."""
    solids = corrected_solids(0.20, 10.0, TS=0.22)
    found = [solids.VS, solids.TS, solids.VS_low, solids.VS_high]
    assert found == pytest.approx([0.20735, 0.22735, 0.206, 0.21])
    assert solids.yield_factor == pytest.approx(0.20 / 0.20735)
    with pytest.raises(ValueError, match="VS lies between"):
        corrected_solids(20.0, 10.0)


def test_acid_feeds_are_named():
    silage = Material("beet silage", "substrate", VS=0.15)
    assert acid_feed(silage)[0].outcome == "caution"
    assert acid_feed(replace(silage, name="beet", pH=3.9))[0].outcome == "caution"
    assert acid_feed(replace(silage, name="beet")) == ()
    assert acid_feed(replace(silage, name="beet", pH=6.5)) == ()
    (known,) = acid_feed(replace(silage, volatile_acids_g_per_kg=25.0))
    assert known.value == pytest.approx(100 * 0.735 * 0.025 / 0.15, abs=0.01)
    (little,) = acid_feed(replace(silage, volatile_acids_g_per_kg=1.0))
    assert little.outcome == "pass"


def test_the_share_of_free_ammonia_falls_with_acid():
    assert free_ammonia_share(7.0, 35.0) < free_ammonia_share(8.0, 35.0) < 0.5
