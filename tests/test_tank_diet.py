"""What the diet holds, and the published ranges beside it."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from bmp.tank.diet import (
    holds,
    lipid_share_of_COD,
    nitrogen_set_free_mg_per_L,
    parts_of_carbon_to_nitrogen,
    total_per_d,
    water_to_add_kg_per_d,
)
from bmp.tank.inputs import WATER
from bmp.tank.ranges import RANGES, UNITS, check_range
from bmp.trial import Material

STRAW = Material("stalks", "substrate", TS=0.9, VS=0.8, carbon=0.45, nitrogen=0.005)
MEAT = Material("trimmings", "substrate", TS=0.3, VS=0.28, carbon=0.5, nitrogen=0.1)


def test_a_kilogram_of_feed():
    stalks = holds(STRAW)
    assert (stalks.TS, stalks.VS) == (900.0, 800.0)
    assert stalks.carbon == pytest.approx(405.0)
    assert stalks.nitrogen == pytest.approx(4.5)
    assert stalks.lipid is None
    assert stalks.assumed == ()


def test_what_stands_in_for_an_analysis_is_said():
    feed = holds(Material("scraps", "substrate", VS=0.2, protein=0.25, ammonium_N_g_per_kg=0.5))
    assert feed.carbon == pytest.approx(200 / 1.8)
    assert feed.nitrogen == pytest.approx(200 * 0.25 / 6.25 + 0.5)
    assert feed.assumed == (
        "scraps: carbon taken as VS / 1.8 (common practice)",
        "scraps: nitrogen taken as protein / 6.25 and ammonium",
    )


def test_formula_tells_carbon_nitrogen_and_lipid():
    fat = holds(Material("fat", "substrate", VS=1.0, formula="C57H104O6"))
    assert fat.carbon == pytest.approx(1000 * 57 * 12.011 / 885.453, rel=1e-5)
    assert fat.nitrogen == 0.0
    assert fat.lipid == 1000.0
    assert holds(Material("sugar", "substrate", VS=1.0, formula="C6H12O6")).lipid == 0.0


def test_nothing_is_made_up():
    bare = holds(Material("unknown", "substrate"))
    assert (bare.TS, bare.VS, bare.carbon, bare.nitrogen) == (None, None, None, None)


def test_total_names_whose_analysis_is_missing():
    feeds = [holds(STRAW), holds(Material("unknown", "substrate"))]
    assert total_per_d(feeds, [2.0, 1.0], "VS") == (None, "VS of unknown is not known")
    assert total_per_d(feeds, [2.0, 0.0], "VS") == (1600.0, "")


def test_water_thins():
    assert water_to_add_kg_per_d(500.0, 4.0) == pytest.approx(1.0)
    assert water_to_add_kg_per_d(500.0, 6.0) == 0.0
    assert holds(WATER).TS == 0.0


def test_nitrogen_set_free_by_hand():
    """1 kg with 30 g N of which 2 g is ammonium, half degraded, in 10 kg: (2 + 14)/10 g/L."""
    meat = Material("meat", "substrate", TS=0.3, VS=0.28, nitrogen=0.1, ammonium_N_g_per_kg=2.0)
    feeds = [holds(meat), holds(WATER)]
    assert nitrogen_set_free_mg_per_L(feeds, [1.0, 9.0], [0.5, 0.5]) == pytest.approx(1600.0)
    assert nitrogen_set_free_mg_per_L(feeds, [0.0, 0.0], [0.5, 0.5]) is None
    unknown = [holds(Material("unknown", "substrate"))]
    assert nitrogen_set_free_mg_per_L(unknown, [1.0], [0.5]) is None


def test_lipid_share_of_COD_by_hand():
    """Half lipid, half carbohydrate: 2.891/(2.891 + 1.184)."""
    assert lipid_share_of_COD(0.5) == pytest.approx(2.8910 / (2.8910 + 1.1841), rel=1e-4)
    assert lipid_share_of_COD(0.0) == 0.0
    assert lipid_share_of_COD(1.0) == 1.0


def test_parts_rule_gives_the_wanted_ratio():
    """The parts it names bring the C:N of the mixture to 25."""
    feeds = [holds(STRAW), holds(MEAT)]
    words = parts_of_carbon_to_nitrogen(feeds, [1.0, 1.0])
    assert "The plan has 1 parts of the first to 1 of the second by weight" in words
    parts = float(words.split("; ")[1].split(" to 1")[0])
    carbon = parts * feeds[0].carbon + feeds[1].carbon
    nitrogen = parts * feeds[0].nitrogen + feeds[1].nitrogen
    assert carbon / nitrogen == pytest.approx(25.0, rel=0.03)


@given(st.floats(0.1, 50.0), st.floats(0.1, 50.0))
def test_parts_rule_does_not_depend_on_the_amounts(straw_kg, meat_kg):
    feeds = [holds(STRAW), holds(MEAT)]
    ends = [
        parts_of_carbon_to_nitrogen(feeds, amounts).split("; ")[1]
        for amounts in ([1.0, 1.0], [straw_kg, meat_kg])
    ]
    assert ends[0] == ends[1]


def test_parts_rule_is_silent_with_one_side_or_no_analysis():
    for material in (MEAT, STRAW, Material("unknown", "substrate"), WATER):
        assert parts_of_carbon_to_nitrogen([holds(material)], [1.0]) == ""


@pytest.mark.parametrize(
    ("quantity", "value", "outcome"),
    [
        ("organic load", 2.0, "inside"),
        ("organic load", 2.01, "care"),
        ("organic load", 4.0, "care"),
        ("organic load", 4.01, "stop"),
        ("retention", 20.0, "inside"),
        ("retention", 14.9, "stop"),
        ("C:N", 25.0, "inside"),
        ("C:N", 18.0, "care"),
        ("C:N", 10.0, "stop"),
        ("total ammonia N", 1500.0, "inside"),
        ("total ammonia N", 3000.1, "stop"),
        ("free ammonia N", 80.0, "inside"),
        ("lipid share of COD", 25.0, "care"),
        ("pH", 6.7, "stop"),
    ],
)
def test_outcomes_at_the_edges(quantity, value, outcome):
    assert check_range(quantity, value).outcome == outcome


@pytest.mark.parametrize(
    ("value", "temperature_C", "kind", "outcome"),
    [
        (3.0, 37.0, "heated", "care"),
        (3.0, 25.0, "unheated", "stop"),
        (1.8, 25.0, "unheated", "care"),
        (1.8, 37.0, "heated", "inside"),
        (1.8, 37.0, "not given", "care"),
        (1.2, 15.0, "unheated", "stop"),
        (0.4, 15.0, "unheated", "inside"),
    ],
)
def test_a_load_is_judged_at_the_temperature_of_the_tank(value, temperature_C, kind, outcome):
    assert check_range("organic load", value, temperature_C, kind).outcome == outcome


def test_every_range_has_a_source_and_a_unit():
    assert {row.quantity for row in RANGES} == set(UNITS)
    assert all(row.source and row.meaning for row in RANGES)


def test_an_optimum_is_shown_and_not_judged():
    shown = check_range("C:N", 22.0).ranges
    assert [row["inside"] for row in shown].count(None) == 2
