"""All fits in bulk: one search over all jars at once.

Least squares with the linear parameter eliminated (variable projection; Golub & Pereyra 1973,
SIAM J. Numer. Anal. 10:413, with the approximate derivative of Kaufman 1975, BIT 15:49) and
Levenberg-Marquardt steps in the remaining one to three parameters. Everything a step needs are
sums over the readings, so a step over hundreds of jars is a dozen array operations. Search
coordinates come first and jars second, so that each coordinate of all jars lies together. Jars are
taken in chunks that stay in the processor's cache; those that need many more steps than the rest
are put aside and finished together.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from bmp.fit.curves import Curves
from bmp.fit.model import Model, Starts
from bmp.fit.small_matrices import diagonal, inverse
from bmp.trial import BoolArray, FloatArray, IntArray

CHUNK_READINGS: Final = 80_000
"""Readings worked on at once: 640 kB an array, so that a handful of them stay in the cache."""
STEPS_TOGETHER: Final = 12
STEPS_AT_MOST: Final = 100
STEP_TOLERANCE: Final = 1e-10
"""A search ends when no search coordinate moves by more than this (relative, for the rates)."""
FORETOLD_STEP: Final = 2e-2
"""A longer step is too far from the end to foretell the steps after it."""
LONGEST_STEP: Final = 1.0
NOTHING: Final = 1e-100
STUCK: Final = 1e10
"""Damping at which a search that finds nothing better is given up."""
LEAVE_WHEN: Final = 0.25
"""Share of finished searches at which the rest goes on without them."""


@dataclass(frozen=True, eq=False)
class BatchFit:
    """One model fitted to many jars."""

    model: Model
    named: FloatArray
    """Parameters, shape (jars, parameters)."""
    line: FloatArray
    """The fitted curve at the readings, shape (jars, readings); nought beyond a jar's last one."""
    rss: FloatArray
    """Sum of squared residuals. Shape (jars,)."""
    converged: BoolArray
    at_bound: BoolArray
    """Whether a search coordinate ended at its limit: it is then not determined. Shape (jars,)."""


def fit_curves(model: Model, curves: Curves) -> BatchFit:
    """Fit one model to every jar by least squares.

    Parameters
    ----------
    model
        A row of `bmp.fit.models.MODELS`.
    curves
        The jars.

    Returns
    -------
    BatchFit
        The best optimum found for each jar.
    """
    counted = None if curves.valid.all() else curves.valid.astype(np.float64)
    y = curves.value if counted is None else curves.value * counted
    data = _Data(curves.time_d, y, counted, _dot(y, y))
    starts = model.starts(curves)
    u, converged = _best_of(model, data, starts)
    b0, line = _line(model, data, u)
    residual = data.y - line
    low, high = starts.low.min(axis=0), starts.high.max(axis=0)
    at_bound = ((u <= low + 1e-6) | (u >= high - 1e-6)).any(axis=1)
    named = model.to_named(np.concatenate([b0[:, None], u], axis=1))
    return BatchFit(model, named, line, _dot(residual, residual), converged, at_bound)


@dataclass(frozen=True, eq=False)
class _Data:
    """Readings of one chunk. `counted` is 1 for a reading and 0 beyond a jar's last one."""

    time: FloatArray
    y: FloatArray
    counted: FloatArray | None
    total: FloatArray

    def rows(self, index: IntArray) -> _Data:
        counted = None if self.counted is None else self.counted[index]
        return _Data(self.time[index], self.y[index], counted, self.total[index])

    def shape(self, model: Model, u: FloatArray) -> tuple[FloatArray, list[FloatArray]]:
        f, derivatives = model.shape(self.time, u)
        if self.counted is None:
            return f, derivatives
        return f * self.counted, [g * self.counted for g in derivatives]


