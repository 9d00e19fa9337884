"""When a planned jar may stop, recomputed day by day (document 100 v1.9)."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from bmp.plan.draft import make_draft
from bmp.plan.gas import stop_day
from tests.plan_requests import LITERATURE, OPEN


def by_hand(feed_NmL: float, k: float, blank_NmL: float, blank_k: float) -> int:
    days = np.arange(0, 1000)
    net = feed_NmL * -np.expm1(-k * days)
    own = net + blank_NmL * -np.expm1(-blank_k * days)
    slow = np.diff(own) < 0.01 * net[1:]
    return next(d for d in range(3, 1000) if slow[d - 3 : d].all())


@pytest.mark.parametrize("k", [0.013, 0.05, 0.1, 0.2, 0.3, 0.5, 0.73])
def test_stop_day_with_the_inoculum_and_without(k: float) -> None:
    dose = make_draft(OPEN, LITERATURE).doses[2]
    feed, inoculum = LITERATURE["food waste"], LITERATURE["inoculum"]
    blank_k = float(np.sqrt(inoculum.k_per_d.low * inoculum.k_per_d.high))
    feed_NmL = dose.sample_VS_g * feed.methane_NmL_per_gVS.middle
    blank_NmL = dose.inoculum_VS_g * inoculum.methane_NmL_per_gVS.middle
    assert stop_day(dose, feed, inoculum, k) == by_hand(feed_NmL, k, blank_NmL, blank_k)
    alone = replace(dose, inoculum_VS_g=0.0)
    assert stop_day(alone, feed, inoculum, k) == by_hand(feed_NmL, k, 0.0, 1.0)
    assert stop_day(dose, feed, inoculum, k) >= stop_day(alone, feed, inoculum, k)
