"""What the gas of each interval should have been, by the replicate jars and by its neighbours.

An interval is odd only where it is odd beside every replicate jar *and* beside the jar's own
intervals around it: so a wrong jar accuses no other one, and a slow start is not an error.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from bmp.judge.rough_gas import RoughGas, median, scale_step
from bmp.trial import BoolArray, FloatArray, IntArray, Trial

LEAST_RELATIVE = 0.02
"""Below this scatter of an interval beside a replicate jar nothing is odd."""
FIRST_D = 0.95
"""Before this no interval is odd: jars begin when they begin."""
LATER_D = 0.25
"""Step by which a replicate jar's curve is moved to see how one that begins later would go on."""
USUAL_LATER_D = 0.4
"""Replicate jars begin apart by about this much."""
START = 0.6
"""What a lag leaves beside a curve moved in time: this part of the gas at day 1, a ninth at 3."""
KINK_D = 0.3
"""Jars may differ in when they turn sharply by about this much, where both do."""
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
    """Distance of the interval from what most replicate jars lead to, in standard deviations."""
    spread_NmL: FloatArray
    """Standard deviation of an interval beside its expectation."""
    total_NmL: FloatArray
    """Gas that each jar should have made in all, shape (jars,)."""
    last_NmL: FloatArray
    """Expected gas since the last round, where the jar's interval holds several."""
    calm: FloatArray
    """Distance of the interval from the jar's own rates around it, as a logarithm of the rate."""
    set_of: IntArray
    """Number of the set of replicate jars of each jar, -1 for none; shape (jars,)."""
    sizes: IntArray
    """Number of jars in each jar's set, shape (jars,)."""


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
    expected, away, spread, last, calm = (np.full(size, np.nan) for _ in range(5))
    total, set_of = np.full(len(trial.jars), np.nan), np.full(len(trial.jars), -1)
    sizes = np.zeros(len(trial.jars), dtype=np.int64)
    end = trial.readings.time_d
    start = np.where(seen.first, 0.0, end[seen.previous])
    step = step_NmL(seen)
    for number, jars in enumerate(jar_sets(trial, seen)):
        set_of[jars], sizes[jars] = number, jars.size
        table = _beside(seen, start, end, jars, step)
        for k, j in enumerate(jars):
            one = table.own[k]
            if not one.size:
                continue
            gas = seen.interval_NmL[one]
            low, high = _band(gas, end[one] - start[one], alone=jars.size == 1)
            between = np.sqrt(np.clip(low, 0, None) * np.clip(high, 0, None))
            by_others = median_of_rows(table.should[k, :, : one.size])
            best = np.where(np.isfinite(by_others), by_others, between)
            distance = _usual_of(table.away[k, :, : one.size])
            beyond = np.maximum(np.maximum(low - gas, gas - high), 0.0)
            sd = np.where(
                np.isfinite(by_others),
                median_of_rows(table.spread[k, :, : one.size]),
                np.hypot(table.absolute, np.maximum(table.relative, 0.1) * np.abs(best)),
            )
            expected[one], spread[one] = best, sd
            count = np.isfinite(table.away[k, :, : one.size]).sum(axis=0)
            # one replicate of several tells nothing by itself: it may be the wrong one
            alone = (count == 1) & (jars.size > 2)
            distance = np.where(alone, np.fmin(distance, beyond / sd), distance)
            away[one] = np.where(count > 0, distance, beyond / sd)
            last[one] = median_of_rows(table.last[k, :, : one.size])
            with np.errstate(divide="ignore", invalid="ignore"):
                calm[one] = np.abs(np.log(np.maximum(gas, 0.0) / between))
            total[j] = max(float(np.nansum(best)), 0.0)
    return Peers(expected, away, spread, total, last, calm, set_of, sizes)


@dataclass(frozen=True, eq=False)
class _Beside:
    """Intervals of the jars of a set beside each replicate; shape (jars, jars, intervals)."""

    own: list[IntArray]
    should: FloatArray
    away: FloatArray
    spread: FloatArray
    last: FloatArray
    relative: float
    absolute: float


