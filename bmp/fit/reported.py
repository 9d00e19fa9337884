"""The fit that is reported: one curve through all jars of a material, by lmfit.

The batched engine has found the optimum; lmfit settles it with analytic derivatives and tight
tolerances, from a general library that others can check, and gives profile intervals.
"""

from __future__ import annotations

from collections.abc import Mapping
from importlib import import_module
from typing import Any, Final

import numpy as np

from bmp.fit.curves import Curves
from bmp.fit.jarwise import Jarwise
from bmp.fit.model import Model
from bmp.statistics import critical_t
from bmp.trial import FloatArray

TOLERANCE: Final = 1e-14
PROFILE_STEPS: Final = 9


LARGEST: Final = 1e100
"""Beyond it no figure is a yield, and lmfit cannot square it."""


def minimizer(
    model: Model,
    curves: Curves,
    start: FloatArray,
    *,
    weight: FloatArray | None = None,
    held: Mapping[str, float] | None = None,
) -> tuple[Any, Any]:
    """Return the lmfit minimizer of one curve through all readings, and its derivative function.

    Parameters
    ----------
    model
        A row of `bmp.fit.models.MODELS`.
    curves
        The jars of one material.
    start
        Named parameters to start from, shape (parameters,).
    weight
        Fit the gas of the intervals of one jar instead of its running total, each divided by its
        standard deviation: 1/σ, shape (readings,).
    held
        Parameters that stay at the given value. A lag that the data put at day 0, the end of its
        range, is held there too.
    """
    lmfit: Any = import_module("lmfit")
    time, value = curves.time_d[curves.valid], curves.value[curves.valid]
    parameters = lmfit.Parameters()
    for parameter, first in zip(model.parameters, start, strict=True):
        low = 0.0 if parameter.positive else -np.inf
        free = parameter.at_least is None or first > parameter.at_least
        parameters.add(parameter.name, value=float(first), min=low, vary=bool(free))
    for name, fixed in (held or {}).items():
        parameters[name].set(value=fixed, vary=False)

    def seen(along: FloatArray) -> FloatArray:
        if weight is None:
            return along
        return np.diff(along, axis=-1, prepend=0.0) * weight

    def residual(current: Any) -> FloatArray:
        with np.errstate(all="ignore"):
            line = model.value(time, _named(current))[0]
        return seen(np.nan_to_num(line, nan=0.0, posinf=0.0, neginf=0.0) - value)

    def derivative(current: Any) -> FloatArray:
        varied = [i for i, p in enumerate(current.values()) if p.vary]
        # a step to where a parameter is zero has no derivative there: it counts as flat
        with np.errstate(all="ignore"):
            gradient = model.gradient(time, _named(current))[0].T[varied]
        return seen(np.nan_to_num(gradient, nan=0.0, posinf=0.0, neginf=0.0))

    # a step outside of what a model can be gives NaN; the search then ends where it started
    return lmfit.Minimizer(residual, parameters, nan_policy="propagate"), derivative


def _named(parameters: Any) -> FloatArray:
    return np.array([[parameter.value for parameter in parameters.values()]])


def reported_fit(model: Model, curves: Curves, start: FloatArray) -> FloatArray:
    """Return the named parameters of the least-squares curve through all readings.

    Parameters
    ----------
    model, curves, start
        As in `minimizer`.
    """
    if np.abs(start).max() > LARGEST:
        return start
    work, derivative = minimizer(model, curves, start)
    found = work.leastsq(
        Dfun=derivative, col_deriv=1, xtol=TOLERANCE, ftol=TOLERANCE, gtol=TOLERANCE
    )
    return _named(found.params)[0] if found.chisqr <= _rss(model, curves, start) else start


def _rss(model: Model, curves: Curves, named: FloatArray) -> float:
    """Return the sum of squares of a curve, with the last bits of rounding granted."""
    residual = model.value(curves.time_d[curves.valid], named[None])[0] - curves.value[curves.valid]
    return float(residual @ residual) * (1 + 1e-9) + 1e-24


def least_yield(fits: Jarwise, row: int) -> float:
    """Return the lower 95 % profile limit of B0 from the interval gas of one jar.

    B0 is held at lower and lower values and the other parameters are fitted anew, each interval
    weighted by its error variance, until the sum of squares has risen by t² of its mean square
    (Bates & Watts 1988, Nonlinear Regression Analysis and Its Applications, ch. 6). The limit
    exists even where the curve has not bent and B0 has no upper one.

    Parameters
    ----------
    fits
        Fits of one model.
    row
        The jar.
    """
    curves = fits.curves.rows(slice(row, row + 1))
    last, best = float(curves.value[0, -1]), fits.named[row]
    if last <= 0 or np.abs(best).max() > LARGEST:
        return last
    weight = 1.0 / np.sqrt(np.maximum(fits.variance[row], (1e-6 * last) ** 2))[curves.valid[0]]
    high = min(float(best[0]), 20.0 * last)
    low = 0.5 * last
    if high <= low:
        return last
    least = _held(fits.model, curves, weight, best, high)
    allowed = least[0] * (1 + float(critical_t(fits.degrees[row])) ** 2 / float(fits.degrees[row]))
    start = least[1]
    for _ in range(PROFILE_STEPS):
        middle = float(np.sqrt(low * high))
        square, found = _held(fits.model, curves, weight, start, middle)
        if square > allowed:
            low = middle
        else:
            high, start = middle, found
    return low


def _held(
    model: Model, curves: Curves, weight: FloatArray, start: FloatArray, b0: float
) -> tuple[float, FloatArray]:
    """Fit the interval gas with B0 held; return the weighted sum of squares and parameters."""
    work, derivative = minimizer(model, curves, start, weight=weight, held={model.names[0]: b0})
    found = work.leastsq(Dfun=derivative, col_deriv=1, xtol=1e-8, ftol=1e-8)
    return float(found.chisqr), _named(found.params)[0]
