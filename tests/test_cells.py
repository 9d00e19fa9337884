"""One cell can mean one thing, or it is refused."""

from __future__ import annotations

from datetime import date, datetime

import pytest
from hypothesis import given
from hypothesis import strategies as st

from bmp.read.cells import Unreadable, moment, number, words


@pytest.mark.parametrize(
    ("cell", "semicolons", "value"),
    [
        ("12", False, 12.0),
        ("-1.5e2", False, -150.0),
        ("\u22123.2", False, -3.2),
        ("0,5", False, 0.5),
        ("12,34", False, 12.34),
        ("1,234.5", False, 1234.5),
        ("1,234,567", False, 1234567.0),
        ("1.234,5", True, 1234.5),
        ("1,500", True, 1.5),
        ("101.3", True, 101.3),
        (7, False, 7.0),
        (7.25, True, 7.25),
    ],
)
def test_numbers(cell: object, semicolons: bool, value: float) -> None:
    assert number(cell, semicolons) == value


@pytest.mark.parametrize(
    ("cell", "semicolons"),
    [
        ("1,500", False),
        ("1.500", True),
        ("nan", False),
        ("inf", False),
        ("1e400", False),
        ("12 mL", False),
        ("<5", False),
        ("", False),
        (True, False),
        (float("nan"), False),
        (date(2027, 1, 1), False),
        ("1_000", False),
    ],
)
def test_what_is_no_number_or_two(cell: object, semicolons: bool) -> None:
    with pytest.raises(Unreadable):
        number(cell, semicolons)


@given(st.floats(-1e11, 1e11, allow_nan=False))
def test_a_number_written_out_reads_back(value: float) -> None:
    assert number(repr(value)) == value
    assert number(f"{value:.3f}".replace(".", ","), semicolons=True) == float(f"{value:.3f}")


@pytest.mark.parametrize(
    ("cell", "value"),
    [
        ("2027-03-31", datetime(2027, 3, 31)),
        ("2027-03-31T14:30", datetime(2027, 3, 31, 14, 30)),
        ("2027-03-31 14:30:05", datetime(2027, 3, 31, 14, 30, 5)),
        ("31.3.2027 14:30", datetime(2027, 3, 31, 14, 30)),
        (date(2027, 3, 31), datetime(2027, 3, 31)),
        (datetime(2027, 3, 31, 1), datetime(2027, 3, 31, 1)),
    ],
)
def test_dates(cell: object, value: datetime) -> None:
    assert moment(cell) == value


@pytest.mark.parametrize("cell", ["03/04/2027", "3-4-27", "yesterday", 45000.0, "32.1.2027", None])
def test_what_is_no_date_or_two(cell: object) -> None:
    with pytest.raises(Unreadable, match="write the date as 2027-03-31 14:30"):
        moment(cell)


def test_words() -> None:
    assert words(3.0) == "3"
    assert words("  two\n words ") == "two words"
    assert words(None) == ""


@pytest.mark.parametrize(
    ("cell", "why"),
    [
        ("03/04/2027", "can mean two days: day or month first"),
        ("03/04/2027 10:30", "can mean two days: day or month first"),
        ("13/03/2027", "is written so that other days could be taken for their month"),
        ("03/13/2027", "is written so that other days could be taken for their month"),
        ("03/03/2027", "is written so that other days could be taken for their month"),
        ("09/02/26", "is no date that can mean one day only"),
        ("2027-02-30", "is no day and hour of the calendar"),
        ("2027-03-01 25:10", "is no day and hour of the calendar"),
        ("30.2.2027", "is no day and hour of the calendar"),
        ("13/13/2027", "is no day of the calendar"),
        ("40/01/2027", "is no day of the calendar"),
        ("yesterday", "is no date"),
        (45000.0, "is no date"),
    ],
)
def test_why_a_date_is_refused(cell: object, why: str) -> None:
    with pytest.raises(Unreadable) as refused:
        moment(cell)
    assert refused.value.why == why
