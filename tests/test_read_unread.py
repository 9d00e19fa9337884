from __future__ import annotations

from pathlib import Path

import pytest

from bmp.problem import UnusableInput
from bmp.read import read_trial
from tests.tables import LONG, tables, write_csv


def test_rows_after_the_last_reading_wait(tmp_path: Path) -> None:
    readings = [list(row) for row in LONG]
    readings += [[jar, day, None] for day in (21, 28) for jar in ("N1", "N2", "A1", "A2")]
    trial = read_trial(write_csv(tmp_path / "t", tables(readings=readings)))
    plain = read_trial(write_csv(tmp_path / "p", tables()))
    assert trial.readings.jar.tolist() == plain.readings.jar.tolist()
    assert trial.readings.time_d.tolist() == plain.readings.time_d.tolist()
    assert trial.unread is not None
    assert sorted(set(trial.unread.time_d.tolist())) == [21, 28]
    assert trial.unread.row.tolist() == [18, 22, 19, 23, 20, 24, 21, 25]
    assert "readings.csv: 8 rows wait for their reading" in trial.ignored
    assert plain.unread is not None
    assert plain.unread.jar.size == 0


def test_a_gap_between_readings_is_still_told(tmp_path: Path) -> None:
    readings = [list(row) for row in LONG]
    readings[2][2] = None
    with pytest.raises(UnusableInput, match="row 3: a reading by volume has no value"):
        read_trial(write_csv(tmp_path / "t", tables(readings=readings)))


def test_a_jar_left_closed_has_been_read(tmp_path: Path) -> None:
    header = ["jar", "time [d]", "gauge before [kPa]", "gauge after [kPa]"]
    rows = [[jar, day, 20, "not vented"] for jar in ("N1", "N2", "A1", "A2") for day in (1, 3)]
    rows[1][2] = None
    trial = [["item", "value"], ["measured", "pressure"], ["ambient [kPa]", 100],
             ["methane [%]", 60]]  # fmt: skip
    with pytest.raises(UnusableInput, match="row 3: a reading by pressure has no value"):
        read_trial(write_csv(tmp_path / "t", tables(trial=trial, readings=[header, *rows])))


def test_a_running_trial_may_lack_readings(tmp_path: Path) -> None:
    readings = [LONG[0], *[[jar, 1, None] for jar in ("N1", "N2", "A1", "A2")]]
    folder = write_csv(tmp_path / "t", tables(readings=readings))
    trial = read_trial(folder, unfinished=True)
    assert trial.readings.jar.size == 0
    assert trial.unread is not None
    assert trial.unread.jar.size == 4
    with pytest.raises(UnusableInput, match="jar “N1” has no reading"):
        read_trial(folder)
