"""A whole round read or typed otherwise: in another unit, or copied from the one before."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from bmp.judge.cause import Cause, with_values
from bmp.judge.one_reading import is_total
from bmp.judge.peers import median_of_rows
from bmp.judge.rough_gas import RoughGas, median, scale_step
from bmp.trial import BoolArray, FloatArray, IntArray, Trial

NAME = "round in another unit"
COPIED = "round copied"
COPIES = 0.97
"""Part of the figures of a copied round that are those of the round before."""
LEAST_GAIN = 11.0
"""Logarithm of how much likelier a copied round must be, for one round."""
LEAST_GAP = {"pressure": 5.0, "volume": 20.0}
"""What the weather does to a reading of next to nothing, kPa and mL, and more."""
ALIKE, SURER_GAP = 0.1, 0.2
"""Where all jars are off by so nearly one factor, a part of that gap is enough."""
UNITS: dict[str, tuple[tuple[float, str], ...]] = {
    "pressure": (
        (10.0, "mbar for kPa, or kPa for bar tenths"), (0.1, "kPa for mbar"),
        (1 / 6.895, "psi for kPa"), (6.895, "kPa for psi"), (0.01, "bar for kPa"),
        (100.0, "kPa for bar"), (7.5, "mmHg for kPa"), (1 / 14.504, "bar for psi"),
        (14.504, "psi for bar"),
    ),
    "volume": (
        (0.001, "L for mL"), (1000.0, "mL for L"), (1 / 29.57, "fluid ounces for mL"),
    ),
    "mass": ((0.001, "kg for g"), (1000.0, "g for kg")),
}  # fmt: skip
"""What a round's figures come out as when one unit was typed for another."""


def odd_round(trial: Trial, seen: RoughGas) -> Cause | None:
    """Return a round whose figures are all off by the factor between two units."""
    way = "volume" if "volume" in trial.setup.measured else trial.setup.measured
    if way not in UNITS or seen.value_name.startswith("absolute"):
        return None
    rate = _size_of_reading(trial, seen)
    beside = _beside(seen, rate)
    with np.errstate(divide="ignore", invalid="ignore"):
        # of next to nothing the weather may leave less than nothing: then the bare figure
        bare = np.where(rate > 0, rate, seen.value / _length_d(trial, seen))
        off = np.where((bare > 0) & (beside > 0), np.log(bare / beside), np.nan)
    largest = np.zeros(rate.shape)
    for one in seen.of_jar:
        usual = beside[one][np.isfinite(beside[one])]
        largest[one] = np.quantile(usual, 0.9) if usual.size else np.inf
    # where next to nothing is read, a tenth of it is nothing
    with np.errstate(invalid="ignore"):
        sure = beside > 0.08 * largest
    in_round = [
        np.flatnonzero((seen.round == k) & np.isfinite(off) & sure) for k in range(len(seen.time_d))
    ]
    middles = np.array([median(off[here]) if len(here) >= 3 else np.nan for here in in_round])
    for k in np.flatnonzero(np.abs(np.nan_to_num(middles)) > np.log(4.0)).tolist():
        here, middle = in_round[k], float(middles[k])
        scatter = 1.4826 * float(median(np.abs(off[here] - middle)))
        beside_it = np.abs(np.delete(middles[max(k - 5, 0) : k + 6], min(k, 5)))
        # the rounds next to it are off because of it
        calm = np.sort(beside_it[np.isfinite(beside_it)])[:-2]
        waver = median(calm) if calm.size else 1.0
        if way in LEAST_GAP:
            gap = np.abs((bare - beside) * seen.value / bare)[here]
            every = np.flatnonzero((seen.round == k) & sure)
            alike = scatter < ALIKE * abs(middle) and 4 <= len(here) >= 0.8 * len(every)
            if median(gap) < LEAST_GAP[way] * (SURER_GAP if alike else 1.0):
                continue  # next to nothing, and the weather moves it
        if abs(middle) < 4.0 * scatter or abs(middle) < 8.0 * waver:
            continue
        factor, words = min(UNITS[way], key=lambda one: abs(np.log(one[0]) - middle))
        if abs(np.log(factor) - middle) > 0.45 + scatter:
            continue
        every = np.flatnonzero(seen.round == k)
        cells = {int(i): float(seen.value[i] / factor) for i in every}
        names = sorted({trial.jars[int(j)].name for j in trial.readings.jar[every]})
        text = (
            f"On day {seen.time_d[k]:.3g} the figures of all {len(names)} jars read are "
            f"{_times(factor)} what the rounds around lead to: consistent with {words}."
        )
        where = f"all jars day {seen.time_d[k]:.3g}"
        without = with_values(trial, seen.value_name, cells)
        return Cause(NAME, round(float(np.exp(middle)), 4), where, text, without)
    return None


