"""Equal feeds are called different in at most 6 % of simulated trials, in every cell."""

from tests.benchmarks.null_error import DESIGNS, SPREADS, cells


def test_no_cell_finds_too_much() -> None:
    """6000 trials: a share of 5 % has a standard error of 0.3 %, and three of it are allowed."""
    found = list(cells(6000))
    assert len(found) == len(DESIGNS) * len(SPREADS)
    assert max(one.ours for one in found) < 6.0
    # what the rule is for: two jars against six
    assert max(one.welch for one in found if one.design == "2 jars against 6") > 9.0
