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
    return _with_intervals([_prepared(samples, a, b, quantity, basis, bucket_L)])[0]


@dataclass(frozen=True, eq=False)
class _Prepared:
    """A comparison without its intervals."""

    bare: Comparison
    difference: Components | None
    """`None`: there is no verdict."""
    ratio: Components | None
    apart: str = ""
    """Why there is no verdict for all its figures; empty where there is one."""


def _prepared(
    samples: Sequence[FeedSample], a: Side, b: Side, quantity: str, basis: str, bucket_L: float
) -> _Prepared:
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
        why = f"one jar only of {' and of '.join(single)}"
        return _Prepared(_without_verdict(bare, why), None, None)
    parts = components(samples, np.subtract(a.weights, b.weights))
    if not parts.numerator.sum() > 0:
        why = f"the jars agree to the last digit, so {a.name} and {b.name} show no scatter"
        return _Prepared(_without_verdict(bare, why), None, None)
    return _Prepared(bare, parts, components(samples, a.weights, b.weights))


def compare_pair(
    a: Feed, b: Feed, quantity: str = "yield", basis: str = "VS", bucket_L: float = 10.0
) -> Comparison:
    """Compare two feeds of one trial in one quantity on one basis, as `compare_pairs` does many."""
    return compare_pairs([(a, b)], quantity, basis, bucket_L)[0]


def compare_pairs(
    pairs: Sequence[tuple[Feed, Feed]],
    quantity: str = "yield",
    basis: str = "VS",
    bucket_L: float = 10.0,
) -> list[Comparison]:
    """Compare pairs of feeds of one trial in one quantity on one basis, all pairs at once.

    A quantity that is not determined, or a basis that is not known, gives a comparison without
    verdict that says so.
    """
    samples: dict[int, FeedSample | NotComparable] = {}
    for feed in (one for pair in pairs for one in pair):
        if id(feed) not in samples:
            samples[id(feed)] = _sample_or_why(feed, quantity, basis, bucket_L)
    own, lent = [], {}
    for number, (a, b) in enumerate(pairs):
        both = [samples[id(feed)] for feed in (a, b)]
        known = [one for one in both if isinstance(one, FeedSample)]
        sides = Side(a.name, (1.0, 0.0)), Side(b.name, (0.0, 1.0))
        if len(known) == len(both):
            own.append(_prepared(known, *sides, quantity, basis, bucket_L))
        else:
            why = next(str(one) for one in both if isinstance(one, NotComparable))
            own.append(_Prepared(_nothing_known(a, b, quantity, basis, bucket_L, why), None, None))
            continue
        apart = _read_to_other_days(a, b) if quantity == "yield" else ""
        if apart:
            own[-1] = replace(own[-1], apart=apart)
        elif quantity == "yield" and a.lent is not None and b.lent is not None:
            with_loan = [with_lent(known[0], a.lent), with_lent(known[1], b.lent)]
            lent[number] = _prepared(with_loan, *sides, quantity, basis, bucket_L)
    found = _with_intervals([*own, *lent.values()])
    borrowed = dict(zip(lent, found[len(pairs) :], strict=True))
    return [
        replace(
            one,
            **_ends(a, b),
            no_verdict=prepared.apart or one.no_verdict,
            borrowed=replace(borrowed[number], **_ends(a, b)) if number in borrowed else None,
        )
        for number, (one, prepared, (a, b)) in enumerate(zip(found, own, pairs, strict=False))
    ]


def _sample_or_why(
    feed: Feed, quantity: str, basis: str, bucket_L: float
) -> FeedSample | NotComparable:
    try:
        return sample_of(feed, quantity, basis, bucket_L)
    except NotComparable as missing:
        return missing


def _nothing_known(
    a: Feed, b: Feed, quantity: str, basis: str, bucket_L: float, why: str
) -> Comparison:
    return replace(
        not_comparable(a.name, b.name, quantity, basis, why),
        jars_a=len(a.jars),
        jars_b=len(b.jars),
        trial_a=a.trial,
        trial_b=b.trial,
        bucket_L=bucket_L,
    )


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
    return _bounded_ratio(bare, float(low), float(high))


def _bounded_ratio(bare: Estimate, low: float, high: float) -> Estimate:
    """Return a ratio with its Fieller interval, or why there is none."""
    if bare.value is None:
        return bare
    if not (math.isfinite(low) and math.isfinite(high)):
        why = "the value it is divided by may be zero, so the ratio has no bound"
        return Estimate(bare.value, "1", why=why)
    return Estimate(bare.value, "1", (low, high), "Fieller")


def _with_intervals(prepared: Sequence[_Prepared]) -> list[Comparison]:
    """Return comparisons with their intervals, those of as many sources of error together."""
    done = [one.bare for one in prepared]
    groups: dict[int, list[int]] = {}
    for number, one in enumerate(prepared):
        if one.difference is not None:
            groups.setdefault(len(one.difference.sources), []).append(number)
    for numbers in groups.values():
        bare = [prepared[number].bare for number in numbers]
        parts = _stacked([prepared[number].difference for number in numbers])
        both = _stacked([prepared[number].ratio for number in numbers])
        mean_a, mean_b = (
            np.array([getattr(one, name) for one in bare]) for name in ("mean_a", "mean_b")
        )
        interval = difference_interval(mean_a - mean_b, parts)
        low, high = fieller_interval(mean_a, mean_b, both)
        total = parts.numerator.sum(axis=-1)
        told = zip(
            numbers, bare, interval.low, interval.high, low, high, interval.standard_error,
            interval.dof, interval.p, detectable_difference(interval),
            detectable_difference(interval, power=0.8), parts.numerator / total[:, None],
            strict=True,
        )  # fmt: skip
        for number, one, *figures, shares in told:
            least, most, ratio_low, ratio_high, error, dof, p, shown, shown_often = map(
                float, figures
            )
            sources = prepared[number].difference
            assert sources is not None
            done[number] = replace(
                one,
                difference=Estimate(
                    one.difference.value, one.unit, (least, most), "this pair alone"
                ),
                ratio=_bounded_ratio(one.ratio, ratio_low, ratio_high),
                standard_error=error,
                dof=dof if dof < 1e8 else None,
                p=p,
                p_adjusted=p,
                detectable=shown,
                detectable_four_in_five=shown_often,
                variance_shares=dict(zip(sources.sources, shares.tolist(), strict=True)),
            )
    return done


def _stacked(parts: Sequence[Components | None]) -> Components:
    """Return the components of several contrasts of as many sources, one row each."""
    known = [one for one in parts if one is not None]
    return Components(
        known[0].sources,
        *(
            np.stack([getattr(one, name) for one in known])
            for name in ("numerator", "both", "denominator", "dof")
        ),
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
