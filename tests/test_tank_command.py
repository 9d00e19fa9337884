"""The tank as a user meets it: a folder of tables, a command, a page section, JSON."""

import json
import shutil
import subprocess
import sys
from html import unescape
from pathlib import Path

import numpy as np
import pytest

from bmp.analyze import analyze
from bmp.cli import main
from bmp.read import read_trial
from bmp.report.page import render_page
from bmp.report.results_json import results_text
from bmp.report.tank_rows import tank_tables
from bmp.report.tank_text import tank_text
from bmp.tank.step import RATIOS
from bmp.tank.yields import well_mixed_yield
from bmp.tank.yields_of_trial import mean_curve

DEMO = Path(__file__).parents[1] / "examples" / "cheese_dairy"


@pytest.fixture(scope="module")
def results():
    return analyze(read_trial(DEMO))


@pytest.fixture
def trial(tmp_path):
    shutil.copytree(DEMO, tmp_path / "dairy")
    return tmp_path / "dairy"


def change(folder, name, old, new):
    path = folder / name
    text = path.read_text(encoding="utf-8")
    assert old in text
    path.write_text(text.replace(old, new), encoding="utf-8")


def run(folder, capsys):
    status = main(["tank", str(folder)])
    out = capsys.readouterr()
    return status, out.out, out.err


def test_command_in_its_own_process():
    done = subprocess.run(
        [sys.executable, "-m", "bmp", "tank", str(DEMO)],
        capture_output=True,
        text=True,
        check=False,
        cwd=DEMO.parents[1],
    )
    assert (done.returncode, done.stderr) == (0, "")
    assert done.stdout.startswith("The planned diet gives about")
    for words in (
        "Safety",
        "goat bedding",
        "Week by week",
        "--all",
    ):
        assert words in done.stdout
    assert max(len(line) for line in done.stdout.splitlines()) < 150


def test_what_is_not_used_is_told(trial, capsys):
    change(trial, "tank.csv", "item,value", "item,value\ncolour,green")
    status, out, error = run(trial, capsys)
    assert status == 0
    assert out.startswith("The planned diet")
    assert error == "tank.csv: the item “colour” is not known and not used\n"


def test_help_names_the_command(capsys):
    with pytest.raises(SystemExit):
        main(["--help"])
    assert "carry the yields of a trial to its main tank" in capsys.readouterr().out


def test_gas_follows_from_the_trial_by_hand(results):
    """Mean net curve of the bedding's jars, 5 kg/d of 26.2 % VS, 40 d, 2 K colder, heated."""
    (one,) = [one for one in results.yields if one.material == "goat bedding"]
    time, net = mean_curve([results.curves.of(jar) for jar in one.jars], one.time_d)
    assert net[-1] == pytest.approx(one.value)
    heated = next(row for row in RATIOS if row.kind == "heated").step.value
    expected = heated * 5.0 * 0.262 * well_mixed_yield(time, net, 40.0 * 1.047**-2)
    assert results.tank.today.methane_NL_per_d.value == pytest.approx(expected)


def test_methane_share_of_the_gas_is_that_of_the_jars(results):
    for row in results.tank.planned.by_material:
        here = [results.trial.jars[i].name for one in results.yields
                if one.material == row.material for i in one.jars]  # fmt: skip
        shares = [
            share
            for jar, share in zip(results.gas.jar, results.gas.share, strict=True)
            if results.trial.jars[jar].name in here
        ]
        assert min(shares) <= row.methane_share <= max(shares)


def test_model_stands_beside_the_measured_curve(results):
    """Where the readings determine the chosen model, and only there."""
    for row in results.tank.planned.by_material:
        fit = results.fits[row.material]
        determined = fit.models[fit.choice.model].identified
        assert (row.yield_by_model_NL_per_kg is not None) == determined
    assert any(row.yield_by_model_NL_per_kg for row in results.tank.planned.by_material)


def test_results_json_holds_the_tank_and_the_theory(results):
    written = json.loads(results_text(results))
    assert written["tank"]["today"]["retention_d"] == 40.0
    assert written["tank"]["verdict"] == results.tank.verdict
    theory = {one["material"]: one["theoretical"] for one in written["materials"]}
    assert theory["goat bedding"]["by"] == "components"
    assert 0 < theory["goat bedding"]["degradability"]["value"] < 1


