"""Errors that the jars of a series have in common, carried into its kinetics.

The net curves of all jars are made with one mean blank and counted per one figure of volatile
solids. The scatter between jars shows neither error, so each is carried into rates and times and
added: the blank by how far each of the blanks moves the fit, the solids and the methane share as
factors of whatever is counted per gram.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from bmp.fit.curves import Curves, pack
from bmp.fit.jarwise import Jarwise
from bmp.fit.model import Model
from bmp.fit.noise import normal_matrix
from bmp.fit.small_matrices import inverse
from bmp.statistics import Interval, mean_interval
from bmp.trial import FloatArray, IntArray


@dataclass(frozen=True)
class Factor:
    """A relative error that multiplies every jar's yield alike."""

    name: str
    relative_u: float
    """Standard uncertainty over the value."""
    dof: float = np.inf
    """Degrees of freedom; infinite: taken as known."""


def parameter_moves(
    model: Model, curves: Curves, named: FloatArray, shifts: FloatArray
) -> FloatArray:
    """Return how far small changes of the curves move their least-squares parameters.

    Parameters
    ----------
    model, curves
        The model and the curves that it was fitted to.
    named
        Parameters of the fit, shape (curves, p).
    shifts
        Changes of each reading, shape (..., curves, readings); nought beyond a curve's last one.

    Returns
    -------
    numpy.ndarray
        (J'J)⁻¹ J' shift, shape (..., curves, p): the first order of refitting (Seber & Wild 1989,
        Nonlinear Regression, ch. 2).
    """
    slopes = model.search_gradient(curves.time_d, named)
    if not curves.valid.all():
        slopes = [slope * curves.valid for slope in slopes]
    turn = model.search_jacobian(named).transpose(1, 2, 0)
    normal = normal_matrix(slopes, slopes, turn)
    along = np.stack([np.einsum("ij,...ij->...i", slope, shifts) for slope in slopes], axis=-2)
    pulled = np.einsum("kpj,...kj->...pj", turn, along)
    moved: FloatArray = np.einsum("klj,...lj->...jk", inverse(normal), pulled)
    return moved


def mean_over_jars(
    values: FloatArray, blank_moves: FloatArray | None, factors: Sequence[Factor] = ()
) -> Interval:
    """Return the 95 % interval of the mean over jars with what the jars have in common.

    Parameters
    ----------
    values
        One value a jar, shape (..., jars), at least two jars.
    blank_moves
        How far each blank moves the mean, shape (..., blanks), adding to nought; `None`: no blank
        was subtracted, or there is a single one, which shows no scatter.
    factors
        Relative errors that the value holds.
    """
    jars = values.shape[-1]
    mean = values.mean(axis=-1)
    parts, dof = common_parts(mean, blank_moves, factors)
    parts = [values.var(axis=-1, ddof=1) / jars, *parts]
    return mean_interval(
        mean, np.stack(np.broadcast_arrays(*parts), axis=-1), np.array([jars - 1.0, *dof])
    )


def common_parts(
    mean: FloatArray, blank_moves: FloatArray | None, factors: Sequence[Factor]
) -> tuple[list[FloatArray], list[float]]:
    """Return the variances that the common errors give a mean, with their degrees of freedom."""
    parts, dof = [], []
    if blank_moves is not None and blank_moves.shape[-1] > 1:
        blanks = blank_moves.shape[-1]
        parts.append((blank_moves**2).sum(axis=-1) / (blanks * (blanks - 1)))
        dof.append(blanks - 1.0)
    for factor in factors:
        parts.append((factor.relative_u * mean) ** 2)
        dof.append(factor.dof)
    return parts, dof


def mean_moves(
    fits: Jarwise, rows: IntArray, curves: Curves, shifts: Sequence[FloatArray]
) -> FloatArray:
    """Return how far each blank moves the mean of each parameter over jars. Shape (blanks, p).

    Parameters
    ----------
    fits, rows
        Fits of a model, and the rows of the jars.
    curves
        The jars' curves.
    shifts
        Of each blank: how far it moves each reading, shape (jars, readings).
    """
    named = fits.named[rows]
    moves: FloatArray = parameter_moves(fits.model, curves, named, np.stack(shifts)).mean(axis=1)
    return moves


def packed_shifts(
    time_d: Sequence[FloatArray],
    net: Sequence[FloatArray],
    moves: Sequence[FloatArray],
    width: int,
) -> list[FloatArray]:
    """Return, blank by blank, the shifts of all jars as padded rows, as `pack` lays curves out.

    Parameters
    ----------
    time_d, net
        Days and yields of each jar, as they are packed.
    moves
        Of each jar, shape (blanks, readings).
    width
        Readings of a row; a jar with fewer repeats its last shift.
    """
    narrow = [
        pack(
            [t[(t > 0) & np.isfinite(v)] for t, v in zip(time_d, net, strict=True)],
            [m[i][(t > 0) & np.isfinite(v)] for m, t, v in zip(moves, time_d, net, strict=True)],
        ).value
        for i in range(len(moves[0]))
    ]
    return [np.pad(one, ((0, 0), (0, width - one.shape[1])), mode="edge") for one in narrow]
