from __future__ import annotations

import http.client
import json
import os
import shutil
import socket
import subprocess
import sys
import time
from pathlib import Path
from typing import Any

import pytest

from bmp.page import connections, entrance, serve
from bmp.problem import UnusableInput
from tests.page.client import (
    HOUR,
    PROJECT,
    STATE,
    Client,
    Served,
    reading,
    served,
    small_trial,
    start,
)
from tests.page.load import rows_of


def get(page: Served, path: str = "/", **headers: str) -> tuple[int, str]:
    connection = http.client.HTTPConnection("127.0.0.1", page.port, timeout=20)
    connection.request("GET", path, headers={"Cookie": page.cookie, **headers})
    answer = connection.getresponse()
    text = answer.read().decode()
    connection.close()
    return answer.status, text


def run(*words: str, typed: str = "") -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", "bmp", "page", "--no-browser", *words],
        cwd=PROJECT,
        input=typed,
        capture_output=True,
        text=True,
        timeout=60,
    )


def test_a_page_is_served_once_on_this_machine_and_stops_cleanly(tmp_path: Path) -> None:
    folder = small_trial(tmp_path / "one", jars=2)
    with served(tmp_path) as page:
        status, text = get(page)
        assert status == 200
        assert "Invented" in text
        assert get(page, Host="evil.example")[0] == 421
        other = run(str(tmp_path), "--port", "0")
        assert other.returncode == 2
        assert "another bmp page works on this folder; use that one" in other.stderr
        taken = run(str(tmp_path / "other"), "--port", str(page.port))
        assert taken.returncode == 2
        assert taken.stderr.startswith(f"port {page.port}: ")
        client = Client(page)
        for hour in range(3):
            # the last ones are within the second in which the table waits to be written
            item = reading("J1", HOUR % (2, hour), "5", str(hour))
            assert client.save("one", item)[0] == 200
        client.close()
    assert len(rows_of(folder)) == 3
    with socket.socket() as probe:
        assert probe.connect_ex(("127.0.0.1", page.port)) != 0


def test_the_network_is_opened_only_where_yes_is_typed(tmp_path: Path) -> None:
    done = run(str(tmp_path), "--port", "0", "--network", typed="no\n")
    assert done.returncode == 2
    assert "Type yes to open it" in done.stdout or "in no network" in done.stderr


def test_in_the_network_nobody_gets_in_by_what_he_says(tmp_path: Path) -> None:
    small_trial(tmp_path / "one", jars=2)
    try:
        address = serve._own_network_address()
    except UnusableInput:
        pytest.skip("this machine is in no network")
    page = start(tmp_path, "--network", answer="yes")
    try:
        host, own = f"{address}:{page.port}", f"127.0.0.1:{page.port}"

        def ask(said: str, cookie: str = "", **item: Any) -> int:
            connection = http.client.HTTPConnection(host, timeout=20)
            headers = {"Host": said, "Cookie": cookie, "Content-Type": "application/json"}
            if item:
                headers["Origin"] = f"http://{said}"
                body = json.dumps(item)
                connection.request("POST", "/trials/one/readings/save", body, headers)
            else:
                connection.request("GET", "/", headers=headers)
            status = connection.getresponse().status
            connection.close()
            return status

        item = reading("J1", HOUR % (2, 8), "5", "r")
        for said in (own, host, f"localhost:{page.port}"):
            assert ask(said) == 401
            assert ask(said, **item) == 401
        assert not (tmp_path / "one" / "journal.jsonl").exists()
        assert ask(host, page.cookie) == 200
        assert ask(host, page.cookie, **item) == 200
    finally:
        page.stop()


def test_who_was_let_in_once_is_let_in_after_a_restart(tmp_path: Path) -> None:
    with served(tmp_path) as page:
        port, cookie = page.port, page.cookie
    again = start(tmp_path, "--port", str(port))
    try:
        assert again.cookie == cookie
        assert get(again)[0] == 200
        kept = [p for p in Path(STATE).rglob("*.txt") if again.code in p.read_text()]
        assert [p.stat().st_mode & 0o777 for p in kept] == [0o600]
    finally:
        again.stop()


def test_a_code_that_others_can_read_is_not_used_again(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path))
    first = entrance.kept_code(tmp_path)
    assert entrance.kept_code(tmp_path) == first
    (path,) = tmp_path.rglob("*.txt")
    path.chmod(0o644)
    assert entrance.kept_code(tmp_path) != first
    assert path.stat().st_mode & 0o777 == 0o600
    assert len(entrance.plain(first)) == 12


