"""One reading that fits neither the replicate jars nor the readings around it, and what it was."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from bmp.judge.cause import Cause, digits_exchanged, places, with_column, with_values
from bmp.judge.peers import Peers, odd_intervals
from bmp.judge.reading_error import named
from bmp.judge.rough_gas import RoughGas
from bmp.trial import BoolArray, Trial

NAME = "odd interval"
FACTORS = (10.0, 100.0, 1000.0)


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
    odd = odd_intervals(trial, seen, beside)
    off = np.where(odd, np.abs(seen.interval_NmL - beside.expected_NmL), 0.0)
    share = off / np.maximum(beside.total_NmL[trial.readings.jar], 1e-9)
    for i in np.argsort(-share, kind="stable"):
        if not odd[i]:
            break
        cause = _cause(trial, seen, beside, odd, int(i))
        if cause is not None:
            at = _at(trial, seen, odd, beside, int(i))
            if claimed[at]:
                return None, cause.without
            return cause, cause.without
    return None, trial


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


def _cause(trial: Trial, seen: RoughGas, beside: Peers, odd: BoolArray, i: int) -> Cause | None:
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
    left = _left_closed(trial, seen, beside, at, excess)
    if left is not None:
        return _venting(trial, seen, left, at, effect)
    words = _words(trial, seen, beside, at, figure, meant, near)
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


def _left_closed(trial: Trial, seen: RoughGas, beside: Peers, at: int, excess: float) -> int | None:
    """Return the reading before where its whole pressure stands in this one again."""
    p = int(seen.previous[at])
    if trial.setup.measured != "pressure" or p < 0 or trial.readings.not_vented[p]:
        return None
    after = seen.value_name.replace("before", "after")
    kept = _gauge(trial, seen, p)
    if np.isfinite(trial.readings.column(after)[p]):
        kept = float(trial.readings.column(seen.value_name)[p] - trial.readings.column(after)[p])
    held = kept * float(seen.slope_NmL[p])
    room = 4.0 * float(beside.spread_NmL[at]) + 0.05 * abs(held)
    return p if held > 0 and abs(excess - held) < min(room, 0.5 * held) else None


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


def _words(
    trial: Trial, seen: RoughGas, beside: Peers, at: int, figure: float, meant: float, near: float
) -> str:
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
    if _last_part_only(trial, seen, beside, at):
        return "It holds the gas of the last days only: was the jar vented unread before?"
    if ratio < 0.2:
        return "Gas was lost, or the figure is too small."
    return "Probably a typing error, or gas was lost or counted twice."


def _last_part_only(trial: Trial, seen: RoughGas, beside: Peers, at: int) -> bool:
    """Tell whether the interval spans several rounds and has little gas for it."""
    p = int(seen.previous[at])
    rounds_d = int(seen.round[at]) - (int(seen.round[p]) if p >= 0 else -1)
    return rounds_d >= 2 and bool(seen.interval_NmL[at] < beside.expected_NmL[at])
