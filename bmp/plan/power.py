"""How large a difference between two feeds a number of jars can show."""

from __future__ import annotations

import math

from bmp.statistics import critical_t

USUAL_POWER = 0.8
USUAL_LEVEL = 0.05
# From here on the tail on the wrong side is below 10^-9, and the distribution function may have no
# digits left for it.
NO_FAR_TAIL_NONCENTRALITY = 6.0
# From here on the function may have no digits left for what is missed either: nothing is.
SURE_NONCENTRALITY = 30.0


def power_of_t_test(difference: float, rsd: float, jars: int, level: float = USUAL_LEVEL) -> float:
    """Return how often a two-sided t-test finds a true difference between two feeds.

    Parameters
    ----------
    difference
        True difference of the means over their common mean (0.1: ten percent).
    rsd
        Relative SD between jars of one feed, alike in both.
    jars
        Jars of each feed, at least 2.
    level
        Share of false alarms.

    Notes
    -----
    Noncentral t with 2 (n - 1) degrees of freedom and noncentrality
    difference / (rsd sqrt(2/n)): Cohen (1988), Statistical Power Analysis, 2nd ed., section 2.
    """
    from scipy.special import nctdtr

    if jars < 2:
        raise ValueError("one jar of each feed shows no scatter: at least 2")
    freedom = 2 * (jars - 1)
    critical = float(critical_t(freedom, 1 - level))
    noncentrality = difference / (rsd * math.sqrt(2 / jars))
    missed = float(nctdtr(freedom, noncentrality, critical))
    if math.isnan(missed) and noncentrality > SURE_NONCENTRALITY:
        return 1.0
    above = 1 - missed
    if noncentrality > NO_FAR_TAIL_NONCENTRALITY:
        return above
    return above + float(nctdtr(freedom, noncentrality, -critical))


def just_significant(rsd: float, jars: int, level: float = USUAL_LEVEL) -> float:
    """Return the smallest observed relative difference that the t-test calls significant."""
    return float(critical_t(2 * (jars - 1), 1 - level)) * rsd * math.sqrt(2 / jars)


def detectable_difference(
    rsd: float, jars: int, power: float = USUAL_POWER, level: float = USUAL_LEVEL
) -> float:
    """Return the true relative difference that is found with the given power.

    Raises
    ------
    ValueError
        For fewer than 2 jars, whose scatter nobody can see.
    """
    from scipy.optimize import brentq

    if jars < 2:
        raise ValueError("one jar of each feed shows no scatter: at least 2")
    scale = rsd * math.sqrt(2 / jars)

    def missing(noncentrality: float) -> float:
        return power_of_t_test(noncentrality * scale, rsd, jars, level) - power

    return float(brentq(missing, 0.0, 30.0, xtol=1e-10)) * scale


def jars_needed(
    difference: float, rsd: float, power: float = USUAL_POWER, most: int = 200
) -> int | None:
    """Return the jars of each feed that find a relative difference; `None`: more than `most`."""
    for jars in range(2, most + 1):
        if power_of_t_test(difference, rsd, jars) >= power:
            return jars
    return None
