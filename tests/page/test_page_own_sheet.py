"""A sheet of a person's own making, taken over in the page."""

from __future__ import annotations

import io
import re
from html import unescape
from pathlib import Path
from typing import Any

import pytest

from bmp.analyze import analyze
from bmp.read import read_trial
from tests import own_sheets
from tests.page.test_page_guard import client, get
from tests.page.test_page_readings import OURS
from tests.test_read_takeover import KEEPER_ANSWERS, SCHOOL_ANSWERS


def fields(page: Any, where: str) -> dict[str, str]:
    """Return the fields of the form with what stands in them."""
    text = get(page, where).get_data(as_text=True)
    found = dict(re.findall(r'<input id="[^"]*" name="(a-[^"]*)" value="([^"]*)"', text))
    for name, options in re.findall(
        r'<select id="[^"]*" name="(a-[^"]*)"[^>]*>(.*?)</select>', text
    ):
        chosen = re.search(r"<option selected>([^<]*)", options) or re.search(
            r"<option>([^<]*)", options
        )
        found[name] = chosen[1] if chosen else ""
    return {unescape(name): unescape(value) for name, value in found.items()}


@pytest.mark.parametrize(
    ("name", "write", "answers"),
    [
        ("jars of winter.xlsx", own_sheets.write_keeper, KEEPER_ANSWERS),
        ("class 9b.csv", own_sheets.write_school, SCHOOL_ANSWERS),
    ],
)
def test_a_sheet_of_ones_own_becomes_a_trial(
    tmp_path: Path, name: str, write: Any, answers: dict[str, str]
) -> None:
    source = tmp_path / name
    write(source)
    root = tmp_path / "trials"
    root.mkdir()
    page = client(root)
    data = {"workbook": (io.BytesIO(source.read_bytes()), name), "own": "yes"}
    answer = page.post("/upload", data=data, headers=OURS)
    where = answer.location
    assert where.endswith("/own-sheet"), answer.get_data(as_text=True)
    given = fields(page, where)
    first = page.post(where, data=given, headers=OURS)
    assert first.status_code == 422
    assert "Not yet complete" in first.get_data(as_text=True)
    for key, value in answers.items():
        mine = [one for one in given if one.endswith(f"-{key}")]
        assert mine, key
        given |= dict.fromkeys(mine, value)
    for _ in range(2):
        answer = page.post(where, data={**fields(page, where), **given}, headers=OURS)
        if answer.status_code == 303:
            break
    assert answer.status_code == 303, answer.get_data(as_text=True)
    folder = root / answer.location.split("/")[2]
    results = analyze(read_trial(folder))
    assert len(results.trial.jars) >= 6
    assert all(one.value > 50 for one in results.yields)
    assert get(page, answer.location + "readings").status_code == 200
    assert sorted(p.suffix for p in root.iterdir()) == ["", ".xlsx"]
