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
from bmp.fit.small_matrices import SMALLEST, diagonal, inverse, product
from bmp.trial import BoolArray, FloatArray, IntArray

SHARES_THAT_GROW: Final = (0.0, 0.2, 0.5, 0.8, 0.9, 0.95, 0.98, 0.99, 0.997, 0.999, 0.9999)
"""Shares of an interval's error variance, at its mean, that grow with its gas: none to all."""
SINGULAR: Final = 1e-10
"""Smallest eigenvalue of the scaled normal matrix below which parameters are one and the same."""


def interval_variance(curves: Curves, line: FloatArray, parameters: int) -> FloatArray:
    """Return the error variance of each interval's gas.

    The variance is taken as a² + b² g², g the fitted gas of the interval (the first reading
    stands for itself): the share of the two is the most likely one of `SHARES_THAT_GROW` given
    the residuals, the size follows from them with n − p degrees of freedom.

    Parameters
    ----------
    curves
        The jars.
    line
        The fitted curves at their readings, shape (jars, readings).
    parameters
        Parameters of the model.

    Returns
    -------
    numpy.ndarray
        Unit of the curve squared, shape (jars, readings); zero beyond a jar's last reading.
    """
    count = curves.count
    gas = np.diff(line, axis=1, prepend=0.0)
    error = (np.diff(curves.value, axis=1, prepend=0.0) - gas) ** 2
    square = gas**2
    if not curves.valid.all():
        error, square = (np.where(curves.valid, x, 0.0) for x in (error, square))
    mean_square = square.sum(axis=1, keepdims=True) / count[:, None]
    relative = square / np.where(mean_square > 0, mean_square, 1.0)
    # readings first: what belongs to a jar is then taken with all its readings at once
    error, relative = np.ascontiguousarray(error.T), np.ascontiguousarray(relative.T)
    beyond = curves.valid.shape[1] - count
    likely = np.stack([_likely(error, relative, count, beyond, s) for s in SHARES_THAT_GROW])
    form = _form(relative, np.array(SHARES_THAT_GROW)[likely.argmax(axis=0)])
    size = (error / form).sum(axis=0) / np.maximum(count - parameters, 1)
    variance = np.ascontiguousarray((form * size).T)
    return variance if curves.valid.all() else np.where(curves.valid, variance, 0.0)


def _form(relative: FloatArray, share: FloatArray | float) -> FloatArray:
    """Return each interval's variance over the mean one."""
    form: FloatArray = share * relative
    form += 1 - share
    return form


def _likely(
    error: FloatArray, relative: FloatArray, count: IntArray, beyond: IntArray, share: float
) -> FloatArray:
    """Return the logarithm of the likelihood of a share, short of a constant. Shape (jars,).

    Parameters
    ----------
    error, relative
        Squared errors and gas, shape (readings, jars); nought beyond a jar's last reading.
    count, beyond
        Readings of each jar, and rows beyond them.
    """
    form = _form(relative, share)
    # logarithms are dear: one for every eight factors, which cannot leave the range of numbers
    logs = sum(np.log(form[i : i + 8].prod(axis=0)) for i in range(0, len(form), 8))
    logs -= beyond * np.log(1 - share)
    size = np.einsum("ij,ij->j", error, 1.0 / form)
    likely: FloatArray = -count * np.log(np.maximum(size, 1e-300)) - logs
    return likely


def carried_covariance(
    model: Model, curves: Curves, named: FloatArray, variance: FloatArray
) -> FloatArray:
    """Return the covariance of least-squares parameters when interval errors add up.

    The running total at reading i carries Σ_{k≤i} e_k, so e_k enters the solution through
    S_k = Σ_{i≥k} J_i, and cov = (J'J)⁻¹ (Σ_k σ_k² S_k S_k') (J'J)⁻¹: the covariance of ordinary
    least squares under correlated errors (Seber & Wild 1989, Nonlinear Regression, ch. 6).

    Parameters
    ----------
    model, curves
        The model and the jars.
    named
        Parameters of the fit, shape (jars, p).
    variance
        Of each interval's gas, shape (jars, readings).

    Returns
    -------
    numpy.ndarray
        Shape (jars, p, p); infinite where the parameters cannot be told apart at all.
    """
    slopes = model.search_gradient(curves.time_d, named)
    if not curves.valid.all():
        slopes = [slope * curves.valid for slope in slopes]
    # the sums are taken in search coordinates: only their few numbers are then turned
    turn = model.search_jacobian(named).transpose(1, 2, 0)
    normal = normal_matrix(slopes, slopes, turn)
    from_last = variance[:, ::-1]
    after = [np.cumsum(slope[:, ::-1], axis=1) for slope in slopes]
    middle = normal_matrix([one * from_last for one in after], after, turn)
    inverted = inverse(normal)
    covariance = product(product(inverted, middle), inverted).transpose(2, 0, 1)
    covariance[_singular(normal, inverted)] = np.inf
    return covariance


def normal_matrix(left: list[FloatArray], right: list[FloatArray], turn: FloatArray) -> FloatArray:
    """Return the sums of products over the readings, in named parameters.

    `turn` is the Jacobian of the search coordinates, shape (p, p, jars) as the sums.
    """
    sums = np.empty(turn.shape)
    for i, one in enumerate(left):
        for j, other in enumerate(right[: i + 1]):
            sums[i, j] = sums[j, i] = np.einsum("ij,ij->i", one, other)
    return product(product(turn.transpose(1, 0, 2), sums), turn)


def _singular(normal: FloatArray, inverted: FloatArray) -> BoolArray:
    """Tell where the smallest eigenvalue of the matrix, scaled to ones, is too small.

    It is at least one over the trace of the inverse, so that few have to be worked out.
    """
    square = diagonal(normal)
    singular: BoolArray = ~(np.einsum("kkj,kj->j", inverted, square) < 0.5 / SINGULAR)
    few, size = normal[:, :, singular], np.sqrt(np.maximum(square[:, singular], SMALLEST))
    scaled = (few / (size[:, None] * size)).transpose(2, 0, 1)
    singular[singular] = np.linalg.eigvalsh(scaled)[:, 0] < SINGULAR
    return singular
