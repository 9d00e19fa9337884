"""Certified: NIST StRD nonlinear sets through the engine and through lmfit.

Source: National Institute of Standards and Technology, Statistical Reference Datasets, the
original files in `reference_data/nist_strd`.
"""

from __future__ import annotations

import re
from pathlib import Path

import numpy as np
import pytest

from bmp.fit.curves import Curves, pack
from bmp.fit.engine import fit_curves
from bmp.fit.models import MODELS
from bmp.fit.reported import minimizer, reported_fit
from bmp.trial import FloatArray

FOLDER = Path(__file__).parents[2] / "reference_data" / "nist_strd"


def read(name: str) -> tuple[Curves, FloatArray, FloatArray, float]:
    """Return the data, certified parameters, their standard deviations and the RSS."""
    text = (FOLDER / f"{name}.dat").read_text()
    first, last = map(int, re.findall(r"Data +\(lines +(\d+) to +(\d+)\)", text)[0])
    data = np.array([line.split() for line in text.splitlines()[first - 1 : last]], dtype=float)
    rows = re.findall(r"^ +b\d = +\S+ +\S+ +(\S+) +(\S+)$", text, flags=re.MULTILINE)
    certified = np.array(rows, dtype=float)
    rss = float(re.findall(r"Residual Sum of Squares: +(\S+)", text)[0])
    return pack([data[:, 1]], [data[:, 0]]), certified[:, 0], certified[:, 1], rss


@pytest.mark.parametrize("name", ["BoxBOD", "Misra1a"])
def test_first_order_gives_the_certified_parameters(name: str) -> None:
    curves, certified, _, rss = read(name)
    model = MODELS["first order"]
    fit = fit_curves(model, curves)
    # 11 digits are certified; a sum of squares fixes parameters to about half its own digits
    np.testing.assert_allclose(fit.named[0], certified, rtol=1e-8)
    assert fit.rss[0] == pytest.approx(rss, rel=1e-9)
    # MINPACK stops when the sum of squares no longer falls: half the digits of the parameters
    np.testing.assert_allclose(reported_fit(model, curves, certified * 1.3), certified, rtol=1e-7)


@pytest.mark.parametrize("name", ["BoxBOD", "Misra1a"])
def test_analytic_derivatives_give_the_certified_standard_errors(name: str) -> None:
    curves, certified, deviation, rss = read(name)
    gradient = MODELS["first order"].gradient(curves.time_d, certified[None])[0]
    variance = np.diag(np.linalg.inv(gradient.T @ gradient)) * rss / (len(gradient) - 2)
    np.testing.assert_allclose(np.sqrt(variance), deviation, rtol=1e-9)


@pytest.mark.parametrize(("name", "start"), [("BoxBOD", (100.0, 0.75)), ("Misra1a", (250.0, 5e-4))])
def test_lmfit_with_our_derivatives_reports_the_certified_errors(
    name: str, start: tuple[float, float]
) -> None:
    """From NIST's own second starting point."""
    curves, certified, deviation, _ = read(name)
    work, derivative = minimizer(MODELS["first order"], curves, np.array(start))
    found = work.leastsq(Dfun=derivative, col_deriv=1, xtol=1e-14, ftol=1e-14, gtol=1e-14)
    values = np.array([p.value for p in found.params.values()])
    errors = np.array([p.stderr for p in found.params.values()])
    np.testing.assert_allclose(values, certified, rtol=1e-7)
    np.testing.assert_allclose(errors, deviation, rtol=1e-6)


def test_modified_logistic_gives_the_certified_logistic_curve() -> None:
    """Rat42: Rm = b1 b3/4 and lag = (b2 − 2)/b3 (Zwietering et al. 1990, Table 2)."""
    curves, (b1, b2, b3), _, rss = read("Rat42")
    model = MODELS["modified logistic"]
    expected = [b1, b1 * b3 / 4, (b2 - 2) / b3]
    fit = fit_curves(model, curves)
    np.testing.assert_allclose(fit.named[0], expected, rtol=1e-8)
    assert fit.rss[0] == pytest.approx(rss, rel=1e-9)
    start = np.array(expected) * [1.1, 0.9, 1.1]
    np.testing.assert_allclose(reported_fit(model, curves, start), expected, rtol=1e-8)


@pytest.mark.parametrize("model", ["modified Gompertz", "modified logistic"])
def test_a_real_curve_with_a_falling_plateau_ends_alike_in_both(model: str) -> None:
    """Independent: Rat43, whose own form is another; lmfit from another start is the check."""
    curves, _, _, _ = read("Rat43")
    fit = fit_curves(MODELS[model], curves).named[0]
    again = reported_fit(MODELS[model], curves, fit * [1.2, 0.8, 1.1])
    np.testing.assert_allclose(again, fit, rtol=1e-7)


def test_misra_stops_far_below_its_plateau_and_the_bod_set_has_no_lag() -> None:
    """The optimum is right, and what the readings do not show is still said."""
    from bmp.fit.material import MaterialCurves, fit_materials

    curves, certified, _, _ = read("BoxBOD")
    fits = fit_materials([MaterialCurves(list(curves.time_d), list(curves.value))])[0]
    assert fits.models["first order"].parameters["B0"].value == pytest.approx(
        certified[0], rel=1e-8
    )
    gompertz = fits.models["modified Gompertz"]
    assert gompertz.curve is not None
    assert gompertz.curve["lag"] < 0
    assert gompertz.parameters["lag"].value is None
