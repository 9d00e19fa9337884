"""A little of what `python -m tests.benchmarks.page_hard_times` does at length."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest

from tests.page.hard_times import on_a_bad_line, on_a_full_disk, under_kills

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="limits of POSIX systems")


def test_kills_lose_and_double_nothing(tmp_path: Path) -> None:
    folder, account = under_kills(tmp_path, kills=2)
    assert len(account.acknowledged) > 0
    assert account.refused == {}
    assert account.lost(folder) == []
    assert account.doubled(folder) == 0


@pytest.mark.parametrize("other_hands", [False, True])
def test_a_full_disk_loses_nothing_that_was_acknowledged(tmp_path: Path, other_hands: bool) -> None:
    folder, account = on_a_full_disk(tmp_path, "full", 6_000, other_hands)
    assert len(account.acknowledged) > 10
    # part of a line was taken, or none of it
    assert set(account.refused) <= {
        "Not kept: no space is left on the disk.",
        "Not kept: the file may not grow larger.",
    }
    assert sum(account.refused.values()) == 5
    assert account.lost(folder) == []
    assert account.doubled(folder) == 0


def test_a_line_that_is_cut_loses_and_doubles_nothing(tmp_path: Path) -> None:
    folder, account, cuts = on_a_bad_line(tmp_path, readings=40)
    assert len(account.acknowledged) == 40
    assert cuts > 5
    assert account.lost(folder) == []
    assert account.doubled(folder) == 0
