"""Whoever asks for other units finds them at every figure that people read.

The demo is taken through the whole tool with `show units = US customary`. What is looked for is
written down apart from the table of conversions: a figure in SI units must have the other unit
close behind it, and an SI unit that stands alone, above a column or along an axis, too.
"""

from __future__ import annotations

import html
import re
from collections.abc import Iterator, Mapping
from pathlib import Path

import pytest
from openpyxl import load_workbook

from bmp.cli import main
from bmp.page.demo import demo_folder
from bmp.read import read_trial
from tests.page.test_page_guard import client, get
from tests.page.test_page_readings import OURS

OTHER: Mapping[str, str] = {
    "°C": "°F", "kPa": "psi|inHg", "NmL/g VS": "cu ft/lb VS", "NmL CH4/g VS": "cu ft CH4/lb VS",
    "NL/kg": "cu ft/lb", "NL CH4/kg": "cu ft CH4/lb", "NmL": "cu in", "NL": "cu ft",
    "NL/d": "cu ft", "m³": "cu ft", "L": "gal", "mL": "fl oz", "kg": "lb", "g": "oz",
}  # fmt: skip
_UNITS = "|".join(map(re.escape, sorted(OTHER, key=len, reverse=True)))
# not a part of another unit: g/L, kg/m³, g of VS, of nitrogen, of inoculum
_WHOLE = r"(?![\w/³²^·(]| ?[·/]| (?:VS|TS|COD|N|CH4|CaCO3|inoculum|of VS|feed VS|per|a day\))\b)"
_FIGURE = re.compile(rf"\d[\d.,]* (?P<unit>{_UNITS}){_WHOLE}")
_ALONE = re.compile(
    rf"(?:^|[\[(,] ?| )(?P<unit>NmL CH4/g VS|NmL/g VS|NL CH4/kg|NL/kg|NL/d){_WHOLE}"
)
NEAR = 70


def lines_of(page: str) -> Iterator[str]:
    """Yield the text of a page: a line a cell, a sentence, a word of a picture."""
    page = re.sub(r"<(style|script)\b.*?</\1>", "", page, flags=re.DOTALL)
    page = re.sub(r"</?(?:td|th|p|li|tr|text|h\d|dd|dt|div|summary|label|option|figcaption|title"
                  r"|input|textarea)\b[^>]*>", "\n", page)  # fmt: skip
    page = html.unescape(re.sub(r"<[^>]*>", "", re.sub(r"<br ?/?>", " ", page)))
    yield from filter(None, (" ".join(line.split()) for line in page.split("\n")))


def alone(lines: Iterator[str] | list[str]) -> list[str]:
    """Return the places at which an SI unit has no other one behind it."""
    found = []
    for line in lines:
        for pattern in (_FIGURE, _ALONE):
            for match in pattern.finditer(line):
                after = line[match.end() : match.end() + NEAR]
                if not re.search(OTHER[match["unit"]], after):
                    found.append(line[max(0, match.start() - 40) : match.end() + 40])
    return found


