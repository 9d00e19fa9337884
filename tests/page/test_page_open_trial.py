from __future__ import annotations

import contextlib
import errno
import json
import os
import shutil
import sys
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from bmp.page import open_trial
from bmp.page.conflict import Conflict
from bmp.page.journal import Entry, append, read_journal
from bmp.page.open_trial import OpenTrial, digest
from bmp.page.readings_table import replayed
from bmp.problem import UnusableInput
from bmp.read import read_trial
from tests.page.client import small_trial
from tests.page.load import rows_of

T1, T2 = "2024-03-02T08:00", "2024-03-03T08:00"
V = "volume [mL]"


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    return small_trial(tmp_path / "one", jars=4)


@pytest.fixture(autouse=True)
def _written_at_once(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(open_trial, "WRITE_AT_MOST_EVERY_S", 0.0)


def fill(trial: OpenTrial, time: str = T1, volume: str = "20") -> None:
    for jar in trial.shelf():
        trial.save(jar, time, {V: volume}, 0)


def test_what_is_typed_is_what_the_reader_reads(folder: Path) -> None:
    trial = OpenTrial(folder)
    fill(trial)
    trial.save("", T1, {"temperature [°C]": "21.5"}, 0)
    trial.flush()
    readings = read_trial(folder).readings
    assert readings.column("volume_mL").tolist() == [20.0] * 4
    assert readings.column("temperature_C").tolist() == [21.5] * 4
    assert readings.time_d.tolist() == [1.0] * 4


def test_two_pages_do_not_overwrite_each_other(folder: Path) -> None:
    trial = OpenTrial(folder)
    first = trial.save("J1", T1, {V: "20"}, 0)
    with pytest.raises(Conflict) as told:
        trial.save("J1", T1, {V: "30"}, 0)
    assert told.value.now == {V: "20"}
    assert trial.sheet.rows["J1", T1] == {V: "20"}
    trial.save("J1", T1, {V: "30"}, first.number)
    assert trial.sheet.rows["J1", T1] == {V: "30"}


def test_the_same_request_again_is_one_change(folder: Path) -> None:
    trial = OpenTrial(folder)
    first = trial.save("J1", T1, {V: "20"}, 0, "r")
    assert trial.save("J1", T1, {V: "20"}, 0, "r") == first
    assert OpenTrial(folder).save("J1", T1, {V: "20"}, 0, "r") == first


def test_a_second_reading_close_by_is_asked_about(folder: Path) -> None:
    trial = OpenTrial(folder)
    trial.save("J1", "2024-03-02T08:00", {V: "20"}, 0)
    with pytest.raises(Conflict) as told:
        trial.save("J1", "2024-03-02T08:10", {V: "21"}, 0)
    assert told.value.kind == "near"
    assert told.value.time == "2024-03-02T08:00"
    trial.save("J1", "2024-03-02T08:10", {V: "21"}, 0, sure=True)
    trial.save("J1", "2024-03-02T08:50", {V: "22"}, 0)
    assert len(trial.sheet.rows) == 3


def test_every_change_is_kept_and_the_latest_can_be_taken_back(folder: Path) -> None:
    trial = OpenTrial(folder)
    one = trial.save("J1", T1, {V: "20"}, 0)
    two = trial.save("J1", T1, {V: "25", "note": "foam"}, one.number)
    with pytest.raises(LookupError):
        trial.undo(one.number)
    back = trial.undo(two.number)
    assert trial.sheet.rows["J1", T1] == {V: "20"}
    trial.undo(back.number)
    assert trial.sheet.rows["J1", T1] == {V: "25", "note": "foam"}
    values = [entry.after for entry in OpenTrial(folder).changes()][:4]
    assert values == [{V: "25", "note": "foam"}, {V: "20"}, {V: "25", "note": "foam"}, {V: "20"}]
    assert all(entry.at for entry in trial.changes())


def test_a_reading_cleared_is_gone_and_can_come_back(folder: Path) -> None:
    trial = OpenTrial(folder)
    one = trial.save("J1", T1, {V: "20"}, 0)
    two = trial.save("J1", T1, {V: ""}, one.number)
    assert trial.sheet.rows == {}
    trial.undo(two.number)
    assert trial.sheet.rows == {("J1", T1): {V: "20"}}


def test_what_was_acknowledged_before_a_kill_is_there_after_it(folder: Path) -> None:
    trial = OpenTrial(folder)
    fill(trial)
    # journalled, and stopped before the table was written
    append(folder, Entry(len(trial.entries) + 1, "now", "reading", "J1", T2, after={V: "5"}))
    assert OpenTrial(folder).sheet.rows["J1", T2] == {V: "5"}
    assert f"J1,{T2},5" in (folder / "readings.csv").read_text()


def test_a_table_changed_by_other_hands_is_taken_over_and_can_be_taken_back(folder: Path) -> None:
    trial = OpenTrial(folder)
    fill(trial)
    trial.flush()
    path = folder / "readings.csv"
    path.write_text(path.read_text().replace(f"J2,{T1},20", f"J2,{T1},26"))
    with pytest.raises(Conflict):
        trial.save("J2", T1, {V: "27"}, trial.sheet.version("J2", T1))
    assert trial.sheet.rows["J2", T1] == {V: "26"}
    trial.save("J1", T1, {V: "21"}, trial.sheet.version("J1", T1))
    taken = next(e for e in trial.changes() if e.kind == "readings" and e.number > 1)
    trial.undo(taken.number)
    assert trial.sheet.rows["J2", T1] == {V: "20"}
    assert trial.sheet.rows["J1", T1] == {V: "21"}  # typed since: stays
    assert not trial.undoable(taken)
    trial.undo(trial.changes()[0].number)
    assert trial.sheet.rows["J2", T1] == {V: "26"}
    count = len(OpenTrial(folder).entries)
    assert len(OpenTrial(folder).entries) == count


def test_other_hands_and_what_was_not_written_yet_are_both_kept(
    folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    trial = OpenTrial(folder)
    fill(trial)
    trial.flush()
    monkeypatch.setattr(open_trial, "WRITE_AT_MOST_EVERY_S", 100.0)
    trial.save("J1", T2, {V: "5"}, 0)
    assert f"J1,{T2},5" not in (folder / "readings.csv").read_text()
    path = folder / "readings.csv"
    path.write_text(path.read_text().replace(f"J2,{T1},20", f"J2,{T1},26"))
    trial.flush()
    text = path.read_text()
    assert f"J1,{T2},5" in text
    assert f"J2,{T1},26" in text
    again = OpenTrial(folder)
    assert again.sheet.rows == trial.sheet.rows


def test_a_folder_put_back_from_a_copy_is_read_anew(folder: Path, tmp_path: Path) -> None:
    trial = OpenTrial(folder)
    fill(trial)
    trial.flush()
    shutil.copytree(folder, tmp_path / "copy")
    trial.save("J1", T2, {V: "5"}, 0)
    trial.flush()
    shutil.rmtree(folder)
    shutil.copytree(tmp_path / "copy", folder)
    trial.refresh()
    assert ("J1", T2) not in trial.sheet.rows
    assert len(trial.sheet.rows) == 4


def test_another_table_is_changed_whole_and_can_be_taken_back(folder: Path) -> None:
    trial = OpenTrial(folder)
    before = trial.table_text("jars")
    with pytest.raises(Conflict):
        trial.change_table("jars", "x", digest("something else"))
    entry = trial.change_table("jars", before.replace("J1,,400", "J1,,401"), digest(before))
    assert "J1,,401" in (folder / "jars.csv").read_text()
    trial.undo(entry.number)
    assert trial.table_text("jars") == before


def test_a_table_change_that_a_kill_cut_short_is_finished(folder: Path) -> None:
    trial = OpenTrial(folder)
    before = trial.table_text("jars")
    after = before.replace("J1,,400", "J1,,401")
    append(folder, Entry(1, "now", "table", table="jars", before=before, after=after))
    assert OpenTrial(folder).table_text("jars") == after
    assert [e.kind for e in read_journal(folder)] == ["table", "written"]


def test_a_wide_table_is_left_alone(folder: Path) -> None:
    path = folder / "readings.csv"
    path.write_text("taken,J1 [mL]\n2024-03-02,5\n")
    trial = OpenTrial(folder)
    assert "a column for each jar" in trial.cannot_type
    assert path.read_text() == "taken,J1 [mL]\n2024-03-02,5\n"
    assert not (folder / "journal.jsonl").exists()


def test_looking_at_a_trial_writes_nothing(folder: Path) -> None:
    before = {p.name: p.read_bytes() for p in folder.iterdir()}
    OpenTrial(folder).refresh()
    assert {p.name: p.read_bytes() for p in folder.iterdir()} == before


JARS = st.sampled_from(["J1", "J2"])
TIMES = st.sampled_from([T1, T2])
VOLUMES = st.sampled_from(["", "1", "2", "3"])
STEPS = st.lists(
    st.one_of(
        st.tuples(st.just("save"), JARS, TIMES, VOLUMES),
        st.tuples(st.just("stale"), JARS, TIMES, VOLUMES),
        st.tuples(st.just("undo"), st.integers(1, 12)),
        st.tuples(st.just("reopen")),
        st.tuples(st.just("other hands"), JARS, TIMES, st.sampled_from(["7", "8"])),
    ),
    max_size=12,
)


@settings(max_examples=40)
@given(STEPS)
def test_whatever_is_done_the_file_the_journal_and_the_page_agree(
    tmp_path_factory: pytest.TempPathFactory, steps: list[tuple[Any, ...]]
) -> None:
    folder = small_trial(tmp_path_factory.mktemp("any") / "one", jars=2)
    trial, wanted = OpenTrial(folder), {}
    for what, *given_ in steps:
        if what == "reopen":
            trial = OpenTrial(folder)
        elif what == "undo":
            with contextlib.suppress(LookupError):
                entry = trial.undo(given_[0])
                wanted = {key: cells[V] for key, cells in trial.sheet.rows.items() if V in cells}
                assert entry.undoes == given_[0]
        elif what == "other hands":
            jar, time, volume = given_
            wanted[jar, time] = volume
            lines = [f"{j},{t},{v}" for (j, t), v in wanted.items()]
            text = "\n".join(["jar,taken,volume [mL]", *lines]) + "\n"
            (folder / "readings.csv").write_text(text, encoding="utf-8")
        else:
            jar, time, volume = given_
            trial.refresh()
            version = trial.sheet.version(jar, time)
            if what == "stale":
                if wanted.get((jar, time), "") not in ("", volume):
                    with pytest.raises(Conflict):
                        trial.save(jar, time, {V: volume}, 10_000)
                continue
            trial.save(jar, time, {V: volume}, version)
            wanted = {key: v for key, v in {**wanted, (jar, time): volume}.items() if v}
    trial.refresh()
    held = {key: cells[V] for key, cells in trial.sheet.rows.items()}
    assert held == wanted
    assert {key: cells[V] for key, cells in OpenTrial(folder).sheet.rows.items()} == wanted
    assert set(rows_of(folder)) == {(*key, volume) for key, volume in wanted.items()}


@pytest.mark.parametrize("placed", [True, False])
def test_a_stop_between_saying_and_writing_is_told_from_other_hands(
    folder: Path, placed: bool
) -> None:
    trial = OpenTrial(folder)
    first = trial.save("J1", T1, {V: "20"}, 0)
    old = (folder / "readings.csv").read_text()
    trial.save("J1", T1, {V: "30"}, first.number)
    (folder / "readings.csv").write_text(old)
    if not placed:
        # the power went after the journal said that it writes, before the file was there
        path = folder / "journal.jsonl"
        path.write_bytes(b"".join(path.read_bytes().splitlines(keepends=True)[:-1]))
    again = OpenTrial(folder)
    assert again.sheet.rows["J1", T1] == {V: "20" if placed else "30"}
    assert (f"J1,{T1},30" in (folder / "readings.csv").read_text()) is not placed


# ---------------------------------------------------------------- disks that refuse


def full(*_: Any, **__: Any) -> None:
    raise OSError(errno.ENOSPC, "No space left on device")


def held(*_: Any, **__: Any) -> None:
    raise PermissionError(errno.EACCES, "Permission denied")


@pytest.mark.parametrize("refuse", [full, held])
@pytest.mark.parametrize("other_hands", [False, True])
@pytest.mark.parametrize("placed_before", [False, True])
def test_what_was_kept_outlives_a_table_that_cannot_be_written(
    folder: Path,
    monkeypatch: pytest.MonkeyPatch,
    refuse: Any,
    other_hands: bool,
    placed_before: bool,
) -> None:
    trial = OpenTrial(folder)
    path = folder / "readings.csv"
    if placed_before:
        trial.save("J4", T1, {V: "4"}, 0)
    monkeypatch.setattr(open_trial, "write_whole", refuse)
    for number, jar in enumerate(("J1", "J2", "J3"), start=1):
        trial.save(jar, T1, {V: f"{number}"}, 0)
    assert trial.behind.startswith("Kept. The table readings.csv is behind: ")
    assert "J1" not in path.read_text()
    if other_hands:
        path.write_text(path.read_text() + f"J4,{T2},9\n")
    again = OpenTrial(folder)
    kept = {"J1": "1", "J2": "2", "J3": "3"} | ({"J4": "4"} if placed_before else {})
    wanted = {(jar, T1): {V: text} for jar, text in kept.items()}
    wanted |= {("J4", T2): {V: "9"}} if other_hands else {}
    assert again.sheet.rows == wanted
    monkeypatch.undo()
    again.flush()
    assert again.behind == ""
    assert OpenTrial(folder).sheet.rows == wanted
    assert set(rows_of(folder)) == {(*key, cells[V]) for key, cells in wanted.items()}


def test_a_table_that_the_disk_refuses_is_not_said_to_be_kept(
    folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    trial = OpenTrial(folder)
    before = trial.table_text("jars")
    monkeypatch.setattr(os, "replace", held)
    with pytest.raises(PermissionError):
        trial.change_table("jars", before.replace("J1", "Q1"), digest(before), request="r")
    monkeypatch.undo()
    assert OpenTrial(folder).table_text("jars") == before
    assert [p.name for p in folder.iterdir() if p.name.startswith(".")] == []
    entry = trial.change_table("jars", before.replace("J1", "Q1"), digest(before), request="r")
    assert entry.number > 1
    assert "Q1" in trial.table_text("jars")


def test_two_fields_of_one_reading_sent_with_one_version_are_both_kept(folder: Path) -> None:
    trial = OpenTrial(folder)
    trial.save("J1", T1, {"gauge before [kPa]": "12"}, 0)
    trial.save("J1", T1, {"gauge after [kPa]": "1"}, 0)
    assert trial.sheet.rows["J1", T1] == {"gauge before [kPa]": "12", "gauge after [kPa]": "1"}
    with pytest.raises(Conflict):
        trial.save("J1", T1, {"gauge after [kPa]": "2"}, 0)


def test_what_is_typed_for_all_jars_first_is_kept_when_other_hands_write(folder: Path) -> None:
    trial = OpenTrial(folder)
    trial.save("", T1, {"temperature [°C]": "21"}, 0)
    (folder / "readings.csv").write_text(f"jar,taken,volume [mL]\nJ2,{T2},9\n")
    trial.refresh()
    assert trial.sheet.rounds == {T1: {"temperature [°C]": "21"}}
    assert trial.sheet.rows == {("J2", T2): {V: "9"}}


# ---------------------------------------------------------------- a folder from a stranger


@pytest.mark.parametrize(
    "line",
    [
        {"kind": "table", "table": "../../x", "after": "gone"},
        {"kind": "table", "table": "/x", "after": "gone"},
        {"kind": "table", "table": "readings", "after": "gone"},
        {"kind": "table", "table": "notes", "after": "gone"},
        {"kind": "table", "table": "jars", "after": {"a": 1}},
        {"kind": "written", "table": "../x", "after": "a"},
        {"kind": "reading", "jar": "J1", "time": "1", "after": "x"},
        {"kind": "reading", "jar": ["J1"], "time": "1"},
        {"kind": "readings", "table": "readings", "after": {"columns": 3}},
        {"kind": "readings", "table": "readings"},
        {"kind": "delete", "table": "jars"},
        {"kind": "reading", "jar": "J1", "time": "1", "number": "2"},
    ],
)
def test_a_journal_leads_to_no_file_but_the_tables(folder: Path, line: dict[str, Any]) -> None:
    before = {p: p.read_bytes() for p in folder.parent.rglob("*") if p.is_file()}
    journal = folder / "journal.jsonl"
    journal.write_text(json.dumps({"number": 1, "at": "now", **line}) + "\n")
    with pytest.raises(UnusableInput, match="this line is damaged"):
        OpenTrial(folder)
    journal.unlink()
    assert {p: p.read_bytes() for p in folder.parent.rglob("*") if p.is_file()} == before


def test_a_journal_empties_no_table_that_it_does_not_know(folder: Path) -> None:
    append(folder, Entry(1, "now", "table", table="jars", before="other", after=""))
    before = (folder / "jars.csv").read_text()
    OpenTrial(folder)
    assert (folder / "jars.csv").read_text() == before


@pytest.mark.parametrize("name", ["readings.csv", "journal.jsonl", ".readings.csv.new", "plan/x"])
def test_links_inside_are_refused(folder: Path, tmp_path: Path, name: str) -> None:
    outside = tmp_path / "outside.txt"
    outside.write_text("mine")
    (folder / name).parent.mkdir(exist_ok=True)
    (folder / name).unlink(missing_ok=True)
    (folder / name).symlink_to(outside)
    with pytest.raises(UnusableInput, match="is a link to another place"):
        OpenTrial(folder)
    assert outside.read_text() == "mine"
    (folder / name).unlink()


def test_a_table_is_not_written_through_a_link_laid_there_later(
    folder: Path, tmp_path: Path
) -> None:
    trial = OpenTrial(folder)
    outside = tmp_path / "outside.txt"
    outside.write_text("mine")
    (folder / ".readings.csv.new").symlink_to(outside)
    trial.save("J1", T1, {V: "5"}, 0)
    assert outside.read_text() == "mine"
    assert ("J1", T1, "5") in rows_of(folder)


def test_a_long_journal_is_replayed_in_its_length(folder: Path) -> None:
    """No timing: half of the steps for half of the journal, counted."""
    counts = []
    for entries in (400, 800):
        steps = 0

        def count(*_: Any) -> None:
            nonlocal steps
            steps += 1

        made = [
            Entry(n, "", "reading", f"J{n % 60}", f"{n // 60 + 1}", after={V: "1"})
            for n in range(1, entries + 1)
        ]
        sys.setprofile(count)
        replayed(made, open_trial.EMPTY)
        sys.setprofile(None)
        counts.append(steps)
    assert counts[1] < 2.2 * counts[0]
