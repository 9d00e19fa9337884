"""Statistics, each rule once: Student's t and Satterthwaite, Fieller, Holm, the jackknife.

Intervals and p-values are those of a contrast of means whose errors have several sources. Every
error source is one entry of the last axis of `Components`: the scatter between the jars of
one feed, the shared blank, the volatile solids of a material. A source that two feeds share stands
once, with what is left of it in the contrast, so what cancels is not counted.

All functions take any leading shape, so a simulation runs thousands of trials in one call.

References
----------
.. [1] JCGM 100:2008, Guide to the expression of uncertainty in measurement, G.4.1 eq. G.2b
   (degrees of freedom of a sum of variances, Welch 1947 and Satterthwaite 1946).
.. [2] Fieller E.C. (1954) Some problems in interval estimation. J. R. Stat. Soc. B 16(2):175-185.
.. [3] Holm S. (1979) A simple sequentially rejective multiple test procedure. Scand. J. Stat.
   6(2):65-70.
.. [4] Bartlett M.S. (1937) Properties of sufficiency and statistical tests. Proc. R. Soc. A
   160(901):268-282.
.. [5] Efron B., Stein C. (1981) The jackknife estimate of variance. Ann. Stat. 9(3):586-596.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from bmp.trial import FloatArray

LEVEL = 0.95
MOST_DOF = 1e9  # stands for infinity where a distribution function needs a number


@dataclass(frozen=True, eq=False)
class Components:
    """Variances and covariance of a numerator and a denominator, by source of error.

    Arrays have shape (..., sources). For a plain difference the denominator parts are zero.
    """

    sources: tuple[str, ...]
    numerator: FloatArray
    """Variance of the numerator, from each source."""
    both: FloatArray
    """Covariance of numerator and denominator, from each source."""
    denominator: FloatArray
    """Variance of the denominator, from each source."""
    dof: FloatArray
    """Degrees of freedom of each source, shape (sources,) or (..., sources); infinite: taken as
    known."""

    def along(self, ratio: FloatArray | float) -> FloatArray:
        """Return the variances of numerator - ratio * denominator. Shape (..., sources)."""
        r = np.asarray(ratio, dtype=float)[..., None]
        variance = self.numerator - 2 * r * self.both + r**2 * self.denominator
        # What cancels exactly may round to just below zero.
        return np.maximum(variance, 0.0)


@dataclass(frozen=True, eq=False)
class Interval:
    """A 95 % interval and the test that belongs to it; every array has the leading shape."""

    low: FloatArray
    high: FloatArray
    standard_error: FloatArray
    dof: FloatArray
    """Welch and Satterthwaite's; the critical value is larger where one source has few."""
    critical: FloatArray
    """Half width over standard error."""
    variances: FloatArray
    """From each source, shape (..., sources)."""
    sources_dof: FloatArray
    """Degrees of freedom of each."""

    @cached_property
    def p(self) -> FloatArray:
        """Two-sided p-value of the contrast being zero."""
        mean = (self.low + self.high) / 2
        with np.errstate(divide="ignore", invalid="ignore"):
            t = np.where(
                self.standard_error > 0,
                mean / self.standard_error,
                np.where(mean == 0, 0.0, np.inf),
            )
        return two_sided_sum_p(t, self.variances, self.sources_dof)


Critical = Callable[[FloatArray, FloatArray], FloatArray]
"""Of variances by source and their degrees of freedom."""


def satterthwaite(variances: FloatArray, dof: FloatArray) -> FloatArray:
    """Return the effective degrees of freedom of a sum of variances [1]_ (eq. G.2b).

    Parameters
    ----------
    variances : array, shape (..., sources)
    dof : array, shape (sources,)
        Degrees of freedom of each; infinite ones add variance and take none away.
    """
    total = variances.sum(axis=-1)
    spent = (variances**2 / dof).sum(axis=-1)
    with np.errstate(divide="ignore", invalid="ignore"):
        effective = np.where(spent > 0, total**2 / spent, MOST_DOF)
    return np.minimum(effective, MOST_DOF)


