"""Which parameters a curve determines, and in plain words why the others are not numbers."""

from __future__ import annotations

from typing import Final, TypeAlias

import numpy as np
from numpy.typing import NDArray

from bmp.fit.jarwise import Jarwise
from bmp.fit.model import Parameter
from bmp.runs import first
from bmp.statistics import critical_t
from bmp.trial import BoolArray, FloatArray, IntArray

TextArray: TypeAlias = NDArray[np.object_]

# Relative standard error above which a number would mislead. Common practice, no source: at 30 %
# the 95 % interval spans a factor of about four.
WIDEST_ERROR: Final = 0.3
WIDEST_RATE_ERROR: Final = 0.5
FURTHEST_EXTRAPOLATION: Final = 3.0
"""B0 above this many times the last reading is not read off the curve any more."""
FEWEST_ON_THE_RISE: Final = 3

NOT_FITTED: Final = "too few readings for this model"
NO_OPTIMUM: Final = "no single best curve: the readings do not show what this model adds"
NO_GAS: Final = "no net gas to fit: the curve does not rise above the blank"
NOT_BENT: Final = (
    "the curve has not bent yet, so the readings give the slope but not the level it runs towards"
)
FAR: Final = "the model runs to more than three times the last reading: too far to be read off"
WIDE: Final = "the readings leave it open by more than 30 % either way"
WIDE_RATE: Final = "the readings leave it open by more than 50 % either way"
STEEP: Final = "too few readings fall in the rise to show how steep it is"
EARLY_LAG: Final = "shorter than the first interval"
NO_LAG: Final = "the curve starts at once: no lag"
WIDE_LAG: Final = "the readings leave it open by more than its own length"

# Reasons that speak of one jar's own error only, and the error that is too wide by each. A model
# that bends otherwise than the curve swells that error, so jars that agree overrule it.
WIDTHS: Final = {WIDE: WIDEST_ERROR, WIDE_RATE: WIDEST_RATE_ERROR, WIDE_LAG: 1.0}


def reasons(fits: Jarwise) -> TextArray:
    """Return, for each curve, why each parameter is not determined; empty where it is.

    Returns
    -------
    ndarray of str, shape (curves, parameters)
        The parameters in the model's order.
    """
    highest = fits.curves.value.max(axis=1)
    too_few = fits.curves.count <= len(fits.model.names)
    straight = _straight(fits)
    table = np.full(fits.named.shape, "", dtype=object)
    for index, parameter in enumerate(fits.model.parameters):
        why = table[:, index]
        _too_wide(fits, index, parameter, highest, why)
        if parameter.unit in ("yield", "1/d"):
            why[straight] = NOT_BENT
        if fits.model.phases > 1 or parameter.unit == "1":
            # where the search ended at its limit nothing was found, however well jars agree on it
            why[fits.fit.at_bound] = NO_OPTIMUM
        why[(fits.named[:, 0] <= 0) | (highest <= 0)] = NO_GAS
        why[~fits.fitted] = NO_OPTIMUM
        why[too_few] = NOT_FITTED
    if fits.model.phases > 1:
        # pools that cannot be told apart have no values of their own, even where one looks steady
        table[(table == "") & (table != "").any(axis=1, keepdims=True)] = NO_OPTIMUM
    return table


def jars_agree(why: list[str], values: FloatArray) -> bool:
    """Tell whether three jars or more agree where only their own errors called a number too wide.

    They agree where the half width of the interval between them is below that error.
    """
    named = {text for text in why if text}
    if len(values) < 3 or not named <= set(WIDTHS):
        return False
    half = float(critical_t(len(values) - 1)) * values.std(ddof=1) / np.sqrt(len(values))
    return bool(half < min(WIDTHS[text] for text in named) * abs(values.mean()))


def left_open(fits: Jarwise, why: TextArray, series: IntArray) -> BoolArray:
    """Tell which parameters the jars of each series leave open. Shape (series, parameters).

    Parameters
    ----------
    fits, why
        Fits of all jars and what `reasons` gives for them.
    series
        The series of each jar, shape (jars,), rising from 0.
    """
    starts = np.flatnonzero(first(series))
    ends = np.append(starts[1:], series.size)
    found = np.logical_or.reduceat(why != "", starts, axis=0)
    for one, index in zip(*np.nonzero(found), strict=True):
        rows = slice(starts[one], ends[one])
        found[one, index] = not jars_agree(list(why[rows, index]), fits.named[rows, index])
    return np.asarray(found, dtype=np.bool_)


def _too_wide(
    fits: Jarwise, index: int, parameter: Parameter, highest: FloatArray, why: TextArray
) -> None:
    """Write down for each curve why the error of a parameter is too wide."""
    value, error = fits.named[:, index], fits.standard_error[:, index]
    if parameter.unit == "yield":
        why[error > WIDEST_ERROR * np.abs(value)] = WIDE
        why[fits.named[:, 0] > FURTHEST_EXTRAPOLATION * highest] = FAR
    elif parameter.unit == "d":
        why[error > np.abs(value)] = WIDE_LAG
        why[value < fits.curves.time_d[:, 0]] = EARLY_LAG
        why[value <= 0] = NO_LAG
    else:
        why[error > WIDEST_RATE_ERROR * np.abs(value)] = WIDE_RATE
        if parameter.unit != "1":
            why[readings_on_rise(fits) < FEWEST_ON_THE_RISE] = STEEP


def readings_on_rise(fits: Jarwise) -> FloatArray:
    """Return how many readings lie between 2 and 98 % of the fitted B0. Shape (jars,)."""
    b0 = np.where(fits.named[:, :1] > 0, fits.named[:, :1], np.inf)
    line = fits.fit.line
    count: FloatArray = ((line > 0.02 * b0) & (line < 0.98 * b0) & fits.curves.valid).sum(axis=1)
    return count


def _straight(fits: Jarwise) -> BoolArray:
    """Tell where a straight line through the origin fits as well as the curve."""
    straight = fits.fit.at_bound.copy()
    curves = fits.curves.rows(straight)
    t, y = (np.where(curves.valid, x, 0.0) for x in (curves.time_d, curves.value))
    tt = np.einsum("ij,ij->i", t, t)
    left = np.einsum("ij,ij->i", y, y) - np.einsum("ij,ij->i", t, y) ** 2 / np.where(tt > 0, tt, 1)
    straight[straight] = left <= fits.fit.rss[straight] * (1 + 1e-3) + 1e-12
    return straight
