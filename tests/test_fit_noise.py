"""Errors of interval gas, and how they go through a fit."""

from __future__ import annotations

import numpy as np
import pytest

from bmp.fit.curves import Curves, pack
from bmp.fit.engine import fit_curves
from bmp.fit.models import MODELS
from bmp.fit.noise import carried_covariance, interval_variance

MODEL = MODELS["first order"]
DAYS = np.arange(1.0, 41.0)
NAMED = np.array([[350.0, 0.15]])
GAS = np.diff(MODEL.value(DAYS, NAMED)[0], prepend=0.0)


def many(error: np.ndarray) -> Curves:
    value = np.cumsum(GAS + error, axis=1)
    return Curves(np.tile(DAYS, (len(error), 1)), value, np.ones(value.shape, dtype=np.bool_))


def test_variance_of_errors_of_one_size() -> None:
    rng = np.random.default_rng(1)
    curves = many(3.0 * rng.standard_normal((400, 40)))
    variance = interval_variance(curves, MODEL.value(DAYS, np.repeat(NAMED, 400, axis=0)), 2)
    # 400 jars: the mean of s² is within a few percent of 9; n − p degrees are taken off n residuals
    assert variance.mean() == pytest.approx(9.0 * 40 / 38, rel=0.05)


def test_variance_in_proportion_to_the_gas() -> None:
    rng = np.random.default_rng(2)
    curves = many(0.1 * GAS * rng.standard_normal((400, 40)))
    variance = interval_variance(curves, MODEL.value(DAYS, np.repeat(NAMED, 400, axis=0)), 2).mean(
        axis=0
    )
    expected = (0.1 * GAS) ** 2 * 40 / 38
    np.testing.assert_allclose(variance[:20], expected[:20], rtol=0.25)


def test_carried_covariance_is_that_of_repeated_fits() -> None:
    """4,000 simulated fits scatter as the formula says (Monte Carlo, standard error about 2 %)."""
    rng = np.random.default_rng(3)
    curves = many(2.0 * rng.standard_normal((4000, 40)))
    found = fit_curves(MODEL, curves).named
    one = Curves(DAYS[None], MODEL.value(DAYS, NAMED), np.ones((1, 40), dtype=np.bool_))
    expected = carried_covariance(MODEL, one, NAMED, np.full((1, 40), 4.0))[0]
    np.testing.assert_allclose(np.cov(found.T), expected, rtol=0.1)


def test_errors_that_add_up_make_the_usual_standard_error_far_too_small() -> None:
    rng = np.random.default_rng(4)
    curves = many(3.5 * rng.standard_normal((500, 40)))
    fit = fit_curves(MODEL, curves)
    gradient = MODEL.gradient(DAYS, fit.named)
    normal = np.einsum("ijk,ijl->ikl", gradient, gradient)
    usual = np.sqrt(np.linalg.inv(normal)[:, 0, 0] * fit.rss / 38)
    variance = interval_variance(curves, fit.line, 2)
    carried = np.sqrt(carried_covariance(MODEL, curves, fit.named, variance)[:, 0, 0])
    assert np.median(usual) < 0.25 * fit.named[:, 0].std()
    assert np.median(carried) == pytest.approx(fit.named[:, 0].std(), rel=0.1)


def test_padding_carries_no_error() -> None:
    short = pack([DAYS[:20]], [MODEL.value(DAYS, NAMED)[0, :20] + np.sin(DAYS[:20])])
    padded = pack([DAYS, DAYS[:20]], [MODEL.value(DAYS, NAMED)[0], short.value[0]])
    alone = interval_variance(short, MODEL.value(short.time_d, NAMED), 2)
    beside = interval_variance(padded, MODEL.value(padded.time_d, np.repeat(NAMED, 2, axis=0)), 2)
    np.testing.assert_allclose(beside[1, :20], alone[0])
    assert (beside[1, 20:] == 0).all()
    np.testing.assert_allclose(
        carried_covariance(MODEL, padded, np.repeat(NAMED, 2, axis=0), beside)[1],
        carried_covariance(MODEL, short, NAMED, alone)[0],
    )
