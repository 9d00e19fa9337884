"""Rounds of reading, found by the gaps in the log."""

import csv
from datetime import datetime
from pathlib import Path

import numpy as np
import pytest

from bmp.rounds import round_times, rounds
from tests.worlds import MINUTES_APART, world

REAL = Path(__file__).parents[2] / "shared" / "real-trials" / "sdu-2016" / "gas.csv"


@pytest.mark.parametrize("minutes", MINUTES_APART)
def test_rounds_are_found_however_far_apart_the_jars_are_read(minutes):
    rng = np.random.default_rng(5)
    for _ in range(25):
        made = world(rng, minutes)
        r = made.trial.readings
        span = len(made.trial.jars) * minutes / 1440
        if span > 0.3 * np.diff(made.time_d, prepend=0.0).min():
            continue  # a round that takes as long as the pause after it is none
        true = np.searchsorted(made.time_d, r.time_d + 1e-9, side="right") - 1
        assert (rounds(r.jar, r.time_d) == np.unique(true, return_inverse=True)[1]).all()


def test_a_jar_read_again_begins_a_round():
    jar, time = np.array([0, 1, 0, 1]), np.array([1.0, 1.1, 1.2, 1.3])
    assert rounds(jar, time).tolist() == [0, 0, 1, 1]
    assert round_times(np.array([0, 0, 0, 1]), np.array([1.0, 3.0, 2.0, 9.0])).tolist() == [2, 9]


def test_a_single_reading_is_a_round():
    assert rounds(np.array([0]), np.array([1.0])).tolist() == [0]
    assert rounds(np.zeros(0, int), np.zeros(0)).size == 0


@pytest.mark.skipif(not REAL.exists(), reason="the real readings are not beside the checkout")
def test_rounds_of_a_real_log_are_its_days():
    """20 bottles read within 50 minutes: each day of the log is a round, one day a bottle twice."""
    with REAL.open(encoding="utf-8") as file:
        rows = list(csv.reader(file))[1:]
    rows = [row for row in rows if row[0] == "1"]
    names = sorted({row[1] for row in rows})
    clock = [datetime.strptime(row[2].zfill(8) + row[3].zfill(4), "%d%m%Y%H%M") for row in rows]
    time = np.array([(at - clock[0]).total_seconds() / 86400 for at in clock])
    found = rounds(np.array([names.index(row[1]) for row in rows]), time)
    days = len({row[2] for row in rows})
    assert found.max() + 1 in (days, days + 1)
