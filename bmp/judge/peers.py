"""What the gas of each interval should have been, by the replicate jars and by its neighbours.

An interval is odd only where it is odd beside every replicate jar *and* beside the jar's own
intervals around it: so a wrong jar accuses no other one, and a slow start is not an error.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from bmp.judge.rough_gas import RoughGas
from bmp.trial import BoolArray, FloatArray, IntArray, Trial

LEAST_RELATIVE = 0.03
"""Below this scatter of an interval beside a replicate jar nothing is odd."""
START_D = 0.6
"""Replicate jars may begin so much apart: what they give in the first days differs by as much."""
FIRST_D = 0.95
"""Before this no interval is odd: jars begin when they begin."""
BESIDE_FACTOR = 1.35
"""How many times the rates around it an interval may have and be no surprise."""
ALONE_FACTOR = 2.5
"""The same for a jar without replicates."""


@dataclass(frozen=True, eq=False)
class Peers:
    """Expected gas of each interval. Arrays over readings; NaN where nothing can be expected."""

    expected_NmL: FloatArray
    """By the replicate jars, else by the jar's own intervals around it."""
    away: FloatArray
    """Distance of the interval from the nearest expectation, in standard deviations."""
    spread_NmL: FloatArray
    """Standard deviation of an interval beside its expectation."""
    total_NmL: FloatArray
    """Gas that each jar should have made in all, shape (jars,)."""
    set_of: IntArray
    """Number of the set of replicate jars of each jar, -1 for none; shape (jars,)."""


def jar_sets(trial: Trial, seen: RoughGas, least: int = 1) -> list[IntArray]:
    """Return the jars of each series that were read and count, in sets of at least so many."""
    series: dict[str, list[int]] = {}
    for j, jar in enumerate(trial.jars):
        if jar.counted and jar.role != "weight check" and len(seen.of_jar[j]) >= 3:
            name = f"blank {jar.inoculum}" if jar.role == "blank" else jar.series
            series.setdefault(name, []).append(j)
    return [np.array(jars) for jars in series.values() if len(jars) >= least]


def peers(trial: Trial, seen: RoughGas) -> Peers:
    """Compare every interval with replicate jars and with the intervals around it."""
    size = trial.readings.jar.size
    expected, away, spread = (np.full(size, np.nan) for _ in range(3))
    total, set_of = np.full(len(trial.jars), np.nan), np.full(len(trial.jars), -1)
    end = trial.readings.time_d
    start = np.where(seen.first, 0.0, end[seen.previous])
    curves = [_curve(seen, start, end, one) for one in seen.of_jar]
    step = _step_NmL(seen)
    for number, jars in enumerate(jar_sets(trial, seen)):
        set_of[jars] = number
        own = [_known(seen, start, end, int(j)) for j in jars]
        near = [[_from(curves[k], start[one], end[one]) for k in jars if k != j]
                for j, one in zip(jars, own, strict=True)]  # fmt: skip
        scaled = [
            [_scaled(seen.interval_NmL[one], other) for other in others]
            for one, others in zip(own, near, strict=True)
        ]
        relative, absolute = _noise(seen, own, scaled, step)
        for j, one, others in zip(jars, own, scaled, strict=True):
            if not one.size:
                continue
            gas, length = seen.interval_NmL[one], end[one] - start[one]
            low, high = _band(gas, length, alone=not others)
            table = np.array(others) if others else np.full((1, one.size), np.nan)
            middle = median_of_rows(table)
            some = np.isfinite(middle)
            between = np.sqrt(np.clip(low, 0, None) * np.clip(high, 0, None))
            best = np.where(some, middle, between)
            slack = np.maximum(relative, START_D / np.maximum(end[one], START_D))
            sd = np.hypot(absolute, slack * np.abs(best))
            with np.errstate(invalid="ignore"):
                # of far too little a share tells more than a difference
                least = np.minimum(np.abs(table), np.sqrt(np.abs(table * gas)))
                table_away = np.abs(gas - table) / np.hypot(absolute, slack * least)
                least = np.minimum(np.abs(best), np.sqrt(np.abs(best * gas)))
                beyond = np.maximum(np.maximum(low - gas, gas - high), 0.0)
                outside = beyond / np.hypot(absolute, slack * least)
            every = np.vstack([table_away, outside[None]])
            told = np.isfinite(every).any(axis=0)
            nearest = np.full(one.size, np.nan)
            nearest[told] = np.nanmin(every[:, told], axis=0)
            expected[one], away[one], spread[one] = best, nearest, sd
            total[j] = max(float(np.nansum(best)), 0.0)
    return Peers(expected, away, spread, total, set_of)


