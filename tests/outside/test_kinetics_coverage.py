"""Independent: simulated trials. Does a 95 % interval hold the true value in 95 % of them?

A short version of `tests/benchmarks/kinetics_coverage.py`: 600 trials a cell, so 95 % has a
standard error of 0.9 %; the limits are about four of them away.
"""

from __future__ import annotations

import numpy as np
import pytest

from tests.benchmarks.kinetics_coverage import CASES, between, within
from tests.benchmarks.kinetics_forecast import simulated
from tests.benchmarks.simulated import NOISE, Case

TRIALS = 600


@pytest.mark.parametrize("case", CASES, ids=lambda case: case.label)
@pytest.mark.parametrize("noise", NOISE)
def test_intervals_between_three_jars_hold(case: Case, noise: str) -> None:
    held = between(case, noise, 3, 0.05, TRIALS, seed=3)
    assert (held > 0.915).all()
    assert (held < 0.985).all()


@pytest.mark.parametrize("case", CASES, ids=lambda case: case.label)
@pytest.mark.parametrize("noise", ["additive", "multiplicative"])
def test_intervals_within_one_jar_hold_where_the_usual_ones_do_not(case: Case, noise: str) -> None:
    """The steepest Gompertz curve under proportional noise reaches 90 %, as the README says."""
    held, usual = within(case, noise, TRIALS, seed=4)
    assert (held > (0.87 if case.label == "modified Gompertz, Rm 60, lag 1" else 0.90)).all()
    assert usual[0] < 0.7
    assert (usual < held).all()


def test_independent_errors_make_the_interval_within_a_jar_wider_than_need_be() -> None:
    held, usual = within(CASES[0], "independent", TRIALS, seed=5)
    assert (held > 0.99).all()
    assert np.abs(usual - 0.95).max() < 0.035


@pytest.mark.parametrize(("k", "share", "begins"), [(0.25, 0.3, 14.0), (0.4, 0.4, 10.0)])
def test_forecasts_hold_though_a_second_phase_follows(
    k: float, share: float, begins: float
) -> None:
    case = Case("", "first order", (350.0, k), np.arange(1.0, 46.0))
    count = simulated(
        case, 10.0, 60, second_share=share, second_d=begins, blank_share=0.2, solids_u=0.02
    )
    assert np.mean(count.held) >= 0.85
    assert np.mean(count.stop_held) >= 0.85


@pytest.mark.parametrize("day", [10.0, 20.0])
def test_forecasts_hold_the_errors_of_blank_and_solids(day: float) -> None:
    """Among the worst cells of the benchmark: half of the gas is the blank's."""
    case = Case("", "first order", (350.0, 0.25), np.arange(1.0, 46.0))
    count = simulated(case, day, 60, blank_share=0.5, solids_u=0.03, one_phase=True)
    assert len(count.held) >= 0.6 * count.trials
    assert np.mean(count.held) >= 0.85
    assert np.mean(count.stop_held) >= 0.85