def _times(factor: float) -> str:
    return f"{factor:.3g} times" if factor >= 1 else f"1/{1 / factor:.3g} of"


def _size_of_reading(trial: Trial, seen: RoughGas) -> FloatArray:
    """Return a figure that is alike from round to round: a total, or the figure of a day."""
    if is_total(trial, seen) or trial.setup.measured == "mass":
        return seen.value
    # what the weather did to the gauge is no gas
    closed = trial.readings.not_vented
    figure = np.where(closed, seen.value, seen.interval_NmL / seen.slope_NmL)
    return np.asarray(figure / _length_d(trial, seen))


def _length_d(trial: Trial, seen: RoughGas) -> FloatArray:
    """Return the days that a figure is for; 1 where it is of all the time that a jar is shut."""
    if is_total(trial, seen) or trial.setup.measured == "mass":
        return np.ones(seen.value.shape)
    closed = trial.readings.not_vented
    return np.where(closed, 1.0, np.maximum(seen.length_d(trial), 1e-3))


def _beside(seen: RoughGas, rate: FloatArray) -> FloatArray:
    """Return the geometric mean of the jar's figures before and after each; NaN at its ends."""
    out = np.full(rate.shape, np.nan)
    for one in seen.of_jar:
        if len(one) > 2:
            with np.errstate(invalid="ignore"):
                out[one[1:-1]] = np.sqrt(rate[one[:-2]] * rate[one[2:]])
    return out


def copied_round(trial: Trial, seen: RoughGas) -> Cause | None:
    """Return a round in which the jars have the figures of the round before, again."""
    if len(trial.jars) < 3 or trial.setup.measured == "mass":
        return None
    value = seen.value
    before = seen.previous
    known = (before >= 0) & np.isfinite(value)
    change = np.where(known, value - value[before], np.nan)
    step = scale_step(value)
    if step <= 0:
        return None
    usual, count = _usual_change(seen, change), len(seen.time_d)
    # chance that a figure is the same again: by how much it changes around, and how often it is
    chance = np.maximum(1.0 / (1.0 + 1.5 * usual / step), _again(seen, change == 0))
    chance = np.minimum(chance, 0.8)
    counts = known & (value != 0)
    told = np.where(change == 0, np.log(COPIES / chance), np.log((1 - COPIES) / (1 - chance)))
    gain = np.bincount(seen.round[counts], told[counts], minlength=count)
    for k in np.flatnonzero(gain > LEAST_GAIN + np.log(count)).tolist():
        here = np.flatnonzero((seen.round == k) & counts)
        same = change[here] == 0
        near = np.delete(gain[max(k - 3, 0) : k + 4], min(k, 3))
        if same.sum() < 4 or near.max(initial=-np.inf) > 0.5 * gain[k]:
            continue
        if is_total(trial, seen) and not _caught_up(seen, change, usual, k):
            continue
        copies = here[same]
        meant = {int(i): _between(seen, int(i)) for i in copies}
        where = f"all jars day {seen.time_d[k]:.3g}"
        text = (
            f"On day {seen.time_d[k]:.3g} {int(same.sum())} of {len(here)} jars have the figures "
            "of the round before, again: it was probably copied."
        )
        cells = {i: v for i, v in meant.items() if np.isfinite(v) and v != value[i]}
        if not cells and k < len(seen.time_d) - 1:
            continue
        without = with_values(trial, seen.value_name, cells) if cells else _without(trial, copies)
        return Cause(COPIED, int(same.sum()), where, text, without)
    return None


