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

import numpy as np

from bmp.trial import BoolArray, FloatArray, IntArray

PUBLISHED_RSD = 0.039
"""Median scatter between bottles, less what three jars scatter by themselves [2]_."""
PUBLISHED_SPREAD = 1.0
"""Standard deviation of the logarithm of the variance (of the RSD: 0.5) over sets [2]_."""
PRIOR_FREEDOM = 2.0
"""Degrees of freedom that are borrowed. That spread alone would lend 2.9 (trigamma(d/2) = 1)."""
MARGIN = 1.2
"""By how much more than is usual is lent. With these two the interval holds in 85 % of the noisiest
tenth of sets as well (`tests/benchmarks/few_jars.py`)."""


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
        s² = (2 s0² + d s_own²)/(2 + d), of 2 + d degrees of freedom [1]_. What is usual is the mean
        over the trial's sets and the published scatter, which counts as one of them, a fifth up.
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
    prior = MARGIN**2 * np.exp(middle)[trial]
    own = np.where(told, own, 0.0)
    drawn = (PRIOR_FREEDOM * prior + own * variance) / (PRIOR_FREEDOM + own)
    return np.sqrt(drawn), PRIOR_FREEDOM + own