@pytest.fixture(scope="module")
def trial(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The demo of someone who reads °F, psi, pounds and cubic feet."""
    folder = tmp_path_factory.mktemp("us") / "dairy"
    folder.mkdir()
    for path in demo_folder().glob("*.csv"):
        more = "show units,US customary\n" if path.stem == "trial" else ""
        (folder / path.name).write_text(path.read_text(encoding="utf-8") + more, encoding="utf-8")
    return folder


@pytest.fixture(scope="module")
def written(trial: Path) -> Path:
    out = trial.parent / "out"
    assert main(["analyze", str(trial), "--out", str(out)]) == 0
    return out


COMMANDS = ("check", "due", "compare", "plan", "analyze")


@pytest.mark.parametrize("command", COMMANDS)
def test_the_terminal(trial: Path, command: str, capsys: pytest.CaptureFixture[str]) -> None:
    out = ["--out", str(trial.parent / f"{command} out")]
    main([command, str(trial), *(out if command in ("compare", "plan", "analyze") else [])])
    said = capsys.readouterr().out
    # what is folded is one line
    assert alone(re.sub(r"\n +", " ", said).splitlines()) == []


def test_the_tank_on_the_terminal(trial: Path, capsys: pytest.CaptureFixture[str]) -> None:
    main(["tank", str(trial), "--all"])
    # a cell of a table is folded in itself: two blanks end one
    cells = [cell for line in capsys.readouterr().out.splitlines() for cell in line.split("  ")]
    left = alone(cells)
    # a figure at the end of a cell goes on in its next line
    assert [cell for cell in left if not re.search(r"\d (?:kg|NL|°C)(?: outside)?$", cell)] == []


@pytest.mark.parametrize("name", ["report.html", "class.html"])
def test_the_pages_and_their_pictures(written: Path, name: str) -> None:
    text = (written / name).read_text(encoding="utf-8")
    pictures = re.findall(r"<svg.*?</svg>", text, flags=re.DOTALL)
    assert alone(list(lines_of(re.sub(r"<svg.*?</svg>", "", text, flags=re.DOTALL)))) == []
    labels = [line for picture in pictures for line in lines_of(picture)]
    # along an axis the other unit stands in place of the SI one
    assert not [line for line in labels if re.search(r"\[[^\]]*(?:NmL|NL|kg|°C)[^\]]*\]", line)]
    assert any("[cu ft CH4/lb VS]" in line for line in labels)
    # nor do the figures in it: yields are below 10 cu ft a pound, in NmL above 200 a gram
    assert not [line for line in labels if re.match(r"[2-9]\d\d(?: ±|$)", line)]


def test_the_comparison(trial: Path) -> None:
    out = trial.parent / "comparison"
    assert main(["compare", str(trial), "--out", str(out)]) == 0
    text = (out / "comparison.html").read_text(encoding="utf-8")
    assert alone(list(lines_of(re.sub(r"<svg.*?</svg>", "", text, flags=re.DOTALL)))) == []


def test_sentences_of_the_workbook(written: Path) -> None:
    book = load_workbook(written / "results.xlsx")
    cells = [
        str(cell) for sheet in ("answer", "checks", "assumed")
        for row in book[sheet].iter_rows(min_row=2, values_only=True) for cell in row if cell
    ]  # fmt: skip
    assert any("cu ft" in cell for cell in cells)
    assert alone(cells) == []


VIEWS = ("so-far", "tank", "report", "class")


@pytest.mark.parametrize("own", [True, False], ids=["of the trial", "of the browser"])
def test_the_views_of_the_page(trial: Path, tmp_path: Path, own: bool) -> None:
    root = tmp_path / "root"
    (root / "dairy").mkdir(parents=True)
    for path in trial.glob("*.csv"):
        text = path.read_text(encoding="utf-8")
        (root / "dairy" / path.name).write_text(
            text if own else text.replace("show units,US customary\n", ""), encoding="utf-8"
        )
    page = client(root)
    if not own:
        said = {"mass": "lb", "temperature": "°F", "pressure in the jar": "psi",
                "air pressure": "inHg", "gas volume": "fl oz"}  # fmt: skip
        page.post("/units", data=said, headers=OURS)
    views = [f"/trials/dairy/{view}" for view in VIEWS]
    for view in (*views, "/compare?trial=dairy", "/comparison?trial=dairy"):
        answer = get(page, view)
        assert answer.status_code == 200, view
        text = re.sub(r"<svg.*?</svg>", "", answer.get_data(as_text=True), flags=re.DOTALL)
        assert alone(list(lines_of(text))) == [], view
    chart = get(page, "/trials/dairy/so-far").get_data(as_text=True)
    assert "cu ft CH4/lb VS" in chart
    picture = get(page, "/trials/dairy/report").get_data(as_text=True)
    assert "[cu ft CH4/lb VS]" in picture


# ---------------------------------------------------------------- a plan

PLAN = """item,value
title,winter jars (invented)
jar volume [pint],2
jars available,12
vessel,rated bottle
vessel rating [psi],30
outlet,closed
measured,pressure
methane known by,meter
incubation temperature [°F],98
scale [oz],{scale}
"""
MATERIALS = """material,role,like,available [lb]
sludge,inoculum,,{sludge}
old manure,substrate,horse manure,2
kitchen scraps,substrate,food waste,2
"""


def planned(place: Path, scale: float = 0.01, sludge: float = 10.0) -> int:
    place.mkdir()
    (place / "plan.csv").write_text(PLAN.format(scale=scale), encoding="utf-8")
    (place / "materials.csv").write_text(MATERIALS.format(sludge=sludge), encoding="utf-8")
    return main(["plan", str(place), "--out", str(place.parent / "out"), "--all"])


def test_a_plan_and_its_sheets(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert planned(tmp_path / "request") == 0
    said = capsys.readouterr().out
    assert "inoculum [oz]" in said
    assert alone(re.sub(r"\n +", " ", said).splitlines()) == []
    sheet = (tmp_path / "out" / "wall-sheet.html").read_text(encoding="utf-8")
    assert alone(list(lines_of(sheet))) == []
    # what is typed over the planned ounces is read as grams
    book = load_workbook(tmp_path / "out" / "logbook.xlsx")
    jars = book["jars"]
    assert jars["C1"].value == "inoculum [oz]"
    trial = read_trial(tmp_path / "out" / "logbook.xlsx", unfinished=True)
    assert trial.jars[0].inoculum_g == pytest.approx(float(jars["C2"].value) * 28.349523, rel=1e-6)
    assert trial.setup.show_units == ("psi", "inHg", "°F", "oz", "lb")


def test_a_refusal_names_the_units_of_its_plan(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert planned(tmp_path / "request", sludge=0.5) == 2
    said = capsys.readouterr().err
    assert "226.796 g (8 oz) at hand" in said
    assert re.search(r"write: [\w ]*\d \w+", said)
    assert alone(said.splitlines()) == []


def test_a_coarse_scale_costs_the_control_that_nobody_asked_for(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert planned(tmp_path / "request", scale=0.02) == 0
    assert "no control: whether the inoculum is sound stays unknown" in capsys.readouterr().out
