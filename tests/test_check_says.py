"""`bmp check` says what an analysis would say, also while a trial runs, and takes an answer."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from bmp.analyze import analyze
from bmp.check import check
from bmp.judge.cause import ONE_OF
from bmp.judge.reading_errors import find_reading_errors
from bmp.problem import UnusableInput
from bmp.read import read_trial
from bmp.trial import Trial
from tests.benchmarks.reading_errors import false_alarms, measure
from tests.planted import kept_readings, with_column
from tests.planted_by_hands import HANDS
from tests.simulate_trials import CELLULOSE, FEEDS, Feed, simulate_trial
from tests.tables import tables, with_item, write_csv

DRY = (Feed("straw", 250.0, 0.1, VS=0.83, TS=0.9), FEEDS[1])
DEMO = Path(__file__).parents[1] / "examples" / "cheese_dairy"


def counters(volumes: tuple[float, ...]) -> dict:
    rows = [["jar", "time [d]", "volume [mL]"]]
    others = {"N1": (50, 90, 120, 140), "N2": (52, 94, 125, 145), "A1": (500, 900, 1200, 1400)}
    for jar, own in {**others, "A2": volumes}.items():
        rows += [[jar, day, value] for day, value in zip((1, 3, 7, 14), own, strict=True)]
    return tables(trial=with_item("readings are", "cumulative"), readings=rows)


def test_a_fall_of_a_division_is_no_error(tmp_path):
    trial = read_trial(write_csv(tmp_path / "t", counters((500, 900, 1200, 1195))))
    assert not check(trial).problems
    level = analyze(read_trial(write_csv(tmp_path / "u", counters((500, 900, 1200, 1200)))))
    fallen = analyze(trial)
    assert fallen.yields[0].value == pytest.approx(level.yields[0].value, rel=0.005)


def test_what_an_analysis_refuses_is_refused(tmp_path):
    trial = read_trial(write_csv(tmp_path / "t", counters((500, 900, 1200, 1000))))
    with pytest.raises(UnusableInput) as refused:
        analyze(trial)
    assert check(trial).problems == refused.value.problems


def test_more_methane_than_fat_gives_is_told():
    trial = read_trial(DEMO)
    materials = tuple(
        replace(m, VS=m.VS / 10, TS=m.TS / 10) if m.name in ("whey", "cellulose") else m
        for m in trial.materials
    )
    found = {(f.check, f.where) for f in check(replace(trial, materials=materials)).findings}
    assert ("yield of the substrate against mass balance", "whey") in found
    assert ("yield of the control against mass balance", "cellulose") in found


def test_a_sound_trial_that_runs_is_not_called_broken():
    trial = read_trial(DEMO)
    told = check(kept_readings(trial, trial.readings.time_d < 4))
    assert not [f for f in told.findings if f.outcome == "fail" or "yield" in f.check]
    assert any("cellulose" in line for line in told.not_yet)
    assert not check(trial).not_yet


def test_a_note_answers_a_caution():
    trial = read_trial(DEMO)
    values = trial.readings.columns["volume_mL"].copy()
    jar = next(j for j, jar in enumerate(trial.jars) if jar.name == "G1")
    at = int(np.flatnonzero(trial.readings.jar == jar)[8])
    values[at] *= 8
    wrong = with_column(trial, "volume_mL", values)
    (seen,) = [f for f in find_reading_errors(wrong) if f.outcome == "caution"]
    assert (seen.check, seen.where) == ("odd interval", f"G1 day 9.00 (row {at + 2})") or (
        seen.check == "odd interval" and seen.where.startswith("G1 ")
    )
    notes = list(wrong.readings.note)
    notes[at] = "Looked at: it is so"
    answered = replace(wrong, readings=replace(wrong.readings, note=tuple(notes)))
    told = check(answered)
    assert [f.check for f in told.findings if f.outcome == "caution"] == ["C:N"]
    assert any(line.startswith("answered: odd interval (G1") for line in told.lines)


def test_four_readings_taken_out_are_missing():
    trial = read_trial(DEMO)
    jar = next(j for j, jar in enumerate(trial.jars) if jar.name == "G2")
    gone = np.flatnonzero(trial.readings.jar == jar)[10:14]
    keep = np.ones(trial.readings.jar.size, bool)
    keep[gone] = False
    found = [f for f in find_reading_errors(kept_readings(trial, keep)) if f.outcome == "caution"]
    assert any(f.check == "missing readings" and f.where.startswith("G2") for f in found)
    assert all("G2" in f.where for f in found)


def test_errors_of_hands_are_named_however_far_apart_jars_are_read():
    """A small part of `tests/benchmarks/reading_errors.py`: one of each kind, two minutes apart."""
    counts = {label: measure(label, 1, 2.0, seed=3) for label in HANDS}
    missed = [label for label, count in counts.items() if not count["named"]]
    assert len(missed) <= 3, missed
    assert sum(count["innocent"] for count in counts.values()) <= 3


def test_trials_as_people_keep_them_raise_few_alarms():
    """3 % of trials at most: of 25, four would be far more."""
    assert false_alarms(25, seed=5)["any"] <= 3


def test_weighed_jars_without_a_control_are_checked():
    trial = simulate_trial(np.random.default_rng(1), "mass", dummies=2).trial
    assert check(trial).worst in ("pass", "caution")


def _two_of_each(**changes) -> Trial:
    """Cellulose and a feed, two jars each, without blanks' part in what is planted."""
    rng = np.random.default_rng(8)
    return simulate_trial(rng, feeds=(CELLULOSE, FEEDS[1]), jars_per_material=2, **changes).trial


