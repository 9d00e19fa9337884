"""Three more sheets of people's own, through terminal and page, to the known right answers."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from pathlib import Path

import pytest

from bmp.analyze import analyze
from bmp.cli import main
from bmp.read import read_trial
from bmp.read.takeover.answers import answers_path
from bmp.results import Results
from tests import own_sheets_more as more
from tests.own_sheets import T0_K, Feed, P0_kPa, vapour_kPa
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


METER = """Warm barn buckets (invented),,,,
Barometer 30.05 inHg; barn 65 F; water bath 98.6F,,,,
"wet tip meter, reads cu ft in total",,,,
,,,,
Bucket,Stuff,Sludge (lb),Feed (oz),VS of feed (% wet)
A,cow manure,20,24,11
B,cow manure,20,24,11
C,pig manure,20,24,9
D,pig manure,20,24,9
E,nothing (sludge),20,0,2
,,,,
When,Bucket,Meter (cu ft),gas temp F,
"""
MARKS = """Klasse 7a Biogas (erfunden);;;;;
Gasmenge in cm (Messzylinder, 1 cm = 25 ml), immer weitergezählt;;;;;
;;;;;
Gruppe;Glas;Futter;Tag 0;Tag 3;Tag 7;Tag 14
Löwen;1;Apfelreste;0;12,5;20;24,5
Löwen;2;Gras;0;6;13;19
Tiger;3;Apfelreste;0;13;21;25
Tiger;4;Gras;0;6,5;13,5;20
"""


def test_a_meter_in_cubic_feet_under_names_of_the_owners_own(tmp_path: Path) -> None:
    totals = {"A": (0.52, 1.02), "B": (0.55, 1.05), "C": (0.8, 1.3), "D": (0.83, 1.33),
              "E": (0.21, 0.35)}  # fmt: skip
    rows = [f'"Mar {day}, 2026 7:15 am",{name},{total},66,'
            for day, at in ((3, None), (10, 0), (24, 1))
            for name, both in totals.items()
            for total in (0 if at is None else both[at],)]  # fmt: skip
    sheet = tmp_path / "meter.csv"
    sheet.write_text(METER + "\n".join(rows) + "\n")
    main(["start", str(sheet)])
    said = {"gas": "wet", "flush gas": "air", "methane [%]": "60"}
    assert asked(sheet) == len(said)
    assert not answer(sheet, said)
    results = analyze(read_trial(sheet))
    # 1 cu ft = 28.31685 L; wet gas at 66 °F and 30.05 inHg, 60 % methane
    dry_kPa = 30.05 * more.INHG_kPa - vapour_kPa((66 - 32) / 1.8)
    NmL = dry_kPa / P0_kPa * T0_K / (T0_K + (66 - 32) / 1.8) * 0.6 * more.CUFT_mL
    for name, (_, last) in totals.items():
        index = next(i for i, jar in enumerate(results.trial.jars) if jar.name == name)
        made = results.gas.methane_NmL[results.trial.readings.jar == index][-1]
        assert made == pytest.approx(NmL * last, rel=0.002), name
    assert results.trial.setup.show_units


def test_a_german_class_is_asked_for_what_its_sheet_does_not_say(tmp_path: Path) -> None:
    sheet = tmp_path / "klasse.csv"
    sheet.write_bytes(MARKS.encode("cp1252"))
    main(["start", str(sheet)])
    text = answers_path(sheet).read_text(encoding="utf-8-sig")
    assert "one cm of the tube [mL] = 25 " in text
    for line in ('"Gruppe" = group', '"Glas" = jar', '"Futter" = material', '"Tag 14" = day 14'):
        assert line in text
    assert asked(sheet) == 8


ABOVE = """PRESSURE (PSI),,,,,,,,
,,,,,,,,
,BLANK 1,BLANK 2,CELL 1,CELL 2,COW 1,COW 2,,
sludge oz,14,14,14,14,14,14,,
feed oz,,,0.1,0.1,1.5,1.5,,
,,,,,,,,
Date,BLANK 1,BLANK 2,CELL 1,CELL 2,COW 1,COW 2,baro,temp F
2026-03-02,0,0,0,0,0,0,29.9,97
2026-03-05,1.1,1.2,3.3,3.4,2.2,2.1,29.9,97
2026-03-08,1.0,1.1,3.0,3.1,2.0,2.0,29.9,97
"""


def test_masses_above_the_columns_of_jars_are_those_of_each_jar(tmp_path: Path) -> None:
    sheet = tmp_path / "psi.csv"
    sheet.write_text(ABOVE)
    main(["start", str(sheet)])
    text = answers_path(sheet).read_text(encoding="utf-8-sig")
    for line in ('sample of "COW 2" [g] = 42.52', 'sample of "BLANK 1" [g] = not known',
                 'material of "CELL 1" = CELL', "hold = gauge before ["):  # fmt: skip
        assert line in text, line
    assert "of every jar [g]" not in text


def test_names_that_come_back_are_the_jars_and_steady_pressures_the_airs(tmp_path: Path) -> None:
    rows = [f"{day};{jar};{ml};21;{hPa};" for day, hPa in ((0, 1002), (3, 1001), (8, 1004))
            for jar, ml in (("A1", "10,5"), ("A2", "12"), ("K1", "4"))]  # fmt: skip
    sheet = tmp_path / "pomiary.csv"
    header = "dzień;próbka;objętość gazu [ml];temp. [°C];ciśnienie [hPa];"
    sheet.write_text("\n".join([header, *rows]), encoding="utf-8")
    main(["start", str(sheet)])
    text = answers_path(sheet).read_text(encoding="utf-8-sig")
    for line in ('"dzień" = time [d]', '"próbka" = jar', '"ciśnienie [hPa]" = ambient [hPa]'):
        assert line in text, line
