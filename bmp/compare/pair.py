"""Two sums of feeds against each other: difference, ratio, intervals, and what would have shown."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any, Final

import numpy as np

from bmp.compare.contrast import components, contrast, without_scatter
from bmp.compare.feed import Feed, FeedSample, NotComparable, sample_of, unit_of, with_lent
from bmp.estimate import Estimate
from bmp.statistics import (
    Components,
    Critical,
    Interval,
    detectable_difference,
    difference_interval,
    fieller_interval,
    mean_interval,
)

SIGNIFICANT_P = 0.05


@dataclass(frozen=True)
class Comparison:
    """`a` against `b` in one quantity on one basis."""

    a: str
    b: str
    quantity: str
    basis: str
    unit: str
    difference: Estimate
    """`a` less `b`."""
    ratio: Estimate
    """`a` over `b`."""
    mean_a: float | None = None
    mean_b: float | None = None
    jars_a: int = 0
    jars_b: int = 0
    trial_a: str = ""
    trial_b: str = ""
    bucket_L: float = 10.0
    standard_error: float | None = None
    """Of the difference."""
    dof: float | None = None
    """Effective degrees of freedom of the difference; `None`: taken as known, or no verdict."""
    p: float | None = None
    """Two-sided p-value, this pair taken alone."""
    p_adjusted: float | None = None
    """The same, allowing for all comparisons made at once."""
    adjusted_by: str = ""
    """`Holm`, `Tukey` or `Dunnett`; empty: one comparison only."""
    compared_at_once: int = 1
    detectable: float | None = None
    """A difference below this would not have shown, in `unit`."""
    detectable_four_in_five: float | None = None
    """A true difference of this size would show in four trials out of five, in `unit`."""
    variance_shares: Mapping[str, float] = field(default_factory=dict)
    """What share of the difference's variance each source of error has."""
    not_carried: tuple[str, ...] = ()
    """Errors that are not known and so not in the intervals."""
    time_d: tuple[float, float] | None = None
    """Day that each side's yields are of."""
    finished: bool | None = None
    """Whether both sides had met the stop rule by then; `None`: cannot be told."""
    no_verdict: str = ""
    """Why nothing is said about which is better; empty where something is."""
    borrowed: Comparison | None = None
    """The same with borrowed scatter between the jars (`bmp.borrowed_scatter`), for yields within a
    trial."""

    @property
    def verdict(self) -> str:
        """`more`, `less`, `not shown` or `no verdict`."""
        p = self.p_adjusted if self.p_adjusted is not None else self.p
        if self.no_verdict or p is None or self.difference.value is None:
            return "no verdict"
        if p >= SIGNIFICANT_P:
            return "not shown"
        return "more" if self.difference.value > 0 else "less"


@dataclass(frozen=True)
class Side:
    """One side of a comparison: its name and the weight of each sample in it."""

    name: str
    weights: tuple[float, ...]


def compare_samples(
    samples: Sequence[FeedSample],
    a: Side,
    b: Side,
    quantity: str,
    basis: str,
    bucket_L: float = 10.0,
) -> Comparison:
    """Compare two weighted sums of samples; a plain pair has weights (1, 0) and (0, 1).

    Parameters
    ----------
    samples : sequence of FeedSample
        Without leading axes: one trial's figures, not a simulation's.
    a, b : Side
        The second is what the first is measured against.
    quantity, basis : str
        What the samples hold.
    bucket_L : float
        Size of the bucket, for the words.
    """
    used = [s for s, wa, wb in zip(samples, a.weights, b.weights, strict=True) if wa or wb]
    mean_a, mean_b = float(contrast(samples, a.weights)), float(contrast(samples, b.weights))
    unit = unit_of(quantity, basis)
    bare = Comparison(
        a=a.name,
        b=b.name,
        quantity=quantity,
        basis=basis,
        unit=unit,
        difference=Estimate(mean_a - mean_b, unit),
        ratio=_bare_ratio(mean_a, mean_b),
        mean_a=mean_a,
        mean_b=mean_b,
        jars_a=_fewest(samples, a),
        jars_b=_fewest(samples, b),
        trial_a=_trials(samples, a),
        trial_b=_trials(samples, b),
        bucket_L=bucket_L,
        not_carried=tuple(dict.fromkeys(x for s in used for x in s.not_carried)),
    )
    single = without_scatter(used)
    if single:
        return _without_verdict(bare, f"one jar only of {' and of '.join(single)}")
    weights = np.subtract(a.weights, b.weights)
    parts = components(samples, weights)
    if not parts.numerator.sum() > 0:
        return _without_verdict(
            bare, f"the jars agree to the last digit, so {a.name} and {b.name} show no scatter"
        )
    interval = difference_interval(np.asarray(mean_a - mean_b), parts)
    return _with_intervals(bare, interval, parts, components(samples, a.weights, b.weights))