def critical_t(dof: FloatArray | float, level: float = LEVEL) -> FloatArray:
    """Return the two-sided critical value of Student's t."""
    from scipy.special import stdtrit

    return np.asarray(stdtrit(dof, 0.5 + level / 2))


def two_sided_p(t: FloatArray, dof: FloatArray) -> FloatArray:
    """Return the two-sided p-value of Student's t."""
    from scipy.special import stdtr

    return np.asarray(2 * stdtr(dof, -np.abs(t)))


def critical_value(variances: FloatArray, dof: FloatArray, level: float = LEVEL) -> FloatArray:
    """Return the multiple of the standard error that a sum of estimated variances asks for.

    Parameters
    ----------
    variances : array, shape (..., sources)
        Estimated variance from each source.
    dof : array, shape (sources,) or (..., sources)
        Degrees of freedom of each; infinite: taken as known.
    level : float
        Coverage aimed at.

    Notes
    -----
    Student's t of Welch and Satterthwaite's degrees of freedom [1]_ is too small where one source
    of few degrees of freedom stands beside a better known rest: three jars with a known error hold
    the truth in 92 %, two in 87 %. There the interval that the source makes by itself,
    t(v_i) sqrt(V_i/V), is nearly exact. Between sources alike it is too wide. So it counts by how
    much better the rest is known: with r the rest's own degrees of freedom, by
    (1 - v_i/(r + 1))^v_i. The form is of our own; the coverage that it gives for any sizes of two
    to four sources is worked out in `tests/benchmarks/critical_value.py`.
    """
    variances, dof = np.asarray(variances, dtype=float), np.asarray(dof, dtype=float)
    return _critical(*_mixture(variances, dof), np.asarray(1 - level))


def two_sided_sum_p(t: FloatArray, variances: FloatArray, dof: FloatArray) -> FloatArray:
    """Return the two-sided p-value that belongs to `critical_value`.

    Parameters
    ----------
    t : array, shape (...)
        Value over its standard error.
    variances, dof
        As there.
    """
    variances, dof = np.asarray(variances, dtype=float), np.asarray(dof, dtype=float)
    t = np.abs(np.asarray(t, dtype=float))
    mixture = together, dof, root, _ = _mixture(variances, dof)
    with np.errstate(divide="ignore", invalid="ignore"):
        alone = np.where(root > 0, t[..., None] / np.where(root > 0, root, 1.0), np.inf)
    # The rule for the whole sum and those for one source by itself enclose it, and the logarithm
    # of a critical value against that of p is almost straight.
    low = np.log(np.maximum(two_sided_p(t, together), _LEAST_P))
    high = np.log(np.maximum(two_sided_p(alone, dof).max(axis=-1), _LEAST_P))
    high = np.maximum(low, high)
    goal = np.log(np.clip(t, 1e-300, 1e300))

    def above(log_p: FloatArray) -> FloatArray:
        return np.asarray(np.log(np.maximum(_critical(*mixture, np.exp(log_p)), 1e-300)) - goal)

    at_low, at_high = above(low), above(high)
    for _ in range(_STEPS):
        # what is found stays: a p-value must not depend on its company
        wide = high - low > 1e-7
        if not wide.any():
            break
        fall = at_low - at_high
        part = np.clip(at_low / np.where(fall > 0, fall, 1.0), 0.02, 0.98)
        middle = low + part * (high - low)
        value = above(middle)
        right, left = wide & (value > 0), wide & ~(value > 0)
        low, at_low = np.where(right, middle, low), np.where(right, value, at_low)
        high, at_high = np.where(left, middle, high), np.where(left, value, at_high)
    return np.asarray(np.where(np.isfinite(t), np.exp((low + high) / 2), 0.0))


_STEPS = 60
_LEAST_P = 1e-280
_Mixture = tuple[FloatArray, FloatArray, FloatArray, FloatArray]


