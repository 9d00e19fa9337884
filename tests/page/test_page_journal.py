from __future__ import annotations

import os
from pathlib import Path

import pytest

from bmp.page import journal
from bmp.page.journal import NAME, Entry, append, read_journal, write_whole
from bmp.problem import UnusableInput


def entry(number: int, text: str = "12") -> Entry:
    return Entry(number, "2024-03-02T10:00", "reading", "A1", "2024-03-02T10:00", after={"v": text})


def test_what_is_appended_is_read_again(tmp_path: Path) -> None:
    entries = [entry(1), entry(2, "äöü\n“;,"), Entry(3, "x", "reading", "A", "1", undoes=2)]
    for one in entries:
        append(tmp_path, one)
    assert read_journal(tmp_path) == entries
    assert (tmp_path / NAME).read_bytes().count(b"\n") == 3


@pytest.mark.parametrize("cut", range(1, 60, 7))
def test_a_torn_last_line_is_dropped_and_the_next_one_stands_whole(
    tmp_path: Path, cut: int
) -> None:
    append(tmp_path, entry(1))
    append(tmp_path, entry(2))
    path = tmp_path / NAME
    path.write_bytes(path.read_bytes()[:-cut])
    assert read_journal(tmp_path) == [entry(1)]
    append(tmp_path, entry(2, "13"))
    assert read_journal(tmp_path) == [entry(1), entry(2, "13")]


def test_a_damaged_line_in_the_middle_is_told_with_its_row(tmp_path: Path) -> None:
    append(tmp_path, entry(1))
    with (tmp_path / NAME).open("ab") as file:
        file.write(b"{broken\n")
    append(tmp_path, entry(3))
    with pytest.raises(UnusableInput) as told:
        read_journal(tmp_path)
    assert str(told.value).startswith("journal.jsonl, row 2: this line is damaged;")


def test_where_the_disk_refuses_nothing_is_left_behind(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    append(tmp_path, entry(1))

    def full(handle: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(journal.os, "fsync", full)
    with pytest.raises(OSError, match="No space"):
        append(tmp_path, entry(2))
    monkeypatch.undo()
    assert read_journal(tmp_path) == [entry(1)]


def test_the_disk_has_a_change_before_append_returns(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    synced: list[int] = []
    real = os.fsync

    def watch(handle: int) -> None:
        synced.append(os.fstat(handle).st_size)
        real(handle)

    monkeypatch.setattr(journal.os, "fsync", watch)
    append(tmp_path, entry(1))
    assert synced[0] == (tmp_path / NAME).stat().st_size


def test_a_file_is_the_old_or_the_new_one(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "readings.csv"
    write_whole(path, "old")

    def stopped(new: Path, old: Path) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr(journal.os, "replace", stopped)
    with pytest.raises(KeyboardInterrupt):
        write_whole(path, "new")
    assert path.read_text() == "old"
    monkeypatch.undo()
    write_whole(path, "new")
    assert path.read_text() == "new"
    assert os.listdir(tmp_path) == ["readings.csv"]
