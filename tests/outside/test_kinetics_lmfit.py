"""Independent: thousands of random curves, the batched engine against lmfit.

lmfit runs here on formulas written out anew, from its own starting values, with analytic
derivatives by hand for the two main models; nothing of the engine goes into it. Unfinished and
nearly flat curves are among them; only parameters that the tool calls determined are compared,
and at least the stated share of curves must be among those.
"""

from __future__ import annotations

import lmfit
import numpy as np
import pytest

from bmp.fit.curves import Curves
from bmp.fit.identify import reasons
from bmp.fit.jarwise import fit_jarwise
from bmp.fit.models import MODELS
from bmp.trial import FloatArray

DAYS = np.arange(1.0, 31.0)
CURVES = 1500


def first_order(p: lmfit.Parameters, t: FloatArray, y: FloatArray) -> FloatArray:
    return p["B0"].value * (1 - np.exp(-p["k"].value * t)) - y


def first_order_slopes(p: lmfit.Parameters, t: FloatArray, y: FloatArray) -> FloatArray:
    left = np.exp(-p["k"].value * t)
    return np.array([1 - left, p["B0"].value * t * left])


def gompertz(p: lmfit.Parameters, t: FloatArray, y: FloatArray) -> FloatArray:
    b0, rm, lag = (p[name].value for name in ("B0", "Rm", "lag"))
    return b0 * np.exp(-np.exp(rm * np.e / b0 * (lag - t) + 1)) - y


def gompertz_slopes(p: lmfit.Parameters, t: FloatArray, y: FloatArray) -> FloatArray:
    b0, rm, lag = (p[name].value for name in ("B0", "Rm", "lag"))
    power = np.minimum(rm * np.e / b0 * (lag - t) + 1, 500)
    inner = np.exp(power)
    value = np.exp(-inner)
    change = inner * value  # −d(value)/d(power)
    return np.array([value + change * (power - 1), -change * np.e * (lag - t), -change * rm * np.e])


def random_curves(model: str, rng: np.random.Generator) -> Curves:
    """A third finished, a third unfinished, a third nearly flat or hardly bent; some noise."""
    b0 = rng.uniform(20, 600, CURVES)
    bend = np.exp(rng.uniform(np.log(0.05), np.log(15), CURVES))  # k·end
    if model == "first order":
        named = np.column_stack([b0, bend / DAYS[-1]])
    else:
        named = np.column_stack([b0, b0 * bend / DAYS[-1] / np.e, rng.uniform(0, 12, CURVES)])
    gas = np.diff(MODELS[model].value(DAYS, named), axis=1, prepend=0.0)
    size = np.exp(rng.uniform(np.log(1e-4), np.log(0.02), CURVES))
    value = np.cumsum(gas + (size * b0)[:, None] * rng.standard_normal(gas.shape), axis=1)
    return Curves(np.tile(DAYS, (CURVES, 1)), value, np.ones(value.shape, dtype=np.bool_))


def settled(name: str, y: FloatArray, start: FloatArray) -> tuple[FloatArray, float]:
    """Return lmfit's parameters and sum of squares for one curve."""
    residual, slopes = WRITTEN[name]
    given = lmfit.Parameters()
    for parameter, first in zip(MODELS[name].names, start, strict=True):
        given.add(parameter, value=float(first))
    tight = {"xtol": 1e-15, "ftol": 1e-15, "gtol": 1e-15}
    found = lmfit.minimize(residual, given, args=(DAYS, y), Dfun=slopes, col_deriv=1, **tight)
    return np.array([p.value for p in found.params.values()]), float(found.chisqr)


WRITTEN = {
    "first order": (first_order, first_order_slopes),
    "modified Gompertz": (gompertz, gompertz_slopes),
}


@pytest.mark.parametrize(("name", "share"), [("first order", 0.6), ("modified Gompertz", 0.5)])
def test_engine_ends_where_lmfit_does(name: str, share: float) -> None:
    model = MODELS[name]
    curves = random_curves(name, np.random.default_rng(20))
    fits = fit_jarwise(model, curves)
    compared = elsewhere = runaways = 0
    for i, why in enumerate(reasons(fits)):
        sure = np.array([not text for text in why])
        if not sure.any():
            continue
        y = curves.value[i]
        rough = [y.max(), 2.0 / DAYS[-1]] if len(why) == 2 else [y.max(), y.max() / 10, 1.0]
        values, rss = settled(name, y, np.array(rough))
        if rss > fits.fit.rss[i] * (1 + 1e-6):  # from a rough start lmfit may end in a worse place
            elsewhere += 1
            values, rss = settled(name, y, fits.named[i] * 1.03)
        if values[0] > 10 * y.max() and rss < fits.fit.rss[i] * (1 - 1e-9):  # a flat curve
            runaways += 1
            continue
        assert rss >= fits.fit.rss[i] * (1 - 1e-9)
        np.testing.assert_allclose(fits.named[i][sure], values[sure], rtol=1e-6)
        compared += int(sure.sum())
    assert compared > share * CURVES * len(model.names)
    assert elsewhere < 0.05 * CURVES
    assert runaways < 0.005 * CURVES  # lmfit found a lower sum of squares at no finite level
