"""Times to half and 90 % of the yield, and the highest daily rate and its day.

The times are read off the jars' own curves, so they hold whatever the shape; the highest rate is
the model's, since the largest of many noisy intervals is always too large.
"""

from __future__ import annotations

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
    fits: Jarwise | None, rows: IntArray, rate_unit: str, no_model: str = NO_MODEL
) -> tuple[Estimate, Estimate]:
    """Return the highest daily rate of a material and its day.

    Parameters
    ----------
    fits, rows
        The chosen model's fits and the material's rows in them; `None`: there is none.
    rate_unit
        Unit of the rate.
    no_model
        Why there is none.
    """
    if fits is None:
        return Estimate(None, rate_unit, why=no_model), Estimate(None, "d", why=no_model)
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
