"""Intervals: between jars from three jars on, within the jar only for one or two.

Jars are the independent unit: the t-interval over per-jar values holds whatever the noise within
a jar looks like, which no interval from one fit to cumulative readings does.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np

from bmp.fit.curves import Curves
from bmp.fit.engine import fit_curves
from bmp.fit.model import Model
from bmp.trial import FloatArray

BETWEEN: Final = "between jars"
WITHIN: Final = "within the jar only"


def t_quantile(degrees: float | FloatArray) -> FloatArray:
    """Return the two-sided 95 % point of Student's t."""
    from scipy.special import stdtrit

    quantile: FloatArray = np.asarray(stdtrit(degrees, 0.975), dtype=np.float64)
    return quantile


def between_jars(values: Sequence[float] | FloatArray) -> float | None:
    """Return half the width of the 95 % t-interval of the mean over jars.

    Parameters
    ----------
    values
        One value a jar; `None` is returned for fewer than three.
    """
    jars = np.asarray(values, dtype=np.float64)
    if jars.size < 3:
        return None
    return float(t_quantile(jars.size - 1) * jars.std(ddof=1) / np.sqrt(jars.size))


def within_jar(
    model: Model, curves: Curves, near: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Fit the gas of each interval, weighted by what its residuals show.

    The variance of an interval's gas is taken as a² + b² g², g the fitted gas: both parts are
    estimated from the residuals of the unweighted fit, then the fit is repeated under them.

    Parameters
    ----------
    model
        A row of `bmp.fit.models.MODELS`.
    curves
        The jars, readings at day 0 left out.
    near
        Named parameters to start from, shape (jars, parameters).

    Returns
    -------
    named, covariance, degrees
        Parameters, shape (jars, p); their covariance, shape (jars, p, p); degrees of freedom,
        shape (jars,).
    """
    named = fit_curves(model, curves, intervals=True, near=near).named
    weight = np.ones_like(curves.value)
    for _ in range(2):
        gas = _interval_gas(model, curves, named)
        weight = _weight(curves, gas, np.diff(curves.value, axis=1, prepend=0.0) - gas)
        named = fit_curves(model, curves, intervals=True, weight=weight, near=named).named
    weight = weight * curves.valid
    residual = np.diff(curves.value, axis=1, prepend=0.0) - _interval_gas(model, curves, named)
    gradient = np.diff(model.gradient(curves.time_d, named), axis=1, prepend=0.0)
    degrees = np.maximum(curves.count - named.shape[1], 1).astype(np.float64)
    variance = ((weight * residual) ** 2).sum(axis=1) / degrees
    gradient = gradient * weight[:, :, None]
    normal = np.einsum("ijk,ijl->ikl", gradient, gradient)
    scale = np.sqrt(np.maximum(np.einsum("ijj->ij", normal), 1e-300))
    outer = scale[:, :, None] * scale[:, None, :]
    inverse = np.linalg.inv(normal / outer + 1e-13 * np.eye(named.shape[1])) / outer
    return named, inverse * variance[:, None, None], degrees


def _interval_gas(model: Model, curves: Curves, named: FloatArray) -> FloatArray:
    gas: FloatArray = np.diff(model.value(curves.time_d, named), axis=1, prepend=0.0)
    return gas


def _weight(curves: Curves, gas: FloatArray, residual: FloatArray) -> FloatArray:
    """Return 1/σ of each interval from the least-squares line of e² over g², both parts ≥ 0."""
    valid = curves.valid
    count = valid.sum(axis=1)
    square, error = np.where(valid, gas**2, 0.0), np.where(valid, residual**2, 0.0)
    mean_square, mean_error = square.sum(axis=1) / count, error.sum(axis=1) / count
    apart = np.where(valid, square - mean_square[:, None], 0.0)
    spread = np.einsum("ij,ij->i", apart, apart)
    part = np.einsum("ij,ij->i", apart, error) / np.where(spread > 0, spread, 1.0)
    most = mean_error / np.where(mean_square > 0, mean_square, 1.0)
    part = np.clip(part, 0.0, most)
    constant = mean_error - part * mean_square
    floor = 0.02 * mean_error
    variance = np.maximum(constant, floor)[:, None] + part[:, None] * square
    return np.where(valid, 1.0 / np.sqrt(np.maximum(variance, 1e-300)), 0.0)
