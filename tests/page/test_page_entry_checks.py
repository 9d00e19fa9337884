from __future__ import annotations

import pytest

from bmp.page.entry_checks import doubts


def look(
    field: str, value: float, last: float | None = None, cumulative: bool = False
) -> list[str]:
    written = {field: f"{value:g} u|{'' if last is None else f'{last:g}'} u"}
    before = {} if last is None else {field: last}
    return doubts({field: value}, before, cumulative=cumulative, written=written)


@pytest.mark.parametrize(
    ("field", "value", "last", "cumulative", "said"),
    [
        ("volume_mL", 30, 29, False, ""),
        ("volume_mL", 30, None, False, ""),
        ("volume_mL", 300, 30, False, "10 times the last"),
        ("volume_mL", 299, 30, False, ""),
        ("volume_mL", 3, 30, False, "less than a tenth"),
        ("volume_mL", 30000, 30, False, "Were L and mL mixed up?"),
        ("volume_mL", -1, 30, False, "below zero"),
        ("volume_mL", 99, 100, True, "It fell from 100 u to 99 u"),
        ("volume_mL", 100, 100, True, ""),
        ("volume_mL", 99, 100, False, ""),
        ("mass_g", 1000.2, 1000, False, ""),
        ("mass_g", 1001, 1000, False, "does not gain mass"),
        ("mass_before_g", 900, 1000, False, "Is it the right jar?"),
        ("gauge_before_kPa", 101, None, False, "looks like absolute pressure"),
        ("gauge_before_kPa", 101, 95, False, ""),
        ("gauge_before_kPa", 500, 40, False, "go away from the jar"),
        ("gauge_before_kPa", 4, 40, False, "less than a tenth"),
        ("ambient_kPa", 98.3, None, False, ""),
        ("ambient_kPa", 1013, None, False, "is it hPa?"),
        ("ambient_kPa", 760, None, False, "is it hPa?"),
        ("ambient_kPa", 29.9, None, False, "is it inHg?"),
        ("ambient_kPa", 5, None, False, "unlikely as air pressure"),
        ("temperature_C", 21, None, False, ""),
        ("temperature_C", 70, None, False, "is it °F?"),
        ("temperature_C", 294, None, False, "is it K?"),
        ("methane_share", 0.6, None, False, ""),
        ("methane_share", 0.006, None, False, "is it a share of 1?"),
        ("methane_share", 1.2, None, False, "unlikely as methane share"),
        ("absolute_before_kPa", 20, None, False, "is it psi?"),
    ],
)
def test_a_slip_is_asked_about_while_the_instrument_still_stands_there(
    field: str, value: float, last: float | None, cumulative: bool, said: str
) -> None:
    found = look(field, value, last, cumulative)
    assert (said in " ".join(found)) if said else found == []


def test_more_after_venting_than_before_is_asked_about() -> None:
    both = {"gauge_before_kPa": 3.0, "gauge_after_kPa": 40.0}
    assert "swapped" in doubts(both, {}, cumulative=False, written={})[0]
