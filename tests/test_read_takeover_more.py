"""Three more sheets of people's own, through terminal and page, to the known right answers."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from pathlib import Path

import pytest

from bmp.analyze import analyze
from bmp.cli import main
from bmp.read import read_trial
from bmp.results import Results
from tests import own_sheets_more as more
from tests.own_sheets import Feed
from tests.test_read_takeover import answer, asked, yields

BASIS = {"flush gas": "nitrogen", "composition basis": "flush gas excluded"}
CLASS_ANSWERS = {
    "started": "2026-05-04",
    "gas": "wet",
    "incubation temperature [°C]": "35",
    "flush gas": "air",
    "methane [%]": "55",
    "inoculum of every jar [g]": "250",
    "sample of every jar [g]": "8",
}


@pytest.mark.parametrize(
    ("write", "answers", "feeds", "day"),
    [
        (more.write_keeper, BASIS, more.KEEPER, more.KEEPER_DAYS[-1]),
        (more.write_polish, BASIS | {"incubation temperature [°C]": "38"}, more.POLISH,
         more.POLISH_DAYS[-1]),
    ],
    ids=["a tab a bottle", "in Polish"],
)  # fmt: skip
def test_a_sheet_comes_to_the_right_yields_on_the_terminal(
    tmp_path: Path,
    write: Callable[[Path], Path],
    answers: Mapping[str, str],
    feeds: Mapping[str, Feed],
    day: float,
) -> None:
    sheet = write(tmp_path / "my sheet.xlsx")
    assert main(["start", str(sheet)]) == 0
    assert asked(sheet) == len(answers)
    assert not answer(sheet, answers)
    found = yields(analyze(read_trial(sheet)))
    for name, feed in feeds.items():
        assert found[name] == pytest.approx(more.true_yield(feed, day), rel=0.02), name


def right_gas(results: Results) -> None:
    """Hold the methane of each tube on the last day against what it gave since the first mark."""
    for index, jar in enumerate(results.trial.jars):
        number = next(i for i, one in enumerate(more.CLASS_TUBES) if one[0] == jar.name)
        share = more.CLASS[jar.material].methane
        true = more.class_methane(number, more.CLASS_DAYS[-1]) * 0.55 / share
        made = results.gas.methane_NmL[results.trial.readings.jar == index][-1]
        assert made == pytest.approx(true, rel=0.01), jar.name
        assert jar.group == more.CLASS_TUBES[number][1]


def test_a_classs_marks_come_to_the_right_methane_on_the_terminal(tmp_path: Path) -> None:
    sheet = more.write_class(tmp_path / "gas race.xlsx")
    assert main(["start", str(sheet)]) == 0
    assert asked(sheet) == len(CLASS_ANSWERS)
    assert not answer(sheet, CLASS_ANSWERS)
    results = analyze(read_trial(sheet))
    right_gas(results)
    # equal doses and no blank: more gas is more gas of the feed
    more_gas = results.comparisons.equal_jars
    assert any("potato peel" in words and "more" in words for words in more_gas), more_gas
