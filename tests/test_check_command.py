"""`bmp check` as a person uses it: clean, planted and unusable trials, and a real one."""

from dataclasses import replace

import numpy as np
import pytest

from bmp.cli import main
from tests import references
from tests.planted import PLANTED, clean, dated, kept_readings
from tests.simulate_trials import CELLULOSE, FEEDS, Noise, simulate_trial
from tests.tables import JARS, LONG, MATERIALS, TRIAL, tables, write_csv
from tests.written import write_trial

REAL = references.REAL / "real-trial"

# Slips that a folder of tables can hold and that reading them lets through.
BY_TABLES = (
    "interval for cumulative",
    "cumulative for interval",
    "counter reset",
    "counter rollover",
    "overflow",
    "gauge for absolute",
    "absolute for gauge",
    "kPa and mbar",
    "psi and bar",
    "fraction, percent, ppm",
    "share over 100 %",
    "VS of fresh or dry",
    "scrubbed and multiplied",
    "warming headspace",
    "swapped labels",
    "zero for not read",
    "sample below blank",
    "leaking jar (30 to 60 %)",
    "missing readings",
)


def check(folder, capsys):
    status = main(["check", str(folder)])
    return status, capsys.readouterr()


def test_a_clean_trial_ends_with_0(tmp_path, capsys):
    trial = simulate_trial(np.random.default_rng(1), feeds=(CELLULOSE, FEEDS[1])).trial
    status, said = check(write_trial(trial, tmp_path / "t"), capsys)
    assert status == 0
    assert said.out.splitlines()[0] == "Simulated trial: readings to day 45"
    assert "Nothing found; " in said.out
    assert said.err == ""


@pytest.mark.parametrize("label", BY_TABLES)
def test_planted_slips_are_told(label, tmp_path, capsys):
    trap, plant = PLANTED[label]
    rng = np.random.default_rng(8)
    for attempt in range(3):
        folder = write_trial(plant(rng), tmp_path / str(attempt))
        status, said = check(folder, capsys)
        if trap in said.out:
            break
    assert trap in said.out, said
    assert status == (2 if said.err else 1)
    line = next(line for line in said.out.splitlines() if trap in line)
    assert line.split(":")[0] in ("caution", "fail")


def test_dates_the_wrong_way_round_are_told(tmp_path, capsys):
    trial = PLANTED["day and month"][1](np.random.default_rng(2))
    trial = kept_readings(trial, trial.readings.time_d >= 0)
    status, said = check(write_trial(trial, tmp_path / "t", dated=True), capsys)
    assert status == 2
    assert "fail: day and month" in said.out


def test_what_cannot_be_read_ends_with_2_and_a_line_a_problem(tmp_path, capsys):
    trial = dated(np.random.default_rng(2), clean(np.random.default_rng(2), "volume").trial)
    folder = write_trial(trial, tmp_path / "t")
    readings = (folder / "readings.csv").read_text(encoding="utf-8").splitlines()
    readings[5] = readings[5].replace(",", ",x", 1)
    (folder / "readings.csv").write_text("\n".join(readings), encoding="utf-8")
    status, said = check(folder, capsys)
    assert status == 2
    assert said.err.startswith("readings.csv, row 6")
    assert len(said.err.splitlines()) == 2  # the tables give no methane share either


def test_without_any_methane_share_raw_gas_is_shown_and_what_to_add(tmp_path, capsys):
    """1800 mL in all, wet at 20 °C and 100 kPa; vapour 2.339 kPa (CRC Handbook, steam tables)."""
    bare = [row for row in TRIAL if not row[0].startswith("methane")]
    folder = write_csv(tmp_path / "t", tables(trial=bare))
    dry = 1800 * (100 - 2.339) / 101.325 * 273.15 / 293.15
    for command in ("check", "analyze"):
        assert main([command, str(folder)]) == 2
        said = capsys.readouterr()
        assert "no methane share of the gas" in said.err
        assert "raw gas" in said.out
        oats = next(line for line in said.out.splitlines() if line.startswith("oats: "))
        shown = float(oats.removeprefix("oats: A1 ").split(" NmL")[0])
        assert shown == pytest.approx(dry, abs=1.0)
        assert oats.endswith("NmL by day 14")
    # what is asked for works
    shared = [
        [*row, *new]
        for row, new in zip(
            MATERIALS,
            (["methane [%]", "methane uncertainty [%]"], [60, 10], [60, 10]),
            strict=True,
        )
    ]
    write_csv(folder, tables(trial=bare, materials=shared))
    assert main(["analyze", str(folder)]) == 0
    said = capsys.readouterr()
    assert "raw gas" not in said.out
    assert said.err == ""


