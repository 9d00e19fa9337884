from __future__ import annotations

import pytest

from bmp.cautions import CAUTIONS, HAZARDS, cautions_for


def test_local_rules_always_come_first() -> None:
    for hazard in [[], ["jar"], list(HAZARDS)]:
        assert cautions_for(hazard)[0].id == "local rules"


def test_every_caution_has_text_and_source_and_known_hazards() -> None:
    assert len({c.id for c in CAUTIONS}) == len(CAUTIONS)
    for caution in CAUTIONS:
        assert caution.text.endswith(".")
        assert caution.source
        assert caution.hazards <= HAZARDS.keys()


def test_every_hazard_has_a_caution() -> None:
    for hazard in HAZARDS:
        assert len(cautions_for([hazard])) > 1, hazard


@pytest.mark.parametrize(
    ("hazard", "id", "figure"),
    [
        ("jar", "flame", "5 to 15 % CH4"),
        ("tank", "hydrogen sulphide", "100 ppm"),
        ("closed glass", "closed glass", "200 kPa"),
        ("household jar", "household jar", "0 kPa"),
        ("crucibles", "oven and furnace", "550 °C"),
        ("caustic", "caustic", "120 g NaOH"),
        ("school", "school", ""),
        ("manure or meat", "germs", ""),
        ("gas store", "no air", "19.5 %"),
    ],
)
def test_hazard_brings_its_figure(hazard: str, id: str, figure: str) -> None:
    found = {c.id: c for c in cautions_for([hazard])}
    assert figure in found[id].figure
    assert found[id].to_dict()["figure"] == found[id].figure


def test_soda_lye_figure_is_arithmetic() -> None:
    # 3 mol/L of NaOH at 39.997 g/mol.
    assert round(3 * 39.997) == 120


def test_unknown_hazard_is_an_error() -> None:
    with pytest.raises(KeyError, match="no such hazard: dragon"):
        cautions_for(["dragon"])
