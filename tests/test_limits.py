"""One range of inputs for whoever asks, and air pressures that do occur."""

from __future__ import annotations

from dataclasses import replace

import pytest

from bmp.atmosphere import standard_atmosphere_kPa
from bmp.limits import POSSIBLE, USUAL
from bmp.page.entry_checks import NAMED, doubts
from bmp.plan.reading_columns import ambient
from bmp.plan.request_checks import senseless
from bmp.plan.shown_units import ShownUnits
from tests.plan_requests import OPEN

AMBIENT = ambient(ShownUnits())


def test_usual_air_reaches_from_the_highest_town_to_the_highest_barometer() -> None:
    """La Rinconada, 5,100 m (ISO 2533: 53.4 kPa); 108.48 kPa at Tosontsengel, from memory (WMO)."""
    assert standard_atmosphere_kPa(5100.0) == pytest.approx(53.3, abs=0.2)
    assert USUAL["ambient_kPa"].holds(standard_atmosphere_kPa(5100.0))
    assert USUAL["ambient_kPa"].holds(108.48)
    assert not USUAL["ambient_kPa"].holds(760.0)
    assert not USUAL["ambient_kPa"].holds(29.92)


def test_what_is_usual_is_possible() -> None:
    for field, usual in USUAL.items():
        possible = POSSIBLE[field]
        assert possible.low <= usual.low < usual.high <= possible.high, field
        assert possible.unit == usual.unit, field
    assert NAMED.keys() == USUAL.keys()


@pytest.mark.parametrize("ambient_kPa", [40.0, 44.0, 115.0])
def test_the_plan_and_its_logbook_take_what_the_reader_takes(ambient_kPa: float) -> None:
    assert POSSIBLE["ambient_kPa"].holds(ambient_kPa)
    assert not senseless(replace(OPEN, ambient_kPa=ambient_kPa))
    assert AMBIENT.low is not None
    assert AMBIENT.high is not None
    assert AMBIENT.low <= ambient_kPa <= AMBIENT.high


@pytest.mark.parametrize("ambient_kPa", [39.0, 116.0])
def test_all_refuse_what_the_reader_refuses(ambient_kPa: float) -> None:
    assert [refusal.item for refusal in senseless(replace(OPEN, ambient_kPa=ambient_kPa))] == [
        "ambient"
    ]
    assert AMBIENT.low is not None
    assert AMBIENT.high is not None
    assert not AMBIENT.low <= ambient_kPa <= AMBIENT.high


def test_the_page_asks_about_what_is_unusual() -> None:
    found = doubts({"ambient_kPa": 985.0}, {}, cumulative=False, written={})
    assert found == ["985 kPa cannot be the air pressure: is it hPa? Write the unit."]
    assert doubts({"ambient_kPa": 53.4}, {}, cumulative=False, written={}) == []
    assert doubts({"ambient_kPa": 51.0}, {}, cumulative=False, written={}) == [
        "51 kPa is unlikely as air pressure (52 to 109 is usual)."
    ]


def test_words_of_a_range() -> None:
    assert POSSIBLE["ambient_kPa"].words == "between 40 and 115 kPa"
    assert POSSIBLE["share_before_absorber"].words == "between 20 and 100 %"
    assert POSSIBLE["altitude_m"].words == "between -450 and 6,000 m"
