"""The reported fit by lmfit, and the least yield that an unfinished curve allows."""

from __future__ import annotations

import numpy as np
import pytest

from bmp.fit.curves import pack
from bmp.fit.jarwise import fit_jarwise
from bmp.fit.models import MODELS
from bmp.fit.reported import least_yield, reported_fit
from tests.fit_curves_made import made_jars


@pytest.mark.parametrize("model", ["first order", "modified Gompertz", "modified logistic"])
def test_settles_where_the_slope_of_the_sum_of_squares_is_zero(model: str) -> None:
    named = (350.0, 0.15) if model == "first order" else (350.0, 25.0, 3.0)
    times, curves = made_jars(model, named, noise=3.0)
    packed = pack(times, curves)
    found = reported_fit(MODELS[model], packed, np.array(named) * 1.1)
    rows = np.repeat(found[None], 3, axis=0)
    residual = packed.value - MODELS[model].value(packed.time_d, rows)
    gradient = MODELS[model].gradient(packed.time_d, rows)
    slope = np.einsum("ij,ijk->k", residual, gradient)
    size = np.linalg.norm(residual) * np.sqrt(np.einsum("ijk,ijk->k", gradient, gradient))
    assert (np.abs(slope) < 1e-7 * size).all()


def test_a_worse_end_is_not_taken() -> None:
    times, curves = made_jars("first order", (350, 0.15))
    packed = pack(times, curves)
    best = reported_fit(MODELS["first order"], packed, np.array([350.0, 0.15]))
    np.testing.assert_allclose(reported_fit(MODELS["first order"], packed, best), best, rtol=1e-9)


def test_least_yield_is_below_the_truth_in_nearly_all_unfinished_curves() -> None:
    """One-sided 97.5 %: of 60 simulated curves at most a handful lie above the truth."""
    days = np.arange(1.0, 16.0)
    times, curves = made_jars("first order", (350, 0.04), jars=60, days=days, scatter=0, noise=2)
    fits = fit_jarwise(MODELS["first order"], pack(times, curves))
    limits = np.array([least_yield(fits, row) for row in range(60)])
    assert (limits < 350).mean() > 0.9
    # and it says more than the last reading does
    assert np.median(limits / fits.curves.value[:, -1]) > 1.1
