"""All fits in bulk: one search over all jars at once.

Least squares with the linear parameter eliminated (variable projection; Golub & Pereyra 1973,
SIAM J. Numer. Anal. 10:413, with the approximate derivative of Kaufman 1975, BIT 15:49) and
Levenberg-Marquardt steps in the remaining one to three parameters. Everything a step needs are
sums over the readings, so a step over hundreds of jars is a dozen array operations. Jars are
taken in chunks that stay in the processor's cache; those that need many more steps than the rest
are put aside and finished together.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

import numpy as np

from bmp.fit.curves import Curves
from bmp.fit.model import Model, Starts
from bmp.trial import BoolArray, FloatArray, IntArray

CHUNK_READINGS: Final = 12_000
"""Readings worked on at once: about 100 kB an array, a few of them fit the cache of a core."""
STEPS_TOGETHER: Final = 12
STEPS_AT_MOST: Final = 200
STEP_TOLERANCE: Final = 1e-9
"""A search ends when no search coordinate moves by more than this (relative, for the rates)."""
LONGEST_STEP: Final = 1.0


@dataclass(frozen=True, eq=False)
class BatchFit:
    """One model fitted to many jars."""

    model: Model
    named: FloatArray
    """Parameters, shape (jars, parameters)."""
    rss: FloatArray
    """Sum of squared (weighted) residuals. Shape (jars,)."""
    converged: BoolArray
    at_bound: BoolArray
    """Whether a search coordinate ended at its limit: it is then not determined. Shape (jars,)."""


def fit_curves(
    model: Model,
    curves: Curves,
    *,
    intervals: bool = False,
    weight: FloatArray | None = None,
    near: FloatArray | None = None,
) -> BatchFit:
    """Fit one model to every jar by least squares.

    Parameters
    ----------
    model
        A row of `bmp.fit.models.MODELS`.
    curves
        The jars.
    intervals
        Fit the gas of each interval, the differences of the curve (the first reading stands for
        itself), instead of the running total.
    weight
        Square root of the weight of each reading, shape (jars, readings); `None`: all the same.
    near
        Named parameters to start from, shape (jars, parameters), instead of the model's starts.

    Returns
    -------
    BatchFit
        The best optimum found for each jar.
    """
    scale = weight
    if not curves.valid.all():
        scale = curves.valid.astype(np.float64) if weight is None else curves.valid * weight
    starts = model.starts(curves)
    if near is not None:
        low, high = starts.low.min(axis=0), starts.high.max(axis=0)
        begin = np.clip(model.to_search(near)[:, 1:], low, high)
        starts = Starts(begin[None], low[None], high[None])
    view = _View(model, intervals)
    u, converged = _best_of(view, curves, scale, starts)
    b0, rss = _close(view, curves, scale, u)
    low, high = starts.low.min(axis=0), starts.high.max(axis=0)
    at_bound = ((u <= low + 1e-6) | (u >= high - 1e-6)).any(axis=1)
    named = model.to_named(np.concatenate([b0[:, None], u], axis=1))
    return BatchFit(model, named, rss, converged, at_bound)


@dataclass(frozen=True)
class _View:
    """How the readings are looked at: through which model, as totals or as intervals."""

    model: Model
    intervals: bool

    def readings(self, value: FloatArray, weight: FloatArray | None) -> FloatArray:
        if self.intervals:
            value = np.diff(value, axis=1, prepend=0.0)
        return value if weight is None else value * weight

    def shape(
        self, time: FloatArray, u: FloatArray, weight: FloatArray | None
    ) -> tuple[FloatArray, list[FloatArray]]:
        f, derivatives = self.model.shape(time, u)
        if not self.intervals and weight is None:
            return f, derivatives
        return self.readings(f, weight), [self.readings(g, weight) for g in derivatives]


def _best_of(
    view: _View, curves: Curves, weight: FloatArray | None, starts: Starts
) -> tuple[FloatArray, BoolArray]:
    """Search from each start and keep, for each jar, the end that explains the most."""
    count, jars = starts.u.shape[:2]
    y = view.readings(curves.value, weight)
    data = _Data(curves.time_d, y, weight, np.einsum("ij,ij->i", y, y))
    row = np.tile(np.arange(jars), count)
    flat = [x.reshape(count * jars, -1) for x in (starts.u, starts.low, starts.high)]
    u, explained, converged = _search(view, data, row, *flat)
    best = explained.reshape(count, jars).argmax(axis=0) * jars + np.arange(jars)
    return u[best], converged[best]


def _close(
    view: _View, curves: Curves, weight: FloatArray | None, u: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Return the linear parameter and the sum of squares from the residuals themselves."""
    y = view.readings(curves.value, weight)
    f, _ = view.shape(curves.time_d, u, weight)
    ff = np.einsum("ij,ij->i", f, f)
    b0 = np.einsum("ij,ij->i", y, f) / np.where(ff > 0, ff, 1.0)
    residual = y - b0[:, None] * f
    return b0, np.einsum("ij,ij->i", residual, residual)


@dataclass(frozen=True, eq=False)
class _Data:
    time: FloatArray
    y: FloatArray
    weight: FloatArray | None
    total: FloatArray

    def rows(self, index: IntArray) -> _Data:
        weight = None if self.weight is None else self.weight[index]
        return _Data(self.time[index], self.y[index], weight, self.total[index])


