"""An archive gives what its trials give one by one, whatever the order, the way and the number."""

from __future__ import annotations

import csv
import json
import random
import re
import shutil
import sys
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pyarrow.parquet
import pytest

import bmp
from bmp.analyze import analyze
from bmp.archive import run as archive_run
from bmp.archive.cell_by_cell import read_trials
from bmp.archive.kinetics import PARAMETERS, TIMES, fit_series
from bmp.archive.outcome import COLUMNS, Outcome, analyze_trials
from bmp.archive.parts import FilePart, trial_from
from bmp.archive.reading_errors import ERROR_COLUMNS, reading_errors
from bmp.archive.run import run_archive
from bmp.cli import main
from bmp.estimate import Estimate
from bmp.fit.material import MaterialCurves, fit_materials
from bmp.fit.models import MODELS
from bmp.net import NetCurves
from bmp.problem import UnusableInput
from bmp.read import read_trial
from bmp.trial import Trial
from tests.benchmarks.archive import write_archive
from tests.fuzz.mutate import bases
from tests.tables import Rows, archive_of, tables, with_item, write_csv, write_xlsx

DEMO = Path(__file__).parents[1] / "examples" / "cheese_dairy"
KINETIC = {
    "B0_first_order": ("first order", "B0"),
    "k": ("first order", "k"),
    "B0_gompertz": ("modified Gompertz", "B0"),
    "Rm": ("modified Gompertz", "Rm"),
    "lag": ("modified Gompertz", "lag"),
}
ARCHIVE_FILES = {
    "materials.csv", "materials.parquet", "materials.xlsx", "reading_errors.csv", "refused.csv",
    "trials.html",
    "files.json",
}  # fmt: skip


def all_bases(tmp_path: Path) -> dict[str, Trial]:
    """Return a small trial of every way of measuring, and the demo."""
    found = {}
    for number, content in enumerate(bases()):
        trial = read_trial(write_csv(tmp_path / f"base-{number}", content))
        if not trial.setup.cumulative:
            found[f"base {number}"] = trial
    return {**found, "demo": read_trial(DEMO)}


def assert_as_alone(outcome: Outcome, name: str, trial: Trial) -> None:
    """Compare an archive's rows with what the trial gives when it is analysed alone."""
    results = analyze(trial)
    rows = [dict(zip(COLUMNS, row, strict=True)) for row in outcome.rows if row[0] == name]
    assert {row["series"] for row in rows} == {one.series for one in results.yields}
    by_series = {row["series"]: row for row in rows}
    for one in results.yields:
        row = by_series[one.series]
        assert row["material"] == one.material
        assert row["role"] == one.role
        assert row["unit"] == one.unit
        assert row["jars"] == len(one.jars)
        low, high = one.ci95 or (None, None)
        exact = {"bmp": one.value, "sd": one.sd, "u": one.u, "time_d": one.time_d}
        for column, value in (exact | {"ci95_low": low, "ci95_high": high}).items():
            assert row[column] == (None if value is None else pytest.approx(value, rel=1e-10))
        fits = results.fits.get(one.series)
        assert row["chosen_model"] == (fits and fits.choice.model)
        for column, (model, parameter) in KINETIC.items():
            value = fits and fits.models[model].parameters[parameter].value
            # alone, lmfit settles the last digits
            assert row[column] == (None if value is None else pytest.approx(value, rel=2e-6))
            assert_limits(row, column, fits and fits.models[model].parameters[parameter])
        for column in TIMES:
            time = fits and getattr(fits, column)
            value = time and time.value
            assert row[column] == (None if value is None else pytest.approx(value, rel=1e-9))
            assert_limits(row, column, time)
        blank = one.blank_percent
        assert row["blank_percent"] == (None if blank is None else pytest.approx(blank, rel=1e-10))
        assert row["finished"] == {True: "yes", False: "no", None: None}[one.finished]
        scatter = [
            f.value for f in results.checks
            if f.where == one.series and f.check == "scatter of the control"
        ]  # fmt: skip
        for rsd in scatter:
            assert row["rsd_percent"] == (None if rsd is None else pytest.approx(rsd, rel=1e-10))
        assert results.verdict is not None
        word = "validated" if results.verdict.validated else "not validated"
        assert row["verdict"] == word
    assert results.verdict is not None
    assert set(outcome.because[name]) == set(results.verdict.because)


