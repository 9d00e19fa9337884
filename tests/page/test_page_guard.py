from __future__ import annotations

import re
from pathlib import Path
from typing import Any

import pytest

from bmp.page.app import make_app
from bmp.page.guard import LARGEST_UPLOAD_BYTES, Access
from tests.page.client import reading, small_trial

OWN = "127.0.0.1:8765"
NET = "192.0.2.7:8765"
SAVE = "/trials/one/readings/save"


CODE = "abcd-efgh-jkmn"
HOSTS = frozenset({OWN, NET})


def stranger(root: Path, hosts: frozenset[str] = HOSTS) -> Any:
    """Return a browser that was not let in."""
    return make_app(root, Access(hosts, CODE)).test_client()


def client(root: Path, hosts: frozenset[str] = HOSTS) -> Any:
    """Return a browser that was let in."""
    found = stranger(root, hosts)
    for host in hosts:
        found.set_cookie("bmp-page", CODE, domain=host.partition(":")[0])
    return found


@pytest.fixture
def page(tmp_path: Path) -> Any:
    small_trial(tmp_path / "one")
    return client(tmp_path)


def get(page: Any, path: str = "/", **headers: str) -> Any:
    named = {name.replace("_", "-"): value for name, value in headers.items()}
    return page.get(path, headers={"Host": OWN, **named})


def save(page: Any, **headers: str) -> Any:
    named = {name.replace("_", "-"): value for name, value in headers.items()}
    item = reading("J1", "2024-03-02T08:00", "20", "r")
    return page.post(SAVE, json=item, headers={"Host": OWN, **named})


@pytest.mark.parametrize("host", ["evil.example", "127.0.0.1", "127.0.0.1:80", f"x{OWN}"])
def test_another_host_is_refused(page: Any, host: str) -> None:
    assert page.get("/", headers={"Host": host}).status_code == 421


@pytest.mark.parametrize("origin", ["http://evil.example", "null", f"https://{OWN}", "http://x"])
def test_another_origin_is_refused(page: Any, origin: str) -> None:
    assert get(page, Origin=origin).status_code == 403
    assert save(page, Origin=origin).status_code == 403


@pytest.mark.parametrize("site", ["cross-site", "same-site"])
def test_what_another_page_asks_is_refused(page: Any, site: str) -> None:
    assert get(page, Sec_Fetch_Site=site).status_code == 403
    assert save(page, Origin=f"http://{OWN}", Sec_Fetch_Site=site).status_code == 403


def test_a_change_must_name_its_origin(page: Any, tmp_path: Path) -> None:
    assert save(page).status_code == 403
    assert not (tmp_path / "one" / "journal.jsonl").exists()
    assert save(page, Origin=f"http://{OWN}").status_code == 200


@pytest.mark.parametrize("path", ["/new", "/upload", "/trials/one/undo", "/trials/one/tables/jars"])
def test_every_form_must_name_its_origin(page: Any, path: str) -> None:
    assert page.post(path, data={"a": "b"}, headers={"Host": OWN}).status_code == 403


@pytest.mark.parametrize("host", [OWN, NET])
def test_everybody_needs_the_code(tmp_path: Path, host: str) -> None:
    """Also who says that he is this machine: the header Host is what the other side writes."""
    small_trial(tmp_path / "one")
    page = stranger(tmp_path)
    item = reading("J1", "2024-03-02T08:00", "20", "r")
    ours = {"Host": host, "Origin": f"http://{host}"}
    for path in PATHS:
        assert page.get(path, headers={"Host": host}).status_code == 401, path
    assert page.post(SAVE, json=item, headers=ours).status_code == 401
    assert not (tmp_path / "one" / "journal.jsonl").exists()
    wrong = page.get("/enter?code=wrong", headers={"Host": host})
    assert (wrong.status_code, "Set-Cookie" in wrong.headers) == (401, False)
    right = page.get("/enter?code=" + CODE, headers={"Host": host})
    assert right.status_code == 200
    cookie = right.headers["Set-Cookie"]
    assert "HttpOnly" in cookie
    assert "SameSite=Strict" in cookie
    assert CODE not in right.get_data(as_text=True)
    assert page.get("/", headers={"Host": host}).status_code == 200


def test_a_code_is_typed_as_people_type(tmp_path: Path) -> None:
    page = stranger(tmp_path)
    ours = {"Host": NET, "Origin": f"http://{NET}"}
    assert page.post("/enter", data={"code": "  ABCD efghJKMN "}, headers=ours).status_code == 200
    assert page.post("/enter", data={"code": ""}, headers=ours).status_code == 401
    assert page.post("/enter", data={"code": CODE}, headers={"Host": NET}).status_code == 403


def test_no_empty_code_lets_anybody_in(tmp_path: Path) -> None:
    page = make_app(tmp_path, Access(HOSTS, "")).test_client()
    page.set_cookie("bmp-page", "", domain=OWN.partition(":")[0])
    assert page.get("/", headers={"Host": OWN}).status_code == 401
    assert page.get("/enter?code=", headers={"Host": OWN}).status_code == 401


