"""A sheet of a person's own making, taken over in the page."""

from __future__ import annotations

import io
import re
import shutil
from html import unescape
from pathlib import Path
from typing import Any

import pytest

from bmp.analyze import analyze
from bmp.cli import main
from bmp.read import read_trial
from tests import own_sheets
from tests import own_sheets_more as more
from tests.page.test_page_guard import client, get
from tests.page.test_page_readings import OURS
from tests.test_read_takeover import KEEPER_ANSWERS, SCHOOL_ANSWERS
from tests.test_read_takeover_more import BASIS, CLASS_ANSWERS, right_gas

DEMO = Path(__file__).parents[2] / "examples" / "cheese_dairy"


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
    assert sorted(p.suffix for p in root.iterdir()) == ["", ".txt", ".xlsx"]


@pytest.mark.parametrize(
    ("write", "answers", "feeds", "day"),
    [
        (more.write_keeper, BASIS, more.KEEPER, more.KEEPER_DAYS[-1]),
        (more.write_polish, BASIS | {"incubation temperature [°C]": "38"}, more.POLISH,
         more.POLISH_DAYS[-1]),
        (more.write_class, CLASS_ANSWERS, {}, 0.0),
    ],
    ids=["a tab a bottle", "in Polish", "a class's marks"],
)  # fmt: skip
def test_a_sheet_is_right_after_one_round_of_answers(
    tmp_path: Path, write: Any, answers: dict[str, str], feeds: Any, day: float
) -> None:
    source = write(tmp_path / "my sheet.xlsx")
    root = tmp_path / "trials"
    root.mkdir()
    page = client(root)
    data = {"workbook": (io.BytesIO(source.read_bytes()), source.name), "own": "yes"}
    where = page.post("/upload", data=data, headers=OURS).location
    given = fields(page, where)
    assert sum(value in ("", "?") for value in given.values()) == len(answers)
    for key, value in answers.items():
        given |= {one: value for one in given if one.endswith(f"-{key}")}
    answer = page.post(where, data=given, headers=OURS)
    assert answer.status_code == 303, answer.get_data(as_text=True)
    results = analyze(read_trial(root / answer.location.split("/")[2]))
    found = {one.series: float(one.value) for one in results.yields}
    for name, feed in feeds.items():
        assert found[name] == pytest.approx(more.true_yield(feed, day), rel=0.02), name
    if not feeds:
        right_gas(results)


def upload(page: Any, *files: tuple[str, bytes]) -> Any:
    data = {"workbook": [(io.BytesIO(content), name) for name, content in files]}
    return page.post("/upload", data=data, headers=OURS)


def test_a_csv_file_dropped_anywhere_is_asked_about(tmp_path: Path) -> None:
    own_sheets.write_school(tmp_path / "class 9b.csv")
    answer = upload(client(tmp_path), ("class 9b.csv", (tmp_path / "class 9b.csv").read_bytes()))
    assert answer.location.endswith("/own-sheet"), answer.get_data(as_text=True)


def test_the_tables_of_a_trial_dropped_together_are_a_trial(tmp_path: Path) -> None:
    tables = [(one.name.title(), one.read_bytes()) for one in sorted(DEMO.glob("*.csv"))]
    answer = upload(client(tmp_path), *tables)
    assert answer.status_code == 303, answer.get_data(as_text=True)
    folder = tmp_path / answer.location.split("/")[2]
    assert folder.name.startswith("Cheese-dairy")
    assert {one.name: one.read_bytes() for one in folder.iterdir()} == {
        name.lower(): content for name, content in tables
    }
    assert analyze(read_trial(folder)).yields


@pytest.mark.parametrize(
    ("names", "said"),
    [
        (("trial.csv", "notes.csv"), "notes.csv"),
        (("trial.csv", "../../jars.csv", "..jars.csv"), "no table of a trial"),
        (("jars.csv", "readings.csv"), "trial.csv"),
    ],
)
def test_other_files_together_are_refused_and_nothing_is_kept(
    tmp_path: Path, names: tuple[str, ...], said: str
) -> None:
    answer = upload(client(tmp_path), *((name, b"a,b\n1,2\n") for name in names))
    assert answer.status_code == 422
    assert said in answer.get_data(as_text=True)
    assert list(tmp_path.iterdir()) == []


def test_answers_about_a_sheet_are_none_about_a_trial_of_its_name(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    folder = tmp_path / "winter"
    shutil.copytree(DEMO, folder, ignore=shutil.ignore_patterns("*results"))
    (tmp_path / "winter.answers.txt").write_text("confirmed = yes\n[a sheet]\ntable = readings\n")
    assert read_trial(folder).jars == read_trial(DEMO).jars
    assert main(["start", str(folder)]) == 0
    assert "is a trial already" in capsys.readouterr().out


def test_what_only_a_person_can_answer_stands_first_with_a_way_to_it(tmp_path: Path) -> None:
    more.write_class(tmp_path / "race.xlsx")
    text = get(client(tmp_path), "/trials/race.xlsx/own-sheet").get_data(as_text=True)
    (first,) = re.findall(r"Only you can answer these:</strong>(.*?)</p>", text)
    asked = dict(re.findall(r'<a href="#([^"]*)">([^<]*)</a>', first))
    assert [unescape(one) for one in asked.values()] == [
        "started", "gas", "incubation temperature [°C]", "flush gas", "methane [%]",
        "inoculum of every jar [g]", "sample of every jar [g]",
    ]  # fmt: skip
    for place, key in asked.items():
        assert re.search(rf'<label for="{place}">{re.escape(key)}</label>', text)
