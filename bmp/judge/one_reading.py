"""One reading that fits neither the replicate jars nor the readings around it, and what it was."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from bmp.judge.cause import Cause, digits_exchanged, one_of, places, with_column, with_values
from bmp.judge.peers import BESIDE_FACTOR, Peers, matters, odd_intervals
from bmp.judge.reading_error import named
from bmp.judge.rough_gas import RoughGas
from bmp.normalise.state import filled
from bmp.trial import BoolArray, Trial

NAME = "odd interval"
FACTORS = (10.0, 100.0, 1000.0)
LAST_PART = "It holds the gas of the last days only: was the jar vented unread before?"
LEAST_AWAY = 4.0
"""Standard deviations from what is expected, where a cause leads to just what is seen."""
SURE = 2.0
"""Of two jars that one is wrong which lies so many times further from its own rates around it."""


def is_total(trial: Trial, seen: RoughGas) -> bool:
    """Tell whether a figure holds all gas so far, so that one wrong figure spoils two intervals."""
    way = trial.setup.measured
    if way in ("volume", "methane volume"):
        return trial.setup.cumulative
    return way == "net yield" or seen.value_name == "mass_g"


def one_reading(
    trial: Trial, seen: RoughGas, beside: Peers, claimed: BoolArray
) -> tuple[Cause | None, Trial]:
    """Return the single reading that explains most, and the trial without it.

    Parameters
    ----------
    claimed
        Readings that are told of already: put right without a word.
    """
    kept, lost = still_held(trial, seen, beside), last_part_only(trial, seen, beside)
    told = kept | lost
    odd = odd_intervals(trial, seen, beside) | told
    off = np.where(odd, np.abs(seen.interval_NmL - beside.expected_NmL), 0.0)
    share = off / np.maximum(beside.total_NmL[trial.readings.jar], 1e-9)
    for i in np.argsort(-share, kind="stable"):
        if not odd[i]:
            break
        suspects = _suspects(trial, seen, beside, odd, told, int(i))
        first = suspects[0]
        cause = _cause(trial, seen, beside, odd, first, bool(kept[first]), bool(lost[first]))
        if cause is not None:
            at = [_at(trial, seen, odd, beside, k) for k in suspects]
            if claimed[at].any():
                return None, cause.without
            return (one_of(trial, cause, at) if len(at) > 1 else cause), cause.without
    return None, trial


def _suspects(
    trial: Trial, seen: RoughGas, beside: Peers, odd: BoolArray, told: BoolArray, i: int
) -> list[int]:
    """Return the intervals of a round that may be the wrong one, the likeliest first.

    Where a feed has two jars, each is as far from the other; a cause that fits, or their own rates
    around it, tell which is wrong, if anything does.
    """
    r = trial.readings
    j = int(r.jar[i])
    others = (r.jar != j) & (beside.set_of[r.jar] == beside.set_of[j]) & (beside.away > 3.0)
    start = np.where(seen.first, 0.0, r.time_d[seen.previous])
    others &= (start < r.time_d[i] - 1e-9) & (r.time_d > start[i] + 1e-9)
    others &= np.minimum(r.time_d, r.time_d[i]) - np.maximum(start, start[i]) > 0.5 * (
        np.minimum(r.time_d - start, r.time_d[i] - start[i])
    )
    if beside.sizes[j] != 2 or not others.any():
        return [i]
    near = np.flatnonzero(others)
    pair = [i, int(near[np.argmax(np.nan_to_num(beside.calm[near]))])]
    pair.sort(key=lambda k: (not told[k], -np.nan_to_num(beside.calm[k])))
    far, near = np.nan_to_num(beside.calm[pair])
    if told[pair[0]] != told[pair[1]]:
        return pair[:1]
    return pair[:1] if far > max(SURE * near, np.log(BESIDE_FACTOR)) else pair


def _closed_before(trial: Trial, seen: RoughGas) -> BoolArray:
    """Mark readings whose jar was left closed at the reading before."""
    before = seen.previous
    return np.where(before >= 0, trial.readings.not_vented[before], False)


def _at(trial: Trial, seen: RoughGas, odd: BoolArray, beside: Peers, i: int) -> int:
    """Return the reading that is wrong where interval `i` is odd."""
    p = int(seen.previous[i])
    running = is_total(trial, seen) or bool(_closed_before(trial, seen)[i])
    if running and p >= 0 and odd[p] and _opposite(seen, beside, p, i):
        return p
    return i


def _opposite(seen: RoughGas, beside: Peers, first: int, second: int) -> bool:
    """Tell whether what one interval has too much the other has too little, about."""
    one = seen.interval_NmL[first] - beside.expected_NmL[first]
    two = seen.interval_NmL[second] - beside.expected_NmL[second]
    room = 5.0 * float(np.hypot(beside.spread_NmL[first], beside.spread_NmL[second]))
    return bool(one * two < 0 and abs(one + two) < max(0.2 * abs(one), room))


def _cause(
    trial: Trial, seen: RoughGas, beside: Peers, odd: BoolArray, i: int, kept: bool, lost: bool
) -> Cause | None:
    at = _at(trial, seen, odd, beside, i)
    following = _next(seen, at)
    running = is_total(trial, seen)
    after_closed = following is not None and bool(trial.readings.not_vented[at])
    if running or after_closed:
        alone = following is not None and not _opposite(seen, beside, at, following)
        if alone:
            return _step(trial, seen, beside, at)
    excess = seen.interval_NmL[at] - beside.expected_NmL[at]
    if not np.isfinite(excess) or not np.isfinite(seen.slope_NmL[at]):
        return None
    figure = float(seen.value[at])
    meant = figure - excess / float(seen.slope_NmL[at])
    near = 3.0 * float(beside.spread_NmL[at] / abs(seen.slope_NmL[at])) + 0.02 * abs(meant)
    total = float(beside.total_NmL[trial.readings.jar[at]])
    effect = 100.0 * excess / total if total > 0 else 0.0
    if kept:
        return _venting(trial, seen, int(seen.previous[at]), at, effect)
    words = LAST_PART if lost else _words(trial, seen, at, figure, meant, near)
    text = (
        f"The figure is {figure:g}; the other readings lead to about {meant:.3g}. {words} "
        f"It changes the jar's gas by {effect:+.0f} %."
    )
    without = with_values(trial, seen.value_name, {at: meant})
    return Cause(NAME, round(figure, 6), named(trial, [at]), text, without, effect)


def _step(trial: Trial, seen: RoughGas, beside: Peers, at: int) -> Cause | None:
    """Return a total that jumped up and stayed up.

    One that falls is a counter set back, a venting or lost gas, which other checks tell.
    """
    excess = float(seen.interval_NmL[at] - beside.expected_NmL[at])
    total = float(beside.total_NmL[trial.readings.jar[at]])
    if not (excess > 0 and total > 0 and np.isfinite(seen.slope_NmL[at])):
        return None
    own = seen.of_jar[int(trial.readings.jar[at])]
    later = own[np.searchsorted(own, at) :]
    less = excess / float(seen.slope_NmL[at])
    effect = 100.0 * excess / total
    text = (
        f"The total jumps by {less:.3g} more than the other readings lead to, and stays there. It "
        f"changes the jar's gas by {effect:+.0f} %."
    )
    cells = {int(i): float(seen.value[i] - less) for i in later}
    without = with_values(trial, seen.value_name, cells)
    return Cause(NAME, round(float(seen.value[at]), 6), named(trial, [at]), text, without, effect)


def _next(seen: RoughGas, i: int) -> int | None:
    later = np.flatnonzero(seen.previous == i)
    return int(later[0]) if later.size else None


def _gauge(trial: Trial, seen: RoughGas, at: int) -> float:
    figure = float(seen.value[at])
    if not seen.value_name.startswith("absolute"):
        return figure
    air = trial.readings.column("ambient_kPa")[at]
    return figure - float(air if np.isfinite(air) else trial.setup.ambient_kPa or 101.325)


def still_held(trial: Trial, seen: RoughGas, beside: Peers) -> BoolArray:
    """Mark intervals that are too large by the whole pressure of the reading before."""
    r, before = trial.readings, seen.previous
    if trial.setup.measured != "pressure":
        return np.zeros(before.shape, dtype=bool)
    air = np.zeros(before.shape)
    if seen.value_name.startswith("absolute"):
        air = filled(filled(r.column("ambient_kPa"), trial.setup.ambient_kPa), 101.325)
    after = r.column(seen.value_name.replace("before", "after"))
    vented = seen.value - np.where(np.isfinite(after), after, air)
    held = (vented * seen.slope_NmL)[before]
    off = seen.interval_NmL - beside.expected_NmL
    with np.errstate(invalid="ignore"):
        rest = np.abs(off - held)
        fits = rest < np.minimum(2.5 * beside.spread_NmL + 0.05 * held, 0.5 * held)
        sure = (beside.away > LEAST_AWAY) & (held > LEAST_AWAY * beside.spread_NmL)
    marks = (before >= 0) & ~r.not_vented[before] & fits & sure
    return np.asarray(marks & matters(trial, seen, beside, held))


def last_part_only(trial: Trial, seen: RoughGas, beside: Peers) -> BoolArray:
    """Mark intervals over several rounds that hold no more than the gas of the last one."""
    came_from = np.where(seen.first, -1, seen.round[seen.previous])
    several = (seen.round - came_from >= 2) & ~_closed_before(trial, seen)
    if is_total(trial, seen) or trial.setup.measured == "mass":
        return np.zeros(several.shape, dtype=bool)
    missing = beside.expected_NmL - beside.last_NmL
    with np.errstate(invalid="ignore"):
        fits = np.abs(seen.interval_NmL - beside.last_NmL) < 2.5 * beside.spread_NmL
        sure = (beside.away > LEAST_AWAY) & (missing > LEAST_AWAY * beside.spread_NmL)
    return np.asarray(several & fits & sure & matters(trial, seen, beside, missing))


def _venting(trial: Trial, seen: RoughGas, p: int, at: int, effect: float) -> Cause:
    marks = trial.readings.not_vented.copy()
    marks[p] = True
    after = seen.value_name.replace("before", "after")
    values = trial.readings.column(after).copy()
    values[p] = np.nan
    without = with_column(trial, after, values)
    without = replace(without, readings=replace(without.readings, not_vented=marks))
    text = (
        f"The pressure of the reading before ({named(trial, [p])}) stands in this one again: the "
        f"jar was probably not vented then. It changes the jar's gas by {effect:+.0f} %."
    )
    return Cause("venting", round(_gauge(trial, seen, at), 3), named(trial, [at]), text, without,
                 effect)  # fmt: skip


def _words(trial: Trial, seen: RoughGas, at: int, figure: float, meant: float, near: float) -> str:
    """Say what the figure may be, if anything explains it."""
    sure = near < 0.15 * abs(meant)
    if trial.setup.measured == "pressure" and sure:
        air = trial.readings.column("ambient_kPa")[at]
        air = float(air if np.isfinite(air) else trial.setup.ambient_kPa or 101.325)
        gauge = seen.value_name.startswith("gauge")
        if abs(figure - (air if gauge else -air) - meant) <= near:
            kinds = ("absolute", "gauge") if gauge else ("gauge", "absolute")
            return f"Probably {kinds[0]} pressure in a column for {kinds[1]} pressures."
    swapped = digits_exchanged(figure, meant, near, places(seen.value)) if sure else None
    ratio = figure / meant if meant > 0 else np.inf
    for factor in FACTORS:
        for f, words in ((factor, "too large"), (1 / factor, "too small")):
            if ratio > 0 and abs(np.log(ratio / f)) < 0.25:
                return f"Probably {factor:g} times {words}: a digit, the point or the unit."
    if swapped is not None:
        return f"Probably two digits are exchanged: {swapped:g}."
    if ratio < 0.2:
        return "Gas was lost, or the figure is too small."
    return "Probably a typing error, or gas was lost or counted twice."
