"""Independent: simulated trials whose blanks, inoculum and volatile solids are uncertain.

A short version of `tests/benchmarks/kinetics_intervals.py`: 1500 trials a cell, so 95 % has a
standard error of 0.6 %. 93 to 97 % was aimed at; the limits leave two standard errors.
"""

from __future__ import annotations

import numpy as np
import pytest

from tests.benchmarks.kinetics_intervals import TRUTHS, Cell, Truth, held


@pytest.mark.parametrize("own", [False, True], ids=["even", "scatters"])
@pytest.mark.parametrize("jars", [3, 4, 5])
@pytest.mark.parametrize("share", [0.1, 0.5])
@pytest.mark.parametrize(
    ("truth", "schedule"), [(TRUTHS[1], "every 3 d"), (TRUTHS[4], "irregular")]
)
def test_intervals_hold_with_the_errors_of_blank_and_solids(
    truth: Truth, schedule: str, share: float, jars: int, own: bool
) -> None:
    cell = Cell(truth, schedule, share, 0.03, jars, own)
    for quantity, percent in held(cell, 1500, np.random.default_rng(31)).items():
        assert 91.8 < percent < 98.4, quantity


def test_without_the_blank_they_would_not() -> None:
    """What the rows of the blank are worth: the jars' own scatter alone."""
    cell = Cell(TRUTHS[1], "daily", 0.5, 0.0, 5, False)
    assert held(cell, 1500, np.random.default_rng(32), with_blank=False)["B0"] < 80
