from __future__ import annotations

import shutil
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from bmp.page.journal import Entry
from bmp.page.readings_table import (
    ReadingsTable,
    applied,
    from_table,
    is_long,
    replayed,
    rounds_read,
    sheet_of,
    still_planned,
    to_csv,
)
from bmp.read import read_trial
from bmp.read.tables import CellTable, read_tables
from bmp.trial import Readings

DEMO = Path(__file__).parents[2] / "examples" / "cheese_dairy"


def table(text: str, semicolons: bool = False) -> CellTable:
    split = ";" if semicolons else ","
    lines = [line.split(split) for line in text.strip().splitlines()]
    rows = tuple(tuple(cell or None for cell in line) for line in lines[1:])
    return CellTable(
        "readings.csv", tuple(lines[0]), rows, tuple(range(2, len(rows) + 2)), semicolons
    )


def same(one: Readings, other: Readings) -> None:
    assert np.array_equal(one.jar, other.jar)
    assert np.array_equal(one.time_d, other.time_d)
    assert set(one.columns) == set(other.columns)
    for name, values in one.columns.items():
        assert np.array_equal(values, other.columns[name], equal_nan=True), name
    assert one.note == other.note
    assert np.array_equal(one.not_vented, other.not_vented)


def test_what_the_page_writes_the_reader_reads_the_same(tmp_path: Path) -> None:
    folder = tmp_path / "demo"
    shutil.copytree(DEMO, folder)
    found = from_table(read_tables(folder, ("readings",))["readings"])
    (folder / "readings.csv").write_text(to_csv(found, []), encoding="utf-8")
    same(read_trial(folder).readings, read_trial(DEMO).readings)


def test_decimal_commas_of_a_semicolon_file_are_understood() -> None:
    found = from_table(table("Jar;taken;volume [mL]\na1;02.03.2024 10:00;1,500\n", True), ["A1"])
    assert found.rows == {("A1", "2024-03-02T10:00"): {"volume [mL]": "1.5"}}


def test_what_all_jars_of_one_time_share_stands_once() -> None:
    found = from_table(
        table("jar,taken,volume [mL],ambient [kPa]\nA,2024-03-02,1,98\nB,2024-03-02,2,98\n")
    )
    assert found.rounds == {"2024-03-02T00:00": {"ambient [kPa]": "98"}}
    text = to_csv(found, ["B", "A"])
    assert text.splitlines()[1:] == ["B,2024-03-02T00:00,2,98", "A,2024-03-02T00:00,1,98"]


def test_a_reading_that_stands_twice_stays_twice() -> None:
    text = "jar,time [d],volume [mL]\nA,1,5\nA,1,6\n"
    assert to_csv(from_table(table(text)), ["A"]) == text


def test_rows_that_wait_are_kept_until_their_reading_came() -> None:
    start = from_table(
        table(
            "jar,taken,volume [mL]\nA,2024-03-02T10:00,\nB,2024-03-02T10:00,\n"
            "A,2024-03-03T10:00,\nB,2024-03-03T10:00,\n"
        )
    )
    assert len(start.planned) == 4
    entry = Entry(2, "", "reading", "A", "2024-03-02T09:20", after={"volume [mL]": "7"})
    after = applied(start, entry)
    assert still_planned(after) == [
        ("B", "2024-03-02T10:00"),
        ("A", "2024-03-03T10:00"),
        ("B", "2024-03-03T10:00"),
    ]
    assert to_csv(after, ["A", "B"]).splitlines()[1] == "A,2024-03-02T09:20,7"


def test_an_empty_row_between_two_readings_stays() -> None:
    text = "jar,time [d],volume [mL]\nA,1,5\nA,2,\nA,3,6\n"
    found = from_table(table(text))
    assert found.planned == ()
    assert to_csv(found, ["A"]) == text


@pytest.mark.parametrize(
    ("header", "long"),
    [("jar,taken,volume [mL]", True), ("Jar,TIME [h],x", True), ("taken,A1 [mL]", False)],
)
def test_long_and_wide_tables_are_told_apart(header: str, long: bool) -> None:
    assert is_long(CellTable("readings.csv", tuple(header.split(",")), (), ())) is long


JARS = st.sampled_from(["A", "B", "C"])
TIMES = st.sampled_from(["1", "2", "2.5"])
CELLS = st.dictionaries(
    st.sampled_from(["volume [mL]", "methane [%]", "note"]), st.text("0123456789", min_size=1)
)
CHANGES = st.lists(st.tuples(JARS, TIMES, st.none() | CELLS), max_size=30)


@given(CHANGES)
def test_a_replayed_journal_holds_the_last_of_every_reading(
    changes: list[tuple[str, str, dict[str, str] | None]],
) -> None:
    entries = [
        Entry(number, "", "reading", jar, time, after=cells)
        for number, (jar, time, cells) in enumerate(changes, start=1)
    ]
    found = replayed(entries, ReadingsTable(("jar", "time [d]")))
    last = {(jar, time): cells for jar, time, cells in changes}
    assert found.rows == {key: cells for key, cells in last.items() if cells is not None}
    for key in last:
        assert entries[found.version(*key) - 1].after == last[key]
    assert sheet_of(found.state()).rows == found.rows
    for line in to_csv(found, ["A", "B", "C"]).splitlines()[1:]:
        jar, time, *_ = line.split(",")
        assert (jar, time) in found.rows


def test_a_pause_for_lunch_ends_no_round_and_a_night_does() -> None:
    rows = [
        *(("A", f"2027-03-0{day}T11:50") for day in (1, 3, 5)),
        *(("B", f"2027-03-0{day}T13:20") for day in (1, 3, 5)),
        ("C", "2027-03-06T09:00"),
        ("D", "soon"),
    ]
    sheet = ReadingsTable(
        ("jar", "time", "volume [mL]"), {row: {"volume [mL]": "1"} for row in rows}
    )
    latest_first = [dict(one.jars) for one in rounds_read(sheet)]
    assert latest_first[0] == {"D": "soon"}
    assert latest_first[1] == {"C": "2027-03-06T09:00"}
    assert [sorted(jars) for jars in latest_first[2:]] == [["A", "B"]] * 3
    assert rounds_read(ReadingsTable(("jar", "time"))) == []
