"""Every model fitted to every jar, with what each fit says about its own errors. Arrays only."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from bmp.fit.curves import Curves
from bmp.fit.engine import BatchFit, fit_curves
from bmp.fit.model import Model
from bmp.trial import BoolArray, FloatArray


@dataclass(frozen=True, eq=False)
class Jarwise:
    """One model fitted to many curves. Every array has one row a curve."""

    fit: BatchFit
    curves: Curves
    fitted: BoolArray
    """False where there are fewer readings than parameters plus one, or no convergence."""
    standard_error: FloatArray
    """Of each parameter, under errors that add up; shape (jars, parameters)."""
    rmse: FloatArray
    r2: FloatArray
    durbin_watson: FloatArray
    autocorrelation: FloatArray
    """Of neighbouring residuals."""

    @property
    def model(self) -> Model:
        """The model."""
        return self.fit.model

    @property
    def named(self) -> FloatArray:
        """Parameters, shape (jars, parameters)."""
        return self.fit.named


def fit_jarwise(model: Model, curves: Curves) -> Jarwise:
    """Fit one model to every curve and work out residual figures and standard errors.

    Parameters
    ----------
    model
        A row of `bmp.fit.models.MODELS`.
    curves
        The curves, one row each.
    """
    fit = fit_curves(model, curves)
    residual = np.where(curves.valid, curves.value - model.value(curves.time_d, fit.named), 0.0)
    count = curves.count
    enough = count > len(model.names)
    finite = np.isfinite(fit.named).all(axis=1)
    fitted = enough & fit.converged & finite
    rss = np.einsum("ij,ij->i", residual, residual)
    mean = np.where(curves.valid, curves.value, 0.0).sum(axis=1) / count
    spread = np.where(curves.valid, curves.value - mean[:, None], 0.0)
    total = np.einsum("ij,ij->i", spread, spread)
    safe_rss = np.where(rss > 0, rss, 1.0)
    step = np.diff(residual, axis=1) * curves.valid[:, 1:]
    beside = np.einsum("ij,ij->i", residual[:, 1:], residual[:, :-1])
    return Jarwise(
        fit=fit,
        curves=curves,
        fitted=fitted,
        standard_error=_summed_error(model, curves, fit.named, residual, fitted),
        rmse=np.sqrt(rss / count),
        r2=1.0 - rss / np.where(total > 0, total, 1.0),
        durbin_watson=np.einsum("ij,ij->i", step, step) / safe_rss,
        autocorrelation=beside / safe_rss,
    )


def _summed_error(
    model: Model, curves: Curves, named: FloatArray, residual: FloatArray, fitted: BoolArray
) -> FloatArray:
    """Return the standard error of each parameter when reading errors add up along the curve.

    With independent errors of the interval gas, e_k, the running total at i carries Σ_{k≤i} e_k,
    so an error enters the least-squares solution through S_k = Σ_{i≥k} J_i and
    cov = (J'J)⁻¹ (Σ e_k² S_k S_k') (J'J)⁻¹ n/(n − p): the sandwich form of White 1980
    (Econometrica 48:817), here with the interval residuals.
    """
    error = np.full(named.shape, np.inf)
    rows = np.flatnonzero(fitted)
    if not rows.size:
        return error
    part = curves.rows(rows)
    gradient = model.gradient(part.time_d, named[rows]) * part.valid[:, :, None]
    scale = np.sqrt(np.einsum("ijk,ijk->ik", gradient, gradient))
    scale = np.where(scale > 0, scale, 1.0)
    gradient /= scale[:, None, :]
    normal = np.einsum("ijk,ijl->ikl", gradient, gradient)
    inverse = np.linalg.inv(normal + 1e-13 * np.eye(named.shape[1]))
    after = np.flip(np.cumsum(np.flip(gradient, axis=1), axis=1), axis=1)
    step = np.diff(residual[rows], axis=1, prepend=0.0) * part.valid
    weighted = after * step[:, :, None]
    middle = np.einsum("ijk,ijl->ikl", weighted, weighted)
    freedom = part.count / np.maximum(part.count - named.shape[1], 1)
    variance = np.einsum("ijk,ikl,ijl->ij", inverse, middle, inverse) * freedom[:, None]
    error[rows] = np.sqrt(np.maximum(variance, 0.0)) / scale
    return error