def _best_of(model: Model, data: _Data, starts: Starts) -> tuple[FloatArray, BoolArray]:
    """Search from each start and keep, for each jar, the end that explains the most."""
    # a jar with fewer starts than others repeats its last one: that one is searched once
    own: BoolArray = np.ones(starts.u.shape[:2], dtype=np.bool_)
    own[1:] = (starts.u[1:] != starts.u[:-1]).any(axis=2)
    u, explained, converged = starts.u.copy(), np.full(own.shape, -np.inf), np.zeros_like(own)
    jar = np.nonzero(own)[1]
    ends, explained[own], converged[own] = _search(
        model, data, jar, *(x[own].T.copy() for x in (starts.u, starts.low, starts.high))
    )
    u[own] = ends.T
    best, jar = explained.argmax(axis=0), np.arange(own.shape[1])
    return u[best, jar], converged[best, jar]


def _line(model: Model, data: _Data, u: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return the linear parameter and the curve."""
    f, _ = data.shape(model, u)
    b0 = _dot(data.y, f) / _size(f)
    return b0, b0[:, None] * f


def _search(
    model: Model, data: _Data, row: IntArray, u: FloatArray, low: FloatArray, high: FloatArray
) -> tuple[FloatArray, FloatArray, BoolArray]:
    """Run all searches in chunks, then the stragglers of all chunks together.

    `row` is the jar that each search belongs to, `u` of shape (coordinates, searches). Returns
    where each ended, how much of the sum of squares it explains, and whether it converged.
    """
    explained = np.empty(row.size)
    done = np.zeros(row.size, dtype=np.bool_)
    size = max(1, CHUNK_READINGS // max(1, data.y.shape[1]))
    for steps in (STEPS_TOGETHER, STEPS_AT_MOST):
        left = np.flatnonzero(~done)
        if steps == STEPS_AT_MOST and model.smooth is not None:
            # a kink may be the lowest place, where no step shrinks to nothing: keep to one side
            down, up = model.smooth(data.time[row[left]], u[:, left].T)
            low[:, left] = np.maximum(low[:, left], down.T)
            high[:, left] = np.minimum(high[:, left], up.T)
        for first in range(0, left.size, size):
            part = left[first : first + size]
            u[:, part], explained[part], done[part] = _levenberg_marquardt(
                model, data.rows(row[part]), u[:, part], low[:, part], high[:, part], steps
            )
    return u, explained, done


def _levenberg_marquardt(
    model: Model, data: _Data, u: FloatArray, low: FloatArray, high: FloatArray, steps: int
) -> tuple[FloatArray, FloatArray, BoolArray]:
    result, explained = u.copy(), np.empty(u.shape[1])
    converged = np.zeros(u.shape[1], dtype=np.bool_)
    live, over = np.arange(u.shape[1]), np.zeros(u.shape[1], dtype=np.bool_)
    damping, before = np.zeros(u.shape[1]), np.full(u.shape[1], 1e-300)
    step_before, move_before = np.zeros_like(u), np.zeros_like(u)
    best, normal, slope = _sums(model, data, u)
    for _ in range(steps):
        step = _step(normal, slope, damping, u, low, high)
        hastened = _hastened(step, step_before, move_before)
        trial = np.clip(u + hastened, low, high)
        found, new_normal, new_slope = _sums(model, data, trial)
        better = found >= best - 2e-15 * data.total
        move = trial - u
        moved = np.abs(move).max(axis=0)
        learnt = better & (damping == 0.0)
        step_before, move_before = step * learnt, move * learnt
        if better.all():
            u, best, normal, slope = trial, found, new_normal, new_slope
        else:
            u, normal, slope = (
                np.where(better, new, old)
                for new, old in ((trial, u), (new_normal, normal), (new_slope, slope))
            )
            best = np.where(better, found, best)
        # steps shrink by a steady factor: what is still to come is about this one times that
        still = moved * np.minimum(1.0, 2.0 * moved / np.maximum(before, moved))
        finished = (still < STEP_TOLERANCE) & (damping <= 1e-2) & better
        before = np.where(better, np.maximum(moved, 1e-300), before)
        ends = (finished | (damping > STUCK)) & ~over
        # further steps, taken for the sake of the others, change nothing any more: what a jar comes
        # to must not depend on its company
        result[:, live[ends]], explained[live[ends]] = u[:, ends], best[ends]
        converged[live[ends]] = finished[ends]
        over |= ends
        # where a hastened step does not help, the step itself is tried next
        plain = (hastened == step).all(axis=0)
        lowered, raised = np.where(damping < 1e-3, 0.0, damping / 8), np.maximum(damping * 8, 1e-2)
        damping = np.where(better, lowered, np.where(plain, raised, damping))
        if over.mean() >= LEAVE_WHEN:
            keep = np.flatnonzero(~over)
            if not keep.size:
                return result, explained, converged
            live, damping, before, best = live[keep], damping[keep], before[keep], best[keep]
            u, low, high, slope = u[:, keep], low[:, keep], high[:, keep], slope[:, keep]
            normal = normal[:, :, keep]
            step_before, move_before = step_before[:, keep], move_before[:, keep]
            data, over = data.rows(keep), np.zeros(keep.size, dtype=np.bool_)
    result[:, live[~over]], explained[live[~over]] = u[:, ~over], best[~over]
    return result, explained, converged


def _hastened(step: FloatArray, before: FloatArray, move: FloatArray) -> FloatArray:
    """Return the step lengthened by what is still to come after it.

    Gauss-Newton steps shrink by a steady factor where a curve bends otherwise than its model. From
    two of them and from the move between them the end of the row is foretold (Anderson 1965, J. ACM
    12:547, from memory; with one coordinate it is the secant method).
    """
    change, square_before = step - before, _square(before)
    steady = (square_before < FORETOLD_STEP**2) & (4.0 * _square(step) < square_before)
    along = np.einsum("ij,ij->j", step, change)
    share = along / np.where(steady, _square(change), np.inf)
    hastened: FloatArray = step - share * (move + change)
    return hastened


def _square(columns: FloatArray) -> FloatArray:
    total: FloatArray = np.einsum("ij,ij->j", columns, columns)
    return total


def _sums(model: Model, data: _Data, u: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return what the model explains, the normal matrix and the slope of the projected problem.

    With g the derivative of the shape f, and f taken out of it: normal = B0² g·g, slope = B0 g·r.
    Shapes (jars,), (coordinates, coordinates, jars) and (coordinates, jars).
    """
    f, gs = data.shape(model, u.T)
    ff, yf = _size(f), _dot(data.y, f)
    b0 = yf / ff
    normal, slope = np.empty((u.shape[0], *u.shape)), np.empty_like(u)
    fg = [_dot(f, g) for g in gs]
    for i, g in enumerate(gs):
        slope[i] = b0 * (_dot(data.y, g) - b0 * fg[i])
        for j in range(i + 1):
            normal[i, j] = normal[j, i] = b0 * b0 * (_dot(g, gs[j]) - fg[i] * fg[j] / ff)
    return b0 * yf, normal, slope


def _size(f: FloatArray) -> FloatArray:
    """Return f·f, infinite where the shape is zero at every reading: nothing then fits it."""
    ff = _dot(f, f)
    return np.where(ff > NOTHING, ff, np.inf)


def _dot(a: FloatArray, b: FloatArray) -> FloatArray:
    total: FloatArray = np.einsum("ij,ij->i", a, b)
    return total


def _step(
    normal: FloatArray,
    slope: FloatArray,
    damping: FloatArray,
    u: FloatArray,
    low: FloatArray,
    high: FloatArray,
) -> FloatArray:
    """Return the damped Gauss-Newton step; a coordinate that pushes against its limit rests."""
    own = diagonal(normal)
    resting = ((u <= low) & (slope < 0)) | ((u >= high) & (slope > 0))
    matrix, right = normal.copy(), slope
    lifted = own * (1.0 + damping) + 1e-14 * own.max(axis=0)
    diagonal(matrix)[...] = lifted
    if resting.any():
        right = np.where(resting, 0.0, slope)
        matrix[resting[:, None] | resting[None]] = 0.0
        diagonal(matrix)[...] = np.where(resting, 1.0, lifted)
    step = np.einsum("abj,bj->aj", inverse(matrix), right)
    size = np.maximum(np.abs(step).max(axis=0), 1e-300)
    shortened: FloatArray = step * np.minimum(1.0, LONGEST_STEP / size)
    return shortened
