"""Flat arrays that hold one run of values after another, a run a jar, without loops over jars.

All functions take `run`, shape (values,): the index of the run that each value belongs to, sorted
so that a run's values stand together.
"""

from __future__ import annotations

import numpy as np

from bmp.trial import BoolArray, FloatArray, IntArray


def first(run: IntArray) -> BoolArray:
    """Mark the first value of every run."""
    marks = np.ones(run.shape, dtype=bool)
    marks[1:] = run[1:] != run[:-1]
    return marks


def last(run: IntArray) -> BoolArray:
    """Mark the last value of every run."""
    marks = np.ones(run.shape, dtype=bool)
    marks[:-1] = run[1:] != run[:-1]
    return marks


def lengths(run: IntArray) -> IntArray:
    """Return how many values each run has. Shape (runs present,)."""
    return np.diff(np.flatnonzero(first(run)), append=run.size)


def previous(values: FloatArray, run: IntArray, before_first: FloatArray) -> FloatArray:
    """Return each value's predecessor in its run; `before_first` (aligned) where there is none."""
    shifted = np.empty_like(values)
    shifted[1:] = values[:-1]
    return np.where(first(run), before_first, shifted)


def previous_known(values: FloatArray, run: IntArray, before_first: FloatArray) -> FloatArray:
    """As `previous`, but the last predecessor in the run that is not NaN."""
    if not values.size:
        return values.copy()
    place = np.where(np.isnan(values), -1, np.arange(values.size))
    latest = np.maximum.accumulate(np.concatenate([[-1], place[:-1]]))
    starts = np.flatnonzero(first(run))
    found = latest >= np.repeat(starts, lengths(run))
    return np.where(found, values[np.where(found, latest, 0)], before_first)


def total(values: FloatArray, run: IntArray) -> FloatArray:
    """Return running totals that start anew with every run."""
    if not values.size:
        return values.copy()
    sums = np.cumsum(values)
    starts = np.flatnonzero(first(run))
    before = np.concatenate([[0.0], sums[starts[1:] - 1]])
    totals: FloatArray = sums - np.repeat(before, lengths(run))
    return totals


def interpolate(
    run: IntArray, at: FloatArray, run_known: IntArray, at_known: FloatArray, known: FloatArray
) -> tuple[FloatArray, BoolArray]:
    """Interpolate linearly inside each run; hold the nearest known value outside of its span.

    Parameters
    ----------
    run, at : ndarray, shape (values,)
        Where values are wanted.
    run_known, at_known, known : ndarray, shape (points,)
        The known points, sorted by run and place.

    Returns
    -------
    values : ndarray, shape (values,)
        NaN where a run has no known point.
    outside : ndarray of bool, shape (values,)
        The place lies outside of the span of its run's known points.
    """
    if not known.size:
        return np.full(at.shape, np.nan), np.ones(at.shape, dtype=bool)
    span = 1.0 + max(float(np.max(at, initial=0.0)), float(np.max(at_known)))
    right = np.searchsorted(run_known * span + at_known, run * span + at, side="left")
    left_at, right_at = np.maximum(right - 1, 0), np.minimum(right, known.size - 1)
    has_left = (right > 0) & (run_known[left_at] == run)
    has_right = (right < known.size) & (run_known[right_at] == run)
    left_at = np.where(has_left, left_at, right_at)
    right_at = np.where(has_right, right_at, left_at)
    gap = at_known[right_at] - at_known[left_at]
    weight = np.where(gap > 0.0, (at - at_known[left_at]) / np.where(gap > 0.0, gap, 1.0), 0.0)
    values = known[left_at] + np.clip(weight, 0.0, 1.0) * (known[right_at] - known[left_at])
    found = has_left | has_right
    on_point = found & (at_known[right_at] == at)
    return np.where(found, values, np.nan), ~(has_left & has_right) & ~on_point


def padded(values: FloatArray, run: IntArray, fill: float) -> FloatArray:
    """Return values as a table, shape (runs present, longest run), short rows filled up."""
    filled = _filled(run)
    table = np.full(filled.shape, fill)
    table[filled] = values
    return table


def flattened(table: FloatArray, run: IntArray) -> FloatArray:
    """Return the values of a table made by `padded` as a flat array again."""
    return table[_filled(run)]


def _filled(run: IntArray) -> BoolArray:
    """Mark the places of a table that runs fill."""
    each = lengths(run)
    marks: BoolArray = np.arange(int(each.max(initial=0))) < each[:, None]
    return marks