def median_of_rows(table: FloatArray) -> FloatArray:
    """Return the median of the known values of each column; NaN where there is none."""
    ordered = np.sort(table, axis=0)  # NaN comes last
    count = np.isfinite(table).sum(axis=0)
    at = np.arange(table.shape[1])
    low = ordered[np.maximum((count - 1) // 2, 0), at]
    high = ordered[np.minimum(count // 2, table.shape[0] - 1), at]
    return np.where(count > 0, 0.5 * (low + high), np.nan)


def _known(seen: RoughGas, start: FloatArray, end: FloatArray, j: int) -> IntArray:
    one = seen.of_jar[j]
    return one[np.isfinite(seen.interval_NmL[one]) & (end[one] > start[one])]


def _curve(
    seen: RoughGas, start: FloatArray, end: FloatArray, one: IntArray
) -> tuple[FloatArray, FloatArray]:
    """Return a jar's times and cumulative gas, from closing on; a gap is drawn straight."""
    known = one[np.isfinite(seen.interval_NmL[one])]
    return (
        np.concatenate([[0.0], end[known]]),
        np.concatenate([[0.0], np.cumsum(seen.interval_NmL[known])]),
    )


def _from(curve: tuple[FloatArray, FloatArray], start: FloatArray, end: FloatArray) -> FloatArray:
    """Return the gas of another jar between these times; NaN past its end."""
    at, gas = curve
    if at.size < 2:
        return np.full(start.shape, np.nan)
    late = end > at[-1] + 0.5 * float(np.median(np.diff(at)))
    made = np.interp(end, at, gas) - np.interp(start, at, gas)
    return np.where(late, np.nan, made)


def _scaled(gas: FloatArray, other: FloatArray) -> FloatArray:
    """Bring another jar's gas to the size of this one's, by the median ratio of large intervals."""
    known = np.isfinite(other) & (other > 0)
    if known.sum() < 3:
        return other
    large = known & (other >= np.quantile(other[known], 0.3))
    ratio = float(np.median(gas[large] / other[large]))
    return np.asarray(other * ratio) if ratio > 0 else other


def _step_NmL(seen: RoughGas) -> float:
    """Return the smallest difference between two figures as gas."""
    value = np.unique(seen.value[np.isfinite(seen.value)])
    steps = np.diff(value)
    steps = steps[steps > 1e-9 * np.abs(value).max()] if value.size else steps
    slope = seen.slope_NmL[np.isfinite(seen.slope_NmL)]
    return float(steps.min() * np.median(slope)) if steps.size and slope.size else 0.0


def _noise(
    seen: RoughGas, own: list[IntArray], scaled: list[list[FloatArray]], step: float
) -> tuple[float, float]:
    """Return how far an interval lies off a replicate's: relative of large, absolute of small."""
    gas = [np.broadcast_to(seen.interval_NmL[one], (len(o), one.size)).ravel()
           for one, o in zip(own, scaled, strict=True)]  # fmt: skip
    should = [np.concatenate(o) if o else np.zeros(0) for o in scaled]
    every, against = np.concatenate(gas), np.concatenate(should)
    known = np.isfinite(against)
    if known.sum() < 6:
        each = np.abs(np.concatenate([seen.interval_NmL[o] for o in own]))
        return 0.25, max(step, 0.05 * float(np.median(each)) if each.size else 1.0)
    off, size = np.abs(every - against)[known], np.abs(against[known])
    large = size >= np.median(size)
    relative = 1.4826 * float(np.median(off[large] / np.maximum(size[large], 1e-9)))
    absolute = 1.4826 * float(np.median(off[~large])) if (~large).any() else 0.0
    return (
        float(np.clip(relative, LEAST_RELATIVE, 1.0)),
        max(absolute, 0.7 * step, 0.01 * float(np.median(size[large]))),
    )


def _band(gas: FloatArray, length: FloatArray, alone: bool) -> tuple[FloatArray, FloatArray]:
    """Return the lowest and highest gas that the rates around an interval allow; NaN at ends."""
    rate = gas / length
    low, high = np.full(gas.shape, np.nan), np.full(gas.shape, np.nan)
    if gas.size >= 3:
        middle = np.sqrt(np.maximum(rate[:-2], 0.0) * np.maximum(rate[2:], 0.0))
        factor = ALONE_FACTOR if alone else BESIDE_FACTOR
        low[1:-1], high[1:-1] = middle / factor, middle * factor
    return low * length, high * length


def odd_intervals(trial: Trial, seen: RoughGas, beside: Peers) -> BoolArray:
    """Mark intervals that lie far off, by an amount that moves the yield.

    Limits: seven standard deviations (five where it is under 0.6 or over 2 times), and
    2.5 to 5 % of the jar's gas by the number of jars in the mean (10 % of a blank's).
    """
    blank = np.array([jar.role == "blank" for jar in trial.jars] or [False])
    sizes = np.bincount(beside.set_of + 1, minlength=1)
    count = sizes[beside.set_of + 1]
    part = np.clip(0.013 * count, 0.025, 0.05)
    least = np.where(blank, 0.10, part) * beside.total_NmL
    off = np.abs(seen.interval_NmL - beside.expected_NmL)
    with np.errstate(invalid="ignore"):
        ratio = seen.interval_NmL / beside.expected_NmL
        far = (beside.away > 7.0) | ((beside.away > 5.0) & ((ratio < 0.6) | (ratio > 2.0)))
        begun = trial.readings.time_d > FIRST_D
        return np.asarray(far & begun & (off > least[trial.readings.jar]))
