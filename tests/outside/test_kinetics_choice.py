"""Independent: simulated trials as people read them. A model is chosen, its level and rate hold.

A short version of `tests/benchmarks/kinetics_choice.py`: 150 trials a cell, so that 95 % has a
standard error of 1.8 %; the limit is about three of them away.
"""

from __future__ import annotations

import pytest

from tests.benchmarks.kinetics_choice import CASES, measure
from tests.benchmarks.simulated import Case

TRIALS = 150


@pytest.mark.parametrize("case", CASES[:4], ids=lambda case: case.label)
def test_a_model_is_chosen_and_level_and_rate_hold(case: Case) -> None:
    chosen, shares = measure(case, 4, TRIALS, seed=3)
    assert chosen["none"] <= 0.05 * TRIALS
    (b0_given, rate_given, _), (b0_held, rate_held, _) = shares
    assert min(b0_given, rate_given) >= 0.95
    assert min(b0_held, rate_held) >= 0.895
