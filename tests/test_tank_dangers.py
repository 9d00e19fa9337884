"""What a keeper is told first: unfinished trials, gaps, and diets that would harm a tank."""

import re
import shutil
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from bmp.analyze import analyze
from bmp.read import read_trial
from bmp.tank import FeedYield, TankFeed, TankSetup, carry_to_tank
from bmp.tank.inputs import WATER, Grounds
from bmp.tank.ranges import check_range
from bmp.tank.result import Span
from bmp.tank.step import RATIOS, ratio_of
from bmp.tank.verdict import named
from bmp.tank.yields import going_on
from bmp.trial import Material

DEMO = Path(__file__).parents[1] / "examples" / "cheese_dairy"
TIME = np.linspace(0.0, 60.0, 121)
SLURRY = Material(
    "slurry", "substrate", TS=0.09, VS=0.072, carbon=0.42, nitrogen=0.032, ammonium_N_g_per_kg=1.8,
    carbohydrate=0.75, protein=0.2, lipid=0.05, pH=7.4,
)  # fmt: skip
WHEY = Material(
    "whey", "substrate", TS=0.061, VS=0.055, carbon=0.41, nitrogen=0.019, ammonium_N_g_per_kg=0.1,
    carbohydrate=0.8, protein=0.15, lipid=0.05, pH=4.3,
)  # fmt: skip
BLOOD = Material(
    "blood", "substrate", TS=0.2, VS=0.19, carbon=0.5, nitrogen=0.15, ammonium_N_g_per_kg=0.2,
    carbohydrate=0.02, protein=0.95, lipid=0.03,
)  # fmt: skip
GREASE = Material(
    "grease", "substrate", TS=0.5, VS=0.49, carbon=0.7, nitrogen=0.005, ammonium_N_g_per_kg=0.1,
    carbohydrate=0.05, protein=0.05, lipid=0.9,
)  # fmt: skip
UNTESTED = replace(WHEY, name="lawn", pH=7.0)
WARM = TankSetup(1000.0, 37.0, pH=7.5, alkalinity_g_per_L=6.0, air_temperature_C=10.0)


def curve(name, B0=300.0, k=0.12, **more):
    net = B0 * (1 - np.exp(-k * TIME))
    return FeedYield(name, TIME, net, final_ci95_NmL_per_g=(0.95 * net[-1], 1.05 * net[-1]), **more)


YIELDS = tuple(curve(m.name) for m in (SLURRY, WHEY, BLOOD, GREASE))


def answer(*feeds, setup=WARM, yields=YIELDS):
    return carry_to_tank(setup, [TankFeed(m, now, then) for m, now, then in feeds], yields)


def test_a_sound_plan_has_its_gas_first_and_a_ramp():
    told = answer((SLURRY, 20.0, 20.0), (WHEY, 0.0, 3.0))
    assert told.verdict.startswith("The planned diet gives about")
    assert told.dangers == ()
    assert told.ramp


@pytest.mark.parametrize(
    ("feeds", "setup", "words"),
    [
        ([(SLURRY, 20.0, 70.0)], WARM, "organic load"),
        ([(SLURRY, 20.0, 45.0)], replace(WARM, temperature_C=24.0), "organic load"),
        ([(SLURRY, 8.0, 18.0)], replace(WARM, temperature_C=15.0), "organic load"),
        ([(SLURRY, 5.0, 6.0)], replace(WARM, temperature_C=8.0), "temperature of the tank"),
        ([(SLURRY, 20.0, 4.0), (WHEY, 0.0, 20.0)], WARM, "takes the place|would take the place"),
        ([(SLURRY, 20.0, 25.0)], replace(WARM, pH=6.5), "pH 6.5"),
        ([(SLURRY, 20.0, 20.0), (BLOOD, 0.0, 5.0)], WARM, "total ammonia N"),
        ([(SLURRY, 20.0, 20.0), (GREASE, 0.0, 3.0)], WARM, "lipid share of COD"),
        (
            [(SLURRY, 20.0, 25.0)],
            replace(WARM, alkalinity_g_per_L=4.0, volatile_acids_g_per_L=2.5),
            "volatile acids over alkalinity",
        ),
        ([(SLURRY, 20.0, 25.0)], replace(WARM, alkalinity_g_per_L=1.0), "alkalinity"),
        ([(Material("scraps", "substrate"), 0.0, 5.0)], WARM, "the load is not known"),
        ([(WHEY, 0.0, 20.0)], WARM, "100 % of the planned volatile solids .whey. turn to acid"),
        ([(SLURRY, 20.0, 25.0)], replace(WARM, pH=None), "ammonia is high and the pH is not"),
        ([(SLURRY, 20.0, 20.0), (UNTESTED, 0.0, 2.0)], WARM, "lawn was not tested in jars"),
    ],
)
def test_what_would_harm_the_tank_comes_first_and_has_no_ramp(feeds, setup, words):
    """Each was a "Change over 4 weeks" or "with care" before."""
    told = answer(*feeds, setup=setup)
    first = told.verdict.partition(" First: ")
    assert first[0].startswith("Do not change the diet as planned: ")
    assert re.search(words, first[0])
    assert first[2]
    assert told.ramp == ()
    assert "Change over" not in told.verdict + told.ramp_words


