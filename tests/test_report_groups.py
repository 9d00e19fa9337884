"""Groups of jars, such as a class's teams, have a line each in the report."""

from __future__ import annotations

from pathlib import Path

from bmp.analyze import analyze
from bmp.read import read_trial
from bmp.report.page import render_page
from bmp.report.sections import jars
from tests.tables import JARS, tables, write_csv


def test_each_team_has_a_line_of_its_own(tmp_path: Path) -> None:
    teams = [[*JARS[0], "group"]]
    teams += [[*row, group] for row, group in zip(JARS[1:], (None, None, "Ada", "Bo"), strict=True)]
    results = analyze(read_trial(write_csv(tmp_path / "t", tables(jars=teams))))
    shown = jars(results)
    assert shown is not None
    lines = dict(shown["groups"])
    assert list(lines) == ["Ada", "Bo"]
    assert all(words.startswith("oats ") and "NmL/g VS" in words for words in lines.values())
    assert "What its jars gave" in render_page(results, {})


def test_without_groups_there_is_no_such_table(tmp_path: Path) -> None:
    results = analyze(read_trial(write_csv(tmp_path / "t", tables())))
    assert "What its jars gave" not in render_page(results, {})