def assert_limits(row: dict[str, Any], column: str, alone: Estimate | None) -> None:
    """Compare 95 % limits; where a value is open, one trial may still tell what it is at least."""
    low, high = (None, None) if alone is None else alone.ci95 or (None, None)
    if alone is None or alone.value is None:
        low = high = None
    found = row[f"{column}_low"], row[f"{column}_high"]
    assert found == tuple(
        None if end is None else pytest.approx(end, rel=2e-5, abs=1e-9) for end in (low, high)
    )


def test_every_way_of_measuring_gives_what_it_gives_alone(tmp_path: Path) -> None:
    trials = all_bases(tmp_path)
    outcome = analyze_trials(list(trials), list(trials.values()))
    assert not outcome.refused
    for name, trial in trials.items():
        assert_as_alone(outcome, name, trial)


def test_trials_joined_give_what_they_give_alone(tmp_path: Path) -> None:
    archive = tmp_path / "archive"
    write_archive(archive, 5)
    outcome = run_archive(archive, tmp_path / "kept")
    assert not outcome.refused
    assert len(outcome.rows) == 20
    for name in ("T00000", "T00003"):
        alone = {
            kind: [row[1:] for row in table(archive / f"{kind}.csv") if row[0] in ("trial", name)]
            for kind in ("trial", "materials", "jars", "readings")
        }
        trial = read_trial(write_csv(tmp_path / name, alone))
        assert_as_alone(outcome, name, trial)


def table(path: Path) -> Rows:
    with path.open(encoding="utf-8", newline="") as file:
        return [[cell or None for cell in row] for row in csv.reader(file)]


def test_joined_trials_have_blanks_shares_and_ends_of_their_own(tmp_path: Path) -> None:
    trials = {"one": read_trial(DEMO)}
    last = trials["one"].readings.time_d.max()
    early = trials["one"].readings
    blanks = np.array([jar.role == "blank" for jar in trials["one"].jars])[early.jar]
    kept = ~(blanks & (early.time_d > last - 8))
    short = replace(
        early, jar=early.jar[kept], time_d=early.time_d[kept], row=early.row[kept],
        columns={name: values[kept] for name, values in early.columns.items()},
        not_vented=early.not_vented[kept], emptied=early.emptied[kept], note=(), taken=None,
    )  # fmt: skip
    trials["blank ends early"] = replace(trials["one"], readings=short)
    jars = trials["one"].jars
    trials["one blank"] = replace(
        trials["one"],
        jars=tuple(
            replace(jar, left_out="spilt") if jar.role == "blank" and i else jar
            for i, jar in enumerate(jars)
        ),
    )
    trials["groups"] = replace(
        trials["one"],
        jars=tuple(replace(jar, group="AB"[i % 2]) if jar.sample_g else jar
                   for i, jar in enumerate(jars)),
    )  # fmt: skip
    trials["gross"] = replace(trials["one"], setup=replace(trials["one"].setup, blank=False))
    outcome = analyze_trials(list(trials), list(trials.values()))
    for name, trial in trials.items():
        assert_as_alone(outcome, name, trial)


