from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from bmp.page.typed_numbers import column_of, typed_cell, typed_time
from bmp.read.cells import Unreadable

VOLUME = column_of("volume [mL]")


@pytest.mark.parametrize(
    ("header", "text", "cell"),
    [
        ("volume [mL]", "12,5", "12.5"),
        ("volume [mL]", " 12.5 ", "12.5"),
        ("volume [mL]", "1,2 L", "1200"),
        ("volume [L]", "1200mL", "1.2"),
        ("volume [mL]", "", ""),
        ("volume [mL]", "−3", "-3"),
        # exact by definition: 1 inHg = 3.386389 kPa at 0 °C (NIST SP 811, appendix B), 1 hPa
        ("ambient [kPa]", "1013,25 hPa", "101.325"),
        ("ambient [mbar]", "101,32 kPa", "1013.2"),
        ("temperature [°C]", "68 °F", "20"),
        ("methane [%]", "0.6 fraction", "60"),
        ("gauge after [kPa]", "Not Vented", "not vented"),
        ("note", "foam,  1,5 L lost", "foam, 1,5 L lost"),
    ],
)
def test_what_is_typed_comes_into_the_unit_of_its_column(header: str, text: str, cell: str) -> None:
    assert typed_cell(column_of(header), text) == cell


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("abc", "“abc” is no number: write it in mL"),
        ("12 kg", "“kg” measures a mass, not a volume: write it in mL"),
        ("12 blub", "“blub” is no unit: write it in mL"),
        ("1,500", "this can mean thousands or a decimal comma"),
        ("1e99", "write a number that a jar trial can have"),
        ("=1+1", "“=1+1” is no number"),
    ],
)
def test_what_can_mean_two_things_is_asked_about(text: str, said: str) -> None:
    with pytest.raises(Unreadable, match=None) as told:
        typed_cell(VOLUME, text)
    assert said in str(told.value)


@given(st.floats(-1e9, 1e9), st.booleans())
def test_a_number_survives_its_way_through_the_field(value: float, comma: bool) -> None:
    text = f"{value:.6f}"
    cell = typed_cell(VOLUME, text.replace(".", ",") if comma else text)
    assert float(cell) == pytest.approx(float(text), rel=1e-9, abs=1e-12)


@given(st.text(max_size=40))
def test_no_text_breaks_a_field(text: str) -> None:
    try:
        cell = typed_cell(VOLUME, text)
    except Unreadable:
        return
    assert cell == "" or abs(float(cell)) <= 1e15


def test_times_are_dates_or_days() -> None:
    assert typed_time("2024-03-02T10:03", dated=True) == "2024-03-02T10:03"
    assert typed_time("2024-03-02T10:03:30", dated=True) == "2024-03-02T10:03:30"
    assert typed_time("02.03.2024 10:03", dated=True) == "2024-03-02T10:03"
    assert typed_time("2,50", dated=False) == "2.5"
    for text, dated in (("03/02/2027", True), ("-1", False), ("", False), ("x", True)):
        with pytest.raises(Unreadable):
            typed_time(text, dated)
