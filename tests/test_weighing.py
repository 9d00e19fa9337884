"""The scale: drift told by weight checks, leaks and what could be seen, gas density."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from bmp.analyze import analyze
from bmp.judge.leak import leak_findings
from bmp.normalise import normalise
from bmp.normalise.weighing import balance_uncertainty_g, leaks, weighings
from bmp.trial import FloatArray, Jar, Readings, Setup, Trial
from tests import simulate as sim
from tests.simulate_trials import CELLULOSE, Noise, simulate_trial

QUIET = Noise(0, 0, 0, 0, 0, 0, 0, 0, 0)
SAME_SHARE = (replace(CELLULOSE, methane_share=0.6),)


def weighed(**more):
    rng = np.random.default_rng(5)
    return simulate_trial(rng, way="mass", feeds=SAME_SHARE, noise=QUIET, **more)


def test_weight_checks_take_the_drift_off() -> None:
    drift_g = np.linspace(0.0, 0.4, 45)
    plain, drifting = weighed(), weighed(drift_g=drift_g, dummies=3)
    count = plain.trial.readings.jar.size
    with_checks = normalise(drifting.trial).methane_NmL[:count]
    assert with_checks == pytest.approx(normalise(plain.trial).methane_NmL, rel=1e-6, abs=0.2)
    ignored = normalise(drifting.trial, without="scale drift").methane_NmL[:count]
    assert np.abs(ignored - with_checks).max() > 20.0


def test_a_leak_is_gas_of_the_jar_and_is_told() -> None:
    simulated = weighed(leak_share={"C2": 0.25})
    gas = normalise(simulated.trial)
    assert gas.leaks is not None
    names = [simulated.trial.jars[index].name for index in gas.leaks.jar]
    leaked = dict(zip(names, gas.leaks.leaked_g, strict=True))
    # what leaked before the first weighing shows in no two weighings
    truth = simulated.gas.leaked_g[names.index("C2"), 1:].sum()
    assert leaked["C2"] == pytest.approx(truth, rel=1e-6)
    assert truth > 0.2
    assert leaked["C1"] == pytest.approx(0.0, abs=1e-9)
    ends = gas.methane_NmL[simulated.trial.readings.time_d == 45.0]
    told = ends / simulated.methane_NmL[:, -1]
    assert np.delete(told, names.index("C2")) == pytest.approx(np.ones(5), abs=0.001)
    # the leak counts as gas, but for what was lost before the first weighing
    assert 0.94 < told[names.index("C2")] < 0.96


def test_the_report_says_what_leaked_and_what_the_scale_could_show() -> None:
    simulated = weighed(leak_share={"C2": 0.25})
    told = [
        finding
        for error in (None, 0.002)
        for finding in leak_findings(
            simulated.trial, normalise(_with_scale(simulated.trial, error))
        )
    ]
    assert [finding.outcome for finding in told] == ["not judged", "fail"]
    assert told[1].where == "C2"
    assert "the scale could show 0.04 g" in told[1].meaning
    sound = _with_scale(weighed().trial, 0.002)
    (none,) = leak_findings(sound, normalise(sound))
    assert none.outcome == "pass"


def _with_scale(trial: Trial, error: float | None) -> Trial:
    return replace(trial, setup=replace(trial.setup, balance_uncertainty_g=error))


def two_weighings(before: list[float], after: list[float]) -> tuple[Readings, tuple[Jar, ...]]:
    days = np.arange(1.0, len(before) + 1.0)
    columns = {"mass_before_g": np.array([before]), "mass_after_g": np.array([after])}
    return sim.readings_of(columns, days, 1), (
        Jar("J", "feed", "substrate", "seed", measured="mass"),
    )


def test_the_least_leak_that_the_scale_could_show() -> None:
    """LOD = 3 s √k (Standard BMP Methods 204): s 0.01 g, ten intervals: 0.0949 g."""
    steps = np.arange(11)
    readings, jars = two_weighings(list(500.0 - steps), list(499.5 - steps))
    found = leaks(readings, weighings(readings, jars), 0.01)
    assert found.detectable_g[0] == pytest.approx(0.094868, abs=1e-6)
    assert found.leaked_g[0] == pytest.approx(5.0)
    assert bool(found.found[0])
    assert np.isnan(leaks(readings, weighings(readings, jars), None).detectable_g[0])


def test_the_scales_uncertainty_from_its_checks() -> None:
    """Three checks of constant mass under a common drift and a scatter of 0.02 g."""
    rng = np.random.default_rng(1)
    days = np.arange(0.0, 60.0)
    mass = 400.0 + 0.01 * days + rng.normal(0.0, 0.02, (3, days.size))
    jars = tuple(Jar(f"D{n}", "dummy", "weight check", "", measured="mass") for n in range(3))
    readings = sim.readings_of({"mass_g": mass}, days, 3)
    told = balance_uncertainty_g(readings, jars, Setup("x", measured="mass"))
    assert told == pytest.approx(0.02, rel=0.15)
    stated = Setup("x", measured="mass", balance_uncertainty_g=0.5)
    assert balance_uncertainty_g(readings, jars, stated) == 0.5


def test_the_balances_error_reaches_the_result_of_a_density_share() -> None:
    simulated = weighed(with_volume=True, shares=False)
    yields = []
    for error in (0.001, 0.2):
        setup = replace(simulated.trial.setup, balance_uncertainty_g=error)
        yields.append(analyze(replace(simulated.trial, setup=setup)).yields[0])
    exact, loose = yields
    assert loose.value == exact.value
    assert loose.parts["share"][0] > 50.0 * exact.parts["share"][0]
    assert loose.u > exact.u
    assert loose.sd == exact.sd


def test_one_trial_may_mix_the_ways() -> None:
    """The same jar read by volume, by pressure and by mass in one trial: one yield."""
    parts = {
        way: simulate_trial(
            np.random.default_rng(8), way=way, feeds=SAME_SHARE, noise=QUIET, headspace_mL=350.0,
            outlet="closed", blanks=1, jars_per_material=1, ambient_kPa=100.0,
        )
        for way in ("volume", "pressure", "mass")
    }  # fmt: skip
    jars, columns, first = [], {}, parts["volume"].trial
    for number, (way, part) in enumerate(parts.items()):
        jars += [replace(jar, name=f"{jar.name} {way}", measured=way) for jar in part.trial.jars]
        for name, values in part.trial.readings.columns.items():
            table = columns.setdefault(name, np.full((6, values.size // 2), np.nan))
            table[2 * number : 2 * number + 2] = values.reshape(2, -1)
    readings = sim.readings_of(columns, parts["volume"].time_d, 6)
    setup = replace(first.setup, closed_between_readings=True)
    (one,) = analyze(replace(first, jars=tuple(jars), readings=readings, setup=setup)).yields
    assert len(one.jar_values) == 3
    assert one.jar_values == pytest.approx([one.value] * 3, rel=0.005)


def open_weighed(when_closed: bool) -> tuple[Trial, FloatArray]:
    """Open jars on a scale from an exact mass balance, and the methane that they made, NmL."""
    simulated = simulate_trial(
        np.random.default_rng(5), way="volume", feeds=SAME_SHARE, noise=QUIET, ambient_kPa=100.0
    )
    trial, lost_g = simulated.trial, np.cumsum(simulated.gas.metered_g, axis=1)
    jars, times = lost_g.shape
    time_d = trial.readings.time_d.reshape(jars, times)
    mass = 500.0 - lost_g
    if when_closed:
        time_d, mass = (np.insert(a, 0, v, axis=1) for a, v in ((time_d, 0.0), (mass, 500.0)))
    size = mass.size
    readings = replace(
        trial.readings,
        jar=np.repeat(np.arange(jars), mass.shape[1]),
        time_d=time_d.ravel(),
        columns={
            "mass_g": mass.ravel(),
            "methane_share": np.full(size, 0.6),
            "ambient_kPa": np.full(size, 100.0),
        },
        row=np.arange(size),
        not_vented=np.zeros(size, dtype=bool),
        note=("",) * size,
        taken=None,
        emptied=np.zeros(size, dtype=bool),
    )
    setup = replace(trial.setup, measured="mass", closed_between_readings=False)
    shut = tuple(replace(jar, measured="mass") for jar in trial.jars)
    return replace(trial, setup=setup, jars=shut, readings=readings), simulated.methane_NmL[:, -1]


def test_an_open_jar_weighed_late_is_said_to_have_lost_gas() -> None:
    trial, made = open_weighed(when_closed=True)
    gas = normalise(trial)
    last = np.append(np.flatnonzero(np.diff(gas.jar)), gas.jar.size - 1)
    assert gas.methane_NmL[last] == pytest.approx(made, rel=0.01)
    assert leak_findings(trial, gas) == ()
    late, _ = open_weighed(when_closed=False)
    short = normalise(late)
    ends = np.append(np.flatnonzero(np.diff(short.jar)), short.jar.size - 1)
    assert np.all(short.methane_NmL[ends] < 0.95 * made)
    (finding,) = leak_findings(late, short)
    assert finding.outcome == "fail"
    assert "first weighed on day 1" in finding.meaning
    assert "leak" not in finding.check