def _beside(
    seen: RoughGas, start: FloatArray, end: FloatArray, jars: IntArray, step: float
) -> _Beside:
    """Bring the curve of each jar of a set to each other one's size and beginning."""
    own = [_known(seen, start, end, int(j)) for j in jars]
    count, most = jars.size, max(1, *(one.size for one in own))
    gas, ends, length = (np.full((count, 1, most), np.nan) for _ in range(3))
    near, moved, last = (np.full((count, count, most), np.nan) for _ in range(3))
    curves = [_curve(seen, end, one) for one in own]
    since = _last_round(seen, start, end)
    for a, one in enumerate(own):
        gas[a, 0, : one.size], ends[a, 0, : one.size] = seen.interval_NmL[one], end[one]
        length[a, 0, : one.size] = end[one] - start[one]
        for b in range(count):
            if b != a:
                near[a, b, : one.size], moved[a, b, : one.size], last[a, b, : one.size] = _from(
                    curves[b], start[one], end[one], since[one]
                )
    scale, later, relative, absolute = _brought_together(gas, near, moved, step)
    should = scale * near + later * moved
    slack = np.hypot(relative, np.minimum(START / ends**2, 1.0))
    turn = np.fmin(_turns(gas / length), _turns(should / length))
    spread = np.sqrt(absolute**2 + (slack * should) ** 2 + (KINK_D * turn) ** 2)
    away = np.abs(gas - should) / spread
    # a jar that goes another way than its replicate all along is no surprise in one interval
    usual = 1.4826 * _median_last(away)[..., None]
    spread = spread * np.maximum(np.nan_to_num(usual, nan=1.0), 1.0)
    return _Beside(own, should, np.abs(gas - should) / spread, spread, scale * last, relative,
                   absolute)  # fmt: skip


def _turns(rate: FloatArray) -> FloatArray:
    """Return how sharply each row's rates turn near each place: the largest second difference."""
    second = np.diff(rate, n=2, axis=-1, prepend=rate[..., :1], append=rate[..., -1:])
    turn = np.pad(np.abs(np.nan_to_num(second)), [(0, 0)] * (rate.ndim - 1) + [(1, 1)])
    return np.asarray(np.maximum(np.maximum(turn[..., :-2], turn[..., 1:-1]), turn[..., 2:]))


def _brought_together(
    gas: FloatArray, near: FloatArray, moved: FloatArray, step: float
) -> tuple[FloatArray, FloatArray, float, float]:
    """Return size and later beginning of each jar beside each replicate, and the noise left.

    Least squares with weights that leave out what lies far off (Tukey's biweight); sizes near the
    median ratio of large intervals, beginnings within half a day.
    """
    count = near.shape[0]
    known = np.isfinite(gas) & np.isfinite(near) & np.isfinite(moved)
    if known.sum() < 6:
        each = np.abs(gas[np.isfinite(gas)])
        least = 0.05 * median(each) if each.size else 1.0
        return np.ones((count, count, 1)), np.zeros((count, count, 1)), 0.25, max(step, least)
    y, x, d = (np.where(known, np.broadcast_to(v, near.shape), 0.0) for v in (gas, near, moved))
    middle = _median_last(np.where(known, near, np.nan))[..., None]
    with np.errstate(divide="ignore", invalid="ignore"):
        ratio = _median_last(np.where(known & (near >= middle) & (near > 0), gas / near, np.nan))
    usual = np.where((known.sum(axis=-1) >= 3) & (ratio > 0), ratio, 1.0)[..., None]
    scale, later = usual.copy(), np.zeros_like(usual)
    relative, absolute = _noise(y - scale * x, x, known, step)
    for _ in range(5):
        sd = np.hypot(absolute, relative * x)
        z = (y - scale * x - later * d) / sd
        weight = known * np.clip(1.0 - (z / 6.0) ** 2, 0.0, 1.0) ** 2 / sd**2
        xx = (weight * x * x).sum(axis=-1) + 1.0 / (0.1 * usual[..., 0]) ** 2
        dd = (weight * d * d).sum(axis=-1) + (LATER_D / USUAL_LATER_D) ** 2
        xd = (weight * x * d).sum(axis=-1)
        xy = (weight * x * y).sum(axis=-1) + usual[..., 0] / (0.1 * usual[..., 0]) ** 2
        dy = (weight * d * y).sum(axis=-1)
        whole = xx * dd - xd**2
        scale = ((dd * xy - xd * dy) / whole)[..., None]
        later = ((xx * dy - xd * xy) / whole)[..., None]
        relative, absolute = _noise(y - scale * x - later * d, x, known, step)
    return scale, later, relative, absolute


def _noise(off: FloatArray, size: FloatArray, known: BoolArray, step: float) -> tuple[float, float]:
    """Return how far an interval lies off a replicate's: relative of large, absolute of small."""
    away, gas = np.abs(off[known]), np.abs(size[known])
    large = gas >= median(gas)
    relative = 1.4826 * float(median(away[large] / np.maximum(gas[large], 1e-9)))
    absolute = 1.4826 * median(away[~large]) if (~large).any() else 0.0
    return (
        float(np.clip(relative, LEAST_RELATIVE, 1.0)),
        max(absolute, 0.7 * step, 0.01 * median(gas[large]), 1e-3),
    )