def test_analyze_writes_page_section_pictures_and_sheet(trial, results, capsys):
    """The page shows what the terminal shows; pictures and a sheet stand beside it."""
    from openpyxl import load_workbook

    out = trial.parent / "out"
    assert main(["analyze", str(trial), "--out", str(out)]) == 0
    html = unescape((out / "report.html").read_text(encoding="utf-8")).replace("\xa0", " ")
    section = html[html.index('<section id="tank">') :]
    assert len(tank_text(results.tank).splitlines()) <= 40
    assert tank_text(results.tank).startswith("The planned diet gives about")
    assert results.tank.verdict in section
    told = section + html[html.index('<section id="safety">') :]
    assert all(words.split(". ")[0] in told for words in results.tank.cautions)
    for table in tank_tables(results.tank):
        assert table.title in section
        assert table.title in tank_text(results.tank, everything=True)
        assert all(cell in section for row in table.rows for cell in row)
    assert (out / "figures" / "tank-gas.png").is_file()
    assert (out / "figures" / "tank-ramp-gas.svg").is_file()
    sheet = load_workbook(out / "results.xlsx")["tank"]
    rows = {row[0]: row[1:] for row in sheet.iter_rows(values_only=True)}
    gas = results.tank.planned.methane_NL_per_d
    assert rows["methane a day"][4:] == pytest.approx((gas.value, gas.low, gas.high))
    assert json.loads((out / "results.json").read_text(encoding="utf-8"))["tank"]["estimate"]
    capsys.readouterr()


def test_names_are_escaped_in_the_page(trial):
    for name in ("materials.csv", "jars.csv", "tank feeds.csv"):
        change(trial, name, "whey", "<b>whey</b>")
    found = analyze(read_trial(trial))
    page = render_page(found, {})
    assert "<b>whey</b>" not in page
    assert "&lt;b&gt;whey&lt;/b&gt;" in page


def test_trial_without_a_tank_is_analysed_and_the_command_says_what_lacks(trial, capsys):
    (trial / "tank.csv").unlink()
    (trial / "tank feeds.csv").unlink()
    assert analyze(read_trial(trial)).tank is None
    status, out, err = run(trial, capsys)
    assert (status, out) == (2, "")
    assert err == (
        "dairy: there are no tables “tank” and “tank feeds”; add them to the others as sheets "
        "or .csv files\n"
    )


def test_one_table_without_the_other(trial, capsys):
    (trial / "tank feeds.csv").unlink()
    status, _, err = run(trial, capsys)
    assert status == 2
    assert "there is a table “tank” and no table “tank feeds”" in err


def test_every_problem_of_both_tables_at_once(trial, capsys):
    change(trial, "tank.csv", "temperature [°C],36", "temperature [°C],360")
    change(trial, "tank.csv", "mixing,well mixed", "mixing,sometimes")
    change(trial, "tank feeds.csv", "whey,0,6.0", "whye,0,6.0")
    status, out, err = run(trial, capsys)
    lines = err.splitlines()
    assert (status, out, len(lines)) == (2, "", 3)
    assert lines[0].startswith(
        "tank.csv, row 3: “360” stands for “temperature”; it must be between"
    )
    assert lines[1].startswith("tank.csv, row 4: “sometimes” stands for “mixing”; write one of")
    assert lines[2].startswith("tank feeds.csv, row 3, column “material”: “whye” is not among")


def test_impossible_composition_is_a_problem_with_its_place(trial, capsys):
    change(trial, "materials.csv", ",66,13,3,", ",66,53,3,")
    status, _, err = run(trial, capsys)
    assert status == 2
    assert "materials.csv, row 4" in err
    assert "goat bedding: components add up to 1.220 of VS; at most 1 is possible" in err


def test_unknown_item_is_told_in_the_results(trial):
    change(trial, "tank.csv", "mixing,well mixed", "mixng,well mixed")
    ignored = analyze(read_trial(trial)).ignored
    assert any("did you mean “mixing”?" in words for words in ignored)


def test_workbook_gives_the_same_as_the_folder(trial, results, tmp_path):
    import csv

    from openpyxl import Workbook

    book = Workbook()
    book.remove(book.active)
    for path in sorted(trial.glob("*.csv")):
        sheet = book.create_sheet(path.stem)
        with path.open(encoding="utf-8-sig", newline="") as file:
            for row in csv.reader(file):
                sheet.append([cell or None for cell in row])
    book.save(tmp_path / "dairy.xlsx")
    again = analyze(read_trial(tmp_path / "dairy.xlsx"))
    assert again.tank.to_dict() == results.tank.to_dict()


def test_gross_yields_are_told_and_widen_the_span(trial, results):
    path = trial / "trial.csv"
    path.write_text(path.read_text(encoding="utf-8") + "blank,none\n", encoding="utf-8")
    gross = analyze(read_trial(trial)).tank
    assert "No blank was measured" in gross.verdict
    assert gross.planned.methane_NL_per_d.low < results.tank.planned.methane_NL_per_d.value


def test_mean_curve_ends_with_the_first_jar():
    jars = [(np.array([2.0, 4.0]), np.array([20.0, 40.0])), (np.array([3.0]), np.array([60.0]))]
    time, net = mean_curve(jars, 3.0)
    assert time.tolist() == [0.0, 2.0, 3.0]
    assert net.tolist() == [0.0, 30.0, 45.0]
