"""Stop days of a noise-free first-order curve, recomputed day by day (document 100 v1.9)."""

from __future__ import annotations

import numpy as np
import pytest

from bmp.plan.gas import stop_day


@pytest.mark.parametrize("share", [0.01, 0.005])
@pytest.mark.parametrize("k", [0.013, 0.05, 0.1, 0.2, 0.3, 0.5, 0.73])
def test_stop_day(k: float, share: float) -> None:
    days = np.arange(0, 400)
    total = -np.expm1(-k * days)
    slow = np.diff(total) / total[1:] < share
    expected = next(d for d in range(3, 400) if slow[d - 3 : d].all())
    assert stop_day(k, share) == expected
