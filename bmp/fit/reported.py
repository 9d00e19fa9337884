"""The fit that is reported: one curve through all jars of a material, by lmfit.

The batched engine has found the optimum; lmfit settles it with analytic derivatives and tight
tolerances, from a general library that others can check, and gives profile intervals.
"""

from __future__ import annotations

from importlib import import_module
from typing import Any, Final

import numpy as np

from bmp.fit.curves import Curves
from bmp.fit.model import Model
from bmp.trial import FloatArray

TOLERANCE: Final = 1e-14


def minimizer(model: Model, curves: Curves, start: FloatArray) -> tuple[Any, Any]:
    """Return the lmfit minimizer of one curve through all readings, and its derivative function.

    A lag that the data put at day 0, the end of its range, is held there.

    Parameters
    ----------
    model
        A row of `bmp.fit.models.MODELS`.
    curves
        The jars of one material.
    start
        Named parameters to start from, shape (parameters,).
    """
    lmfit: Any = import_module("lmfit")

    time, value = curves.time_d[curves.valid], curves.value[curves.valid]
    parameters = lmfit.Parameters()
    for parameter, first in zip(model.parameters, start, strict=True):
        low = 0.0 if parameter.positive else -np.inf
        held = parameter.at_least is not None and first <= parameter.at_least
        parameters.add(parameter.name, value=float(first), min=low, vary=not held)

    def residual(current: Any) -> FloatArray:
        away: FloatArray = model.value(time, _named(current))[0] - value
        return away

    def derivative(current: Any) -> FloatArray:
        varied = [i for i, p in enumerate(current.values()) if p.vary]
        by_parameter: FloatArray = model.gradient(time, _named(current))[0].T[varied]
        return by_parameter

    return lmfit.Minimizer(residual, parameters), derivative


def _named(parameters: Any) -> FloatArray:
    return np.array([[parameter.value for parameter in parameters.values()]])


def reported_fit(model: Model, curves: Curves, start: FloatArray) -> FloatArray:
    """Return the named parameters of the least-squares curve through all readings.

    Parameters
    ----------
    model, curves, start
        As in `minimizer`.
    """
    work, derivative = minimizer(model, curves, start)
    found = work.leastsq(
        Dfun=derivative, col_deriv=1, xtol=TOLERANCE, ftol=TOLERANCE, gtol=TOLERANCE
    )
    return _named(found.params)[0] if found.chisqr <= _rss(model, curves, start) else start


def _rss(model: Model, curves: Curves, named: FloatArray) -> float:
    """Return the sum of squares of a curve, with the last bits of rounding granted."""
    residual = model.value(curves.time_d[curves.valid], named[None])[0] - curves.value[curves.valid]
    return float(residual @ residual) * (1 + 1e-9) + 1e-24
