"""Units beside the SI ones, against the factors of NIST SP 811 (2008), appendix B.8 and B.9."""

from __future__ import annotations

import csv
from pathlib import Path

import pytest

from bmp.problem import UnusableInput
from bmp.report.page_beside import page_beside
from bmp.report.shown_units import beside
from bmp.shown_units import BESIDE, US, shown_units
from bmp.units import conversion

ALL = (*US, "mbar")


@pytest.mark.parametrize(
    ("text", "wanted"),
    [
        # SP 811: t/°C = (t/°F - 32)/1.8
        ("37 °C", "37 °C (98.6 °F)"),
        # a step of 1 °C is one of 1.8 °F
        ("keep the jars within 2 °C", "keep the jars within 2 °C (3.6 °F)"),
        ("Warm the tank by 1 °C a day", "Warm the tank by 1 °C a day (1.8 °F a day)"),
        ("down to −40 °C", "down to −40 °C (−40 °F)"),
        # 1 psi = 6.894757 kPa; 1 inHg = 3.386389 kPa (conventional)
        ("200 kPa over air pressure", "200 kPa (29 psi) over air pressure"),
        ("air pressure of 101.3 kPa", "air pressure of 101.3 kPa (29.9 inHg)"),
        # 1 ft³ = 28.31685 L, 1 lb = 0.453 592 37 kg: 1 L/kg = 0.016 018 46 ft³/lb
        ("228 ± 19 NmL/g VS", "228 ± 19 NmL/g VS (3.65 ± 0.30 cu ft/lb VS)"),
        ("59.9 NL/kg", "59.9 NL/kg (0.96 cu ft/lb)"),
        (
            "about 1200 NL of methane a day (900 to 1500) as planned",
            "about 1200 NL of methane a day (900 to 1500) = 42.4 cu ft a day (31.8 to 53) "
            "as planned",
        ),
        ("1,000 NL a day", "1,000 NL a day (35.3 cu ft a day)"),
        ("12.5 kg a day", "12.5 kg a day (27.6 lb a day)"),
        ("340 to 400 g", "340 to 400 g (12 to 14.1 oz)"),
        ("500 mL", "500 mL (16.9 fl oz)"),
        ("(dry, 0 °C, 1 atm)", "(dry, 0 °C = 32 °F, 1 atm)"),
        # 1 in³ = 16.387 064 mL
        ("1,000 NmL of gas", "1,000 NmL (61 cu in) of gas"),
        (
            "B0 380 (361 to 398) NmL/g VS",
            "B0 380 (361 to 398) NmL/g VS (6.09 (5.78 to 6.38) cu ft/lb VS)",
        ),
        # 1 kg/m³ = 0.062 427 96 lb/ft³
        ("2.0 kg VS/(m³ d)", "2.0 kg VS/(m³ d) (0.125 lb VS/(cu ft d))"),
    ],
)
def test_worked_conversions(text: str, wanted: str) -> None:
    assert beside(text, ALL) == wanted
    assert beside(text, ()) == text


@pytest.mark.parametrize(
    "text",
    ["12 g/L", "3 kg/m³", "5 g N a day", "4 kPa/d", "2 g VS", "0.6 g VS/g VS",
     "4 g CaCO3/L", "80 L/kg", "10.1371/12.5 gas", "day 5 kg", "35 K"],
)  # fmt: skip
def test_other_quantities_with_the_same_letters_stay(text: str) -> None:
    assert beside(text, ALL) == text.replace("5 kg", "5 kg (11 lb)")


def test_only_what_is_wanted_is_added() -> None:
    assert beside("37 °C, 100 kPa, 228 NmL/g VS", ("psi", "lb")) == (
        "37 °C, 100 kPa (14.5 psi), 228 NmL/g VS"
    )


def test_factors_are_those_of_the_general_unit_library() -> None:
    plain = {"°C": "degC", "kPa": "kPa", "L": "L", "mL": "mL", "kg": "g", "g": "g"}
    scale = {"kg": 1000.0}
    seen = 0
    for row in BESIDE:
        if row.own in plain:
            rule = conversion("gallon" if row.wanted == "gal" else row.wanted, plain[row.own])
            ours = row.offset + row.factor
            theirs = (scale.get(row.own, 1.0) - rule.offset) / rule.factor
            assert ours == pytest.approx(theirs, rel=1e-6), row
            seen += 1
    assert seen >= 10


def test_pictures_and_tags_of_a_page_stay() -> None:
    page = '<p title="5 kg">5 kg</p><svg><text>5 kg</text></svg>'
    assert page_beside(page, ("lb",)) == (
        '<p title="5 kg">5 kg (11 lb)</p><svg><text>5 kg</text></svg>'
    )


def test_the_words_a_keeper_types() -> None:
    assert shown_units("US customary") == US
    assert shown_units("psi, F, in Hg, fl. oz") is None
    assert shown_units("PSI; °f, gallons") == ("psi", "°F", "gal")
    assert shown_units("SI") == ()


def test_the_item_reaches_report_and_terminal_and_files_for_programs_stay(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    from bmp.analyze import analyze
    from bmp.page.demo import demo_folder
    from bmp.read.reader import read_trial
    from bmp.report.results_json import curves_text, results_text
    from bmp.report.write import write_results

    texts = []
    for wanted in ("SI", "US customary"):
        folder = tmp_path / wanted / "trial"
        folder.mkdir(parents=True)
        for path in demo_folder().glob("*.csv"):
            content = path.read_text(encoding="utf-8")
            if path.stem == "trial":
                content += f"show units,{wanted}\n"
            (folder / path.name).write_text(content, encoding="utf-8")
        results = analyze(read_trial(folder))
        write_results(results, folder.parent / "out")
        texts.append((results_text(results), curves_text(results)))
    assert texts[0] == texts[1]
    report = (tmp_path / "US customary" / "out" / "report.html").read_text(encoding="utf-8")
    for unit in ("cu ft/lb VS", "cu ft", "°F", "psi", "lb"):
        assert unit in report.replace("\N{NO-BREAK SPACE}", " "), unit
    assert "cu ft/lb" in (tmp_path / "US customary" / "out" / "class.html").read_text("utf-8")
    assert "cu ft" not in (tmp_path / "SI" / "out" / "report.html").read_text("utf-8")


def test_a_wrong_word_is_told_with_what_would_be_right(tmp_path: Path) -> None:
    from bmp.page.demo import demo_folder
    from bmp.read.reader import read_trial

    for path in demo_folder().glob("*.csv"):
        content = path.read_text(encoding="utf-8")
        with (tmp_path / path.name).open("w", encoding="utf-8", newline="") as file:
            file.write(content)
            if path.stem == "trial":
                csv.writer(file).writerow(["show units", "stone"])
    with pytest.raises(UnusableInput, match="US customary"):
        read_trial(tmp_path)
