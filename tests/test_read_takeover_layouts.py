"""Each layout in which people keep their readings comes to the known right answer in two rounds."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from pathlib import Path

import pytest

from bmp.analyze import analyze
from bmp.cli import main
from bmp.read import read_trial
from bmp.read.takeover.answers import answers_path
from bmp.read.takeover.mapping import Meaning, meaning_of
from tests import own_layouts as layouts
from tests.test_read_takeover import answer, asked, yields

AIR = {"ambient [kPa]": "99.5", "incubation temperature [°C]": "37", "flush gas": "nitrogen"}
ROOM = {"gas": "wet", "gas temperature [°C]": "20"}
BASIS = {"composition basis": "flush gas excluded"}
Layout = Callable[[Path], Path]

CASES: Mapping[Layout, Mapping[str, str]] = {
    layouts.share_beside_each_jar: AIR | ROOM | BASIS,
    layouts.share_below_each_jars_name: AIR | BASIS | {"gas": "wet"},
    layouts.share_in_a_block_to_the_right: AIR | ROOM | BASIS,
    layouts.share_on_a_sheet_of_its_own: AIR | ROOM | BASIS,
    layouts.share_of_each_material_beside: AIR | ROOM | BASIS,
    layouts.absolute_pressure_before: BASIS
    | {
        "incubation temperature [°C]": "37",
        "flush gas": "nitrogen",
    },
    layouts.gauge_before_and_after: AIR | BASIS,
    layouts.weighed_before_and_after: AIR | BASIS,
    layouts.totals_set_back: AIR
    | ROOM
    | BASIS
    | {
        "a fall of the running total means": "emptied",
    },
    layouts.centimetres_on_a_tube: AIR | ROOM | BASIS,
    layouts.weighed_once: AIR | BASIS,
    layouts.jars_below_each_other: AIR | ROOM | BASIS,
    layouts.jars_side_by_side: AIR | ROOM | BASIS,
}


@pytest.mark.parametrize("layout", CASES, ids=lambda one: one.__name__)
def test_a_layout_comes_to_the_right_yields(tmp_path: Path, layout: Layout) -> None:
    sheet = layout(tmp_path / "our jars.xlsx")
    assert main(["start", str(sheet)]) == 0
    assert asked(sheet) == len(CASES[layout])
    assert not answer(sheet, CASES[layout])
    found = yields(analyze(read_trial(sheet)))
    for name in layouts.FEEDS:
        assert found[name] == pytest.approx(layouts.true_yield(name), rel=0.02), name


def test_dates_that_can_be_two_are_asked_about_and_told_apart(tmp_path: Path) -> None:
    sheet = tmp_path / "kitchen.csv"
    lines = ["date;jar;gas (ml)"]
    lines += [f"0{day}/03/26;{jar};{10 * day}" for day in (3, 4, 5, 8) for jar in ("a", "b")]
    sheet.write_text("\n".join(lines))
    assert main(["start", str(sheet)]) == 0
    text = answers_path(sheet).read_text(encoding="utf-8-sig")
    assert "day first gives 03 Mar 2026 to 08 Mar 2026" in text
    assert "month first gives 03 Mar 2026 to 03 Aug 2026" in text
    assert not [line for line in answer(sheet, {'column A "date"': "date, day first"})
                if "date" in line]  # fmt: skip


def test_what_a_column_of_a_jar_holds_can_be_said_in_words() -> None:
    for text, wanted in (
        ("jar 1", Meaning("a jar", jar="1")),
        ("jar A, B", Meaning("a jar", jar="A, B")),
        ("jar 1, after", Meaning("a jar", jar="1", quantity="after")),
        ("jar 1, methane [%]", Meaning("a jar", "%", "1", "methane")),
        ("jar 1, gauge before [psi]", Meaning("a jar", "psi", "1", "gauge before")),
        ("material cow, methane [fraction]", Meaning("a material", "fraction", "cow", "methane")),
        ("jar volume [mL]", Meaning("jar volume", "mL")),
        ("material", Meaning("material")),
    ):
        assert meaning_of(text) == wanted
    assert "write its unit too" in str(meaning_of("jar 1, methane"))
