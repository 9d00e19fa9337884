"""Groups of jars, such as a class's teams, have a view of their own beside the whole class."""

from __future__ import annotations

from pathlib import Path

import pytest

from bmp.analyze import analyze
from bmp.read import read_trial
from bmp.report.class_page import class_page
from bmp.report.groups import groups, has_groups
from bmp.report.page import render_page
from bmp.results import Results
from tests.page.test_page_guard import client, get
from tests.tables import JARS, tables, write_csv


@pytest.fixture
def place(tmp_path: Path) -> Path:
    teams = [[*JARS[0], "group"]]
    teams += [[*row, group] for row, group in zip(JARS[1:], (None, None, "Ada", "Bo"), strict=True)]
    return write_csv(tmp_path / "trial", tables(jars=teams))


@pytest.fixture
def results(place: Path) -> Results:
    return analyze(read_trial(place))


def test_each_group_has_its_jars_its_gas_and_its_answer_beside_the_whole(results: Results) -> None:
    content = groups(results)
    assert content is not None
    assert [one.name for one in content["groups"]] == ["Ada", "Bo"]
    values = [one.jars[0].value for one in content["groups"]]
    for one, series in zip(content["groups"], results.yields[-2:], strict=True):
        (jar,) = one.jars
        assert jar.value == pytest.approx(series.value)
        own = results.trial.readings.jar == series.jars[0]
        assert jar.methane_NmL == pytest.approx(results.gas.methane_NmL[own][-1])
        assert "in 1 jar." in one.words[0]
        # both jars together: the mean of the two
        assert f"All groups: {sum(values) / 2:.0f}" in one.words[0]
        assert "in 2 jars." in one.words[0]
    assert [one.series for one in content["feeds"]] == ["oats"]


def test_the_groups_stand_in_the_report_and_on_the_page_for_a_class(results: Results) -> None:
    for page in (render_page(results, {}), class_page(results, {})):
        assert page is not None
        assert "<h3>Ada</h3>" in page
        assert "All groups together" in page


def test_the_page_has_a_view_of_the_groups(place: Path) -> None:
    page = client(place.parent)
    assert "/trials/trial/groups" in get(page, "/trials/trial/so-far").get_data(as_text=True)
    assert "groups-so-far" in get(page, "/trials/trial/groups").get_data(as_text=True)
    shown = get(page, "/trials/trial/groups-so-far").get_data(as_text=True)
    for words in ("Ada", "Bo", "Methane so far, NmL", "<meter", "All groups together"):
        assert words in shown


def test_without_groups_there_is_no_such_view(tmp_path: Path) -> None:
    results = analyze(read_trial(write_csv(tmp_path / "t", tables())))
    assert not has_groups(results)
    assert groups(results) is None
    assert "All groups together" not in render_page(results, {})
