"""Work beside this process: done either way, and its errors are seen."""

from __future__ import annotations

import threading
from pathlib import Path

import pytest

from bmp.report.second_process import start_beside


def test_the_work_is_done_when_waited_for(tmp_path: Path) -> None:
    wait = start_beside(lambda: (tmp_path / "done").write_text("yes"))
    wait()
    assert (tmp_path / "done").read_text() == "yes"


def test_with_other_threads_it_is_done_at_once(tmp_path: Path) -> None:
    stop = threading.Event()
    other = threading.Thread(target=stop.wait)
    other.start()
    try:
        start_beside(lambda: (tmp_path / "done").write_text("yes"))
        assert (tmp_path / "done").exists()
    finally:
        stop.set()
        other.join()


def test_an_error_beside_is_an_error_here(monkeypatch: pytest.MonkeyPatch) -> None:
    def work() -> None:
        raise OSError("the disk is full")

    monkeypatch.setattr("os._exit", lambda status: _really_exit(status))
    with pytest.raises(OSError, match="the disk is full"):
        start_beside(work)()


def _really_exit(status: int) -> None:
    import os
    import signal

    os.kill(os.getpid(), signal.SIGKILL)
