"""What the gas of each interval says about the errors, and what that makes of a fit.

Errors of interval gas add up in the running total, so neighbouring residuals of a fit to
cumulative readings belong together and its own standard errors are several times too small. Here
the error variance of each interval is estimated from the residuals of the interval gas, and
carried through the least-squares solution.
"""

from __future__ import annotations

from typing import Final

import numpy as np

from bmp.fit.curves import Curves
from bmp.fit.model import Model
from bmp.trial import FloatArray

SHARES_THAT_GROW: Final = (0.0, 0.2, 0.5, 0.8, 0.9, 0.95, 0.98, 0.99, 0.997, 0.999, 0.9999)
"""Shares of an interval's error variance, at its mean, that grow with its gas: none to all."""
SINGULAR: Final = 1e-10
"""Smallest eigenvalue of the scaled normal matrix below which parameters are one and the same."""


def interval_variance(model: Model, curves: Curves, named: FloatArray) -> FloatArray:
    """Return the error variance of each interval's gas.

    The variance is taken as a² + b² g², g the fitted gas of the interval (the first reading
    stands for itself): the share of the two is the most likely one of `SHARES_THAT_GROW` given
    the residuals, the size follows from them with n − p degrees of freedom.

    Parameters
    ----------
    model
        A row of `bmp.fit.models.MODELS`.
    curves
        The jars.
    named
        Parameters of the fit, shape (jars, p).

    Returns
    -------
    numpy.ndarray
        Unit of the curve squared, shape (jars, readings); zero beyond a jar's last reading.
    """
    valid, count = curves.valid, curves.count
    gas = np.diff(model.value(curves.time_d, named), axis=1, prepend=0.0)
    square = np.where(valid, gas**2, 0.0)
    error = np.where(valid, (np.diff(curves.value, axis=1, prepend=0.0) - gas) ** 2, 0.0)
    mean_square = square.sum(axis=1, keepdims=True) / count[:, None]
    relative = square / np.where(mean_square > 0, mean_square, 1.0)
    best, variance = np.full(len(count), -np.inf), np.zeros_like(gas)
    for share in SHARES_THAT_GROW:
        form = np.where(valid, (1 - share) + share * relative, 1.0)
        size = np.einsum("ij,ij->i", error, 1.0 / form)
        likely = -count * np.log(np.maximum(size, 1e-300)) - np.log(form).sum(axis=1)
        better = likely > best
        best = np.where(better, likely, best)
        degrees = np.maximum(count - named.shape[1], 1)
        variance = np.where(better[:, None], form * (size / degrees)[:, None], variance)
    return np.where(valid, variance, 0.0)


def carried_covariance(
    model: Model, curves: Curves, named: FloatArray, variance: FloatArray
) -> FloatArray:
    """Return the covariance of least-squares parameters when interval errors add up.

    The running total at reading i carries Σ_{k≤i} e_k, so e_k enters the solution through
    S_k = Σ_{i≥k} J_i, and cov = (J'J)⁻¹ (Σ_k σ_k² S_k S_k') (J'J)⁻¹: the covariance of ordinary
    least squares under correlated errors (Seber & Wild 1989, Nonlinear Regression, ch. 6).

    Parameters
    ----------
    model, curves, named
        As in `interval_variance`.
    variance
        Of each interval's gas, shape (jars, readings).

    Returns
    -------
    numpy.ndarray
        Shape (jars, p, p); infinite where the parameters cannot be told apart at all.
    """
    gradient = model.gradient(curves.time_d, named) * curves.valid[:, :, None]
    scale = np.sqrt(np.einsum("ijk,ijk->ik", gradient, gradient))
    scale = np.where(scale > 1e-100, scale, 1.0)
    gradient /= scale[:, None, :]
    normal = np.einsum("ijk,ijl->ikl", gradient, gradient)
    inverse = np.linalg.inv(normal + 1e-13 * np.eye(named.shape[1]))
    after = np.flip(np.cumsum(np.flip(gradient, axis=1), axis=1), axis=1)
    after *= np.sqrt(variance)[:, :, None]
    middle = np.einsum("ijk,ijl->ikl", after, after)
    covariance: FloatArray = inverse @ middle @ inverse / (scale[:, :, None] * scale[:, None, :])
    covariance[np.linalg.eigvalsh(normal)[:, 0] < SINGULAR] = np.inf
    return covariance
