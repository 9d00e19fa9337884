"""From the checked tables to the tank's answer."""

import numpy as np
import pytest

from bmp.tank import FeedYield, tank_from_tables
from bmp.tank.from_tables import MONTH_ITEMS, tank_setup
from bmp.trial import Material

MATERIALS = (Material("scraps", "substrate", TS=0.25, VS=0.23),)
YIELDS = (FeedYield("scraps", np.array([10.0, 30.0]), np.array([300.0, 400.0])),)
TANK = {"liquid_volume_L": 200.0, "temperature_C": 35.0}
ROW = {"material": "scraps", "amount_today_kg_per_d": 1.0, "amount_planned_kg_per_d": 2.0}


def test_the_least_that_works():
    result = tank_from_tables(TANK, [ROW, {"material": "water"}], MATERIALS, YIELDS)
    assert result.today.retention_d == 200.0
    assert result.today.heat_need_kWh_per_d is None
    assert "needs surface" in result.today.unknown["heat_need_kWh_per_d"]


def test_words_become_what_they_mean():
    setup = tank_setup(
        TANK
        | {"layers": "polystyrene 50 mm", "wall_stands_in": "still air", "mixing": "plug flow"}
        | dict.fromkeys(MONTH_ITEMS, 5.0)
    )
    assert setup.sheltered
    assert setup.mixing == "plug flow"
    assert setup.layers[0].thickness_m == 0.05
    assert setup.air_temperatures_by_month_C == (5.0,) * 12


@pytest.mark.parametrize(
    "tank",
    [
        {"liquid_volume_L": 200.0},
        TANK | {"colour": "blue"},
        TANK | dict.fromkeys(MONTH_ITEMS[:3], 5.0),
    ],
)
def test_items_missing_or_unknown_are_refused(tank):
    with pytest.raises(ValueError, match="is missing or not known"):
        tank_setup(tank)


def test_unknown_feed_is_refused():
    with pytest.raises(ValueError, match="'hay' is not among the materials"):
        tank_from_tables(TANK, [{"material": "hay"}], MATERIALS, YIELDS)
