"""Write results over and over and be killed at random moments; say what was found each time.

`python -m tests.killed_runs FOLDER swap|plain KILLS`: prints one version a kill, after checking
that the results are whole. A program of its own because it forks.
"""

from __future__ import annotations

import json
import os
import random
import signal
import sys
import time
from pathlib import Path

from bmp.report import folder

FORMAT = "made-for-a-test"
NAMES = ("report.html", "results.json", "curves.csv")


def write_version(out: Path, number: int) -> None:
    """Write results of which every file holds the number, over and over."""

    def write(place: Path) -> None:
        for name in NAMES:
            (place / name).write_text(str(number) * 2000)

    folder.write_folder(out, FORMAT, write)


def whole_version(out: Path) -> int:
    """Return the version in a results folder after checking that it is whole."""
    manifest = json.loads((out / "files.json").read_text())
    names = sorted(path.name for path in out.iterdir())
    assert names == sorted(["files.json", *NAMES]) == sorted(["files.json", *manifest["files"]])
    texts = {(out / name).read_text() for name in NAMES}
    assert len(texts) == 1
    text = texts.pop()
    number = text[: len(text) // 2000]
    assert text == number * 2000
    return int(number)


def killed_once(out: Path, version: int, seconds: float) -> None:
    """Start a writer that goes on from a version, and kill it after that time."""
    child = os.fork()
    if child == 0:
        while True:
            version += 1
            write_version(out, version)
    time.sleep(seconds)
    os.kill(child, signal.SIGKILL)
    os.waitpid(child, 0)


def main(out: Path, way: str, kills: int) -> None:
    """Be killed that many times."""
    if way == "plain":
        folder._exchange = lambda one, other: False
    rng = random.Random(20)
    version = 1000
    write_version(out, version)
    for _ in range(kills):
        killed_once(out, version, rng.uniform(0.0, 0.02))
        if way == "plain":
            folder._sweep(out)  # what the next run begins with
        found = whole_version(out)
        assert found >= version
        version = found
        print(found)


if __name__ == "__main__":
    main(Path(sys.argv[1]), sys.argv[2], int(sys.argv[3]))
