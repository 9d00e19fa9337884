"""The tables `tank` and `tank feeds`, read strictly."""

import numpy as np
import pytest

from bmp.tank import FeedYield, TankTableError, tank_from_tables
from bmp.tank.tables import MONTH_ITEMS, NUMBERS, read_feeds, read_tank
from bmp.trial import Material

MATERIALS = (Material("scraps", "substrate", TS=0.25, VS=0.23),)
YIELDS = (FeedYield("scraps", np.array([10.0, 30.0]), np.array([300.0, 400.0])),)
TANK = {"liquid_volume_L": 200.0, "temperature_C": 35.0}
ROW = {"material": "scraps", "amount_today_kg_per_d": 1.0, "amount_planned_kg_per_d": 2.0}


def problems_of(tank=TANK, feeds=(ROW,)):
    with pytest.raises(TankTableError) as caught:
        tank_from_tables(tank, feeds, MATERIALS, YIELDS)
    return [str(problem) for problem in caught.value.problems]


def test_the_least_that_works():
    result = tank_from_tables(TANK, [ROW, {"material": "water"}], MATERIALS, YIELDS)
    assert result.today.retention_d == 200.0
    assert result.today.heat_need_kWh_per_d is None
    assert "needs surface" in result.today.unknown["heat_need_kWh_per_d"]


@pytest.mark.parametrize("name", sorted(NUMBERS))
def test_every_number_is_held_to_its_span(name):
    item = NUMBERS[name]
    for good in (item.low, item.high):
        problems = []
        assert read_tank(TANK | {name: good}, problems) is not None
        assert problems == []
    for bad in (item.low - 1, item.high * 1.01 + 1, "much", float("nan")):
        problems = []
        assert read_tank(TANK | {name: bad}, problems) is None
        assert item.meaning in str(problems[0])


def test_missing_items_are_named_all_at_once():
    found = problems_of(tank={"mixing": "shaken"})
    assert len(found) == 3
    assert any("liquid_volume_L" in words and "is missing" in words for words in found)
    assert any("well mixed or plug flow" in words for words in found)


def test_months_all_or_none():
    some = dict.fromkeys(MONTH_ITEMS[:11], 5.0)
    assert "all twelve months or none" in problems_of(tank=TANK | some)[0]
    setup = read_tank(TANK | dict.fromkeys(MONTH_ITEMS, 5.0), [])
    assert setup.air_temperatures_by_month_C == (5.0,) * 12


@pytest.mark.parametrize(
    ("text", "layers"),
    [
        ("polystyrene 50 mm", [(0.05, 0.036)]),
        ("Plastic 3 mm; 40 mm 0.035", [(0.003, 0.4), (0.04, 0.035)]),
        ("", []),
    ],
)
def test_layers(text, layers):
    setup = read_tank(TANK | {"layers": text}, [])
    assert [(x.thickness_m, x.conductivity_W_per_m_K) for x in setup.layers] == layers


@pytest.mark.parametrize(
    "text", ["feathers 50 mm", "polystyrene", "polystyrene 5 cm", "steel 0 mm"]
)
def test_bad_layers_say_how_to_write_them(text):
    assert "`polystyrene 50 mm`" in problems_of(tank=TANK | {"layers": text})[0]


@pytest.mark.parametrize(
    ("feeds", "words"),
    [
        ([], "name a feed"),
        ([{"material": "hay", "amount_today_kg_per_d": 1.0}], "one of scraps, water is expected"),
        ([ROW, ROW], "scraps stands twice"),
        ([ROW | {"amount_today_kg_per_d": -1.0}], "not negative"),
        ([ROW | {"amount_today_kg_per_d": "two"}], "a number of kg a day"),
        ([{"material": "scraps"}], "nothing is fed"),
    ],
)
def test_bad_feeds(feeds, words):
    assert words in "\n".join(problems_of(feeds=feeds))


def test_empty_amount_is_nothing():
    (feed,) = read_feeds([{"material": "scraps", "amount_planned_kg_per_d": 1.0}], MATERIALS, [])
    assert feed.amount_today_kg_per_d == 0.0