def test_a_trial_that_has_just_begun(tmp_path, capsys):
    trial = simulate_trial(np.random.default_rng(1)).trial
    young = kept_readings(trial, trial.readings.time_d <= 2)
    jars = tuple(jar for jar in trial.jars if jar.name != "S1-3")
    keep = np.array([jar.name != "S1-3" for jar in trial.jars])[young.readings.jar]
    young = kept_readings(young, keep)
    place = {jar.name: k for k, jar in enumerate(jars)}
    number = np.array([place.get(jar.name, -1) for jar in trial.jars])[young.readings.jar]
    young = replace(young, jars=jars, readings=replace(young.readings, jar=number))
    status, said = check(write_trial(young, tmp_path / "t"), capsys)
    assert status == 1
    assert "caution: jars of maize silage" in said.out
    assert "Set up more while there is still inoculum." in said.out


@pytest.mark.skipif(not REAL.is_dir(), reason="the real trial is not beside the project")
def test_the_troubles_of_a_real_trial_are_found(capsys):
    """Clay & Smyth 2021; the troubles as the data's own notes list them."""
    status, said = check(REAL, capsys)
    assert status == 1
    assert "missing readings (8 day 0.0417 to 1)" in said.out
    assert "methane share unlike biogas (7, 8, 9): The gas would hold 97 % methane" in said.out
    assert "fail" not in said.out


@pytest.mark.skipif(not REAL.is_dir(), reason="the real trial is not beside the project")
def test_the_verdict_of_a_real_trial():
    """Cellulose holds (the study's own 373 to 416 NmL/g VS less vapour); the duration does not."""
    from bmp.analyze import analyze
    from bmp.read import read_trial

    results = analyze(read_trial(REAL))
    failed = [(f.check, f.where) for f in results.checks if f.outcome == "fail"]
    assert failed == [("duration of the substrate", "raw sludge")]
    assert not results.verdict.validated
    cautions = {(f.check, f.where): f for f in results.checks if f.outcome == "caution"}
    assert ("blank's share of the feed", "raw sludge") in cautions
    assert ("blank's share of the feed", "sonicated sludge") in cautions
    assert cautions["jar unlike its replicates", "sonicated sludge"].meaning.startswith(
        "Jar 8 gave"
    )
    assert "is rough" in results.feed_verdicts["sonicated sludge"]
    assert results.feed_verdicts["cellulose"].startswith(
        "The cellulose control is in the accepted range"
    )


OWN = (
    "rule set,check,of,value,low,high,edges,if broken,unit,source,meaning,advice\n"
    "our handbook,control,control,mean_yield,{low},,inclusive,fail,NmL/g,page 4,Tighter.,Repeat.\n"
)


@pytest.mark.parametrize(("low", "status"), [("300", 0), ("380", 1)])
def test_a_laboratory_judges_by_its_own_criteria(low, status, tmp_path, capsys):
    quiet = replace(Noise(), between_jars=0.0)
    trial = simulate_trial(np.random.default_rng(1), noise=quiet).trial
    folder = write_trial(trial, tmp_path / "t")
    own = tmp_path / "own.csv"
    own.write_text(OWN.format(low=low), encoding="utf-8")
    out = str(tmp_path / "out")
    given = ["analyze", str(folder), "--out", out, "--criteria", str(own), "--strict"]
    assert main(given) == status
    said = capsys.readouterr().out
    words = "✓ Valid: it meets all criteria of" if status == 0 else "✗ Not valid by"
    assert f"{words} our handbook" in said


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ("mean_yield", "mean", "row 2, column “value”: “mean” is not known"),
        ("340", "much", "row 2, column “low”: “much” is not a number"),
        ("340", "", "row 2, column “low”: neither low nor high is given"),
        (",unit,", ",units,", "row 1: there is no column “unit”"),
    ],
)
def test_a_bad_table_of_criteria_is_told(old, new, words, tmp_path, capsys):
    folder = write_trial(simulate_trial(np.random.default_rng(1)).trial, tmp_path / "t")
    own = tmp_path / "own.csv"
    own.write_text(OWN.format(low="340").replace(old, new), encoding="utf-8")
    given = ["analyze", str(folder), "--out", str(tmp_path / "out"), "--criteria", str(own)]
    assert main(given) == 2
    assert capsys.readouterr().err.startswith(f"own.csv, {words}")
    assert not (tmp_path / "out").exists()