def test_a_load_that_comes_down_from_too_high_is_not_forbidden():
    assert answer((SLURRY, 80.0, 40.0)).dangers == ()


def test_below_10_degrees_there_is_no_figure():
    told = answer((SLURRY, 5.0, 5.0), setup=replace(WARM, temperature_C=8.0))
    assert told.planned.methane_NL_per_d is None
    assert "below 10 °C" in told.verdict


def test_an_empty_tank_is_told_how_to_start():
    told = answer((SLURRY, 0.0, 20.0))
    assert "Fill a new tank with digestate" in told.verdict


def test_ammonia_that_the_tank_was_measured_to_live_with_is_no_news():
    rich = replace(SLURRY, nitrogen=0.06, ammonium_N_g_per_kg=3.6)
    unmeasured = answer((rich, 20.0, 22.0))
    assert any("ammonia" in danger.what for danger in unmeasured.dangers)
    used_to = replace(WARM, total_ammonia_N_mg_per_L=3900.0, pH=7.3)
    told = answer((rich, 20.0, 22.0), setup=used_to)
    assert not any("ammonia" in danger.what for danger in told.dangers)
    assert "With care" in told.verdict


def test_what_is_not_known_is_named_with_what_to_measure():
    bare = replace(SLURRY, nitrogen=None, protein=None, carbohydrate=None, lipid=None)
    told = answer((bare, 20.0, 20.0), setup=replace(WARM, pH=None))
    assert "No published range known here is against it" not in told.verdict
    assert set(told.not_known) == {"C:N", "ammonia", "lipids", "pH"}
    for words in ("nitrogen of slurry", "lipid of slurry", "pH of the tank"):
        assert words in told.verdict


def test_a_refused_yield_gives_no_number_and_no_ramp():
    refused = curve("whey", grounds=Grounds(refused="the cellulose control gave 180 NmL/g VS"))
    told = answer((SLURRY, 20.0, 20.0), (WHEY, 0.0, 5.0), yields=(YIELDS[0], refused))
    assert told.planned.methane_NL_per_d is None
    assert "the cellulose control gave 180" in told.verdict.partition(".")[0]
    assert told.ramp == ()


def test_a_feed_below_its_blank_gives_no_number_and_no_ramp():
    poison = FeedYield("whey", TIME, -50.0 * TIME / 60.0, final_ci95_NmL_per_g=(-60.0, -40.0))
    told = answer((SLURRY, 20.0, 20.0), (WHEY, 0.0, 5.0), yields=(YIELDS[0], poison))
    assert told.planned.methane_NL_per_d is None
    assert "may harm the tank" in told.verdict
    assert told.ramp == ()


def test_a_curve_that_goes_on_meets_the_ceiling_at_its_last_rate():
    time, net = going_on(np.array([0.0, 5.0, 10.0]), np.array([0.0, 150.0, 200.0]), 300.0)
    assert (time[-1], net[-1]) == (20.0, 300.0)


