"""Times to half and 90 % of the yield, and the highest daily rate and its day.

The times are read off the jars' own curves, so they hold whatever the shape; the highest rate is
the model's, since the largest of many noisy intervals is always too large.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from bmp.estimate import Estimate
from bmp.fit.curves import Curves, crossing
from bmp.fit.interval import estimate
from bmp.fit.jarwise import Jarwise
from bmp.trial import FloatArray, IntArray

NO_MODEL = "no model could be fitted"


def time_to_share(curves: Curves, share: float, fits: Jarwise | None, rows: IntArray) -> Estimate:
    """Return when a material first reached a share of the yield measured at its end.

    Parameters
    ----------
    curves
        Its jars.
    share
        Between 0 and 1.
    fits, rows
        The chosen model's fits and the jars' rows in them, for the error within a jar; `None`
        where no model could be fitted.

    Notes
    -----
    Within a jar, the reading errors e_k up to the time t weigh (1 − share), those after it share:
    Var(t) = ((1 − s)² Σ_{k≤t} σ_k² + s² Σ_{k>t} σ_k²) / rate(t)².
    """
    if (curves.value[:, -1] <= 0).any():
        return Estimate(None, "d", why="a jar ended without net gas")
    days, error, degrees = times_of_jars(curves, share, fits, rows)
    return estimate(float(days.mean()), "d", days, error, degrees)


def times_of_jars(
    curves: Curves, share: float, fits: Jarwise | None, rows: IntArray
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return each jar's time as `time_to_share`, its standard error and degrees of freedom.

    The error is infinite where none can be told. Shapes (jars,).
    """
    last = curves.value[:, -1]
    days = crossing(curves, share * last)
    error, degrees = np.full(len(rows), np.inf), np.ones(len(rows))
    if fits is not None:
        before = curves.time_d <= days[:, None]
        weight = np.where(before, 1.0 - share, share)
        spread = np.sqrt((weight**2 * fits.variance[rows]).sum(axis=1))
        rate = fits.model.rate(days[:, None], fits.named[rows])[:, 0]
        rising = rate * curves.end_d > 1e-6 * last
        error = np.where(rising, spread / np.where(rising, rate, 1.0), np.inf)
        degrees = fits.degrees[rows]
    return days, error, degrees


def peak(
    models: Sequence[Jarwise], rows: IntArray, rate_unit: str, no_model: str = NO_MODEL
) -> tuple[Estimate, Estimate]:
    """Return the highest daily rate of a material and its day.

    Readings days apart leave open how steep the curve is between them: the interval spans what all
    models say that the readings do not rule out.

    Parameters
    ----------
    models, rows
        Fits of the models that the readings do not rule out, the chosen one first, and the
        material's rows in them; none: no model follows the curve.
    rate_unit
        Unit of the rate.
    no_model
        Why there is none.
    """
    if not models:
        return Estimate(None, rate_unit, why=no_model), Estimate(None, "d", why=no_model)
    rates, days = zip(*(_peak_of(fits, rows, rate_unit) for fits in models), strict=True)
    return _spanning(rates), _spanning(days)


def _spanning(estimates: Sequence[Estimate]) -> Estimate:
    """Return the first estimate with the interval that spans those of all."""
    limits = [one.ci95 for one in estimates if one.ci95 is not None]
    if estimates[0].ci95 is None:
        return estimates[0]
    lows = [low for low, _ in limits if low is not None]
    highs = [high for _, high in limits if high is not None]
    return replace(estimates[0], ci95=(min(lows, default=None), max(highs, default=None)))


def _peak_of(fits: Jarwise, rows: IntArray, rate_unit: str) -> tuple[Estimate, Estimate]:
    named = fits.named[rows]
    rate, day = fits.model.peak(named)
    rate_error, day_error = _carried(fits, rows, named)
    degrees = fits.degrees[rows]
    return (
        estimate(float(rate.mean()), rate_unit, rate, rate_error, degrees),
        estimate(float(day.mean()), "d", day, day_error, degrees),
    )


def _carried(fits: Jarwise, rows: IntArray, named: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return the standard errors of rate and day that the parameters' errors leave."""
    count = named.shape[1]
    by_parameter = np.empty((2, len(rows), count))
    for i in range(count):
        step = 1e-5 * np.maximum(np.abs(named[:, i]), 1e-3)
        shift = np.zeros_like(named)
        shift[:, i] = step
        up, down = fits.model.peak(named + shift), fits.model.peak(named - shift)
        by_parameter[:, :, i] = [(u - d) / (2 * step) for u, d in zip(up, down, strict=True)]
    variance = np.einsum("qji,jik,qjk->qj", by_parameter, fits.covariance[rows], by_parameter)
    error = np.sqrt(np.maximum(variance, 0.0))
    return error[0], error[1]