def _usual_of(away: FloatArray) -> FloatArray:
    """Return the distance from most replicates: the nearest of two, the middle of more."""
    ordered = np.sort(away, axis=0)
    count = np.isfinite(away).sum(axis=0)
    return np.asarray(ordered[np.maximum((count - 1) // 2, 0), np.arange(away.shape[1])])


def _median_last(table: FloatArray) -> FloatArray:
    """Return the median of the known values along the last axis; NaN where there is none."""
    rows = table.reshape(-1, table.shape[-1])
    return median_of_rows(rows.T).reshape(table.shape[:-1])


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


def _curve(seen: RoughGas, end: FloatArray, own: IntArray) -> tuple[FloatArray, FloatArray]:
    """Return a jar's times and cumulative gas, from closing on; a gap is drawn straight."""
    return (
        np.concatenate([[0.0], end[own]]),
        np.concatenate([[0.0], np.cumsum(seen.interval_NmL[own])]),
    )


def _last_round(seen: RoughGas, start: FloatArray, end: FloatArray) -> FloatArray:
    """Return when the round before each reading was, where the jar was not read in it."""
    before = seen.round - 1
    came_from = np.where(seen.first, -1, seen.round[seen.previous])
    return np.where(came_from < before, seen.time_d[np.maximum(before, 0)], start)


def _from(
    curve: tuple[FloatArray, FloatArray], start: FloatArray, end: FloatArray, since: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return another jar's gas between these times, what it lacks if later, and its last part.

    NaN past its end, and where it was read too far from these times to say.
    """
    at, gas = curve
    if at.size < 3:
        nothing = np.full(start.shape, np.nan)
        return nothing, nothing, nothing
    times = np.concatenate([end, start, end - LATER_D, start - LATER_D, since])
    e, s, e_later, s_later, part = np.interp(times, at, gas).reshape(5, -1)
    made = e - s
    right = np.clip(np.searchsorted(at, times[: 2 * end.size]), 1, at.size - 1)
    gap = np.minimum(np.abs(at[right] - times[: 2 * end.size]),
                     np.abs(times[: 2 * end.size] - at[right - 1])).reshape(2, -1)  # fmt: skip
    far = gap.max(axis=0) > 0.45 * (end - start)
    return np.where(far, np.nan, made), e_later - s_later - made, np.where(far, np.nan, e - part)


def step_NmL(seen: RoughGas) -> float:
    """Return the step that figures were read in as gas."""
    slope = seen.slope_NmL[np.isfinite(seen.slope_NmL)]
    return scale_step(seen.value) * abs(median(slope)) if slope.size else 0.0


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

    Limits: 6.5 standard deviations; five where it is under 0.6 or over 2 times, four where there
    is next to nothing; and gas that moves the mean of the feed's jars by 1.5 % (blanks: 10 %).
    """
    off = np.abs(seen.interval_NmL - beside.expected_NmL)
    with np.errstate(invalid="ignore", divide="ignore"):
        ratio = seen.interval_NmL / beside.expected_NmL
        far = beside.away > 6.5
        far |= (beside.away > 5.0) & ((ratio < 0.6) | (ratio > 2.0))
        far |= (beside.away > 4.0) & (ratio < 0.15)
        return np.asarray(far & matters(trial, seen, beside, off))


def matters(trial: Trial, seen: RoughGas, beside: Peers, off_NmL: FloatArray) -> BoolArray:
    """Tell whether so much gas moves the yield of the jar's feed, once jars have begun."""
    r = trial.readings
    blank = np.array([jar.role == "blank" for jar in trial.jars] or [False])
    inoculum = np.array([jar.inoculum_g or 0.0 for jar in trial.jars] or [0.0])
    with np.errstate(invalid="ignore", divide="ignore"):
        own = (beside.total_NmL / inoculum)[blank & (inoculum > 0)]
    of_blank = median(own) * inoculum if own.size else 0.0 * inoculum
    net = np.maximum(beside.total_NmL - of_blank, 0.15 * beside.total_NmL)
    least = np.clip(0.015 * beside.sizes, 0.02, 0.075) * net
    least = np.where(blank, 0.10 * beside.total_NmL, least)
    return np.asarray((r.time_d > FIRST_D) & (off_NmL > least[r.jar]))
