"""TS and VS against a published worked example and the general package `uncertainties`."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from uncertainties import ufloat

from bmp.solids import solids_from_crucibles


def test_published_worked_example() -> None:
    """wastewatercalculators.com, solids page: 100 g wet, 40 g dry, 10 g ash.

    TS 40 %, VS 75 % of TS; the tare is ours, because masses there are without the dish.
    """
    tare = 25.0
    found = solids_from_crucibles([tare], [tare + 100], [tare + 40], [tare + 10])
    assert found.VS is not None
    assert found.VS_of_TS is not None
    assert found.TS.value == pytest.approx(0.40, abs=1e-12)
    assert found.VS_of_TS.value == pytest.approx(0.75, abs=1e-12)
    assert found.VS.value == pytest.approx(0.30, abs=1e-12)


@settings(max_examples=50, deadline=None)
@given(
    tare=st.floats(10, 60),
    fresh=st.floats(5, 60),
    TS=st.floats(0.02, 0.98),
    share=st.floats(0.05, 0.98),
    balance=st.sampled_from([0.0001, 0.001, 0.01]),
)
def test_balance_propagates_as_in_the_uncertainties_package(
    tare: float, fresh: float, TS: float, share: float, balance: float
) -> None:
    dry = tare + fresh * TS
    ash = dry - fresh * TS * share
    t, w, d, a = (ufloat(m, balance) for m in (tare, tare + fresh, dry, ash))
    found = solids_from_crucibles([tare], [tare + fresh], [dry], [ash], balance_u_g=balance)
    expected = ((d - t) / (w - t), (d - a) / (w - t), (d - a) / (d - t))
    for one, other in zip((found.TS, found.VS, found.VS_of_TS), expected, strict=True):
        assert one is not None
        assert one.u is not None
        assert one.value == pytest.approx(other.nominal_value, rel=1e-9)
        assert one.u == pytest.approx(other.std_dev, rel=1e-6)


def test_standard_error_of_three_crucibles_is_scipy_sem() -> None:
    from scipy.stats import sem

    tare, wet = np.array([20.1, 21.3, 19.8]), np.array([45.2, 47.0, 44.1])
    dry, ash = np.array([21.42, 22.61, 21.05]), np.array([20.5, 21.69, 20.18])
    found = solids_from_crucibles(tare, wet, dry, ash)
    assert found.VS is not None
    assert found.TS.u == pytest.approx(sem((dry - tare) / (wet - tare)), rel=1e-12)
    assert found.VS.u == pytest.approx(sem((dry - ash) / (wet - tare)), rel=1e-12)
