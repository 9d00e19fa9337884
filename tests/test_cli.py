"""The command line as a person uses it: files in, files out, words, exit statuses."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import pandas as pd
import pytest

from bmp.cli import main
from bmp.commands.terminal import tell
from tests.tables import JARS, LONG, MATERIALS, tables, write_csv, write_xlsx

DEMO = Path(__file__).parents[1] / "examples" / "cheese_dairy"
WRITTEN = {
    "curves.csv", "files.json", "report.html", "results.json", "results.xlsx",
    "figures/net-curves.png", "figures/net-curves.svg", "figures/raw-methane.png",
    "figures/raw-methane.svg", "figures/residuals.png", "figures/residuals.svg",
    "figures/tank-gas.png", "figures/tank-gas.svg",
    "figures/tank-ramp-load.png", "figures/tank-ramp-load.svg",
    "figures/tank-ramp-gas.png", "figures/tank-ramp-gas.svg",
    "figures/daily-rate.png", "figures/daily-rate.svg", "class.html",
    "figures/comparison-means.png", "figures/comparison-means.svg",
    "figures/comparison-differences.png", "figures/comparison-differences.svg",
    "figures/comparison-bases-1.png", "figures/comparison-bases-1.svg",
}  # fmt: skip


def files(folder: Path) -> set[str]:
    return {p.relative_to(folder).as_posix() for p in folder.rglob("*") if p.is_file()}


def test_the_demo(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["analyze", str(DEMO), "--out", str(tmp_path / "out")]) == 0
    said = capsys.readouterr()
    assert files(tmp_path / "out") == WRITTEN
    assert "Whey gave" in said.out
    assert len(said.out.splitlines()) <= 15
    assert f"Report: {tmp_path / 'out' / 'report.html'}" in said.out
    assert said.err == ""


def test_a_workbook_and_a_folder_give_the_same_results(tmp_path: Path) -> None:
    folder = write_csv(tmp_path / "oats", tables())
    book = write_xlsx(tmp_path / "groats.xlsx", tables())
    assert main(["analyze", str(folder)]) == 0
    assert main(["analyze", str(book)]) == 0
    a, b = (
        json.loads((tmp_path / f"{name}-results" / "results.json").read_text(encoding="utf-8"))
        for name in ("oats", "groats")
    )
    assert a == b


def test_bad_input_writes_nothing_and_says_a_line_a_problem(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    readings = [list(row) for row in LONG]
    readings[3][2], readings[4][2] = "x", "y"
    folder = write_csv(tmp_path / "t", tables(readings=readings))
    assert main(["analyze", str(folder)]) == 2
    said = capsys.readouterr()
    assert said.out == ""
    assert said.err == (
        "readings.csv, rows 4-5, column “volume [mL]”: “x” is not a number that can be read "
        "(also “y”); write a number alone (the unit goes into the header), or leave the cell "
        "empty\n"
    )
    assert [path.name for path in tmp_path.iterdir()] == ["t"]


def test_fifty_problems_and_then_their_number(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    jars = [*JARS, *[[f"X{n}", f"feed {n}", 400, 5, 500] for n in range(80)]]
    materials = [*MATERIALS, *[[f"feed {n}", "substrate", 80, 90] for n in range(80)]]
    folder = write_csv(tmp_path / "t", tables(jars=jars, materials=materials))
    assert main(["analyze", str(folder)]) == 2
    lines = capsys.readouterr().err.splitlines()
    assert len(lines) == 2  # of one kind each, though there are eighty
    tell(f"trouble {number}" for number in range(80))
    lines = capsys.readouterr().err.splitlines()
    assert len(lines) == 51
    assert lines[-1] == "… and 30 more problems"


def test_a_folder_of_other_files_is_not_written_over(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    source = write_csv(tmp_path / "t", tables())
    out = tmp_path / "photos"
    out.mkdir()
    (out / "goat.jpg").write_bytes(b"goat")
    assert main(["analyze", str(source), "--out", str(out)]) == 2
    assert "the folder holds other files" in capsys.readouterr().err
    assert files(out) == {"goat.jpg"}
    assert main(["analyze", str(source), "--out", str(out), "--replace"]) == 0
    assert "results.json" in files(out)
    assert (tmp_path / "photos-before-1" / "goat.jpg").read_bytes() == b"goat"


def test_own_results_are_replaced_and_the_input_is_left_alone(tmp_path: Path) -> None:
    source = write_csv(tmp_path / "t", tables())
    before = {path: path.read_bytes() for path in source.iterdir()}
    assert main(["analyze", str(source)]) == 0
    assert main(["analyze", str(source)]) == 0
    assert {path.name for path in tmp_path.iterdir()} == {"t", "t-results"}
    assert {path: path.read_bytes() for path in source.iterdir()} == before


def test_the_results_never_lie_over_the_input(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    source = write_csv(tmp_path / "t", tables())
    assert main(["analyze", str(source), "--out", str(source), "--replace"]) == 2
    assert main(["analyze", str(source), "--out", str(tmp_path), "--replace"]) == 2
    assert "the results would lie over the input" in capsys.readouterr().err


def test_the_order_of_rows_and_columns_never_matters(tmp_path: Path) -> None:
    shuffled = {
        name: [[row[i] for i in order] for row in [rows[0], *rows[:0:-1]]]
        for (name, rows), order in zip(
            tables().items(), ([0, 1], [2, 0, 3, 1], [0, 4, 3, 2, 1], [2, 1, 0]), strict=True
        )
    }
    one, two = (write_csv(tmp_path / n, t) for n, t in (("a", tables()), ("b", shuffled)))
    values = []
    for folder in (one, two):
        assert main(["analyze", str(folder)]) == 0
        results = tmp_path / f"{folder.name}-results" / "results.json"
        values.append(json.loads(results.read_text(encoding="utf-8"))["materials"][0]["bmp"])
    assert values[0]["value"] == pytest.approx(values[1]["value"], rel=1e-12)
    assert values[0]["ci95"] == pytest.approx(values[1]["ci95"], rel=1e-9)


def test_unknown_trouble_is_a_sentence_not_a_traceback(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(sys.modules["bmp.read"], "read_with_problems", lambda place: 1 / 0)
    assert main(["analyze", "x"]) == 2
    assert "bmp cannot use this and does not know why (ZeroDivisionError" in capsys.readouterr().err


def test_it_runs_as_a_program() -> None:
    done = subprocess.run(
        [sys.executable, "-m", "bmp", "analyze", "no such place"], capture_output=True, text=True
    )
    assert done.returncode == 2
    assert done.stderr.startswith("no such place: there is no such file or folder")
    assert "Traceback" not in done.stderr


@pytest.mark.parametrize(
    ("day", "words"),
    [
        ("3.3.2027", "write 2027-03-03"),
        ("3/4/2027", "“3/4/2027” can mean two days"),
        ("2027-02-30", "“2027-02-30” is no day and hour of the calendar"),
    ],
)
def test_a_day_written_otherwise_is_told_as_it_should_be(
    day: str, words: str, capsys: pytest.CaptureFixture[str]
) -> None:
    with pytest.raises(SystemExit) as ended:
        main(["due", "logbook.xlsx", "--on", day])
    assert ended.value.code == 2
    assert words in capsys.readouterr().err


def test_looking_at_results_does_not_block_the_next_run(tmp_path: Path) -> None:
    place = write_csv(tmp_path / "t", tables())
    assert main(["analyze", str(place)]) == 0
    results = tmp_path / "t-results"
    for left in (
        ".DS_Store",
        "._report.html",
        ".~lock.results.xlsx#",
        "~$results.xlsx",
        "Thumbs.db",
    ):
        (results / left).write_bytes(b"")
    assert main(["analyze", str(place)]) == 0
    assert not (results / ".DS_Store").exists()


def test_the_folder_that_one_is_in_gets_its_results_beside(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    place = write_csv(tmp_path / "t", tables())
    monkeypatch.chdir(place)
    assert main(["analyze", "."]) == 0
    assert (tmp_path / "t-results" / "report.html").is_file()
    assert not list(place.glob("*-results"))


def test_umlauts_survive_a_double_click_on_the_curves(tmp_path: Path) -> None:
    place = write_csv(tmp_path / "t", tables())
    assert main(["analyze", str(place)]) == 0
    curves = tmp_path / "t-results" / "curves.csv"
    assert curves.read_bytes().startswith(b"\xef\xbb\xbfmaterial,")
    assert next(iter(pd.read_csv(curves).columns)) == "material"
