"""An archive of four tables: read as arrays in chunks, it comes to what its cells say."""

from __future__ import annotations

import random
import re
import sys
import tempfile
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from bmp.analyze import analyze
from bmp.archive import four_tables
from bmp.archive.as_arrays import layout_of, read_as_arrays
from bmp.archive.chunks import survey
from bmp.archive.outcome import Outcome
from bmp.archive.run import run_archive
from bmp.problem import UnusableInput
from bmp.read import read_trial
from bmp.read.columns import READINGS
from tests.benchmarks.archive import write_archive
from tests.fuzz.archives import (
    below_sea_pressure,
    both_ways,
    broken_archive,
    difference,
)
from tests.fuzz.mutate import bases
from tests.tables import archive_of, tables, with_item, write_csv, write_xlsx


@settings(max_examples=60, deadline=None)
@given(rng=st.randoms(use_true_random=False))
def test_broken_archives_come_to_the_same_as_arrays_and_cell_by_cell(rng: random.Random) -> None:
    with tempfile.TemporaryDirectory() as folder:
        assert difference(*both_ways(broken_archive(rng, Path(folder)))) == ""


@pytest.mark.parametrize("seed", range(40))
def test_so_do_some_that_are_always_the_same(tmp_path: Path, seed: int) -> None:
    assert difference(*both_ways(broken_archive(random.Random(seed), tmp_path))) == ""