def test_the_browser_is_led_in_by_a_file_that_only_its_owner_reads(tmp_path: Path) -> None:
    (tmp_path / entrance.OPENER).symlink_to(tmp_path / "elsewhere")
    path = entrance.write_opener(tmp_path, "http://127.0.0.1:1/enter?code=abc")
    assert path.stat().st_mode & 0o777 == 0o600
    assert not (tmp_path / "elsewhere").exists()
    assert 'url=http://127.0.0.1:1/enter?code=abc"' in path.read_text()


def test_half_open_connections_hold_nobody_up(tmp_path: Path) -> None:
    with served(tmp_path) as page:
        half = []
        for _ in range(450):
            one = socket.create_connection(("127.0.0.1", page.port), timeout=5)
            one.sendall(b"GET / HTTP/1.1\r\nHost: ")
            half.append(one)
        begin = time.monotonic()
        assert get(page)[0] == 200
        waited = time.monotonic() - begin
        for one in half:
            one.close()
    assert waited < 2.0


def test_two_pages_cannot_hold_one_port_on_windows(monkeypatch: pytest.MonkeyPatch) -> None:
    """There SO_REUSEADDR lets a second program bind the same port; SO_EXCLUSIVEADDRUSE does not."""
    set_: list[int] = []

    class Socket(socket.socket):
        def setsockopt(self, level: int, option: int, value: Any) -> None:  # type: ignore[override]
            set_.append(option)

    monkeypatch.setattr(connections.socket, "SO_EXCLUSIVEADDRUSE", -5, raising=False)
    monkeypatch.setattr(connections.socket, "socket", Socket)
    connections.bound_socket("127.0.0.1", 0).close()
    assert set_ == [-5]


@pytest.mark.skipif(os.name != "posix", reason="permissions of POSIX systems")
def test_a_folder_that_can_only_be_read_can_be_looked_at(tmp_path: Path) -> None:
    before_: tuple[str, ...] = ()
    if os.getuid() == 0:
        if shutil.which("setpriv") is None:
            pytest.skip("root writes everywhere, and there is no setpriv to give that up")
        before_ = ("setpriv", "--bounding-set=-dac_override", "--inh-caps=-dac_override")
    shutil.copytree(PROJECT / "examples" / "cheese_dairy", tmp_path / "demo")
    before = {p: p.read_bytes() for p in tmp_path.rglob("*") if p.is_file()}
    for path in (*tmp_path.rglob("*"), tmp_path):
        path.chmod(0o555 if path.is_dir() else 0o444)
    page = start(tmp_path, before=before_)
    try:
        assert "Cheese dairy" in get(page)[1]
        status, text = get(page, "/trials/demo/so-far")
        assert status == 200
        assert "Whey" in text
        assert get(page, "/trials/demo/report")[0] == 200
        client = Client(page)
        item = reading("N1", HOUR % (2, 8), "5", "r")
        status, told = client.save("demo", item | {"cells": {"note": "x"}, "sure": True})
        assert (status, told["words"]) == (
            507,
            "Not kept: permission is denied; another program may hold the file.",
        )
        client.close()
    finally:
        page.stop()
        for path in (tmp_path, *tmp_path.rglob("*")):
            path.chmod(0o755)
    assert {p: p.read_bytes() for p in tmp_path.rglob("*") if p.is_file()} == before


def test_a_file_is_no_folder_of_trials(tmp_path: Path) -> None:
    (tmp_path / "x.xlsx").write_bytes(b"PK")
    with pytest.raises(UnusableInput, match="this is a file"):
        serve.serve(tmp_path / "x.xlsx", 0, browser=False, network=False)


def test_a_folder_that_is_a_trial_is_shown_alone(tmp_path: Path) -> None:
    small_trial(tmp_path / "one", jars=2)
    small_trial(tmp_path / "two", jars=2)
    with served(tmp_path / "one") as page:
        assert get(page, "/trials/one/changes")[0] == 200
        assert get(page, "/trials/two/changes")[0] == 404
        assert "two" not in get(page)[1]


def test_the_command_line_stays_light() -> None:
    code = (
        "import sys; from bmp.cli import parser; parser().format_help(); "
        "print([m for m in ('flask', 'werkzeug', 'waitress', 'wtforms', 'filelock')"
        " if m in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"
