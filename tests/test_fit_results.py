"""Records of a fit as they are handed on."""

from __future__ import annotations

import json

import numpy as np

from bmp.fit.results import fitted_curve
from tests.fit_curves_made import fits_of, made_jars


def test_results_go_into_json_without_a_number_that_is_none() -> None:
    fits = fits_of(*made_jars("first order", (350, 0.2)))
    for fit in fits.models.values():
        text = json.dumps([fit.to_dict(), *(jar.to_dict() for jar in fit.jars)], allow_nan=False)
        assert "rmse" in text
    plain = fits.models["first order"].to_dict()
    assert list(plain)[:2] == ["B0", "k"]
    assert set(plain) >= {"rmse", "r2", "aicc", "identified"}
    assert len(plain["B0"]["ci95"]) == 2


def test_fitted_curve_draws_the_reported_line() -> None:
    fit = fits_of(*made_jars("first order", (350, 0.2))).models["first order"]
    assert fit.curve is not None
    days = np.array([0.0, 1.0, 10.0])
    b0, k = fit.curve["B0"], fit.curve["k"]
    assert fit.parameters["B0"].value == b0
    expected = b0 * (1 - np.exp(-k * days))
    np.testing.assert_allclose(fitted_curve(fit.model, fit.curve, days), expected)


def test_no_curve_no_line() -> None:
    assert fitted_curve("first order", None, np.array([1.0])).size == 0
