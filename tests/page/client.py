"""A page served by its own process, and requests to it as a browser would send them."""

from __future__ import annotations

import atexit
import http.client
import json
import os
import re
import shutil
import signal
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

PROJECT = Path(__file__).parents[2]
HOUR = "2024-03-%02dT%02d:00"


# where pages keep their codes: nothing of the person who runs the tests is touched
STATE = tempfile.mkdtemp(prefix="bmp-page-state-")
atexit.register(shutil.rmtree, STATE, ignore_errors=True)


@dataclass
class Served:
    """A running page."""

    process: subprocess.Popen[str]
    port: int
    root: Path
    code: str

    @property
    def address(self) -> str:
        return f"http://127.0.0.1:{self.port}"

    @property
    def link(self) -> str:
        """What bmp page printed: it lets a browser in."""
        return f"{self.address}/enter?code={self.code}"

    @property
    def cookie(self) -> str:
        return f"bmp-page-{self.port}={self.code}"

    def let_in(self, browser: Any) -> None:
        """Let a browser in as its link does."""
        name, _, value = self.cookie.partition("=")
        browser.add_cookies([{"name": name, "value": value, "url": self.address}])

    def kill(self) -> None:
        """Stop it as a power cut would."""
        self.process.kill()
        self.process.communicate()

    def stop(self) -> None:
        """Stop it as Ctrl+C does."""
        if self.process.poll() is None:
            self.process.send_signal(signal.SIGINT)
            try:
                self.process.communicate(timeout=10)
            except subprocess.TimeoutExpired:
                self.kill()


def start(
    root: Path, *options: str, answer: str = "", before: tuple[str, ...] = (), **how: Any
) -> Served:
    """Serve a folder; return once the address is printed. `before`: a command that runs it."""
    process = subprocess.Popen(
        [
            *before,
            *(sys.executable, "-m", "bmp", "page", str(root), "--port", "0", "--no-browser"),
            *options,
        ],
        cwd=PROJECT,
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
        env={**os.environ, "PYTHONWARNINGS": "ignore", "XDG_STATE_HOME": STATE},
        **how,
    )
    assert process.stdin is not None
    assert process.stdout is not None
    if answer:
        process.stdin.write(answer + "\n")
        process.stdin.flush()
    said, found = "", None
    while found is None:
        line = process.stdout.readline()
        said += line
        if not line:
            raise AssertionError(f"the page did not start: {said}")
        found = re.search(r"The page is at http://127\.0\.0\.1:(\d+)/enter\?code=(\S+)", line)
    return Served(process, int(found[1]), root, found[2])


@contextmanager
def served(root: Path, **how: Any) -> Iterator[Served]:
    page = start(root, **how)
    try:
        yield page
    finally:
        page.stop()


class Client:
    """One browser: one connection, kept open."""

    def __init__(self, page: Served) -> None:
        self.port = page.port
        self.cookie = page.cookie
        self.connection = http.client.HTTPConnection("127.0.0.1", page.port, timeout=20)

    def save(self, trial: str, item: dict[str, Any]) -> tuple[int, dict[str, Any]]:
        headers = {
            "Content-Type": "application/json",
            "Accept": "application/json",
            "Origin": f"http://127.0.0.1:{self.port}",
            "Cookie": self.cookie,
        }
        path = f"/trials/{trial}/readings/save"
        self.connection.request("POST", path, json.dumps(item).encode(), headers)
        answer = self.connection.getresponse()
        return answer.status, json.loads(answer.read())

    def close(self) -> None:
        self.connection.close()


def small_trial(folder: Path, jars: int = 12) -> Path:
    """Write an invented trial without readings into a folder."""
    folder.mkdir(parents=True)
    (folder / "trial.csv").write_text(
        "item,value\ntitle,Invented\nstarted,2024-03-01T08:00\nmeasured,volume\n"
        "methane [%],60\nambient [kPa],98\ngas temperature [°C],20\n",
        encoding="utf-8",
    )
    (folder / "materials.csv").write_text(
        "material,role,TS [% of fresh mass],VS [% of fresh mass]\n"
        "sludge,inoculum,3,2\npeelings,substrate,20,18\n",
        encoding="utf-8",
    )
    rows = [
        f"J{n},{'peelings' if n > jars // 2 else ''},400,{5 if n > jars // 2 else ''},450"
        for n in range(1, jars + 1)
    ]
    (folder / "jars.csv").write_text(
        "jar,material,inoculum [g],sample [g],headspace [mL]\n" + "\n".join(rows) + "\n",
        encoding="utf-8",
    )
    (folder / "readings.csv").write_text("jar,taken,volume [mL]\n", encoding="utf-8")
    return folder


def reading(jar: str, time: str, volume: str, request: str, version: int = 0) -> dict[str, Any]:
    return {
        "jar": jar,
        "time": time,
        "cells": {"volume [mL]": volume},
        "version": version,
        "request": request,
    }
