"""Errors that a laboratory found and corrected in its own weighings, put back one at a time.

Justesen et al. 2019 (see SOURCE.md beside the data, which is not part of the project): eight masses
whose first figure stands in the notes of two trials with bottles weighed before and after venting.
"""

from __future__ import annotations

import csv
import re
from dataclasses import replace
from datetime import datetime
from pathlib import Path

import numpy as np
import pytest

from bmp.judge.reading_errors import find_reading_errors
from bmp.trial import Jar, Material, Readings, Setup, Trial

REAL = Path(__file__).parents[2] / "shared" / "real-trials" / "sdu-2016"
pytestmark = pytest.mark.skipif(
    not REAL.is_dir(), reason="the real readings are not beside the checkout"
)

# trial, bottle, day of the log, mass before venting as it was first entered
CORRECTED = (
    ("1", "I4", "17112016", 1046.9),
    ("1", "L1", "7122016", 1034.1),
    ("2", "L1", "28012017", 856.8),
    ("2", "C2", "28012017", 1018.2),
    ("2", "E3", "28012017", 868.9),
    ("2", "C5", "28012017", 854.1),
    ("2", "A2", "6022017", 838.4),
    ("2", "A1", "17022017", 822.4),
)


def rows(name: str) -> list[list[str]]:
    with (REAL / name).open(encoding="utf-8") as file:
        return list(csv.reader(file))[1:]


def trial_of(number: str, wrong: tuple[str, str, float] | None = None) -> Trial:
    """One of the two trials, by mass; a figure as it was first entered."""
    setup = [row for row in rows("setup.csv") if row[0] == number]
    names = [row[1] for row in setup]
    log = [row for row in rows("gas.csv") if row[0] == number and row[1] in names]
    clock = [
        datetime.strptime(row[2].zfill(8) + (row[3] or row[4]).zfill(4), "%d%m%Y%H%M")
        for row in log
    ]
    jar = np.array([names.index(row[1]) for row in log])
    time_d = np.array([(at - min(clock)).total_seconds() / 86400 for at in clock])
    before, after = (np.array([float(row[k]) if row[k] else np.nan for row in log]) for k in (6, 9))
    for index, row in enumerate(log):
        if wrong is not None and (row[1], row[2]) == wrong[:2]:
            before[index] = wrong[2]
    order = np.lexsort((time_d, jar))
    none = np.zeros(len(log), bool)
    readings = Readings(
        jar[order], time_d[order], np.array([int(row[5]) for row in log])[order],
        {"mass_before_g": before[order], "mass_after_g": after[order]}, none, none,
        ("",) * len(log),
    )  # fmt: skip
    jars, materials = [], [Material("inoculum", "inoculum", VS=0.018)]
    for row in setup:
        kind = row[2]
        role = {"I": "blank", "Water": "weight check", "Cellulose": "control"}.get(
            kind, "substrate"
        )
        name = "inoculum" if role == "blank" else kind
        if name not in [m.name for m in materials]:
            materials.append(Material(name, role, VS=float(row[13] or 0) / 1000 or None))
        jars.append(Jar(row[1], name, role, "inoculum", float(row[6] or 0), float(row[7] or 0),
                        headspace_mL=float(row[19] or "nan"), measured="mass"))  # fmt: skip
    return Trial(Setup("real", measured="mass"), tuple(materials), tuple(jars), readings)


def told(trial: Trial) -> set[tuple[str, str]]:
    found = find_reading_errors(trial)
    return {(f.check, f.where) for f in found if f.outcome in ("caution", "fail")}


def new_findings(number: str, bottle: str, day: str, figure: float) -> set[tuple[str, str]]:
    return told(trial_of(number, (bottle, day, figure))) - told(trial_of(number))


@pytest.mark.parametrize(("number", "bottle", "day", "figure"), CORRECTED)
def test_an_error_of_a_real_weighing_is_named(number, bottle, day, figure):
    named = [
        where
        for check, where in new_findings(number, bottle, day, figure)
        if check == "weights that do not chain" and re.match(rf"{bottle} day", where)
    ]
    # 0.3 g is the size of what bottles of this log really lost between ventings
    assert len(named) == (0 if bottle == "I4" else 1)


def test_the_other_weighings_chain_but_for_one():
    """B3 stands in the log with 1037.5 g after 1033.6 g and before 1033.4 g."""
    seen = {
        number: [where for check, where in told(trial_of(number)) if check.startswith("weights")]
        for number in ("1", "2")
    }
    assert seen == {"1": ["B3 day 30.8562 (row 171)"], "2": []}


def test_a_lost_bottle_is_proposed_for_leaving_out():
    """Two of three bottles of one feed were lost after the first day."""
    trial = trial_of("1")
    found = [f for f in find_reading_errors(trial) if f.check == "jar ends early"]
    assert {f.where for f in found} == {"B1", "B2"}
    assert all("FI2" in f.meaning and "Leave the jar out" in f.advice for f in found)
    jars = tuple(
        replace(jar, left_out="lost") if jar.name in ("B1", "B2") else jar for jar in trial.jars
    )
    assert not [
        f for f in find_reading_errors(replace(trial, jars=jars))
        if f.check == "jar ends early" and f.outcome == "caution"
    ]  # fmt: skip
