"""Every model fitted to every jar, with what each fit says about its own errors. Arrays only."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from bmp.fit.curves import Curves
from bmp.fit.engine import BatchFit, fit_curves
from bmp.fit.model import Model
from bmp.fit.noise import carried_covariance, interval_variance
from bmp.trial import BoolArray, FloatArray


@dataclass(frozen=True, eq=False)
class Jarwise:
    """One model fitted to many curves. Every array has one row a curve."""

    fit: BatchFit
    curves: Curves
    fitted: BoolArray
    """False where there are fewer readings than parameters plus one, or no convergence."""
    variance: FloatArray
    """Error variance of each interval's gas, shape (jars, readings)."""
    covariance: FloatArray
    """Of the parameters when those errors add up, shape (jars, p, p); infinite where not fitted."""
    standard_error: FloatArray
    """Its square roots, within the jar; shape (jars, p)."""
    degrees: FloatArray
    """Readings less parameters, at least one. Shape (jars,)."""
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
        """Parameters, shape (jars, p)."""
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
    count, whole = curves.count, bool(curves.valid.all())
    value = curves.value if whole else np.where(curves.valid, curves.value, 0.0)
    residual = value - fit.line
    fitted = (count > len(model.names)) & fit.converged & np.isfinite(fit.named).all(axis=1)
    fitted &= fit.named[:, 0] != 0
    rss = np.einsum("ij,ij->i", residual, residual)
    spread = value - (value.sum(axis=1) / count)[:, None]
    if not whole:
        spread *= curves.valid
    total = np.einsum("ij,ij->i", spread, spread)
    safe_rss = np.where(rss > 0, rss, 1.0)
    step = np.diff(residual, axis=1)
    if not whole:
        step *= curves.valid[:, 1:]
    beside = np.einsum("ij,ij->i", residual[:, 1:], residual[:, :-1])
    variance, covariance = _errors(fit, curves, fitted)
    return Jarwise(
        fit=fit,
        curves=curves,
        fitted=fitted,
        variance=variance,
        covariance=covariance,
        standard_error=np.sqrt(np.maximum(np.einsum("ijj->ij", covariance), 0.0)),
        degrees=np.maximum(count - len(model.names), 1).astype(np.float64),
        rmse=np.sqrt(rss / count),
        r2=1.0 - rss / np.where(total > 0, total, 1.0),
        durbin_watson=np.einsum("ij,ij->i", step, step) / safe_rss,
        autocorrelation=beside / safe_rss,
    )


def _errors(fit: BatchFit, curves: Curves, fitted: BoolArray) -> tuple[FloatArray, FloatArray]:
    named = fit.named
    variance = np.zeros_like(curves.value)
    covariance = np.full((*named.shape, named.shape[1]), np.inf)
    if fitted.any():
        rows = slice(None) if fitted.all() else np.flatnonzero(fitted)
        part = curves.rows(rows)
        variance[rows] = interval_variance(part, fit.line[rows], named.shape[1])
        covariance[rows] = carried_covariance(fit.model, part, named[rows], variance[rows])
    return variance, covariance
