"""Several feeds at once: which pairs the question asks for, and the price of looking at them all.

References
----------
.. [1] Kramer C.Y. (1956) Extension of multiple range tests to group means with unequal numbers of
   replications. Biometrics 12(3):307-310 (Tukey's range test; here by scipy).
.. [2] Dunnett C.W. (1955) A multiple comparison procedure for comparing several treatments with a
   control. J. Am. Stat. Assoc. 50(272):1096-1121 (here by scipy).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import combinations
from typing import Any

import numpy as np

from bmp.compare.feed import Feed, FeedSample, NotComparable, sample_of
from bmp.compare.pair import Comparison, compare_pairs, ratio_estimate
from bmp.estimate import Estimate
from bmp.statistics import Components, bartlett_p, holm

# Both from the simulation in tests/benchmarks/compare_coverage.py: with fewer jars no test can see
# that spreads differ, and one feed of four that scatters three times as much takes the share of
# trials in which Tukey's test calls equal feeds different to 11 %.
FEWEST_JARS_TO_POOL = 5
SPREADS_ALIKE_P = 0.25
# A shared blank or solids error of this share of a difference's variance is left to Holm, since
# Tukey's and Dunnett's tests know of scatter between jars only.
MOST_OTHER_VARIANCE = 0.05


@dataclass(frozen=True)
class Family:
    """All comparisons that one question asks for, in one quantity on one basis."""

    question: str
    """`all pairs`, or `all against` one feed."""
    against: str | None
    comparisons: tuple[Comparison, ...]
    adjusted_by: str
    """`Holm`, `Tukey`, `Dunnett`, or empty where there is one comparison."""
    why: str
    """Plain sentence: what was chosen and why."""


def compare_all(
    feeds: Sequence[Feed],
    quantity: str = "yield",
    basis: str = "VS",
    against: str | None = None,
    spreads_alike: bool | None = None,
    bucket_L: float = 10.0,
) -> Family:
    """Compare the feeds of one trial: every pair, or every other feed with one of them.

    Parameters
    ----------
    feeds : sequence of Feed
    quantity, basis : str
        Keys of `QUANTITIES` and `BASES`.
    against : str, optional
        Name of the feed that the others are measured against (today's feed).
    spreads_alike : bool, optional
        Whether the jars of all feeds scatter alike, where the keeper knows; default: judged from
        the readings where there are jars enough to judge it.
    bucket_L : float
        Size of the bucket.

    Raises
    ------
    KeyError
        Where no feed has the name `against`.
    """
    if against is not None and against not in [f.name for f in feeds]:
        raise KeyError(against)
    asked = _pairs_asked(feeds, against)
    pairs = _with_borrowed_holm(compare_pairs(asked, quantity, basis, bucket_L))
    question = "all pairs" if against is None else f"all against {against}"
    judged = [c for c in pairs if not c.no_verdict]
    if len(judged) < 2:
        return Family(question, against, tuple(pairs), "", "One comparison.")
    samples = _samples(feeds, quantity, basis, bucket_L)
    against_it = _against_pooling(judged, samples, spreads_alike)
    if against_it:
        done = with_holm(pairs)
        why = (
            f"{len(judged)} comparisons were made ({question}): Holm's adjustment of Welch's "
            f"tests, because {against_it}."
        )
        return Family(question, against, tuple(done), "Holm", why)
    name = "Tukey" if against is None else "Dunnett"
    done = _pooled(pairs, samples, against)
    why = (
        f"{len(judged)} comparisons were made ({question}): {name}'s test, because the jars of "
        "all feeds scatter alike and the blank cancels. Its intervals hold for all comparisons "
        "together."
    )
    return Family(question, against, tuple(done), name, why)


def _pairs_asked(feeds: Sequence[Feed], against: str | None) -> list[tuple[Feed, Feed]]:
    if against is None:
        return list(combinations(feeds, 2))
    reference = next(f for f in feeds if f.name == against)
    return [(f, reference) for f in feeds if f is not reference]


def _samples(
    feeds: Sequence[Feed], quantity: str, basis: str, bucket_L: float
) -> dict[str, FeedSample]:
    found = {}
    for feed in feeds:
        try:
            found[feed.name] = sample_of(feed, quantity, basis, bucket_L)
        except NotComparable:
            continue
    return found


def _against_pooling(
    judged: Sequence[Comparison], samples: dict[str, FeedSample], spreads_alike: bool | None
) -> str:
    """Return why the scatter of all jars may not be pooled; empty where it may."""
    other = max(
        sum(share for name, share in c.variance_shares.items() if not name.startswith("jars of "))
        for c in judged
    )
    if other > MOST_OTHER_VARIANCE:
        return "more than the scatter of the jars enters (the blank or the solids)"
    if spreads_alike is False:
        return "the feeds are said to scatter differently"
    if spreads_alike:
        return ""
    used = [s for s in samples.values() if s.jars > 1]
    fewest = min(s.jars for s in used)
    if fewest < FEWEST_JARS_TO_POOL:
        return f"{fewest} jars cannot show whether the feeds scatter alike"
    if bartlett_p([s.values for s in used]) < SPREADS_ALIKE_P:
        return "the feeds scatter differently"
    return ""


def with_holm(pairs: Sequence[Comparison]) -> list[Comparison]:
    """Return the comparisons with p-values that allow for all of them; no verdict, no count."""
    judged = [i for i, c in enumerate(pairs) if c.p is not None]
    adjusted = holm(np.array([pairs[i].p for i in judged], dtype=float))
    done = list(pairs)
    for i, p in zip(judged, adjusted, strict=True):
        done[i] = replace(
            done[i],
            p_adjusted=float(p),
            adjusted_by="Holm" if len(judged) > 1 else "",
            compared_at_once=len(judged),
        )
    return done


def _with_borrowed_holm(pairs: Sequence[Comparison]) -> list[Comparison]:
    """Return the pairs with p-values of their borrowed comparisons that allow for all of them."""
    adjusted = iter(with_holm([c.borrowed for c in pairs if c.borrowed is not None]))
    return [c if c.borrowed is None else replace(c, borrowed=next(adjusted)) for c in pairs]


def _pooled(
    pairs: Sequence[Comparison], samples: dict[str, FeedSample], against: str | None
) -> list[Comparison]:
    """Put scipy's Tukey or Dunnett results, with their own intervals, in place of Welch's."""
    used = {name: s for name, s in samples.items() if s.jars > 1}
    scatter = _pooled_variance(list(used.values()))
    results = _tukey(used) if against is None else _dunnett(used, against)
    judged = sum(c.p is not None for c in pairs)
    done = []
    for c in pairs:
        if c.p is None:
            done.append(c)
            continue
        p, half = results[c.a, c.b]
        done.append(_with_pooled(c, p, half, scatter, judged, against))
    return done


def _with_pooled(
    c: Comparison,
    p: float,
    half: float,
    scatter: tuple[float, float],
    judged: int,
    against: str | None,
) -> Comparison:
    variance, dof = scatter
    assert c.mean_a is not None
    assert c.mean_b is not None
    parts = Components(
        sources=(f"jars of {c.a}", f"jars of {c.b}"),
        numerator=np.array([variance / c.jars_a, 0.0]),
        both=np.zeros(2),
        denominator=np.array([0.0, variance / c.jars_b]),
        dof=np.array([dof, dof]),
    )
    error = (variance / c.jars_a + variance / c.jars_b) ** 0.5
    difference = c.mean_a - c.mean_b
    together = f"all {judged} comparisons together"
    return replace(
        c,
        difference=Estimate(difference, c.unit, (difference - half, difference + half), together),
        ratio=ratio_estimate(c.mean_a, c.mean_b, parts, critical=half / error),
        dof=dof,
        p_adjusted=p,
        adjusted_by="Tukey" if against is None else "Dunnett",
        compared_at_once=judged,
        detectable=half,
    )


def _pooled_variance(samples: Sequence[FeedSample]) -> tuple[float, float]:
    dof = sum(s.jars - 1 for s in samples)
    squares = sum(float(s.values.var(ddof=1)) * (s.jars - 1) for s in samples)
    return squares / dof, float(dof)


Results = dict[tuple[str, str], tuple[float, float]]


def _tukey(samples: dict[str, FeedSample]) -> Results:
    """Return p and half-width of each pair, Tukey-Kramer [1]_."""
    from scipy.stats import tukey_hsd

    names = list(samples)
    found: Any = tukey_hsd(*(s.values for s in samples.values()))
    interval = found.confidence_interval(0.95)
    half = (interval.high - interval.low) / 2
    return {
        (a, b): (float(found.pvalue[i, j]), float(half[i, j]))
        for i, a in enumerate(names)
        for j, b in enumerate(names)
        if i != j
    }


def _dunnett(samples: dict[str, FeedSample], against: str) -> Results:
    """Return p and half-width of each feed against one, Dunnett [2]_ (a fixed seed inside)."""
    from scipy.stats import dunnett

    others = [name for name in samples if name != against]
    found: Any = dunnett(
        *(samples[name].values for name in others),
        control=samples[against].values,
        random_state=np.random.default_rng(0),
    )
    interval = found.confidence_interval(0.95)
    half = (np.asarray(interval.high) - np.asarray(interval.low)) / 2
    return {
        (name, against): (float(found.pvalue[i]), float(half[i])) for i, name in enumerate(others)
    }
