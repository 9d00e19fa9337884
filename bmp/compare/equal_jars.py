"""Which feed made more where nobody measured a blank: equal jars make the inoculum cancel."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from itertools import combinations

import numpy as np

from bmp.compare.words import rounded
from bmp.normalise import JarGas
from bmp.runs import interpolate, last
from bmp.statistics import critical_t, holm, two_sided_p
from bmp.trial import FloatArray, Trial

EQUAL_WITHIN = 0.02
"""Largest spread of masses, over their mean, that counts as equal (common practice, no source)."""
SIGNIFICANT_P = 0.05
MOST_PAIRS = 6


def equal_jars_words(trial: Trial, gas: JarGas) -> tuple[str, ...]:
    """Return plain sentences on which feed made more methane in jars of equal doses.

    Every jar holds the same inoculum, and so the same gas of its own: in the difference of two jars
    it cancels. The difference is of the feeds alone, per jar and dose. A ratio is not given, since
    the inoculum's gas is in both of its parts.

    Returns
    -------
    tuple of str
        Empty where the doses are not equal, or no two feeds have two jars each.
    """
    fed = [jar for jar in trial.jars if jar.role == "substrate" and jar.counted]
    samples = np.array([jar.sample_g for jar in fed])
    inocula = np.array([jar.inoculum_g for jar in fed])
    if len(fed) < 4 or not (_equal(samples) and _equal(inocula)) or not inocula.all():
        return ()
    day, made = _at_common_day(trial, gas)
    groups: dict[str, FloatArray] = {}
    for series in dict.fromkeys(jar.series for jar in fed):
        own = [made[i] for i, jar in enumerate(trial.jars) if jar in fed and jar.series == series]
        if len(own) > 1 and np.isfinite(own).all():
            groups[series] = np.array(own)
    if len(groups) < 2 or len(groups) * (len(groups) - 1) // 2 > MOST_PAIRS:
        return ()
    dose = f"{rounded(float(samples.mean()), 3)} g of fresh feed"
    return (
        *_pairs(groups, f"per jar with {dose}", day),
        "All jars hold the same mass of inoculum, so its gas cancels in the difference.",
        *_share_words(gas),
    )


def _equal(masses: FloatArray) -> bool:
    return bool(masses.size and np.ptp(masses) <= EQUAL_WITHIN * masses.mean())


def _at_common_day(trial: Trial, gas: JarGas) -> tuple[float, FloatArray]:
    """Return the last day on which all jars were read, and each jar's methane by then [NmL]."""
    ends = last(gas.jar)
    day = float(gas.time_d[ends].min())
    known = np.isfinite(gas.methane_NmL)
    jars = np.arange(len(trial.jars))
    made, _ = interpolate(
        jars, np.full(jars.size, day), gas.jar[known], gas.time_d[known], gas.methane_NmL[known]
    )
    return day, made


def _pairs(groups: Mapping[str, FloatArray], per: str, day: float) -> Iterator[str]:
    """Yield a sentence for each pair: Welch's interval, Holm's adjustment of the p-values."""
    pairs = list(combinations(groups, 2))
    found = [_welch(groups[a], groups[b]) for a, b in pairs]
    adjusted = holm(np.array([p for _, _, p in found]))
    for (a, b), (difference, half, _), p in zip(pairs, found, adjusted, strict=True):
        first, second = (a, b) if difference >= 0 else (b, a)
        size = abs(difference)
        ends = f"95 %: {rounded(size - half, 3)} to {rounded(size + half, 3)} NmL"
        if p < SIGNIFICANT_P:
            more = f"{first} made {rounded(size, 3)} NmL more methane than {second}"
            yield f"By day {day:.3g}, {per}, {more} ({ends})."
        else:
            shown = f"no difference shown between {first} and {second}"
            yield f"By day {day:.3g}, {per}: {shown} ({ends})."


def _welch(a: FloatArray, b: FloatArray) -> tuple[float, float, float]:
    """Return a difference of means, the half of its 95 % interval, and its p-value.

    Welch 1947, Biometrika 34:28; degrees of freedom after Satterthwaite 1946.
    """
    variances = np.array([group.var(ddof=1) / group.size for group in (a, b)])
    total = variances.sum()
    difference = float(a.mean() - b.mean())
    if total == 0.0:
        return difference, 0.0, 0.0 if difference else 1.0
    dof = total**2 / sum(v**2 / (g.size - 1) for v, g in zip(variances, (a, b), strict=True))
    error = float(np.sqrt(total))
    p = float(two_sided_p(np.array(difference / error), np.array(dof)))
    return difference, float(critical_t(dof)) * error, p


def _share_words(gas: JarGas) -> Iterator[str]:
    if gas.share_u_common.any():
        yield "One methane share was assumed for all; feeds of unlike gas shift the difference."
