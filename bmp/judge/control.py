"""The positive control against its own published limits: whether it vouches for its trial."""

from __future__ import annotations

import numpy as np

from bmp.judge.criteria import CURRENT, Criterion, Facts, judge, read_criteria, reason
from bmp.judge.facts import is_cellulose
from bmp.net import MaterialYield
from bmp.trial import Trial

VOUCHING = ("mean_yield", "rsd_percent", "three_day_rate_percent")
"""Facts of a control that tell whether it vouches; too few jars make its scatter unsure only."""

FURTHEST_CONTROL = 0.75
"""A control further than this from its accepted range (ratio) says nothing of what feeds would give
(judgement)."""


def why_control_fails(one: MaterialYield, trial: Trial) -> str:
    """Return why a control does not vouch for its trial, a clause; empty where it does.

    A control that is not cellulose has no accepted range and is held to the others.
    """
    ranged = is_cellulose(trial.material(one.material)) and one.per == "VS"
    values = {
        "mean_yield": one.value if ranged and not trial.setup.gross else None,
        "rsd_percent": None if one.sd is None or one.value <= 0 else 100.0 * one.sd / one.value,
        "three_day_rate_percent": one.three_day_rate_percent,
    }
    known = {name: np.array([value]) for name, value in values.items() if value is not None}
    facts = Facts("control", [one.series], known)
    found = judge([facts], [row for row in read_criteria() if _vouches(row)])
    return "; ".join(reason(finding) for finding in found if finding.outcome == "fail")


def accepted_range() -> tuple[float, float]:
    """Return the accepted yield of cellulose, NmL CH4/g VS, from the published criteria."""
    return next(
        (row.low, row.high)
        for row in read_criteria()
        if _vouches(row) and row.low is not None and row.high is not None
    )


def is_too_far(value: float) -> bool:
    """Tell whether a cellulose control lies too far off for a tank to be planned with its trial."""
    low, high = accepted_range()
    return value < FURTHEST_CONTROL * low or value > high / FURTHEST_CONTROL


def _vouches(row: Criterion) -> bool:
    return row.rule_set == CURRENT and row.of == "control" and row.value in VOUCHING
