"""Published: fits that R prints for its own data sets (`reference_data/r_self_start_fits`).

Tolerances are half a unit of the last printed digit, and 3e-5 of the standard error beside it:
R's `nls` stops when its relative offset, the way left over that to the edge of the confidence
region, is below 1e-5 (Bates & Watts 1988, section 2.2.3).
"""

from __future__ import annotations

import csv
from pathlib import Path

import numpy as np
import pytest

from bmp.fit.curves import Curves, pack
from bmp.fit.engine import fit_curves
from bmp.fit.model import Model
from bmp.fit.models import MODELS
from bmp.fit.reported import minimizer, reported_fit
from bmp.trial import FloatArray

FOLDER = Path(__file__).parents[2] / "reference_data" / "r_self_start_fits"


def data(name: str, *, log: bool = False) -> Curves:
    with (FOLDER / f"{name}.csv").open() as file:
        rows = np.array([list(map(float, row)) for row in list(csv.reader(file))[1:]])
    return pack([np.log(rows[:, 0]) if log else rows[:, 0]], [rows[:, 1]])


def printed(name: str, form: str) -> dict[str, tuple[float, float, float]]:
    """Return estimate, half a unit of its last digit, and standard error (NaN: not printed)."""
    found = {}
    with (FOLDER / "printed.csv").open() as file:
        for row in csv.DictReader(file):
            if (row["data"], row["form"]) == (name, form):
                digits = len(row["estimate"].partition(".")[2])
                error = float(row["standard_error"] or "nan")
                found[row["parameter"]] = (float(row["estimate"]), 0.5 * 10.0**-digits, error)
    assert found
    return found


def both_ways(model: Model, curves: Curves) -> FloatArray:
    """Return the engine's parameters after checking that lmfit ends there too."""
    named = fit_curves(model, curves).named[0]
    np.testing.assert_allclose(reported_fit(model, curves, named * 1.02), named, rtol=1e-7)
    return named


def standard_errors(model: Model, curves: Curves, named: FloatArray) -> FloatArray:
    work, derivative = minimizer(model, curves, named)
    found = work.leastsq(Dfun=derivative, col_deriv=1, xtol=1e-12, ftol=1e-12, gtol=1e-12)
    return np.array([parameter.stderr for parameter in found.params.values()])


def near(value: float, expected: tuple[float, float, float], error: float = 0.0) -> bool:
    error = error if np.isnan(expected[2]) else expected[2]
    return bool(abs(value - expected[0]) <= expected[1] + 3e-5 * error)


def test_bod_first_order() -> None:
    curves, model = data("bod"), MODELS["first order"]
    b0, k = both_ways(model, curves)
    expected = printed("bod", "first order")
    assert near(b0, expected["A"])
    assert near(np.log(k), expected["lrc"])
    se_b0, se_k = standard_errors(model, curves, np.array([b0, k]))
    assert se_b0 == pytest.approx(expected["A"][2], abs=5e-4)
    assert se_k / k == pytest.approx(expected["lrc"][2], abs=5e-4)  # SE(ln k) = SE(k)/k


def test_dnase_gompertz_through_rate_and_lag() -> None:
    """Asym exp(−b2 b3^x) is modified Gompertz with c = −ln b3: Rm = Asym c/e, lag = (ln b2 − 1)/c.

    x is a logarithm, so lag is negative here; 4 is added to x, which moves lag by 4 and nothing
    else (Zwietering et al. 1990, Table 2, for the parameters).
    """
    curves = data("dnase_run1", log=True)
    shifted = Curves(curves.time_d + 4.0, curves.value, curves.valid)
    b0, rm, lag = both_ways(MODELS["modified Gompertz"], shifted)
    expected = printed("dnase_run1", "Gompertz")
    c = rm * np.e / b0
    assert near(b0, expected["Asym"])
    assert near(np.exp(c * (lag - 4.0) + 1.0), expected["b2"])
    assert near(np.exp(-c), expected["b3"])
    errors = standard_errors(MODELS["modified Gompertz"], shifted, np.array([b0, rm, lag]))
    assert errors[0] == pytest.approx(expected["Asym"][2], abs=5e-6)


def test_dnase_logistic() -> None:
    """Asym/(1 + exp((xmid − x)/scal)): Rm = Asym/(4 scal), lag = xmid − 2 scal."""
    curves = data("dnase_run1", log=True)
    shifted = Curves(curves.time_d + 4.0, curves.value, curves.valid)
    b0, rm, lag = both_ways(MODELS["modified logistic"], shifted)
    expected = printed("dnase_run1", "logistic")
    scal = b0 / (4 * rm)
    assert near(float(fit_curves(MODELS["modified logistic"], shifted).rss[0]), expected["RSS"])
    assert near(b0, expected["Asym"])
    # standard errors of the logistic coefficients: about 0.08 and 0.03, by lmfit on the same data
    assert near(scal, expected["scal"], 0.03)
    assert near(lag - 4.0 + 2 * scal, expected["xmid"], 0.08)


def test_co2_first_order_with_lag() -> None:
    """Asym (1 − exp(−exp(lrc)(x − c0))) is first order with lag where x > c0 everywhere."""
    curves, model = data("co2_qn1"), MODELS["first order with lag"]
    b0, k, lag = both_ways(model, curves)
    expected = printed("co2_qn1", "first order with offset")
    assert near(b0, expected["Asym"])
    assert near(np.log(k), expected["lrc"])
    assert near(lag, expected["c0"])
    errors = standard_errors(model, curves, np.array([b0, k, lag]))
    assert errors[0] == pytest.approx(expected["Asym"][2], abs=5e-5)
    assert errors[1] / k == pytest.approx(expected["lrc"][2], abs=5e-5)
    assert errors[2] == pytest.approx(expected["c0"][2], abs=5e-5)


def test_chick_logistic_fits_to_r2_0998_and_its_level_is_still_not_determined() -> None:
    """R² is no measure of what is known: the level has a standard error of half its size."""
    from bmp.fit.material import MaterialCurves, fit_materials

    curves, model = data("chick1"), MODELS["modified logistic"]
    expected = printed("chick1", "logistic")
    after = Curves(curves.time_d + 4.0, curves.value, curves.valid)  # day 0 is a reading here
    b0, rm, lag = both_ways(model, after)
    scal = b0 / (4 * rm)
    error = standard_errors(model, after, np.array([b0, rm, lag]))
    assert error[0] > 0.45 * b0
    assert near(b0, expected["Asym"], error[0])
    assert near(scal, expected["scal"], 0.9)
    assert near(lag - 4.0 + 2 * scal, expected["xmid"], 8.3)
    curves = MaterialCurves(list(after.time_d), list(after.value))
    fit = fit_materials([curves])[0].models["modified logistic"]
    assert fit.r2 is not None
    assert fit.r2 > 0.997
    assert fit.parameters["B0"].value is None
    assert not fit.identified
