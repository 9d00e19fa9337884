"""Every model fitted to every jar, with what each fit says about its own errors. Arrays only."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property

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
    degrees: FloatArray
    """Readings less parameters, at least one. Shape (jars,)."""
    residual: FloatArray
    """Shape (jars, readings); nought beyond a jar's last reading."""
    variance: FloatArray
    """Error variance of each interval's gas, shape (jars, readings)."""
    covariance: FloatArray
    """Of the parameters when those errors add up, shape (jars, p, p); infinite where not fitted or
    not worked out."""

    @property
    def model(self) -> Model:
        """The model."""
        return self.fit.model

    @property
    def named(self) -> FloatArray:
        """Parameters, shape (jars, p)."""
        return self.fit.named

    @cached_property
    def standard_error(self) -> FloatArray:
        """Square roots of the covariance, within the jar; shape (jars, p)."""
        error: FloatArray = np.sqrt(np.maximum(np.einsum("ijj->ij", self.covariance), 0.0))
        return error

    @cached_property
    def rmse(self) -> FloatArray:
        """Root of the mean square of the residuals."""
        return np.sqrt(self.fit.rss / self.curves.count)

    @cached_property
    def r2(self) -> FloatArray:
        """Share of the readings' variance that the model explains."""
        valid, value = self.curves.valid, self.curves.value
        mean = np.where(valid, value, 0.0).sum(axis=1) / self.curves.count
        spread = np.where(valid, value - mean[:, None], 0.0)
        total = np.einsum("ij,ij->i", spread, spread)
        share: FloatArray = 1.0 - self.fit.rss / np.where(total > 0, total, 1.0)
        return share

    @cached_property
    def durbin_watson(self) -> FloatArray:
        """Durbin-Watson figure of the residuals."""
        step = np.diff(self.residual, axis=1) * self.curves.valid[:, 1:]
        figure: FloatArray = np.einsum("ij,ij->i", step, step) / self._safe_rss
        return figure

    @cached_property
    def autocorrelation(self) -> FloatArray:
        """Of neighbouring residuals."""
        beside: FloatArray = np.einsum("ij,ij->i", self.residual[:, 1:], self.residual[:, :-1])
        return beside / self._safe_rss

    @property
    def _safe_rss(self) -> FloatArray:
        return np.where(self.fit.rss > 0, self.fit.rss, 1.0)


def fit_jarwise(model: Model, curves: Curves, errors: bool = True) -> Jarwise:
    """Fit one model to every curve.

    Parameters
    ----------
    model
        A row of `bmp.fit.models.MODELS`.
    curves
        The curves, one row each.
    errors
        With variances and covariances; without, `with_errors` works them out for some curves.
    """
    fit, count = fit_curves(model, curves), curves.count
    fitted = (count > len(model.names)) & fit.converged & np.isfinite(fit.named).all(axis=1)
    fitted &= fit.named[:, 0] != 0
    value = curves.value if curves.valid.all() else np.where(curves.valid, curves.value, 0.0)
    bare = Jarwise(
        fit=fit,
        curves=curves,
        fitted=fitted,
        degrees=np.maximum(count - len(model.names), 1).astype(np.float64),
        residual=value - fit.line,
        variance=np.zeros_like(curves.value),
        covariance=np.full((*fit.named.shape, fit.named.shape[1]), np.inf),
    )
    return with_errors(bare, fitted) if errors else bare


def with_errors(fits: Jarwise, wanted: BoolArray) -> Jarwise:
    """Return fits with the variances and covariances of those wanted, shape (jars,)."""
    wanted = wanted & fits.fitted
    if not wanted.any():
        return fits
    rows = slice(None) if wanted.all() else np.flatnonzero(wanted)
    part, named = fits.curves.rows(rows), fits.named[rows]
    variance, covariance = fits.variance.copy(), fits.covariance.copy()
    variance[rows] = interval_variance(part, fits.fit.line[rows], named.shape[1])
    covariance[rows] = carried_covariance(fits.model, part, named, variance[rows])
    return replace(fits, variance=variance, covariance=covariance)