def test_copied_jars_have_no_scatter_in_an_archive_either() -> None:
    trial = read_trial(DEMO)
    readings = trial.readings
    same = [index for index, jar in enumerate(trial.jars) if jar.material == "cellulose"]
    # every reading of these jars is that of the first of them
    source = np.arange(readings.jar.size)
    for index in same[1:]:
        source[readings.jar == index] = np.flatnonzero(readings.jar == same[0])
    copied = replace(
        readings,
        time_d=readings.time_d[source],
        columns={name: values[source] for name, values in readings.columns.items()},
    )
    jars = tuple(
        replace(trial.jars[same[0]], name=jar.name) if index in same else jar
        for index, jar in enumerate(trial.jars)
    )
    trials = {
        "demo": trial,
        "copies": replace(trial, jars=jars, readings=copied),
    }
    outcome = analyze_trials(list(trials), list(trials.values()))
    for name, one in trials.items():
        assert_as_alone(outcome, name, one)
    assert outcome.because["copies"] != outcome.because["demo"]


def curves_of_many_shapes(rng: np.random.Generator, count: int) -> list[MaterialCurves]:
    """Return invented materials of every model, finished and not, quiet and noisy."""
    days = np.arange(1.0, 41.0)
    materials = []
    for number in range(count):
        model = list(MODELS.values())[number % len(MODELS)]
        b0, last = rng.uniform(150, 500), int(rng.integers(8, 41))
        named = {
            "B0": b0, "k": rng.uniform(0.02, 0.5), "lag": rng.uniform(0, 6),
            "Rm": b0 * rng.uniform(0.03, 0.25), "quick_share": rng.uniform(0.2, 0.8),
            "k_quick": rng.uniform(0.3, 1.0), "k_slow": rng.uniform(0.02, 0.1),
            "n": rng.uniform(1.1, 3.0),
        }  # fmt: skip
        values = [named[name] for name in model.names]
        jars = []
        for _ in range(rng.integers(1, 5)):
            own = np.array([[values[0] * rng.normal(1, 0.04), *values[1:]]])
            gas = np.diff(model.value(days[:last], own)[0], prepend=0.0)
            noise = rng.choice([0.002, 0.01, 0.03]) * b0
            jars.append(np.cumsum(gas + noise * rng.standard_normal(last)))
        materials.append(MaterialCurves([days[:last]] * len(jars), jars))
    return materials


def test_kinetics_in_bulk_are_those_of_single_materials() -> None:
    materials = curves_of_many_shapes(np.random.default_rng(7), 60)
    alone = fit_materials(materials, reported=False)
    sizes = [len(material.net) for material in materials]
    time_d = [days for material in materials for days in material.time_d]
    jar = np.repeat(np.arange(len(time_d)), [days.size for days in time_d])
    net = np.concatenate([values for material in materials for values in material.net])
    curves = NetCurves(jar, np.concatenate(time_d), net, net, np.zeros(len(time_d), dtype=bool))
    series, jar_numbers = np.repeat(np.arange(len(sizes)), sizes), np.arange(len(time_d))
    yields = SimpleNamespace(jar=jar_numbers, series=series, count=np.array(sizes))
    found = fit_series(curves, yields)
    assert found.chosen == [one.choice.model for one in alone]
    for column, (model, name) in PARAMETERS.items():
        values = found.columns[column].value
        for value, one in zip(values, alone, strict=True):
            wanted = one.models[model].parameters[name].value
            assert np.isnan(value) if wanted is None else value == pytest.approx(wanted, 1e-7)


# --- the command ---------------------------------------------------------------------------------


def materials(out: Path) -> Rows:
    return table(out / "materials.csv")