@pytest.mark.parametrize(
    ("rows", "words"),
    [
        ([], "no reading yet"),
        (
            [[jar, day, None] for day in (2, 1) for jar in ("N1", "N2", "A1", "A2")],
            "no reading yet; the first is due 2027-03-02 08:00",
        ),
    ],
)
def test_a_trial_without_a_reading_is_no_error(rows, words, tmp_path, capsys):
    folder = write_csv(tmp_path / "t", tables(readings=[LONG[0], *rows]))
    status, said = check(folder, capsys)
    assert status == 1  # two blanks, two jars and no control
    assert said.out.splitlines()[0] == f"Two jars of oats: {words}"
    assert "has no reading" not in said.err


@pytest.mark.parametrize("header", [["jar", "volume [mL]"], ["jar", "time", "volume"]])
def test_no_reading_can_be_used_and_the_problems_are_those_of_analyze(header, tmp_path, capsys):
    rows = [header, *[row[: len(header)] for row in LONG[1:]]]
    folder = write_csv(tmp_path / "t", tables(readings=rows))
    status, said = check(folder, capsys)
    assert status == 2
    assert said.err
    assert said.out.splitlines()[0] == "Two jars of oats: no reading could be used"
    assert "Nothing found" not in said.out
    assert main(["analyze", str(folder), "--out", str(tmp_path / "o")]) == 2
    assert capsys.readouterr().err == said.err


def test_what_is_not_used_is_said_on_the_terminal(tmp_path, capsys):
    trial = [*TRIAL, ["Altitde [m]", 300]]
    jars = [[*row, more] for row, more in zip(JARS, ("head spce [mL]", 1, 1, 1, 1), strict=True)]
    hint = "trial.csv: the item “Altitde [m]” is not known and not used (did you mean “altitude”?)"
    folder = write_csv(tmp_path / "t", tables(trial=trial, jars=jars))
    for words in (["check"], ["analyze", "--out", str(tmp_path / "o")]):
        main([words[0], str(folder), *words[1:]])
        said = capsys.readouterr()
        assert hint in said.err.splitlines()
        assert "(did you mean “headspace”?)" in said.err
    folder = write_csv(tmp_path / "bad", tables(trial=trial, readings=[*LONG, ["A1", 20, "x"]]))
    assert main(["analyze", str(folder), "--out", str(tmp_path / "o2")]) == 2
    lines = capsys.readouterr().err.splitlines()
    assert lines[0] == hint
    assert lines[1].startswith("readings.csv, row 18")  # a slip of the pen waits for nothing


def test_the_plain_verdict_stands_under_each_feed_that_has_a_but(tmp_path, capsys):
    trap, plant = PLANTED["absolute for gauge"]
    folder = write_trial(plant(np.random.default_rng(8)), tmp_path / "t")
    assert main(["analyze", str(folder), "--out", str(tmp_path / "o")]) == 0
    said = " ".join(capsys.readouterr().out.split())
    assert "Do not use the yield of " in said
    assert trap in said


def test_a_yield_that_simply_holds_needs_no_verdict_beside_it(tmp_path, capsys):
    quiet = replace(Noise(), between_jars=0.0)
    trial = simulate_trial(np.random.default_rng(1), noise=quiet).trial
    folder = write_trial(trial, tmp_path / "t")
    assert main(["analyze", str(folder), "--out", str(tmp_path / "o")]) == 0
    said = capsys.readouterr().out
    assert "The cellulose control is in the accepted range, so the inoculum is sound.\n" not in said
    assert "beside published yields.\n" not in said


def test_a_file_of_criteria_that_is_not_there(tmp_path, capsys):
    folder = write_csv(tmp_path / "t", tables())
    nope = tmp_path / "nope.csv"
    given = ["analyze", str(folder), "--out", str(tmp_path / "o"), "--criteria", str(nope)]
    assert main(given) == 2
    wanted = "give a .csv file of criteria after --criteria, or leave it out"
    assert capsys.readouterr().err == f"{nope}: there is no such file; {wanted}\n"


def test_jars_that_could_not_be_read_are_not_counted_as_lacking(tmp_path, capsys):
    jars = [list(row) for row in JARS]
    jars[3][1] = "barley"
    status, said = check(write_csv(tmp_path / "t", tables(jars=jars)), capsys)
    assert status == 2
    assert "“barley” is not among the materials" in said.err
    assert "There are" not in said.out
    assert said.out.splitlines()[-1].startswith("What could be read was looked at")


def test_a_grave_error_that_an_analysis_takes_ends_with_1(tmp_path, capsys):
    """Two only where an analysis refuses as well: programs may rely on it."""
    rows = [[jar, day, mL * 100 if (jar, day) == ("A1", 7) else mL] for jar, day, mL in LONG[1:]]
    folder = write_csv(tmp_path / "t", tables(readings=[LONG[0], *rows]))
    status, said = check(folder, capsys)
    assert "fail: " in said.out
    assert status == 1
    assert main(["analyze", str(folder), "--out", str(tmp_path / "o")]) == 0