def _mixture(variances: FloatArray, dof: FloatArray) -> _Mixture:
    """Return the sum's degrees of freedom and, by source, degrees, root of share, and weight."""
    total = variances.sum(axis=-1, keepdims=True)
    root = np.sqrt(variances / np.where(total > 0, total, 1.0))
    known = np.minimum(dof, MOST_DOF)
    others = variances[..., None, :] * (1.0 - np.eye(variances.shape[-1]))
    rest = satterthwaite(others, known[..., None, :])
    weight = np.clip(1.0 - known / (rest + 1.0), 0.0, 1.0) ** known
    return satterthwaite(variances, dof), known, root, weight


def _critical(
    together: FloatArray, dof: FloatArray, root: FloatArray, weight: FloatArray, missed: FloatArray
) -> FloatArray:
    """Return the critical value of a mixture that misses the truth in a given share of cases."""
    from scipy.special import stdtrit

    tail = np.asarray(missed)[..., None] / 2
    whole = -stdtrit(together[..., None], tail)
    alone = -stdtrit(dof, tail) * root
    return np.asarray((whole + weight * np.maximum(alone - whole, 0.0)).max(axis=-1))


def mean_interval(
    mean: FloatArray, variances: FloatArray, dof: FloatArray, level: float = LEVEL
) -> Interval:
    """Return the interval of a value whose variance is a sum of estimated ones, and its p-value.

    Parameters
    ----------
    mean : array, shape (...)
    variances, dof
        As `critical_value` takes them.
    level : float
        Coverage aimed at.
    """
    mean = np.asarray(mean, dtype=float)
    error, critical = np.sqrt(variances.sum(axis=-1)), critical_value(variances, dof, level)
    return Interval(
        mean - critical * error,
        mean + critical * error,
        error,
        satterthwaite(variances, dof),
        critical,
        variances,
        dof,
    )


def difference_interval(
    difference: FloatArray, components: Components, level: float = LEVEL
) -> Interval:
    """Return the interval of a difference, its standard error and its p-value.

    Parameters
    ----------
    difference : array, shape (...)
    components : Components
        Only the numerator's variances are used.
    level : float
        Coverage aimed at.
    """
    return mean_interval(difference, components.numerator, components.dof, level)


def fieller_interval(
    numerator: FloatArray,
    denominator: FloatArray,
    components: Components,
    critical: Critical | float | None = None,
) -> tuple[FloatArray, FloatArray]:
    """Return the interval of numerator/denominator by Fieller's theorem [2]_.

    The interval holds every ratio r for which numerator - r * denominator is not told from zero.
    Each end has its own degrees of freedom, those of the contrast at that end, so the interval
    leaves out 1 exactly where the test of the difference finds one. It is chosen over the delta
    method on the logarithm because it stays honest where the denominator is badly known: then
    there is no bound, and none is given.

    Parameters
    ----------
    numerator, denominator : array, shape (...)
    components : Components
    critical : function of variances and degrees of freedom, or a number
        Critical value; default `critical_value` at 95 %.

    Returns
    -------
    low, high : array, shape (...)
        -inf and inf where the denominator is not told from zero.
    """
    n, d = np.asarray(numerator, dtype=float), np.asarray(denominator, dtype=float)
    with np.errstate(divide="ignore", invalid="ignore"):
        start = np.where(d != 0, n / d, 1.0)
    ends = [
        _fieller_end(n, d, components, start, side, _critical_function(critical))
        for side in (-1.0, 1.0)
    ]
    bounded = np.isfinite(ends[0]) & np.isfinite(ends[1])
    return np.where(bounded, ends[0], -np.inf), np.where(bounded, ends[1], np.inf)


def _critical_function(critical: Critical | float | None) -> Critical:
    if critical is None:
        return critical_value
    if callable(critical):
        return critical
    value = float(critical)
    return lambda variances, dof: np.full(variances.shape[:-1], value)


