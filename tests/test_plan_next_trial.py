"""A plan that starts from a trial: what it had, what it found, and what would make it surer."""

from __future__ import annotations

import shutil
from pathlib import Path

import numpy as np
import pytest

from bmp.analyze import analyze
from bmp.cli import main
from bmp.page.demo import demo_folder
from bmp.plan.next_trial import next_trial, pooled_rsd
from bmp.plan.read_request import read_request
from bmp.read import read_trial
from bmp.results import Results


@pytest.fixture(scope="module")
def demo() -> Results:
    return analyze(read_trial(demo_folder()))


def test_masses_and_conditions_are_those_of_the_trial(demo: Results) -> None:
    items = next_trial(demo.trial, demo.yields).items
    # 520 mL of headspace over 399.5 g of inoculum and 4 to 69 g of feed
    assert 920 <= items["jar_volume_mL"] <= 990
    assert items["incubation_temperature_C"] == demo.trial.setup.incubation_temperature_C
    assert items["days"] == 45  # last read a few hours after day 45
    assert items["control"] is True


def test_the_scatter_is_that_of_all_jars(demo: Results) -> None:
    feeds = list(demo.yields)
    squares = [((np.array(one.jar_values) / one.value - 1) ** 2).sum() for one in feeds]
    freedom = sum(len(one.jar_values) - 1 for one in feeds)
    assert pooled_rsd(feeds) == pytest.approx(np.sqrt(sum(squares) / freedom))


def test_what_makes_a_yield_surest_is_proposed(demo: Results) -> None:
    found = next_trial(demo.trial, demo.yields)
    words = " ".join(found.why)
    assert found.items["jars_per_material"] == (5 if "two more jars" in words else 3)
    assert all(one.series in words for one in demo.yields if "more" in words)


def test_the_request_is_read_as_a_plan(demo: Results, tmp_path: Path, capsys) -> None:
    place = tmp_path / "cheese"
    shutil.copytree(demo_folder(), place)
    assert main(["plan", str(place)]) == 0
    said = capsys.readouterr().out
    assert "today ±" in said
    request = tmp_path / "cheese-next" / "plan request.xlsx"
    found = read_request(request).request
    proposed = next_trial(demo.trial, demo.yields).items
    for field in ("jars_per_material", "blanks", "expected_rsd", "jar_volume_mL", "measured"):
        assert getattr(found, field) == pytest.approx(proposed[field]), field
    solids = {one.material.name: one.material.VS for one in found.materials}
    for material in demo.trial.materials:
        if material.name in solids:
            assert solids[material.name] == pytest.approx(material.VS, rel=1e-6)
    assert main(["plan", str(request)]) == 0
    assert (request.parent / "plan request-plan" / "logbook.xlsx").exists()


def test_a_second_request_never_writes_over_the_first(tmp_path: Path) -> None:
    place = tmp_path / "cheese"
    shutil.copytree(demo_folder(), place)
    assert main(["plan", str(place)]) == 0
    assert main(["plan", str(place)]) == 2
