"""No plan lets a jar pass what its vessel bears: random requests against hard curves."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from bmp.plan.literature import read_literature
from bmp.plan.plan import plan_trial
from bmp.plan.read_request import read_request
from tests.plan_hard_curves import (
    CURVES,
    MOST_IN_A_DAY,
    MOST_IN_THREE_DAYS,
    highest_VS,
    tally,
    worst,
)

EXAMPLE = Path(__file__).parents[1] / "examples" / "cheese_dairy_request"


def test_no_accepted_plan_passes_its_limit() -> None:
    found = tally(500, seed=1)
    assert found.accepted >= 150
    assert len(found.held) >= 490
    by_kind = {kind: [h[kind] for h in found.held if kind in h] for kind in ("rating", "collector")}
    for kind in ("rating", "planned pressure", "collector"):
        these = [h[kind] for h in found.held if kind in h]
        assert len(these) >= 150
        over = max(these, key=lambda h: h.ratio)
        assert over.ratio <= 1, f"{kind}: {over.ratio:.2f} at {over.at}"
    # The limits are used, not avoided.
    assert max(h.ratio for h in by_kind["rating"]) > 0.4
    assert max(h.ratio for h in by_kind["collector"]) > 0.8


def test_the_curves_are_as_full_as_real_jars() -> None:
    time_d = np.linspace(0, 40, 4001)
    for curve in CURVES:
        share = curve.share(time_d)
        assert np.all(np.diff(share) >= -1e-12)
        assert share[0] == pytest.approx(0)
        day = float((share[100:] - share[:-100]).max())
        assert day == pytest.approx(curve.fullest_day, abs=0.02)
        assert day <= MOST_IN_A_DAY + 0.015
        three = float((share[300:] - share[:-300]).max())
        assert three <= MOST_IN_THREE_DAYS + 0.05


def test_the_examples_collector_holds_its_gas() -> None:
    plan_request, literature = read_request(EXAMPLE).request, read_literature()
    plan = plan_trial(plan_request, literature)
    assert worst(plan, highest_VS())["collector"].ratio <= 1
