"""Without a blank: equal doses make the inoculum cancel in a difference."""

from __future__ import annotations

import re
from pathlib import Path

import numpy as np
import pytest
from scipy import stats

from bmp.analyze import analyze
from bmp.cli import main
from bmp.compare.equal_jars import equal_jars_words
from bmp.read import read_trial
from bmp.results import Results
from tests.tables import Rows, tables, with_item, write_csv

MADE = {"P1": 700, "P2": 720, "P3": 690, "G1": 600, "G2": 585, "G3": 612}
MATERIALS: Rows = [["material", "role"], ["sludge", "inoculum"], ["pulp", "substrate"],
                   ["grass", "substrate"]]  # fmt: skip


def school(tmp_path: Path, sample_g: float = 10.0, **made: float) -> Results:
    """Return a class's trial: no blank, no VS, no cellulose, doses alike."""
    trial = with_item("blank", "none", with_item("gas", "dry"))
    trial = with_item("methane uncertainty [%]", 0, trial)
    jars: Rows = [["jar", "material", "inoculum [g]", "sample [g]"]]
    jars += [[j, "pulp" if j[0] == "P" else "grass", 300, 10] for j in MADE]
    jars[-1][3] = sample_g
    volumes = MADE | made
    readings: Rows = [["jar", "time [d]", "volume [mL]"]]
    readings += [[j, d, v * part] for j, v in volumes.items() for d, part in ((2, 0.6), (9, 0.4))]
    content = tables(trial=trial, materials=MATERIALS, jars=jars, readings=readings)
    return analyze(read_trial(write_csv(tmp_path / "class", content)))


def test_which_made_more_is_said_per_jar_as_welch_has_it(tmp_path: Path) -> None:
    results = school(tmp_path)
    words = results.comparisons.equal_jars
    gas = results.gas
    ends = [gas.methane_NmL[gas.jar == i][-1] for i in range(6)]
    welch = stats.ttest_ind(ends[:3], ends[3:], equal_var=False)
    low, high = welch.confidence_interval(0.95)
    said = [float(x) for x in re.findall(r"\d+(?:\.\d+)?", words[0])]
    assert words[0].startswith("By day 9, per jar with 10 g of fresh feed, pulp made ")
    assert said[2] == pytest.approx(np.mean(ends[:3]) - np.mean(ends[3:]), rel=0.005)
    assert said[-2:] == pytest.approx([low, high], rel=0.01)
    assert "its gas cancels in the difference" in words[1]


def test_no_difference_shown_is_not_called_one(tmp_path: Path) -> None:
    words = school(tmp_path, P1=610, P2=590, P3=600).comparisons.equal_jars
    assert "no difference shown between" in words[0]


def test_unequal_doses_are_not_compared(tmp_path: Path) -> None:
    results = school(tmp_path, sample_g=12.0)
    assert results.comparisons.equal_jars == ()
    assert equal_jars_words(results.trial, results.gas) == ()


def test_it_stands_in_the_terminal_and_on_the_page_for_the_class(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    school(tmp_path)
    assert main(["analyze", str(tmp_path / "class")]) == 0
    said = " ".join(capsys.readouterr().out.split())
    assert "pulp made" in said
    assert "more methane than grass" in said
    assert main(["compare", str(tmp_path / "class"), "--out", str(tmp_path / "c")]) == 0
    assert "more methane than grass" in (tmp_path / "c" / "comparison.html").read_text()