def _search(
    view: _View, data: _Data, row: IntArray, u: FloatArray, low: FloatArray, high: FloatArray
) -> tuple[FloatArray, FloatArray, BoolArray]:
    """Run all searches in chunks, then the stragglers of all chunks together.

    `row` is the jar that each search belongs to. Returns where each ended, how much of the sum of
    squares it explains, and whether it converged.
    """
    explained = np.empty(len(row))
    done = np.zeros(len(row), dtype=np.bool_)
    u = u.copy()
    size = max(1, CHUNK_READINGS // max(1, data.y.shape[1]))
    for steps in (STEPS_TOGETHER, STEPS_AT_MOST):
        left = np.flatnonzero(~done)
        for begin in range(0, len(left), size):
            part = left[begin : begin + size]
            u[part], explained[part], done[part] = _levenberg_marquardt(
                view, data.rows(row[part]), u[part], low[part], high[part], steps
            )
    return u, explained, done


def _levenberg_marquardt(
    view: _View, data: _Data, u: FloatArray, low: FloatArray, high: FloatArray, steps: int
) -> tuple[FloatArray, FloatArray, BoolArray]:
    result, explained = u.copy(), np.empty(len(u))
    converged = np.zeros(len(u), dtype=np.bool_)
    live = np.arange(len(u))
    damping = np.zeros(len(u))
    best, normal, slope = _sums(view, data, u)
    for _ in range(steps):
        step = _step(normal, slope, damping, u, low, high)
        trial = np.clip(u + step, low, high)
        found, new_normal, new_slope = _sums(view, data, trial)
        better = found >= best - 2e-15 * data.total
        moved = np.abs(trial - u).max(axis=1)
        u[better], best[better] = trial[better], found[better]
        normal[better], slope[better] = new_normal[better], new_slope[better]
        finished = (moved < STEP_TOLERANCE) & (damping <= 1e-2) & better
        stuck = damping > 1e10
        damping = np.where(better, np.where(damping < 1e-3, 0.0, damping / 8), _raised(damping))
        ended = finished | stuck
        if ended.any():
            out = live[ended]
            result[out], explained[out], converged[out] = u[ended], best[ended], finished[ended]
            keep = np.flatnonzero(~ended)
            if not keep.size:
                return result, explained, converged
            live, damping, best, data = live[keep], damping[keep], best[keep], data.rows(keep)
            u, low, high = u[keep], low[keep], high[keep]
            normal, slope = normal[keep], slope[keep]
    result[live], explained[live] = u, best
    return result, explained, converged


def _raised(damping: FloatArray) -> FloatArray:
    return np.maximum(damping * 8, 1e-2)


def _sums(view: _View, data: _Data, u: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return what the model explains, the normal matrix and the slope of the projected problem.

    With g the derivative of the shape f, and f taken out of it: normal = B0² g·g, slope = B0 g·r.
    """
    f, gs = view.shape(data.time, u, data.weight)
    dot = _dot
    ff = dot(f, f)
    ff = np.where(ff > 0, ff, 1.0)
    b0 = dot(data.y, f) / ff
    q = len(gs)
    normal, slope = np.empty((len(b0), q, q)), np.empty((len(b0), q))
    fg = [dot(f, g) for g in gs]
    for i, g in enumerate(gs):
        slope[:, i] = b0 * (dot(data.y, g) - b0 * fg[i])
        for j in range(i + 1):
            entry = b0 * b0 * (dot(g, gs[j]) - fg[i] * fg[j] / ff)
            normal[:, i, j] = normal[:, j, i] = entry
    return b0 * b0 * ff, normal, slope


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
    q = u.shape[1]
    diagonal = np.einsum("ijj->ij", normal)
    resting = ((u <= low) & (slope < 0)) | ((u >= high) & (slope > 0))
    tiny = 1e-14 * diagonal.max(axis=1, keepdims=True) + 1e-300
    lifted = diagonal * (1.0 + damping[:, None]) + tiny
    if q == 1:
        step = np.where(resting, 0.0, slope / lifted)
    else:
        matrix, right = normal.copy(), slope.copy()
        matrix[:, np.arange(q), np.arange(q)] = lifted
        if resting.any():
            right[resting] = 0.0
            blocked = resting[:, :, None] | resting[:, None, :]
            matrix[blocked] = 0.0
            matrix[:, np.arange(q), np.arange(q)] = np.where(resting, 1.0, lifted)
        step = _SOLVERS.get(q, _solve_any)(matrix, right)
    size = np.abs(step).max(axis=1, keepdims=True)
    shortened: FloatArray = step * np.minimum(1.0, LONGEST_STEP / np.maximum(size, 1e-300))
    return shortened


def _solve_two(matrix: FloatArray, right: FloatArray) -> FloatArray:
    a, b, d = matrix[:, 0, 0], matrix[:, 0, 1], matrix[:, 1, 1]
    determinant = a * d - b * b
    determinant = np.where(determinant > 1e-300, determinant, 1e-300)
    first = (d * right[:, 0] - b * right[:, 1]) / determinant
    second = (a * right[:, 1] - b * right[:, 0]) / determinant
    return np.stack([first, second], axis=1)


def _solve_any(matrix: FloatArray, right: FloatArray) -> FloatArray:
    scale = np.sqrt(np.einsum("ijj->ij", matrix))
    scaled = matrix / (scale[:, :, None] * scale[:, None, :])
    q = right.shape[1]
    scaled[:, np.arange(q), np.arange(q)] += 1e-13
    solved: FloatArray = np.linalg.solve(scaled, (right / scale)[:, :, None])[:, :, 0] / scale
    return solved


_SOLVERS: Final[dict[int, Callable[[FloatArray, FloatArray], FloatArray]]] = {2: _solve_two}