def test_a_folder_of_trials(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    place = tmp_path / "trials"
    write_csv(place / "oats", tables())
    write_xlsx(place / "groats.xlsx", tables())
    shutil.copytree(DEMO, place / "demo")
    readings = [list(row) for row in tables()["readings"]]
    readings[3][2] = "=1+1"
    write_csv(place / "broken", tables(readings=readings))
    (place / "garbage.xlsx").write_bytes(b"PK nothing")
    (place / "letters").mkdir()
    before = {p: p.read_bytes() for p in place.rglob("*") if p.is_file()}
    assert main(["archive", str(place), "--workers", "1"]) == 1  # one trial is refused
    out = tmp_path / "trials-archive"
    assert {path.name for path in out.iterdir()} == ARCHIVE_FILES
    assert {path.name for path in tmp_path.iterdir()} == {"trials", "trials-archive"}
    assert {p: p.read_bytes() for p in place.rglob("*") if p.is_file()} == before
    rows = materials(out)
    assert rows[0] == list(COLUMNS)
    assert [row[:2] for row in rows[1:]] == [
        ["demo", "cellulose"], ["demo", "goat bedding"], ["demo", "spent grain"],
        ["demo", "whey"], ["groats", "oats"], ["oats", "oats"],
    ]  # fmt: skip
    assert [row[0] for row in table(out / "refused.csv")] == ["trial", "broken", "garbage"]
    assert "“=1+1” is not a number" in table(out / "refused.csv")[1][1]
    said = capsys.readouterr()
    assert "Trials analysed: 3; of them validated: 1." in said.out
    assert "Trials not used: 2;" in said.out
    assert said.err == ""


def test_csv_parquet_and_page_say_the_same(tmp_path: Path) -> None:
    place = tmp_path / "trials"
    trial = with_item("title", "<b>bold</b>")
    content = tables(trial=trial)
    content["materials"][2][0] = "=SUM(A1)<script>"
    for row in content["jars"]:
        row[1] = "=SUM(A1)<script>" if row[1] == "oats" else row[1]
    write_csv(place / "-oats", content)
    assert main(["archive", str(place), "--out", str(tmp_path / "out")]) == 0
    (row,) = pyarrow.parquet.read_table(tmp_path / "out" / "materials.parquet").to_pylist()
    assert row["material"] == "=SUM(A1)<script>"
    assert row["trial"] == "-oats"
    assert row["jars"] == 2
    written = materials(tmp_path / "out")[1]
    assert written[:2] == ["'-oats", "'=SUM(A1)<script>"]
    for name, cell in zip(COLUMNS, written, strict=True):
        if isinstance(row[name], float):
            assert float(cell or "nan") == row[name]
    page = (tmp_path / "out" / "trials.html").read_text(encoding="utf-8")
    assert "<script>" not in page
    assert "=SUM(A1)&lt;script&gt;" in page
    assert "there is no cellulose control" in page


@pytest.fixture(scope="module")
def large(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return an archive of 12 trials as tables, some of them broken in different ways."""
    place = tmp_path_factory.mktemp("large") / "archive"
    write_archive(place, 12)
    lines = (place / "readings.csv").read_text(encoding="utf-8").splitlines()
    kept = [line.replace('"', "") for line in lines]
    kept[1 + 800 * 2] = kept[1 + 800 * 2].replace(",1,", ",1,x", 1)
    kept[1 + 800 * 5] = kept[1 + 800 * 5].replace("N1", "N9")
    first = kept[1 + 800 * 7].split(",")
    first[3] = "-500"
    kept[1 + 800 * 7] = ",".join(first)
    kept.append("T99999,N1,1,1,20,99,57")
    (place / "readings.csv").write_text("\n".join(kept) + "\n", encoding="utf-8")
    jars = (place / "jars.csv").read_text(encoding="utf-8")
    (place / "jars.csv").write_text(jars.replace("T00009,C1,cellulose", "T00009,C1,stone"))
    return place


def test_broken_trials_do_not_stop_the_others(large: Path, tmp_path: Path) -> None:
    assert main(["archive", str(large), "--out", str(tmp_path / "out"), "--workers", "1"]) == 1
    refused: dict[str, list[str]] = {}
    for name, line in table(tmp_path / "out" / "refused.csv")[1:]:
        refused.setdefault(name, []).append(line)
    assert set(refused) == {"T00002", "T00005", "T00007", "T00009", "T99999"}
    assert "readings.csv, row 1602, column “volume [mL]”: “x" in refused["T00002"][0]
    assert "readings.csv, row 4002, column “jar”: “N9” is not among" in refused["T00005"][0]
    assert "readings.csv, row 5602: jar “N1” shows less gas" in refused["T00007"][0]
    assert "“stone” is not among the materials" in refused["T00009"][0]
    assert "has no row in the table “trial”" in refused["T99999"][0]
    assert len({row[0] for row in materials(tmp_path / "out")[1:]}) == 8


def outputs(out: Path) -> dict[str, bytes]:
    return {p.name: p.read_bytes() for p in out.iterdir() if p.suffix in (".csv", ".html")}


def test_the_order_of_rows_does_not_matter(large: Path, tmp_path: Path) -> None:
    shuffled = tmp_path / "archive"
    shuffled.mkdir()
    for path in large.iterdir():
        head, *lines = path.read_text(encoding="utf-8").splitlines()
        if path.name != "readings.csv":
            random.Random(1).shuffle(lines)
        else:
            # rows keep their number in what is told of broken ones, so only sound trials move
            ends = [line for line in lines if line.startswith(("T00010", "T00011"))]
            random.Random(2).shuffle(ends)
            pool = iter(ends)
            lines = [
                next(pool) if line.startswith(("T00010", "T00011")) else line for line in lines
            ]
        (shuffled / path.name).write_text("\n".join([head, *lines]) + "\n", encoding="utf-8")
    for place, out in ((large, "a"), (shuffled, "b")):
        assert main(["archive", str(place), "--out", str(tmp_path / out), "--workers", "1"]) == 1
    assert outputs(tmp_path / "a")["materials.csv"] == outputs(tmp_path / "b")["materials.csv"]


def test_the_number_of_workers_does_not_matter(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    place = tmp_path / "trials"
    for number in range(5):
        write_csv(place / f"t{number}", tables(trial=with_item("ambient [kPa]", 99 + number / 2)))
    monkeypatch.setattr(sys.modules["bmp.archive.find"], "FILES_IN_A_PART", 1)
    monkeypatch.setattr(sys.modules["bmp.archive.run"], "WORTH_TRIALS", 2)
    for workers in ("1", "2"):
        words = ["archive", str(place), "--out", str(tmp_path / workers), "--workers", workers]
        assert main(words) == 0
    assert outputs(tmp_path / "1") == outputs(tmp_path / "2")
    assert len(materials(tmp_path / "1")) == 6


def test_an_interrupted_run_goes_on_where_it_stopped(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    place, out = tmp_path / "trials", tmp_path / "out"
    for number in range(6):
        write_csv(place / f"t{number}", tables())
    monkeypatch.setattr(sys.modules["bmp.archive.find"], "FILES_IN_A_PART", 2)
    done: list[tuple[str, ...]] = []
    whole = FilePart.outcome

    def stopped_at_the_third(self: FilePart) -> Outcome:
        if len(done) == 2:
            raise KeyboardInterrupt
        done.append(self.names)
        return whole(self)

    monkeypatch.setattr(FilePart, "outcome", stopped_at_the_third)
    words = ["archive", str(place), "--out", str(out), "--workers", "1"]
    assert main(words) == 2
    assert "run the same again to go on" in capsys.readouterr().err
    assert not out.exists()
    monkeypatch.setattr(FilePart, "outcome", lambda self: done.append(self.names) or whole(self))
    assert main(words) == 0
    assert done == [("t0", "t1"), ("t2", "t3"), ("t4", "t5")]
    assert len(materials(out)) == 7
    assert {path.name for path in tmp_path.iterdir()} == {"trials", "out"}


def test_a_part_that_changed_is_done_anew(tmp_path: Path) -> None:
    place = tmp_path / "trials"
    write_csv(place / "t", tables())
    first = run_archive(place, tmp_path / "kept")
    write_csv(place / "t", tables(trial=with_item("ambient [kPa]", 95)))
    second = run_archive(place, tmp_path / "kept")
    assert first.rows[0][4] != second.rows[0][4]


def test_a_result_that_was_half_kept_is_made_anew(tmp_path: Path) -> None:
    place, kept = tmp_path / "trials", tmp_path / "kept"
    write_csv(place / "t", tables())
    first = run_archive(place, kept)
    for path in kept.iterdir():
        path.write_text(path.read_text()[:40])
    assert run_archive(place, kept) == first
    for path in kept.iterdir():
        path.write_text(json.dumps([1, 2]))
    assert run_archive(place, kept) == first


def test_an_error_nobody_knows_refuses_that_trial_alone(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    place = tmp_path / "trials"
    for name in ("a", "b", "c"):
        write_csv(place / name, tables())
    whole = analyze_trials

    def fails_with_b(names: list[str], trials: list[Trial], look: bool) -> Outcome:
        if "b" in names:
            raise ZeroDivisionError("no idea")
        return whole(names, trials, look)

    monkeypatch.setattr(sys.modules["bmp.archive.parts"], "analyze_trials", fails_with_b)
    outcome = run_archive(place, tmp_path / "kept")
    assert set(outcome.because) == {"a", "c"}
    assert "does not know why" in outcome.refused["b"][0]


@pytest.mark.parametrize("way", ["plain", "semicolons", "workbook", "dates", "blank lines"])
def test_tables_in_any_dialect(tmp_path: Path, way: str) -> None:
    content = archive_of({"one": tables(), "two": tables()})
    if way == "dates":
        head = content["readings"][0]
        head[2] = "taken"
        for row in content["readings"][1:]:
            row[2] = f"2027-03-{1 + row[2]:02d}T08:00"
    if way == "workbook":
        place = write_xlsx(tmp_path / "archive.xlsx", content)
    else:
        place = write_csv(tmp_path / "archive", content, ";" if way == "semicolons" else ",")
    if way == "blank lines":
        text = (place / "readings.csv").read_text(encoding="utf-8")
        (place / "readings.csv").write_text(text.replace("\n", "\n\n", 3), encoding="utf-8")
    outcome = run_archive(place, tmp_path / "kept")
    assert not outcome.refused
    assert [row[0] for row in outcome.rows] == ["one", "two"]
    alone = analyze(read_trial(write_csv(tmp_path / "alone", tables())))
    assert [row[4] for row in outcome.rows] == [pytest.approx(alone.yields[0].value)] * 2


@pytest.mark.parametrize(
    ("spoil", "words"),
    [
        (lambda c: c["readings"][0].__setitem__(0, "test"), "there is no column “trial”"),
        (lambda c: c["jars"][2].__setitem__(0, None), "does not say of which trial"),
        (lambda c: c["readings"][2].__setitem__(0, None), "does not say of which trial"),
        (lambda c: c["readings"][0].__setitem__(3, "volume"), "there is no unit"),
        (lambda c: c.pop("jars"), "there is no table “jars”"),
    ],
)
def test_tables_that_cannot_be_told_apart(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], spoil: Any, words: str
) -> None:
    content = archive_of({"one": tables(), "two": tables()})
    spoil(content)
    place = write_csv(tmp_path / "archive", content)
    assert main(["archive", str(place)]) == 2
    assert words in capsys.readouterr().err
    assert [path.name for path in tmp_path.iterdir() if "archive-" in path.name] == []


def test_places_without_a_trial(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "empty").mkdir()
    assert main(["archive", str(tmp_path / "empty")]) == 2
    assert main(["archive", str(tmp_path / "nowhere")]) == 2
    lines = capsys.readouterr().err.splitlines()
    assert "the folder holds no trial" in lines[0]
    assert "there is no such file or folder" in lines[1]


def test_no_part_is_lost_between_the_first_and_the_rest(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    class One:
        look = True

        def __init__(self, number: int) -> None:
            self.number = number

        def key(self) -> str:
            return str(self.number)

        def outcome(self) -> Outcome:
            return Outcome((), {str(self.number): ()}, {})

    for count in (0, 1, 3, 4, 5, 9):
        kept = tmp_path / str(count)
        kept.mkdir()
        parts: Iterator[Any] = (One(number) for number in range(count))
        found = list(archive_run._outcomes(parts, kept, (None, 1)))
        assert sorted(name for one in found for name in one.because) == [
            str(number) for number in range(count)
        ]


# --- reading errors ------------------------------------------------------------------------------


def with_a_zero(archive: Path) -> None:
    """Write nought for one jar's sixth day of the second trial, as if it had been read."""
    path = archive / "readings.csv"
    lines = path.read_text(encoding="utf-8").splitlines()
    at = next(i for i, line in enumerate(lines) if re.match(r'"T00001","S1",6(\.0)?,', line))
    cells = lines[at].split(",")
    cells[3] = "0"
    path.write_text("\n".join([*lines[:at], ",".join(cells), *lines[at + 1 :], ""]), "utf-8")


def test_reading_errors_are_those_of_each_trial_by_itself(tmp_path: Path) -> None:
    archive = tmp_path / "archive"
    write_archive(archive, 3)
    with_a_zero(archive)
    outcome = run_archive(archive, tmp_path / "kept")
    assert {(row[0], row[1], row[2]) for row in outcome.errors} == {("T00001", "S1", 6.0)}
    assert {row[3] for row in outcome.errors} == {"zero for not read"}
    by_series = {(row[0], row[COLUMNS.index("series")]): row for row in outcome.rows}
    counts = {key: row[COLUMNS.index("reading_errors")] for key, row in by_series.items()}
    assert counts.pop(("T00001", "silage")) == len(outcome.errors)
    assert set(counts.values()) == {0}
    paths = {kind: archive / f"{kind}.csv" for kind in ("trial", "materials", "jars", "readings")}
    for name, own in read_trials(paths).items():
        rows, _ = reading_errors(name, trial_from(name, own))
        assert rows == [row for row in outcome.errors if row[0] == name]


def test_the_command_writes_reading_errors_and_can_do_without(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    archive = tmp_path / "archive"
    write_archive(archive, 2)
    with_a_zero(archive)
    out = tmp_path / "out"
    assert main(["archive", str(archive), "--out", str(out)]) == 0
    assert "Trials with reading errors: 1;" in capsys.readouterr().out
    header, *rows = table(out / "reading_errors.csv")
    assert tuple(header) == ERROR_COLUMNS
    assert {tuple(row[:2]) for row in rows} == {("T00001", "S1")}
    short = tmp_path / "short"
    words = ["archive", str(archive), "--out", str(short), "--skip-reading-errors"]
    assert main(words) == 0
    assert "were not looked for" in capsys.readouterr().out
    assert len(table(short / "reading_errors.csv")) == 1
    assert "were not looked for" in (short / "trials.html").read_text("utf-8")
    kept, without = materials(out), materials(short)
    at = kept[0].index("reading_errors")
    assert {row[at] for row in without[1:]} == {None}
    assert [row[:at] + row[at + 1 :] for row in kept] == [
        row[:at] + row[at + 1 :] for row in without
    ]


def test_without_pyarrow_only_an_archive_is_refused_and_says_what_to_type(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setitem(sys.modules, "pyarrow", None)
    (tmp_path / "trials" / "dairy").mkdir(parents=True)
    for path in DEMO.glob("*.csv"):
        shutil.copy(path, tmp_path / "trials" / "dairy")
    assert main(["archive", str(tmp_path / "trials")]) == 2
    said = capsys.readouterr()
    assert said.out == ""
    assert said.err.startswith("archive: one more package is needed for it; type: ")
    assert said.err.endswith("-m pip install pyarrow\n")
    assert [path.name for path in tmp_path.iterdir()] == ["trials"]
    with pytest.raises(UnusableInput, match="pip install pyarrow"):
        bmp.archive(tmp_path / "trials")
    assert main(["check", str(tmp_path / "trials" / "dairy")]) != 2
