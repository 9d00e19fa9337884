"""Units are taken at their word."""

from __future__ import annotations

import pytest

from bmp.units import _COMMON, EXAMPLES, UnknownUnit, _by_pint, conversion, near_unit


@pytest.mark.parametrize(
    ("text", "target", "one", "factor"),
    [
        ("psi", "kPa", 1.0, 6.894757293168),
        ("mbar", "kPa", 1013.25, 101.325),
        ("mmHg", "kPa", 760.0, 101.325),
        ("inHg", "kPa", 29.9213, 101.325),
        ("°F", "degC", 98.6, 37.0),
        ("K", "degC", 310.15, 37.0),
        ("C", "degC", 37.0, 37.0),
        ("oz", "g", 1.0, 28.349523125),
        ("L", "mL", 0.25, 250.0),
        ("cm³", "mL", 5.0, 5.0),
        ("h", "d", 36.0, 1.5),
        ("g/kg", "dimensionless", 25.0, 0.025),
        ("%", "dimensionless", 60.0, 0.6),
        ("m^3/kg", "mL/g", 0.35, 350.0),
        ("KPA", "kPa", 3.0, 3.0),
        ("ML", "mL", 3.0, 3.0),
        ("fluid ounces", "mL", 1.0, 29.5735295625),
        ("US fl oz", "mL", 1.0, 29.5735295625),
        ("in Hg", "kPa", 29.9213, 101.325),
        ("Inches of mercury", "kPa", 29.9213, 101.325),
        ('"Hg', "kPa", 29.9213, 101.325),
        ("″Hg", "kPa", 29.9213, 101.325),
        ("deg F", "degC", 98.6, 37.0),
        ("cu ft", "mL", 1.0, 28316.846592),
        ("mb", "kPa", 1013.25, 101.325),
        ("in H2O", "kPa", 1.0, 0.2490889),
        ("degrees C", "degC", 37.0, 37.0),
    ],
)
def test_known_units(text: str, target: str, one: float, factor: float) -> None:
    rule = conversion(text, target)
    assert one * rule.factor + rule.offset == pytest.approx(factor, rel=1e-5)


@pytest.mark.parametrize(
    "text", ["", "foo", "9**9**9", "(", "mL/", "$", "mL; drop", "a" * 4000, "m3", "[mL]", "NmL"]
)
def test_what_is_no_unit_of_volume(text: str) -> None:
    with pytest.raises(UnknownUnit):
        conversion(text, "mL")


@pytest.mark.parametrize(("spelled", "target"), list(_COMMON))
def test_the_common_units_are_pints(spelled: str, target: str) -> None:
    by_pint = _by_pint(spelled, spelled, target)
    assert conversion(spelled, target).factor == pytest.approx(by_pint.factor, rel=1e-13)
    assert conversion(spelled, target).offset == pytest.approx(by_pint.offset, abs=1e-13)


def test_every_unit_offered_in_a_message_is_accepted() -> None:
    for target, offered in EXAMPLES.items():
        for text in offered.split(", "):
            assert conversion(text, target).factor > 0.0


@pytest.mark.parametrize(
    ("text", "target", "near"),
    [
        ("floozes", "mL", "floz"),
        ("inch of mercury", "kPa", "inHg"),
        ("degr F", "degC", "°F"),
        ("smoots", "mL", None),
        ("", "kPa", None),
    ],
)
def test_the_unit_to_ask_back(text: str, target: str, near: str | None) -> None:
    assert near_unit(text, target) == near