def _cautions(trial: Trial) -> dict[str, str]:
    found = find_reading_errors(trial)
    return {f.check: f.where for f in found if f.outcome in ("caution", "fail")}


def test_where_two_jars_explain_it_as_well_both_are_named():
    """The samples of both are as far from the other feed's ratio, and their gas is alike."""
    trial = _two_of_each()
    jars = [
        replace(jar, sample_g=jar.sample_g * {"S1-1": 1.25, "S1-2": 0.8}.get(jar.name, 1.0))
        for jar in trial.jars
    ]
    (where,) = _cautions(replace(trial, jars=tuple(jars))).values()
    assert where.startswith(ONE_OF)
    assert {"S1-1", "S1-2"} <= set(where.removeprefix(ONE_OF).split(", "))


def test_the_sample_with_the_other_feeds_ratio_is_not_accused():
    trial = _two_of_each()
    jars = [
        replace(jar, sample_g=jar.sample_g * (1.5 if jar.name == "S1-1" else 1.0))
        for jar in trial.jars
    ]
    assert _cautions(replace(trial, jars=tuple(jars))) == {"mass or headspace of a jar": "S1-1"}


def test_a_note_answers_what_it_names_of_its_own_jar_only():
    trial = _two_of_each()
    jars = [
        replace(jar, sample_g=jar.sample_g * (1.5 if jar.name == "S1-1" else 1.0))
        for jar in trial.jars
    ]
    wrong = replace(trial, jars=tuple(jars))
    for name, left in (("S1-1", 0), ("C1", 1)):
        at = next(
            i for i, j in enumerate(trial.readings.jar.tolist()) if trial.jars[j].name == name
        )
        notes = list(trial.readings.note)
        notes[at] = "looked at: mass or headspace of a jar, weighed so"
        answered = replace(wrong, readings=replace(wrong.readings, note=tuple(notes)))
        assert len(_cautions(answered)) == left


def test_solids_of_the_other_kind_show_in_the_ratio_the_feeds_were_weighed_to():
    trial = simulate_trial(np.random.default_rng(3), feeds=(CELLULOSE, *DRY)).trial
    assert not _cautions(trial)
    materials = tuple(
        replace(m, VS=m.VS * m.TS) if m.name == "straw" else m for m in trial.materials
    )
    found = [
        f
        for f in find_reading_errors(replace(trial, materials=materials))
        if f.outcome == "caution"
    ]
    assert [(f.check, f.where) for f in found] == [("VS of fresh or of dry matter", "straw")]
    assert "ratio of inoculum to feed VS of the others" in found[0].meaning
