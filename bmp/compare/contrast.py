"""Sums of feed means with weights, and where their errors come from."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from bmp.borrowed_scatter import PRIOR_FREEDOM
from bmp.compare.feed import FeedSample
from bmp.statistics import Components
from bmp.trial import FloatArray

Weights = Sequence[float] | FloatArray


def contrast(samples: Sequence[FeedSample], weights: Weights) -> FloatArray:
    """Return the weighted sum of the samples' means, shape (...)."""
    total = sum(w * s.mean for w, s in zip(_columns(weights), samples, strict=True))
    return np.asarray(total, dtype=float)


def components(
    samples: Sequence[FeedSample], numerator: Weights, denominator: Weights | None = None
) -> Components:
    """Return the variance of one or two weighted sums of means, source by source.

    Sources: the scatter between the jars of each sample (n - 1 degrees of freedom), or of all that
    borrow theirs (what they borrow is one piece of knowledge, counted once); the blanks of each
    trial (k - 1), of which only what does not cancel between the samples is left; each common
    factor such as a material's volatile solids, with the degrees of freedom that its replicates
    left.

    Parameters
    ----------
    samples : sequence of FeedSample
        Each of at least two jars, or with borrowed scatter.
    numerator, denominator : sequence of float, or array with a last axis of samples
        Weights of the two sums; no denominator: all zero.

    Raises
    ------
    ValueError
        Where a sample has one jar only: its scatter is unknown.
    """
    single = without_scatter(samples)
    if single:
        raise ValueError(f"one jar only of {', '.join(single)}: the scatter is unknown")
    n = _columns(numerator)
    d = _columns(np.zeros(len(samples)) if denominator is None else denominator)
    rows = [*_jar_rows(samples, n, d), *_blank_rows(samples, n, d), *_factor_rows(samples, n, d)]
    shape = np.broadcast_shapes(*(np.shape(part) for row in rows for part in row[1:4]))
    stacked = [
        np.array([row[i] for row in rows])
        if shape == ()
        else np.stack([np.broadcast_to(row[i], shape) for row in rows], axis=-1)
        for i in (1, 2, 3)
    ]
    return Components(
        sources=tuple(row[0] for row in rows),
        numerator=stacked[0],
        both=stacked[1],
        denominator=stacked[2],
        dof=np.array([row[4] for row in rows]),
    )


def without_scatter(samples: Sequence[FeedSample]) -> list[str]:
    """Return the names of samples of one jar that borrow no scatter."""
    return [s.label for s in samples if s.jars < 2 and s.lent_scatter is None]


Row = tuple[str, FloatArray, FloatArray, FloatArray, float]


def _columns(weights: Weights) -> list[FloatArray]:
    """Return one array (or scalar array) of weights a sample."""
    array = np.asarray(weights, dtype=float)
    return [array[..., i] for i in range(array.shape[-1])]


def _products(name: str, p: FloatArray, q: FloatArray, dof: float) -> Row:
    """Variances and covariance of two sums that one error moves by p and q (summed over it)."""
    return name, (p * p).sum(axis=-1), (p * q).sum(axis=-1), (q * q).sum(axis=-1), dof


def _jar_rows(samples: Sequence[FeedSample], n: list[FloatArray], d: list[FloatArray]) -> list[Row]:
    rows = []
    for sample, wn, wd in zip(samples, n, d, strict=True):
        if sample.lent_scatter is None:
            variance = np.asarray(sample.values.var(axis=-1, ddof=1) / sample.jars)
            squares = wn**2 * variance, wn * wd * variance, wd**2 * variance
            rows.append((f"jars of {sample.label}", *squares, sample.jars - 1.0))
    return [*rows, *_borrowed_rows(samples, n, d)]


def _borrowed_rows(
    samples: Sequence[FeedSample], n: list[FloatArray], d: list[FloatArray]
) -> list[Row]:
    """One row for all samples that borrow scatter: what they borrow is the same."""
    labels, p, q, own = [], [], [], 0.0
    for sample, wn, wd in zip(samples, n, d, strict=True):
        if sample.lent_scatter is not None:
            rsd, freedom = sample.lent_scatter
            error = np.asarray(rsd * sample.mean / np.sqrt(sample.jars))
            labels.append(sample.label)
            p.append(wn * error)
            q.append(wd * error)
            own += freedom - PRIOR_FREEDOM
    if not labels:
        return []
    name = f"jars of {', '.join(labels)}"
    return [_products(name, np.stack(p, axis=-1), np.stack(q, axis=-1), PRIOR_FREEDOM + own)]


def _blank_rows(
    samples: Sequence[FeedSample], n: list[FloatArray], d: list[FloatArray]
) -> list[Row]:
    """One row a set of blanks: their influences add up over the samples before squaring."""
    rows = []
    for key in dict.fromkeys((s.trial, s.inoculum) for s in samples):
        members = [
            (s.blank_influence, n[i], d[i])
            for i, s in enumerate(samples)
            if (s.trial, s.inoculum) == key and s.blank_influence is not None
        ]
        if not members:
            continue
        blanks = members[0][0].shape[-1]
        scale = 1 / np.sqrt(blanks * (blanks - 1))
        p = sum(u * w[..., None] for u, w, _ in members)
        q = sum(u * w[..., None] for u, _, w in members)
        rows.append(
            _products(
                f"blanks of {key[0]}", np.asarray(p) * scale, np.asarray(q) * scale, blanks - 1.0
            )
        )
    return rows


def _factor_rows(
    samples: Sequence[FeedSample], n: list[FloatArray], d: list[FloatArray]
) -> list[Row]:
    """One row a common factor: its relative error moves every mean that holds it alike."""
    rows = []
    for trial, factor in dict.fromkeys((s.trial, name) for s in samples for name in s.factors):
        members = [
            (s.mean * s.factors[factor], n[i], d[i])
            for i, s in enumerate(samples)
            if s.trial == trial and factor in s.factors
        ]
        p = np.asarray(sum(u * w for u, w, _ in members))[..., None]
        q = np.asarray(sum(u * w for u, _, w in members))[..., None]
        dof = min(s.factor_dof.get(factor, np.inf) for s in samples if s.trial == trial)
        rows.append(_products(factor, p, q, dof))
    return rows