PATHS = [
    "/",
    "/new",
    "/compare",
    "/trials/one/",
    "/trials/one/so-far",
    "/trials/one/readings",
    "/trials/one/changes",
    "/trials/one/tables/jars",
    "/trials/one/tank",
    "/trials/none/",
]


@pytest.mark.parametrize("path", PATHS)
def test_pages_allow_nothing_but_their_own_files(page: Any, path: str) -> None:
    answer = get(page, path)
    assert answer.status_code == (404 if "none" in path else 200)
    policy = answer.headers["Content-Security-Policy"]
    assert "default-src 'none'" in policy
    assert "frame-ancestors 'none'" in policy
    assert "unsafe" not in policy
    assert answer.headers["X-Content-Type-Options"] == "nosniff"
    assert "Server" not in answer.headers
    text = answer.get_data(as_text=True)
    assert not re.search(r"<style|\sstyle=|\son\w+=|javascript:|<script(?! src=\"/static)", text)
    assert not re.search(r'(?:src|href|action)="(?:https?:)?//', text)


@pytest.mark.parametrize(
    "path",
    [
        "/trials/../one/",
        "/trials/..%2f..%2fetc/",
        "/trials/%2e%2e/",
        "/static/..%2fapp.py",
        "/static/%2e%2e/app.py",
        "/trials/one/download/..%2f..%2fjournal.jsonl",
        "/trials/one/download/journal.jsonl",
        "/trials/one/tables/..%2fjars",
        "/trials/one/tables/readings",
    ],
)
def test_no_path_leaves_the_folder(page: Any, path: str) -> None:
    assert get(page, path).status_code in (404, 308)


def test_what_people_wrote_is_escaped(tmp_path: Path) -> None:
    evil = "<script>alert(1)</script>"
    folder = small_trial(tmp_path / "one")
    for name in ("trial", "materials", "jars"):
        path = folder / f"{name}.csv"
        path.write_text(path.read_text().replace("Invented", evil).replace("peelings", evil))
    page = client(tmp_path)
    item = reading("J1", "2024-03-02T08:00", "20", "r") | {"cells": {"note": evil}}
    origin = {"Host": OWN, "Origin": f"http://{OWN}"}
    assert page.post(SAVE, json=item, headers=origin).status_code == 200
    for path in PATHS:
        assert "<script>alert" not in get(page, path).get_data(as_text=True), path


def test_an_upload_is_limited_and_must_be_a_workbook(page: Any, tmp_path: Path) -> None:
    import io

    headers = {"Host": OWN, "Origin": f"http://{OWN}", "Accept": "application/json"}

    def hand_in(name: str, content: bytes) -> Any:
        data = {"workbook": (io.BytesIO(content), name)}
        return page.post("/upload", data=data, headers=headers)

    big = page.post(
        "/upload",
        data=b"x" * (LARGEST_UPLOAD_BYTES + 1),
        content_type="multipart/form-data; boundary=x",
        headers=headers,
    )
    assert (big.status_code, big.get_json()) == (
        413,
        {"words": "A workbook may have at most 20 MB."},
    )
    assert hand_in("page.html", b"<html>").status_code == 422
    assert hand_in("page.xlsx", b"<html>").status_code == 422
    assert [p.name for p in tmp_path.iterdir()] == ["one"]
    kept = hand_in("../damaged.xlsx", b"PK damaged")
    assert kept.get_json() == {"where": "/trials/damaged.xlsx/"}
    told = get(page, "/trials/damaged.xlsx/so-far").get_data(as_text=True)
    assert "this is no .xlsx workbook; save it anew as .xlsx" in told


@pytest.mark.parametrize(
    ("change", "status"),
    [
        ({"jar": "nobody"}, 422),
        ({"time": "yesterday"}, 422),
        ({"cells": {"volume [mL]": "much"}}, 422),
        ({"cells": {"jar": "J2"}}, 422),
        ({"cells": {"secret": "x"}}, 422),
        ({"cells": "x"}, 422),
        ({"version": "x"}, 422),
        ({"request": "r" * 81}, 422),
        ({"request": 5}, 422),
        ({"time": "2224-03-02T08:00"}, 409),
        ({"time": "2024-02-01T08:00"}, 409),
        ({"time": "2224-03-02T08:00", "sure": True}, 200),
        ({}, 200),
    ],
)
def test_a_reading_that_cannot_be_is_refused_in_words(
    page: Any, change: dict[str, Any], status: int
) -> None:
    item = reading("J1", "2024-03-02T08:00", "20", "r") | change
    answer = page.post(SAVE, json=item, headers={"Host": OWN, "Origin": f"http://{OWN}"})
    assert answer.status_code == status, answer.get_data(as_text=True)
