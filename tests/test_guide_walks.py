"""The walks of the guide, typed as they stand there."""

from __future__ import annotations

import re
import shlex
from math import exp
from pathlib import Path

import pytest

from bmp.analyze import analyze
from bmp.cli import main
from bmp.read import read_trial
from bmp.read.takeover.answers import answers_path
from tests import own_sheets

WALKS = (Path(__file__).parents[1] / "bmp" / "guide" / "walks.md").read_text(encoding="utf-8")
SHEETS = {
    "keeper.xlsx": own_sheets.write_keeper,
    "school.csv": own_sheets.write_school,
    "guelle.csv": own_sheets.write_german,
}
_BOX = re.compile(r"```(sh|answers|said)\n(.*?)```", re.DOTALL)


def walk(sheet: str) -> list[tuple[str, str]]:
    """Return the boxes of the walk that uses a sheet."""
    (section,) = (part for part in WALKS.split("\n## ") if f"bmp start {sheet}" in part)
    return [(box[1], box[2]) for box in _BOX.finditer(section)]


@pytest.mark.parametrize("sheet", SHEETS)
def test_a_walk_leads_to_the_answer_in_two_rounds(
    sheet: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    SHEETS[sheet](Path(sheet))
    commands = 0
    for kind, text in walk(sheet):
        if kind == "sh":
            assert main(shlex.split(text)[1:]) == 0
            commands += 1
        elif kind == "answers":
            _answer(answers_path(Path(sheet)), text)
        else:
            assert text.strip() in " ".join(capsys.readouterr().out.split())
    assert commands == 2


def _answer(path: Path, text: str) -> None:
    given = dict(line.split(" = ", 1) for line in text.strip().splitlines())
    lines = path.read_text(encoding="utf-8-sig").splitlines()
    for number, line in enumerate(lines):
        key = line.partition(" = ")[0]
        if key in given:
            lines[number] = f"{key} = {given.pop(key)}"
    assert not given
    path.write_text("\n".join(lines).replace("confirmed = no", "confirmed = yes"))


def test_the_walks_end_at_the_right_yields(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    for sheet, feeds, days in (
        ("keeper.xlsx", own_sheets.KEEPER, own_sheets.KEEPER_DAYS),
        ("guelle.csv", own_sheets.GERMAN, own_sheets.GERMAN_DAYS),
    ):
        SHEETS[sheet](Path(sheet))
        main(["start", sheet])
        _answer(answers_path(Path(sheet)), next(t for k, t in walk(sheet) if k == "answers"))
        found = {one.series: one.value for one in analyze(read_trial(Path(sheet))).yields}
        for name, feed in feeds.items():
            true = feed.B0_mL_per_gVS * (1 - exp(-feed.k_per_d * days[-1]))
            assert found[name] == pytest.approx(true, rel=0.02), name
