"""The results folder: old or new, never half, whatever happens on the way."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

from bmp.problem import UnusableInput
from bmp.report import folder
from bmp.report.folder import LEAVING, MAKING, check_place, write_folder

FORMAT = "made-for-a-test"


def put(out: Path, text: str) -> None:
    def write(place: Path) -> None:
        (place / "a.txt").write_text(text)

    write_folder(out, FORMAT, write)


def beside(out: Path) -> set[str]:
    return {path.name for path in out.parent.iterdir()}


@pytest.mark.skipif(not hasattr(os, "fork"), reason="needs fork")
@pytest.mark.parametrize(("way", "kills"), [("swap", 200), ("plain", 100)])
def test_a_kill_at_any_moment_leaves_the_old_or_the_new(
    tmp_path: Path, way: str, kills: int
) -> None:
    if way == "swap" and not sys.platform.startswith("linux"):
        pytest.skip("needs renameat2 of Linux")
    out = tmp_path / "results"
    done = subprocess.run(
        [sys.executable, "-m", "tests.killed_runs", str(out), way, str(kills)],
        capture_output=True, text=True, check=False, cwd=Path(__file__).parents[1],
    )  # fmt: skip
    assert done.stderr == ""
    found = [int(line) for line in done.stdout.split()]
    assert len(found) == kills
    assert len(set(found)) > kills / 4
    put(out, "last")
    assert beside(out) == {"results"}


def test_a_full_disk_leaves_the_old_results(tmp_path: Path) -> None:
    out = tmp_path / "results"
    put(out, "old")

    def full(place: Path) -> None:
        (place / "a.txt").write_text("new")
        raise OSError(28, "No space left on device")

    with pytest.raises(OSError, match="No space"):
        write_folder(out, FORMAT, full)
    assert (out / "a.txt").read_text() == "old"
    assert beside(out) == {"results"}


@pytest.mark.parametrize("swaps", [True, False])
def test_a_strangers_folder_is_kept_beside(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, swaps: bool
) -> None:
    if not swaps:
        monkeypatch.setattr(folder, "_exchange", lambda one, other: False)
    out = tmp_path / "photos"
    out.mkdir()
    (out / "goat.jpg").write_bytes(b"goat")
    put(out, "new")
    assert (out / "a.txt").read_text() == "new"
    assert (tmp_path / "photos-before-1" / "goat.jpg").read_bytes() == b"goat"
    assert beside(out) == {"photos", "photos-before-1"}


def test_what_a_killed_run_left_is_swept_and_what_runs_is_not(tmp_path: Path) -> None:
    out = tmp_path / "results"
    stale, running = (tmp_path / f".results-{name}{MAKING}" for name in ("abcdefgh", "ijklmnop"))
    other = tmp_path / ".results-notes"
    for place in (stale, running, other):
        place.mkdir()
        (place / "x.txt").write_text("x")
    with folder._in_use(running):
        put(out, "new")
    assert beside(out) == {"results", running.name, other.name}


def test_results_that_were_on_their_way_out_come_back(tmp_path: Path) -> None:
    out = tmp_path / "results"
    put(out, "old")
    out.rename(tmp_path / f".results-abcdefgh{LEAVING}")
    folder._sweep(out)
    assert (out / "a.txt").read_text() == "old"


def test_links_are_not_followed_out_of_the_folder(tmp_path: Path) -> None:
    precious = tmp_path / "precious"
    precious.mkdir()
    (precious / "letter.txt").write_text("keep me")
    out = tmp_path / "results"
    out.symlink_to(precious, target_is_directory=True)
    with pytest.raises(UnusableInput, match="a file or a link"):
        check_place(out, tmp_path / "trial", FORMAT, replace=True)
    out.unlink()
    put(out, "old")
    (out / "album").symlink_to(precious, target_is_directory=True)
    with pytest.raises(UnusableInput, match="other files"):
        check_place(out, tmp_path / "trial", FORMAT, replace=False)
    put(out, "new")
    assert (precious / "letter.txt").read_text() == "keep me"
    assert (tmp_path / "results-before-1" / "album").is_symlink()