def test_plain_trials_are_read_as_arrays(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    ways = {f"T{number}": base for number, base in enumerate(bases()) if number not in (1, 5)}
    noted = tables()
    noted["readings"][0].append("note")
    noted["readings"][1].append("smells of “Käse”, stirred")
    heights = with_item("ambient is", "sea level", with_item("altitude [m]", 800))
    place = write_csv(
        tmp_path / "archive",
        archive_of(
            {"mountain": below_sea_pressure()} | ways | {"N": noted, "S": tables(trial=heights)}
        ),
    )
    one, other = both_ways(place)
    assert difference(one, other) == ""
    monkeypatch.setattr(four_tables.ChunkPart, "_closer", None)
    outcome = run_archive(place, tmp_path / "kept")
    assert isinstance(one, Outcome)
    assert len(outcome.because) == 8
    assert difference(one, outcome) == ""


def test_crucibles_give_the_solids_of_their_trial(tmp_path: Path) -> None:
    content = archive_of({"one": tables(), "two": tables()})
    weights = ("empty [g]", "with sample [g]", "after 105 °C [g]", "after 550 °C [g]")
    content["crucibles"] = [
        ["trial", "material", *weights],
        ["two", "oats", 20, 30, 28.5, 20.6], ["two", "oats", 21, 31, 29.4, 21.6],
    ]  # fmt: skip
    one, other = both_ways(write_csv(tmp_path / "archive", content))
    assert difference(one, other) == ""
    assert isinstance(one, Outcome)
    plain, weighed = (row[4] for row in one.rows)
    assert weighed == pytest.approx(plain * 0.8 / 0.785, rel=1e-3)


def test_a_cell_astray_refuses_its_own_trial_alone(tmp_path: Path) -> None:
    place = write_csv(tmp_path / "archive", archive_of({"one": tables(), "two": tables()}))
    for kind, name in (("readings", "one"), ("jars", "two")):
        path = place / f"{kind}.csv"
        lines = path.read_text(encoding="utf-8").splitlines()
        at = next(number for number, line in enumerate(lines) if line.startswith(name))
        lines[at] += ",astray"
        path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    outcome = run_archive(place, tmp_path / "kept")
    assert set(outcome.refused) == {"one", "two"}
    assert "readings.csv, row 2: “astray” stands in a column" in outcome.refused["one"][0]
    assert "jars.csv, row 6: “astray” stands in a column" in outcome.refused["two"][0]


@pytest.fixture(scope="module")
def archive(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return an archive of nine trials, one of them without readings."""
    place = tmp_path_factory.mktemp("tables") / "archive"
    write_archive(place, 9)
    lines = (place / "readings.csv").read_text(encoding="utf-8").splitlines(keepends=True)
    kept = [line for line in lines if "T00004" not in line]
    (place / "readings.csv").write_text("".join(kept), encoding="utf-8")
    return place


def test_stretches_hold_whole_trials(archive: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = archive / "readings.csv"
    layout = layout_of(path, READINGS, [], [])
    assert layout is not None
    whole = path.read_bytes()
    monkeypatch.setattr(sys.modules["bmp.archive.chunks"], "CHUNK_BYTES", 50_000)
    found = survey(path, layout)
    assert found is not None
    assert not found.mixed
    assert len(found.chunks) > 3
    assert found.names == tuple(f"T{number:05d}" for number in range(9) if number != 4)
    assert found.chunks[0].begin == whole.index(b"\n") + 1
    assert found.chunks[-1].end == len(whole.rstrip())
    seen: list[str] = []
    for one, after in zip(found.chunks, [*found.chunks[1:], None], strict=True):
        assert whole[: one.begin].count(b"\n") + 1 == one.row
        assert after is None or after.begin == one.end
        table = read_as_arrays(one.read(path), layout)
        assert table is not None
        assert not table.needs_cells.any()
        seen += table.trial.words
    assert seen == list(found.names)


def test_neither_stretches_nor_processes_change_the_outcome(
    archive: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    whole = run_archive(archive, tmp_path / "a")
    assert set(whole.refused) == {"T00004"}
    assert "has no row in the table “readings”" in whole.refused["T00004"][0]
    assert len(whole.because) == 8
    monkeypatch.setattr(sys.modules["bmp.archive.chunks"], "CHUNK_BYTES", 50_000)
    monkeypatch.setattr(sys.modules["bmp.archive.run"], "WORTH_BYTES", 1)
    for workers in (1, 2):
        cut = run_archive(archive, tmp_path / f"kept-{workers}", workers)
        assert len(list((tmp_path / f"kept-{workers}").iterdir())) > 4
        assert difference(whole, cut) == ""


def test_rows_of_trials_may_lie_between_those_of_others(
    archive: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    mixed = tmp_path / "mixed"
    mixed.mkdir()
    for path in archive.iterdir():
        head, *lines = path.read_text(encoding="utf-8").splitlines()
        random.Random(3).shuffle(lines)
        (mixed / path.name).write_text("\n".join([head, *lines]), encoding="utf-8")
    monkeypatch.setattr(four_tables, "TRIALS_OF_A_MIXED_FILE", 3)
    outcome = run_archive(mixed, tmp_path / "kept")
    assert len(list((tmp_path / "kept").iterdir())) == 4
    assert difference(outcome, run_archive(archive, tmp_path / "other")) == ""


def test_an_interrupted_run_over_stretches_goes_on(
    archive: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(sys.modules["bmp.archive.chunks"], "CHUNK_BYTES", 50_000)
    done: list[int] = []
    whole = four_tables.ChunkPart.outcome

    def stopped(self: four_tables.ChunkPart) -> Outcome:
        if len(done) == 2:
            raise KeyboardInterrupt
        done.append(self.chunk.row)
        return whole(self)

    monkeypatch.setattr(four_tables.ChunkPart, "outcome", stopped)
    with pytest.raises(KeyboardInterrupt):
        run_archive(archive, tmp_path / "kept")
    monkeypatch.setattr(
        four_tables.ChunkPart,
        "outcome",
        lambda self: done.append(self.chunk.row) or whole(self),
    )
    outcome = run_archive(archive, tmp_path / "kept")
    assert len(done) == len(set(done)) > 3
    assert len(outcome.because) == 8


def test_a_change_in_a_small_table_is_seen(archive: Path, tmp_path: Path) -> None:
    first = run_archive(archive, tmp_path / "kept")
    text = (archive / "materials.csv").read_text(encoding="utf-8")
    try:
        changed = re.sub(r"(T00002,silage,substrate,[\d.]+),[\d.]+", r"\1,30", text)
        (archive / "materials.csv").write_text(changed, encoding="utf-8")
        second = run_archive(archive, tmp_path / "kept")
    finally:
        (archive / "materials.csv").write_text(text, encoding="utf-8")
    assert [row[4] for row in first.rows] != [row[4] for row in second.rows]
    assert difference(first, run_archive(archive, tmp_path / "kept")) == ""


def test_numbers_are_those_of_the_cells(tmp_path: Path) -> None:
    path = tmp_path / "readings.csv"
    path.write_text("trial,jar,time [h],volume [L],methane [%]\n", encoding="utf-8")
    layout = layout_of(path, READINGS, [], [])
    assert layout is not None
    table = read_as_arrays(b"T,a  b,24,1.5,\nT,,48,,60\n,c,1e1,-2, 55 \n", layout)
    assert table is not None
    assert table.texts["jar"].words == ("a b", "c")
    assert table.texts["jar"].code.tolist() == [0, -1, 1]
    assert table.trial.code.tolist() == [0, 0, -1]
    assert table.numbers["time_d"] == pytest.approx([1, 2, 10 / 24])
    assert np.array_equal(table.numbers["volume_mL"], [1500, np.nan, -2000], equal_nan=True)
    assert table.numbers["methane_share"][1:] == pytest.approx([0.6, 0.55])
    assert not table.needs_cells.any()
    table = read_as_arrays(b'T,a,1,"1,5",\nT,a,2,+2.5,nan\nT,a,3,1e13,\n', layout)
    assert table is not None
    assert table.needs_cells.tolist() == [True, True, True]
    assert table.numbers["volume_mL"][1] == 2500
    assert read_as_arrays(b"T,a,1\n", layout) is None


def test_rows_without_a_trial_are_told_once(tmp_path: Path) -> None:
    content = archive_of({"one": tables(), "two": tables()})
    place = write_csv(tmp_path / "archive", content)
    path = place / "readings.csv"
    text = path.read_text(encoding="utf-8")
    path.write_text(text + ",,, ,\n", encoding="utf-8")
    assert len(run_archive(place, tmp_path / "kept").because) == 2
    path.write_text(text + ",N1,2,3\n,N1,5,3\n", encoding="utf-8")
    with pytest.raises(UnusableInput, match="row 34: 2 rows do not say of which trial they are"):
        run_archive(place, tmp_path / "kept")


def test_a_row_put_in_before_moves_the_rows_that_are_told(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(sys.modules["bmp.archive.chunks"], "CHUNK_BYTES", 200)
    content = archive_of({"one": tables(), "two": tables()})
    content["readings"][-1][-1] = "oops"
    place = write_csv(tmp_path / "archive", content)
    told = run_archive(place, tmp_path / "kept").refused["two"]
    assert "readings.csv, row 33," in told[0]
    content["readings"].insert(2, ["one", "N1", 2, 5])
    write_csv(place, content)
    assert "readings.csv, row 34," in run_archive(place, tmp_path / "kept").refused["two"][0]


def test_air_pressures_for_sea_level_beside_another_trial(tmp_path: Path) -> None:
    content = archive_of({"mountain": below_sea_pressure(), "plain": tables()})
    outcome = run_archive(write_csv(tmp_path / "archive", content), tmp_path / "kept")
    alone = analyze(read_trial(write_csv(tmp_path / "alone", below_sea_pressure())))
    assert outcome.rows[0][0] == "mountain"
    assert outcome.rows[0][4] == pytest.approx(alone.yields[0].value, rel=1e-10)


def test_no_trial_hides_another_of_nearly_its_name(tmp_path: Path) -> None:
    place = tmp_path / "trials"
    write_csv(place / "a", tables())
    for name in ("a.xlsx", "a.xlsx.xlsx"):
        write_xlsx(place / name, tables())
    assert set(run_archive(place, tmp_path / "kept").because) == {"a", "a.xlsx", "a.xlsx.xlsx"}
