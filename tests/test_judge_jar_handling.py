"""What readings imply of how jars were handled."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from bmp.assumptions import assumptions
from bmp.jar_columns import jar_columns
from bmp.judge.jar_handling import handling_findings
from bmp.net import blank_means, net_curves, series_yields, yield_records
from bmp.normalise import normalise
from bmp.trial import Trial
from tests.simulate_trials import CELLULOSE, Noise, simulate_trial

QUIET = Noise(0, 0, 0, 0, 0, 0, 0, 0, 0)


def mass_trial(headspace_mL: float) -> Trial:
    rng = np.random.default_rng(2)
    return simulate_trial(
        rng, way="mass", feeds=(CELLULOSE,), noise=QUIET, headspace_mL=headspace_mL
    ).trial


def test_a_weighed_jar_that_would_have_burst() -> None:
    trial = mass_trial(60.0)
    (finding,) = handling_findings(trial, normalise(trial))
    assert finding.check == "pressure in shut jars"
    assert finding.value > 200.0
    assert "write in the table trial: outlet, open" in finding.advice
    open_jars = replace(trial, setup=replace(trial.setup, closed_between_readings=False))
    assert handling_findings(open_jars, normalise(open_jars)) == ()
    roomy = mass_trial(2000.0)
    assert handling_findings(roomy, normalise(roomy)) == ()


def test_a_syringe_that_leaves_less_than_the_flush_gas() -> None:
    trial = simulate_trial(
        np.random.default_rng(2), way="volume", feeds=(CELLULOSE,), noise=QUIET, shares=False
    ).trial
    size = trial.readings.jar.size
    columns = {
        **trial.readings.columns,
        "syringe_gas_mL": np.full(size, 20.0),
        "syringe_gas_left_mL": np.full(size, 6.0),
    }
    trial = replace(trial, readings=replace(trial.readings, columns=columns))
    gas = normalise(trial)
    finding = handling_findings(trial, gas)[-1]
    assert finding.check == "syringe against flush gas"
    assert finding.outcome == "fail"
    jars = jar_columns(trial)
    blanks = blank_means(gas, jars)
    curves = net_curves(gas, jars, blanks)
    yields = yield_records(series_yields(gas, jars, curves, blanks), jars)
    told = assumptions(trial, gas, blanks, curves, yields)
    assert any("What caustic leaves in a syringe" in sentence for sentence in told)
    assert any("taken to be open" in sentence for sentence in told)
