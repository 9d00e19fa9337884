"""The scatter between jars where a feed has few: borrowed from its trial and from published trials.

Two jars of a feed tell little of how jars scatter, and one tells nothing; the other feeds of the
trial and published trials do. Each feed's variance is drawn towards what is usual, by empirical
Bayes. The figure of document 200 is left as it is: this stands beside it.

References
----------
.. [1] Smyth G.K. (2004) Linear models and empirical Bayes methods for assessing differential
   expression in microarray experiments. Stat. Appl. Genet. Mol. Biol. 3(1):3 (variances with a
   scaled inverse chi-squared prior, moments on the logarithm).
.. [2] Hafner S.D., Fruteau de Laclos H., Koch K., Holliger C. (2020) Improving inter-laboratory
   reproducibility in measurement of biochemical methane potential (BMP). Water 12(6):1752, data
   set, version 0.1: 393 triplicates of 31 laboratories.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from bmp.trial import BoolArray, FloatArray, IntArray

PUBLISHED_RSD = 0.039
"""Median scatter between bottles, less what three jars scatter by themselves [2]_."""
PUBLISHED_SPREAD = 1.0
"""Standard deviation of the logarithm of the variance (of the RSD: 0.5) over sets [2]_."""
PUBLISHED_NOISY_RSD = 0.052
"""Three quarters of the published triplicates scatter less [2]_."""
PRIOR_FREEDOM = 1.5
"""Degrees of freedom that are borrowed. That spread alone would lend 2.9 (trigamma(d/2) = 1)."""
FEW_JARS = 2
"""Up to so many jars of a feed what is borrowed is shown beside its own on the first screen."""
MARGIN = 1.4
"""By how much more than is usual is lent. With these two the interval holds in about 85 % of the
noisiest tenth of sets as well (`tests/benchmarks/few_jars.py`)."""


@dataclass(frozen=True)
class Lent:
    """What a feed borrows: relative to its yield, with the degrees of freedom."""

    rsd: float
    """Between its jars."""
    freedom: float
    blank_u: float = 0.0
    """Standard uncertainty that a single blank adds to the mean; nought with more of them, whose
    own scatter is used."""
    blank_freedom: float = np.inf


def borrowed_scatter(
    rsd: FloatArray, jars: IntArray, trial: IntArray
) -> tuple[FloatArray, FloatArray]:
    """Return the RSD between jars of every set with what it borrows, and its degrees of freedom.

    Parameters
    ----------
    rsd
        Relative standard deviation of each set's jars, shape (sets,); anything where it has one
        jar or tells no scatter (NaN, nought).
    jars
        Jars of each set.
    trial
        The trial of each set, an index from 0.

    Returns
    -------
    rsd, freedom : numpy.ndarray
        Shape (sets,). With d the set's own degrees of freedom and s0 what is usual in the trial:
        s² = (p s0² + d s_own²)/(p + d), of p + d degrees of freedom [1]_, p = `PRIOR_FREEDOM`. What
        is usual is the mean over the trial's sets and the published scatter, which counts as one of
        them, raised by `MARGIN`. A trial whose own pooled scatter is above that of three quarters
        of published triplicates lends at least its own: the published one does not narrow it.
    """
    from scipy.special import polygamma, psi

    own = np.where(jars > 1, jars - 1.0, 0.0)
    told: BoolArray = (own > 0) & np.isfinite(rsd) & (np.nan_to_num(rsd) > 0)
    half = np.where(told, own, 2.0) / 2
    variance = np.where(told, np.nan_to_num(rsd), 1.0) ** 2
    # unbiased for the logarithm of the set's true variance
    level = np.log(variance) - psi(half) + np.log(half)
    weight = np.where(told, 1.0 / (polygamma(1, half) + PUBLISHED_SPREAD**2), 0.0)
    size = int(trial.max(initial=-1)) + 1
    published = 1.0 / PUBLISHED_SPREAD**2
    summed = np.bincount(trial, weight * level, minlength=size)
    summed = summed + published * np.log(PUBLISHED_RSD**2)
    usual = summed / (np.bincount(trial, weight, minlength=size) + published)
    middle = usual - np.log(PRIOR_FREEDOM / 2) + psi(PRIOR_FREEDOM / 2)
    own = np.where(told, own, 0.0)
    squares = np.bincount(trial, own * np.where(told, variance, 0.0), minlength=size)
    degrees = np.maximum(np.bincount(trial, own, minlength=size), 1.0)
    own_level: FloatArray = np.asarray(squares / degrees, dtype=np.float64)
    lent = MARGIN**2 * np.exp(middle)
    prior = np.where(own_level > PUBLISHED_NOISY_RSD**2, np.maximum(lent, own_level), lent)[trial]
    drawn = (PRIOR_FREEDOM * prior + own * variance) / (PRIOR_FREEDOM + own)
    return np.sqrt(drawn), PRIOR_FREEDOM + own