def test_spans_hold_the_published_ratios_of_tank_to_jar():
    """0.80 to 0.95 at 30 d and more when heated, 0.30 to 0.75 when simple: literature table."""
    long = TankSetup(1000.0, 37.0, heating="heated")
    mixed = curve("slurry", k=0.15)
    told = carry_to_tank(long, [TankFeed(SLURRY, 1000 / 75, 1000 / 75)], [mixed]).planned
    final = 1000 / 75 * 0.072 * mixed.net_NmL_per_g[-1]
    gas = told.methane_NL_per_d
    assert gas.low / final <= 0.80
    assert 0.93 <= gas.high / final <= 1.0
    simple = TankSetup(1000.0, 28.0, heating="unheated")
    dung = curve("slurry", k=0.10)
    told = carry_to_tank(simple, [TankFeed(SLURRY, 20.0, 20.0)], [dung]).planned
    gas = told.methane_NL_per_d
    final = 20.0 * 0.072 * dung.net_NmL_per_g[-1]
    assert gas.low / final <= 0.33
    assert 0.40 <= gas.value / final <= 0.55
    assert gas.high / final >= 0.70


@pytest.mark.parametrize(
    ("setup", "kind"),
    [
        (TankSetup(1.0, 37.0, air_temperature_C=10.0), "heated"),
        (TankSetup(1.0, 24.0, air_temperature_C=22.0), "unheated"),
        (TankSetup(1.0, 36.0), "heated"),
        (TankSetup(1.0, 25.0), "not given"),
        (TankSetup(1.0, 25.0, heating="heated"), "heated"),
    ],
)
def test_heated_or_not_is_told_from_what_is_given(setup, kind):
    assert ratio_of(setup).kind == kind
    for row in RATIOS:
        assert isinstance(row.step, Span)
        assert row.step.low < row.step.value < row.step.high


@pytest.fixture(scope="module")
def whole():
    return analyze(read_trial(DEMO)).tank.planned.methane_NL_per_d


def changed(tmp_path, keep=lambda jar, taken: True, times=lambda jar: 1.0):
    """Return the demo's tank with readings left out, or jars that gave more or less."""
    folder = tmp_path / "dairy"
    shutil.copytree(DEMO, folder)
    path = folder / "readings.csv"
    header, *rows = path.read_text(encoding="utf-8").splitlines()
    lines = [header]
    for row in rows:
        jar, taken, volume, *rest = row.split(",")
        if keep(jar, taken):
            lines.append(",".join([jar, taken, f"{float(volume) * times(jar):.4g}", *rest]))
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return analyze(read_trial(folder)).tank


def test_an_unfinished_trial_says_so_and_its_span_holds_the_whole_trial(tmp_path, whole):
    """Cut at day 9 the demo said 316 (250 to 355), where the whole trial gives more."""
    cut = changed(tmp_path, keep=lambda jar, taken: taken < "2027-03-10T18")
    gas = cut.planned.methane_NL_per_d
    assert gas.value < whole.value < gas.high
    assert "The trial is not finished (day 9)" in cut.verdict


def test_a_control_at_half_its_yield_gives_no_number(tmp_path):
    halved = changed(tmp_path, times=lambda jar: 0.55 if jar.startswith("C") else 1.0)
    assert halved.planned.methane_NL_per_d is None
    assert "cellulose control gave" in halved.verdict.partition(". ")[0]
    assert halved.ramp == ()


def test_a_control_a_little_low_widens_the_span(tmp_path, whole):
    low = changed(tmp_path, times=lambda jar: 0.88 if jar.startswith("C") else 1.0)
    assert low.planned.methane_NL_per_d.high > 1.04 * whole.high
    assert low.planned.methane_NL_per_d.value == pytest.approx(whole.value)
    assert "so the span is wider" in low.verdict


def test_a_feed_whose_jars_made_less_than_the_blank_is_not_fed(tmp_path):
    poor = changed(tmp_path, times=lambda jar: 0.12 if jar.startswith("W") else 1.0)
    assert poor.planned.methane_NL_per_d is None
    assert poor.verdict.startswith("Do not change the diet as planned: whey")