def _fieller_end(
    n: FloatArray,
    d: FloatArray,
    components: Components,
    start: FloatArray,
    side: float,
    critical: Critical,
) -> FloatArray:
    """One end: the root of the quadratic, whose critical value is that of its own root."""
    nn, nd, dd = (
        part.sum(axis=-1)
        for part in (components.numerator, components.both, components.denominator)
    )
    # what is found stays: an end must not depend on its company
    ratio, found = start, np.zeros(np.shape(start), dtype=bool)
    for _ in range(60):
        at = np.where(np.isfinite(ratio), ratio, start)
        t2 = critical(components.along(at), components.dof) ** 2
        a, b, c = d**2 - t2 * dd, n * d - t2 * nd, n**2 - t2 * nn
        with np.errstate(divide="ignore", invalid="ignore"):
            root = (b + side * np.sqrt(np.maximum(b**2 - a * c, 0.0))) / a
        root = np.where(a > 0, root, side * np.inf)
        # Once unbounded there is no point at which to take degrees of freedom: stay there.
        new = np.where(np.isfinite(ratio) & ~found, root, ratio)
        with np.errstate(invalid="ignore"):
            found |= (new == ratio) | (np.abs(new - ratio) <= 1e-13 * (1.0 + np.abs(ratio)))
        ratio = new
        if found.all():
            break
    return ratio


def log_interval(
    ratio: FloatArray, relative: Components, level: float = LEVEL
) -> tuple[FloatArray, FloatArray]:
    """Return the interval of a product of powers by the delta method on its logarithm.

    For ratios of more than two means, where Fieller's theorem has no form; it needs every mean to
    be well away from zero (relative standard errors under about a quarter).

    Parameters
    ----------
    ratio : array, shape (...)
        Above zero.
    relative : Components
        Variances of the logarithm (relative variances) in `numerator`.
    level : float
        Coverage aimed at.
    """
    critical = critical_value(relative.numerator, relative.dof, level)
    half = critical * np.sqrt(relative.numerator.sum(axis=-1))
    return ratio * np.exp(-half), ratio * np.exp(half)


def detectable_difference(interval: Interval, power: float | None = None) -> FloatArray:
    """Return the smallest difference that as much noise as this interval's lets show.

    Parameters
    ----------
    interval : Interval
        Of a difference.
    power : float, optional
        Share of repeated trials in which a true difference of this size would show, from the
        noncentral t (the far tail left out); default: the difference that is just significant.
    """
    if power is None:
        return interval.critical * interval.standard_error
    from scipy.special import nctdtrinc

    found = nctdtrinc(interval.dof, 1 - power, interval.critical)
    return np.asarray(found) * interval.standard_error


def holm(p: FloatArray) -> FloatArray:
    """Return Holm's adjusted p-values [3]_. Shape (comparisons,)."""
    p = np.asarray(p, dtype=float)
    order = np.argsort(p, kind="stable")
    steps = np.maximum.accumulate(p[order] * np.arange(p.size, 0, -1))
    adjusted = np.empty_like(p)
    adjusted[order] = np.minimum(steps, 1.0)
    return adjusted


def bartlett_p(groups: Sequence[FloatArray]) -> float:
    """Return the p-value of Bartlett's test [4]_ that all groups have one variance."""
    from scipy.special import chdtrc

    dof = np.array([g.size - 1 for g in groups], dtype=float)
    variances = np.array([g.var(ddof=1) for g in groups])
    if not np.all(variances > 0):
        return 0.0
    pooled = (dof * variances).sum() / dof.sum()
    statistic = dof.sum() * np.log(pooled) - (dof * np.log(variances)).sum()
    correction = 1 + ((1 / dof).sum() - 1 / dof.sum()) / (3 * (dof.size - 1))
    return float(chdtrc(dof.size - 1, statistic / correction))


def jackknife_influence(means_without: FloatArray) -> FloatArray:
    """Return how far each of k units moves a mean, by leaving each out in turn. Shape (..., k).

    Parameters
    ----------
    means_without : array, shape (..., k)
        The mean without each unit (a blank, say).

    Notes
    -----
    -(k - 1)(mean without unit i - mean of those), the delete-one jackknife [5]_; where the
    mean is linear in the units it is exactly their deviation.
    """
    without = np.asarray(means_without, dtype=float)
    units = without.shape[-1]
    return np.asarray(-(units - 1) * (without - without.mean(axis=-1, keepdims=True)))
