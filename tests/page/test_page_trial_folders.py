from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from bmp.page.trial_folders import find, free_place, keep_upload, places, safe_name
from tests.page.client import small_trial


def test_trials_are_found_and_results_and_links_are_not(tmp_path: Path) -> None:
    root = tmp_path / "root"
    outside = small_trial(tmp_path / "outside")
    small_trial(root / "one")
    (root / "two.xlsx").write_bytes(b"PK")
    (root / "~lock.xlsx").write_bytes(b"")
    (root / "one-results").mkdir()
    (root / "link").symlink_to(outside)
    (root / "link.xlsx").symlink_to(root / "two.xlsx")
    (root / "notes.txt").write_text("x")
    assert [place.name for place in places(root)] == ["one", "two.xlsx"]
    assert places(root)[1].results.name == "two-results"


@pytest.mark.parametrize(
    "name", ["..", "../outside", "/etc", "one/../..", "..\\outside", "", ".", "one/", "link"]
)
def test_no_name_leads_out_of_the_folder(tmp_path: Path, name: str) -> None:
    small_trial(tmp_path / "root" / "one")
    small_trial(tmp_path / "outside")
    assert find(tmp_path / "root", name) is None


@given(st.text(max_size=80))
def test_every_title_becomes_a_name_that_stays_in_its_folder(title: str) -> None:
    name = safe_name(title)
    assert name
    assert Path("/root", name).parent == Path("/root")
    assert name not in (".", "..")
    assert not name.startswith((".", "-", "~"))


def test_an_upload_is_kept_byte_by_byte_and_never_over_another(tmp_path: Path) -> None:
    first = keep_upload(tmp_path, "..\\..\\my log.xlsx", b"PK one")
    second = keep_upload(tmp_path, "/etc/my log.XLSX", b"PK two")
    assert (first.name, second.name) == ("my-log.xlsx", "my-log-2.xlsx")
    assert (first.read_bytes(), second.read_bytes()) == (b"PK one", b"PK two")
    assert free_place(tmp_path, "my-log", ".xlsx").name == "my-log-3.xlsx"
