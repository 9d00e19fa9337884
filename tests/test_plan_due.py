from __future__ import annotations

from datetime import date, datetime
from pathlib import Path

import pytest

from bmp.plan.due import due, due_words
from bmp.read import read_trial
from bmp.trial import Trial
from tests.tables import LONG, TRIAL, tables, with_item, write_csv

WAITING = [[jar, day, None] for day in (21, 22, 24.5) for jar in ("N1", "N2", "A1", "A2")]


def running(folder: Path, **changed: list[list[object]]) -> Trial:
    content = tables(**({"readings": [*LONG, *WAITING]} | changed))
    return read_trial(write_csv(folder / "t", content), unfinished=True)


def test_rounds_by_day(tmp_path: Path) -> None:
    found = due(running(tmp_path), date(2027, 3, 23))
    assert [r.at for r in found.overdue] == [datetime(2027, 3, 22, 8)]
    assert [r.at for r in found.today] == [datetime(2027, 3, 23, 8)]
    assert found.today[0].jars == ("N1", "N2", "A1", "A2")
    assert found.following is not None
    assert found.following.at == datetime(2027, 3, 25, 20)


def test_words(tmp_path: Path) -> None:
    trial = running(tmp_path)
    day = date(2027, 3, 23)
    assert due_words(due(trial, day), trial, day) == [
        "Overdue since Mon 2027-03-22 08:00: all 4 jars",
        "Due 08:00 on 2027-03-23: all 4 jars",
        "Next: Thu 2027-03-25 20:00: all 4 jars",
    ]
    day = date(2027, 3, 24)
    calm = due(running(tmp_path, readings=[*LONG, ["A1", 40, None]]), day)
    assert due_words(calm, trial, day) == [
        "Nothing is due on 2027-03-24.",
        "Next: Sat 2027-04-10 08:00: A1",
    ]


def test_overdue_closed_jars_bring_the_caution(tmp_path: Path) -> None:
    trial = running(tmp_path, trial=with_item("outlet", "closed"))
    day = date(2027, 3, 23)
    said = due_words(due(trial, day), trial, day)
    assert said[-1].startswith("Caution: Closed glass can burst.")
    assert "200 kPa gauge" in said[-1]


def test_days_without_a_start_have_no_date(tmp_path: Path) -> None:
    trial = running(tmp_path, trial=with_item("started", None, TRIAL))
    with pytest.raises(ValueError, match="no start"):
        due(trial, date(2027, 3, 23))


def test_a_finished_trial_waits_for_nothing(tmp_path: Path) -> None:
    found = due(running(tmp_path, readings=LONG), date(2027, 3, 23))
    assert found == due(running(tmp_path, readings=LONG), date(2030, 1, 1))
    assert found.following is None
