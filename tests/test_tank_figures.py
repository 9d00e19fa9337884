"""Drawn data and labels of the tank figures, through the axes."""

import re

import matplotlib as mpl
import numpy as np
import pytest

from bmp.report.tank_figures import (
    draw_gas_by_material,
    draw_heat_by_month,
    draw_ramp_gas,
    draw_ramp_load,
    tank_pictures,
)
from bmp.tank import FeedYield, TankFeed, TankSetup, carry_to_tank
from bmp.tank.inputs import WATER
from bmp.trial import Material

mpl.use("Agg")
from matplotlib import pyplot as plt

TIME = np.linspace(0.0, 30.0, 31)
FEEDS = (
    TankFeed(Material("manure", "substrate", TS=0.12, VS=0.1), 4.0, 3.0),
    TankFeed(Material("scraps", "substrate", TS=0.25, VS=0.23, nitrogen=0.03, lipid=0.1), 0.0, 1.0),
    TankFeed(WATER, 1.0, 1.0),
)
YIELDS = (
    FeedYield("manure", TIME, 200 * (1 - np.exp(-0.08 * TIME))),
    FeedYield("scraps", TIME, 400 * (1 - np.exp(-0.2 * TIME))),
)
SETUP = TankSetup(
    200.0, 35.0, surface_m2=2.0, U_W_per_m2_K=0.6, air_temperatures_by_month_C=(5.0,) * 12
)


@pytest.fixture
def axes():
    figure, axes = plt.subplots()
    yield axes
    plt.close(figure)


def test_bars_stack_to_the_total(axes):
    result = carry_to_tank(SETUP, FEEDS, YIELDS)
    draw_gas_by_material(axes, result)
    heights = [bar.get_height() for bar in axes.patches]
    assert sum(heights) == pytest.approx(
        result.today.methane_NL_per_d.value + result.planned.methane_NL_per_d.value
    )
    assert "estimate" in axes.get_ylabel()


def test_unknown_gas_is_written_out(axes):
    draw_gas_by_material(axes, carry_to_tank(SETUP, FEEDS, ()))
    assert [text.get_text() for text in axes.texts] == ["not known", "not known"]


def test_ramp_bars_are_the_loads(axes):
    result = carry_to_tank(SETUP, FEEDS, YIELDS)
    draw_ramp_load(axes, result)
    assert [bar.get_height() for bar in axes.patches] == pytest.approx(
        [week.load_kgVS_per_m3_d for week in result.ramp]
    )
    assert "kg VS/(m³ d)" in axes.get_ylabel()


def test_every_point_of_the_ramp_lies_inside_the_axes(axes):
    result = carry_to_tank(SETUP, FEEDS, YIELDS)
    draw_ramp_gas(axes, result)
    (line,) = axes.lines
    assert list(line.get_ydata()) == pytest.approx(
        [week.expected_methane_NL_per_d for week in result.ramp]
    )
    assert axes.get_ylim()[1] > max(line.get_ydata())


def test_heat_bars_are_the_needs(axes):
    result = carry_to_tank(SETUP, FEEDS, YIELDS)
    draw_heat_by_month(axes, result)
    needs = {month.need_planned_kWh_per_d for month in result.months}
    assert {bar.get_height() for bar in axes.patches} >= needs
    assert axes.get_ylabel() == "Heat, estimate [kWh/d]"


def test_no_months_is_said(axes):
    draw_heat_by_month(axes, carry_to_tank(TankSetup(200.0, 35.0), FEEDS, YIELDS))
    assert axes.texts[0].get_text() == "twelve air temperatures needed"


def test_pictures_with_something_to_show_and_no_word_outside():
    result = carry_to_tank(SETUP, FEEDS, YIELDS)
    drawn = tank_pictures(result, {"manure": 3})
    assert list(drawn) == ["tank-gas", "tank-ramp-load", "tank-ramp-gas", "tank-heat"]
    for figure in drawn.values():
        figure.canvas.draw()
        for axes in figure.axes:
            assert re.fullmatch(r"\S.* \[.+\]", axes.get_ylabel())
            words = [*axes.texts, axes.xaxis.label, axes.yaxis.label, *axes.get_xticklabels()]
            for box in (text.get_window_extent() for text in words if text.get_text()):
                assert min(box.x0, box.y0) >= 0
                assert box.x1 <= figure.bbox.x1
                assert box.y1 <= figure.bbox.y1
    assert list(tank_pictures(carry_to_tank(TankSetup(200.0, 35.0), FEEDS[:1], ()), {})) == [
        "tank-gas"
    ]