def _again(seen: RoughGas, same: BoolArray) -> FloatArray:
    """Return how often a jar's figures around each are the same again, the one itself left out."""
    out = np.zeros(same.shape)
    for one in seen.of_jar:
        until = np.concatenate([[0], np.cumsum(same[one])])
        low = np.maximum(np.arange(one.size) - 5, 0)
        high = np.minimum(np.arange(one.size) + 6, one.size)
        out[one] = (until[high] - until[low] - same[one] + 0.5) / (high - low + 1.0)
    return out


def _caught_up(seen: RoughGas, change: FloatArray, usual: FloatArray, k: int) -> bool:
    """Tell whether totals that stood still in round `k` rise by two rounds' gas in the next."""
    later = np.flatnonzero((seen.round == k + 1) & np.isfinite(change))
    if not later.size:
        return False
    return bool(median(change[later]) > 1.6 * median(usual[later]))


def _without(trial: Trial, rows: IntArray) -> Trial:
    """Return the trial without some readings."""
    kept = np.ones(trial.readings.jar.size, dtype=bool)
    kept[rows] = False
    return replace(trial, readings=trial.readings.where(kept))


def _usual_change(seen: RoughGas, change: FloatArray) -> FloatArray:
    """Return how much a jar's figures change around each reading."""
    out = np.zeros(change.shape)
    for one in seen.of_jar:
        if not one.size:
            continue
        moved = np.abs(np.nan_to_num(change[one]))
        moved[:1] = np.nan  # the first figure has none before it
        padded = np.pad(moved, 3, constant_values=np.nan)
        window = np.lib.stride_tricks.sliding_window_view(padded, 7)
        out[one] = np.nan_to_num(median_of_rows(np.delete(window, 3, axis=1).T))
    return out


def _between(seen: RoughGas, i: int) -> float:
    """Return the middle of the jar's figures on either side."""
    p = int(seen.previous[i])
    later = np.flatnonzero(seen.previous == i)
    if not later.size:
        return float("nan")
    return float((seen.value[p] + seen.value[later[0]]) / 2.0)


def fahrenheit(trial: Trial, seen: RoughGas) -> Cause | None:
    """Return readings whose temperature is in °F among others in °C."""
    column = trial.readings.column("temperature_C")
    known = np.isfinite(column)
    if known.sum() < 5:
        return None
    usual = median(column[known])
    hot = known & (column > usual + 12.0)
    hot &= np.abs((column - 32.0) / 1.8 - usual) < 9.0
    if not hot.any() or hot.mean() > 0.5:
        return None
    rows: IntArray = np.flatnonzero(hot)
    days = sorted({round(float(seen.time_d[seen.round[i]]), 2) for i in rows})
    cells = {int(i): (float(column[i]) - 32.0) / 1.8 for i in rows}
    names = sorted({trial.jars[int(j)].name for j in trial.readings.jar[rows]})
    who = names[0] if len(names) == 1 else "all jars"
    where = f"{who} day {', '.join(f'{d:.3g}' for d in days[:4])}"
    text = (
        f"The temperature is about {median(column[rows]):.0f} °C there and "
        f"{usual:.0f} °C elsewhere: consistent with °F."
    )
    return Cause(NAME, median(column[rows]), where, text,
                 with_values(trial, "temperature_C", cells))  # fmt: skip


def air_pressure(trial: Trial, seen: RoughGas) -> Cause | None:
    """Return readings whose air pressure is in another unit than the others'."""
    column = trial.readings.column("ambient_kPa")
    known = np.isfinite(column)
    if known.sum() < 5:
        return None
    usual = median(column[known])
    off = known & (np.abs(np.log(np.maximum(column, 1e-9) / usual)) > 0.25)
    if not off.any() or off.mean() > 0.5 or not 52.0 < usual < 109.0:
        return None
    rows = np.flatnonzero(off)
    days = sorted({round(float(seen.time_d[seen.round[i]]), 2) for i in rows})
    figure = median(column[rows])
    where = f"air pressure day {', '.join(f'{d:.3g}' for d in days[:4])}"
    text = (
        f"The air pressure is {figure:.4g} kPa there and {usual:.4g} kPa elsewhere: another unit, "
        "or a typing error."
    )
    cells = {int(i): usual for i in rows}
    return Cause(NAME, figure, where, text, with_values(trial, "ambient_kPa", cells))