def test_a_value_just_beyond_its_limit_is_not_rounded_onto_it():
    assert named(check_range("C:N", 19.6)) == "C:N 19.6 (limit: at least 20)"


def unknown_feed(name="canteen waste", **more):
    return Material(name, "substrate", TS=0.25, VS=0.22, **more)


@pytest.mark.parametrize(
    ("feed", "kg", "B0", "k", "today", "words"),
    [
        # all fat that 400 NmL/g VS may come from, at two thirds of VS
        (unknown_feed(), 12.0, 400.0, 0.12, 20.0, "how much fat and nitrogen canteen waste holds"),
        (unknown_feed(nitrogen=0.02), 12.0, 400.0, 0.12, 20.0, "how much fat canteen waste holds"),
        (unknown_feed(lipid=0.05), 12.0, 400.0, 0.12, 20.0, "how much nitrogen canteen waste"),
        (unknown_feed(), 0.3, 400.0, 0.12, 20.0, ""),
        # an empty tank on nothing but a quick feed of which not even the pH is known
        (unknown_feed(), 5.0, 400.0, 0.3, 0.0, "what holds the acids is not known"),
        (unknown_feed(pH=7.2), 5.0, 400.0, 0.3, 0.0, ""),
        (unknown_feed("dung"), 5.0, 200.0, 0.08, 0.0, ""),
    ],
)
def test_a_new_feed_that_nobody_analysed_has_no_ramp_where_it_may_harm(
    feed, kg, B0, k, today, words
):
    """Each had a "Change over 4 weeks" before."""
    slurry = [(SLURRY if today else WATER, today or 15.0, today or 15.0)]
    told = answer(*slurry, (feed, 0.0, kg), yields=(YIELDS[0], curve(feed.name, B0, k)))
    if not words:
        assert told.dangers == ()
        assert told.ramp
        return
    assert words in told.verdict.partition(" First: ")[0]
    assert told.ramp == ()


def test_the_most_fat_of_a_feed_is_that_of_its_methane():
    """Fat gives 1014 NmL/g: 0.155 of VS is 31 % of COD (2.90 and 1.19 g COD/g; Buswell)."""
    slurry_VS = 20 * SLURRY.VS
    B0, lipid_at_limit = 400.0, 0.155
    from_slurry = 0.05 * slurry_VS
    # x kg VS of the new feed: (from_slurry + x B0/1014) / (slurry_VS + x) = 0.155
    x = (lipid_at_limit * slurry_VS - from_slurry) / (B0 / 1014 - lipid_at_limit)
    for times, stops in ((0.93, False), (1.07, True)):
        feed = unknown_feed(nitrogen=0.02)
        told = answer(
            (SLURRY, 20.0, 20.0),
            (feed, 0.0, times * x / feed.VS),
            yields=(YIELDS[0], curve(feed.name, B0, 0.12)),
        )
        assert any("how much fat" in danger.what for danger in told.dangers) == stops


def test_warm_jars_do_not_speak_for_a_hot_tank():
    hot = replace(WARM, temperature_C=52.0)
    assert "say nothing sure of a tank at 52 °C" in answer((SLURRY, 20.0, 25.0), setup=hot).verdict
    own = (curve("slurry", jar_temperature_C=52.0),)
    assert "nothing sure" not in answer((SLURRY, 20.0, 25.0), setup=hot, yields=own).verdict


def test_straw_is_not_called_quick_and_cold_jars_do_not_hide_that_a_feed_is():
    straw = Material(
        "straw", "substrate", TS=0.9, VS=0.85, carbon=0.45, nitrogen=0.02,
        ammonium_N_g_per_kg=0.1, carbohydrate=0.9, protein=0.08, lipid=0.02,
    )  # fmt: skip
    told = answer((straw, 0.0, 1.0), yields=(curve("straw", k=0.1),))
    assert not any("turn to acid" in danger.what for danger in told.dangers)
    cold = curve("scraps", k=0.09, jar_temperature_C=22.0)
    told = answer((replace(straw, name="scraps"), 0.0, 1.0), yields=(cold,))
    assert any("turn to acid" in danger.what for danger in told.dangers)