def compare_pair(
    a: Feed, b: Feed, quantity: str = "yield", basis: str = "VS", bucket_L: float = 10.0
) -> Comparison:
    """Compare two feeds of one trial in one quantity on one basis.

    A quantity that is not determined, or a basis that is not known, gives a comparison without
    verdict that says so.
    """
    ends = _ends(a, b)
    try:
        samples = [sample_of(feed, quantity, basis, bucket_L) for feed in (a, b)]
    except NotComparable as missing:
        bare = not_comparable(a.name, b.name, quantity, basis, str(missing))
        return replace(
            bare,
            **ends,
            jars_a=len(a.jars),
            jars_b=len(b.jars),
            trial_a=a.trial,
            trial_b=b.trial,
            bucket_L=bucket_L,
        )
    sides = Side(a.name, (1.0, 0.0)), Side(b.name, (0.0, 1.0))
    found = replace(compare_samples(samples, *sides, quantity, basis, bucket_L), **ends)
    apart = _read_to_other_days(a, b) if quantity == "yield" else ""
    if apart:
        return replace(found, no_verdict=apart)
    if quantity != "yield" or a.lent is None or b.lent is None:
        return found
    lent = [
        with_lent(sample, feed.lent)
        for sample, feed in zip(samples, (a, b), strict=True)
        if feed.lent
    ]
    borrowed = compare_samples(lent, *sides, quantity, basis, bucket_L)
    return replace(found, borrowed=replace(borrowed, **ends))


SHORTEST_PART: Final = 0.8
"""A feed that still makes methane is compared only with those read for at most 1/0.8 of its time
(judgement)."""


def _read_to_other_days(a: Feed, b: Feed) -> str:
    """Return why the yields of two feeds are of days too far apart; empty where they are not."""
    if a.time_d is None or b.time_d is None:
        return ""
    (early_d, early), (late_d, late) = sorted(
        ((a.time_d, a), (b.time_d, b)), key=lambda side: side[0]
    )
    if early.finished or early_d >= SHORTEST_PART * late_d:
        return ""
    return (
        f"{early.name} was read to day {early_d:.3g} only and still made methane, {late.name} to "
        f"day {late_d:.3g}"
    )


def _ends(a: Feed, b: Feed) -> dict[str, Any]:
    """Return the days of both feeds and whether both have finished."""
    told = [one.finished for one in (a, b)]
    days = None if a.time_d is None or b.time_d is None else (a.time_d, b.time_d)
    return {"time_d": days, "finished": False if False in told else None if None in told else True}


def not_comparable(a: str, b: str, quantity: str, basis: str, why: str) -> Comparison:
    """Return a comparison without figures or verdict that says why."""
    unit = unit_of(quantity, basis)
    none, ratio = Estimate(None, unit, why=why), Estimate(None, "1", why=why)
    return Comparison(a, b, quantity, basis, unit, none, ratio, no_verdict=why)


def mean_of(
    feed: Feed, quantity: str = "yield", basis: str = "VS", bucket_L: float = 10.0
) -> Estimate:
    """Return a feed's mean with its 95 % interval: jars, blank and solids together."""
    unit = unit_of(quantity, basis)
    try:
        sample = sample_of(feed, quantity, basis, bucket_L)
    except NotComparable as missing:
        return Estimate(None, unit, why=str(missing))
    value = float(sample.mean)
    if sample.jars < 2:
        return Estimate(value, unit, why="one jar only: its scatter is unknown")
    parts = components([sample], [1.0])
    found = mean_interval(np.asarray(value), parts.numerator, parts.dof)
    return Estimate(
        value, unit, (float(found.low), float(found.high)), "between jars, blank, solids"
    )


def ratio_estimate(
    mean_a: float, mean_b: float, parts: Components, critical: Critical | float | None = None
) -> Estimate:
    """Return a/b with its Fieller interval, or why there is none."""
    bare = _bare_ratio(mean_a, mean_b)
    if bare.value is None:
        return bare
    low, high = fieller_interval(np.asarray(mean_a), np.asarray(mean_b), parts, critical)
    if not (math.isfinite(low) and math.isfinite(high)):
        why = "the value it is divided by may be zero, so the ratio has no bound"
        return Estimate(bare.value, "1", why=why)
    return Estimate(bare.value, "1", (float(low), float(high)), "Fieller")


def _with_intervals(
    bare: Comparison, interval: Interval, parts: Components, both: Components
) -> Comparison:
    assert bare.mean_a is not None
    assert bare.mean_b is not None
    total = float(parts.numerator.sum())
    shares = zip(parts.sources, parts.numerator / total, strict=True)
    dof = interval.dof
    return replace(
        bare,
        difference=Estimate(
            bare.mean_a - bare.mean_b,
            bare.unit,
            (float(interval.low), float(interval.high)),
            "this pair alone",
        ),
        ratio=ratio_estimate(bare.mean_a, bare.mean_b, both),
        standard_error=float(interval.standard_error),
        dof=float(dof) if dof < 1e8 else None,
        p=float(interval.p),
        p_adjusted=float(interval.p),
        detectable=float(detectable_difference(interval)),
        detectable_four_in_five=float(detectable_difference(interval, power=0.8)),
        variance_shares={name: float(share) for name, share in shares},
    )


def _without_verdict(bare: Comparison, why: str) -> Comparison:
    return replace(
        bare,
        difference=Estimate(bare.difference.value, bare.unit, why=why),
        ratio=Estimate(bare.ratio.value, "1", why=bare.ratio.why or why),
        no_verdict=why,
    )


def _bare_ratio(mean_a: float, mean_b: float) -> Estimate:
    if mean_b <= 0:
        return Estimate(None, "1", why="what it is measured against is not above zero")
    return Estimate(mean_a / mean_b, "1")


def _fewest(samples: Sequence[FeedSample], side: Side) -> int:
    return min(s.jars for s, w in zip(samples, side.weights, strict=True) if w)


def _trials(samples: Sequence[FeedSample], side: Side) -> str:
    names = (s.trial for s, w in zip(samples, side.weights, strict=True) if w)
    return ", ".join(dict.fromkeys(names))
