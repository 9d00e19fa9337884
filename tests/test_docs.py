"""What the guide says against what the tool knows."""

from __future__ import annotations

import re
from collections.abc import Mapping
from pathlib import Path

import pytest

from bmp.cli import COMMANDS, main
from bmp.plan.items import CHOICES as PLAN_CHOICES
from bmp.plan.items import ITEMS as PLAN_ITEMS
from bmp.read.columns import CRUCIBLES, ITEMS, JARS, MATERIALS, READINGS, TANK, KnownColumn
from bmp.read.setup import CHOICES
from bmp.read.setup import CHOICES as SETUP_CHOICES
from bmp.read.tank import CHOICES as TANK_CHOICES
from bmp.report.guide_tables import PAGES, TABLES, filled

ROOT = Path(__file__).parents[1]
GUIDE = (ROOT / "bmp" / "guide" / "trial_files.md").read_text(encoding="utf-8")


@pytest.mark.parametrize(
    "known", [*ITEMS, *MATERIALS, *CRUCIBLES, *JARS, *READINGS], ids=lambda k: k.name
)
def test_every_column_and_item_stands_in_the_guide(known: KnownColumn) -> None:
    start = known.name if known.unit is None else f"{known.name} ["
    assert f"`{start}" in GUIDE or f"| {start}" in GUIDE or f"`{known.name}`" in GUIDE


def test_every_choice_stands_in_the_guide() -> None:
    for choices in CHOICES.values():
        for word, meaning in choices.items():
            assert f"`{word}`" in GUIDE or f"`{meaning}`" in GUIDE, word


def test_the_readme_shows_what_the_demo_prints(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    demo = ROOT / "examples" / "cheese_dairy"
    assert main(["analyze", str(demo), "--out", str(tmp_path / "out")]) == 0
    printed = capsys.readouterr().out.partition("Report:")[0]
    assert f"```\n{printed}```" in (ROOT / "README.md").read_text(encoding="utf-8")


def test_every_command_stands_in_the_readme() -> None:
    readme = (ROOT / "README.md").read_text(encoding="utf-8")
    for name in COMMANDS:
        assert f"| `bmp {name}" in readme


def test_every_link_and_picture_of_the_readme_is_there() -> None:
    for page in ("README.md", "DEVELOPERS.md"):
        text = (ROOT / page).read_text(encoding="utf-8")
        assert "@@" not in text
        for target in re.findall(r"\]\(([^)#]+)\)", text):
            assert (ROOT / target).exists(), target


@pytest.mark.parametrize("page", PAGES)
def test_the_tables_of_the_guide_are_the_rows_that_read_them(page: str) -> None:
    text = (ROOT / "bmp" / "guide" / page).read_text(encoding="utf-8")
    assert filled(text) == text
    assert "| in `" in text


def test_every_column_and_item_says_what_it_is() -> None:
    for name, rows in TABLES.items():
        for known in rows:
            assert known.means, f"{name}: {known.name}"
            assert known.otherwise, f"{name}: {known.name}"


def test_every_choice_of_plan_trial_and_tank_stands_in_the_guide() -> None:
    by_field = {known.field: known for rows in (ITEMS, PLAN_ITEMS, TANK) for known in rows}
    choices = {**SETUP_CHOICES, **PLAN_CHOICES}
    choices |= {one.field: TANK_CHOICES[one.name] for one in TANK if one.name in TANK_CHOICES}
    assert len(choices) > 8
    for field, words in choices.items():
        # what stands as the default is named there
        said = f"{by_field[field].means} {by_field[field].otherwise}".lower()
        meant: dict[object, list[str]] = {}
        for word in words:
            meant.setdefault(words[word] if isinstance(words, Mapping) else word, []).append(word)
        for value, names in meant.items():
            assert any(name in said for name in names), f"{by_field[field].name}: {value}"


def test_every_source_says_under_which_terms_its_figures_are() -> None:
    folders = [one for one in (ROOT / "reference_data").iterdir() if one.is_dir()]
    assert folders
    for folder in folders:
        text = (folder / "SOURCE.md").read_text(encoding="utf-8")
        terms = " ".join(text.partition("## Terms")[2].split())
        assert re.search(r"(?i)fact|public domain|licence", terms), folder.name
        assert re.search(r"authors of this project|nothing was typed", terms), folder.name


def test_the_readme_is_short() -> None:
    readme = (ROOT / "README.md").read_text(encoding="utf-8")
    assert len(re.sub(r"(?s)```.*?```", "", readme).split()) <= 900
