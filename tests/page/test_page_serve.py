from __future__ import annotations

import http.client
import socket
import subprocess
import sys
from pathlib import Path

import pytest

from bmp.page import serve
from bmp.problem import UnusableInput
from tests.page.client import HOUR, PROJECT, Client, reading, served, small_trial, start
from tests.page.load import rows_of


def get(port: int, path: str = "/", **headers: str) -> tuple[int, str]:
    connection = http.client.HTTPConnection("127.0.0.1", port, timeout=20)
    connection.request("GET", path, headers=headers)
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
        status, text = get(page.port)
        assert status == 200
        assert "Invented" in text
        assert get(page.port, Host="evil.example")[0] == 421
        other = run(str(tmp_path), "--port", "0")
        assert other.returncode == 2
        assert "another bmp page works on this folder; use that one" in other.stderr
        taken = run(str(tmp_path / "other"), "--port", str(page.port))
        assert taken.returncode == 2
        assert taken.stderr.startswith(f"port {page.port}: ")
        client = Client(page.port)
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


def test_in_the_network_only_the_link_with_its_token_lets_in(tmp_path: Path) -> None:
    try:
        address = serve._own_network_address()
    except UnusableInput:
        pytest.skip("this machine is in no network")
    page = start(tmp_path, "--network", answer="yes")
    try:
        assert page.process.stdout is not None
        link = page.process.stdout.readline().partition("http://")[2].strip()
        host, _, path = link.partition("/")
        assert host == f"{address}:{page.port}"

        def ask(path: str, cookie: str = "") -> tuple[int, str]:
            connection = http.client.HTTPConnection(host, timeout=20)
            connection.request("GET", path, headers={"Cookie": cookie} if cookie else {})
            answer = connection.getresponse()
            answer.read()
            connection.close()
            return answer.status, answer.headers.get("Set-Cookie", "").partition(";")[0]

        assert ask("/")[0] == 401
        assert ask("/enter?token=guess")[0] == 401
        status, cookie = ask("/" + path)
        assert status == 200
        assert ask("/", cookie)[0] == 200
        assert get(page.port)[0] == 200
    finally:
        page.stop()


def test_a_file_is_no_folder_of_trials(tmp_path: Path) -> None:
    (tmp_path / "x.xlsx").write_bytes(b"PK")
    with pytest.raises(UnusableInput, match="this is a file"):
        serve.serve(tmp_path / "x.xlsx", 0, browser=False, network=False)


def test_a_folder_that_is_a_trial_is_shown_alone(tmp_path: Path) -> None:
    small_trial(tmp_path / "one", jars=2)
    small_trial(tmp_path / "two", jars=2)
    with served(tmp_path / "one") as page:
        assert get(page.port, "/trials/one/changes")[0] == 200
        assert get(page.port, "/trials/two/changes")[0] == 404
        assert "two" not in get(page.port)[1]


def test_the_command_line_stays_light() -> None:
    code = (
        "import sys; from bmp.cli import parser; parser().format_help(); "
        "print([m for m in ('flask', 'werkzeug', 'waitress', 'wtforms', 'filelock')"
        " if m in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"
