"""Errors of counters and logs: wrong kind of reading, reset, overflow, zero, repeat, gap."""

from __future__ import annotations

import numpy as np

from bmp.judge.peers import peers
from bmp.judge.reading_error import Seen, finite_max, has_gas, jar_names, named
from bmp.judge.rough_gas import RoughGas, median, scale_step
from bmp.normalise.state import filled
from bmp.trial import BoolArray, FloatArray, IntArray, Trial, says_not_measured

# A running total wavers with air pressure and temperature by 2 to 3 percent at most.
WAVER = 0.03


def _falls(trial: Trial, seen: RoughGas, one: IntArray) -> BoolArray:
    """Tell where one jar's value falls, although nothing was emptied before."""
    value = seen.value[one]
    limit = max(WAVER * finite_max(value), 3.0)
    change = np.diff(value, prepend=np.nan)
    emptied = np.concatenate([[False], trial.readings.emptied[one[:-1]]])
    # a mark on the lower reading itself says the same as one on the reading before it
    return np.asarray((change < -limit) & ~(emptied | trial.readings.emptied[one]))


def interval_for_cumulative(trial: Trial, seen: RoughGas) -> tuple[Seen, ...] | None:
    """Find volumes said to be running totals that rise and fall like gas per interval."""
    if not has_gas(trial) or not trial.setup.cumulative:
        return ()
    alike, judged = [], 0
    for j, one in enumerate(seen.of_jar):
        value = seen.value[one]
        if len(one) < 4 or not finite_max(value) > 0:
            continue
        judged += 1
        change = np.diff(value)
        marked = trial.readings.emptied[one]
        down = (change < -WAVER * finite_max(value)) & ~(marked[:-1] | marked[1:])
        large = one[1:][down]
        over = len(large) > 0 and all(_rolls_over(seen, int(i)) is not None for i in large)
        if down.sum() >= 2 and -change[down].sum() > 0.5 * finite_max(value) and not over:
            alike.append(j)
    if not judged:
        return None
    if len(alike) < 0.7 * judged:
        return ()
    text = "The volumes are said to be running totals, yet they fall again and again in most jars."
    return (Seen(f"{len(alike)} of {judged} jars", jar_names(trial, alike), text),)


def cumulative_for_interval(trial: Trial, seen: RoughGas) -> tuple[Seen, ...] | None:
    """Find volumes said to be gas per interval that never fall and end at their highest."""
    if not has_gas(trial) or trial.setup.cumulative:
        return ()
    alike, judged = [], 0
    for j, one in enumerate(seen.of_jar):
        value = seen.value[one]
        top = finite_max(value)
        if len(one) < 6 or not top > 0:
            continue
        judged += 1
        level = np.mean(np.diff(value) >= -WAVER * top) >= 0.9
        if level and value[-1] >= 0.9 * top and value[-1] >= 1.5 * value[0]:
            alike.append(j)
    if not judged:
        return None
    if len(alike) < 0.8 * judged:
        return ()
    text = (
        "The volumes are said to be gas since the last reading, yet they never fall and end high."
    )
    return (Seen(f"{len(alike)} of {judged} jars", jar_names(trial, alike), text),)


def _unexplained_falls(trial: Trial, seen: RoughGas) -> list[int]:
    """Return readings where a running total starts again, for jars that otherwise rise."""
    if not has_gas(trial) or not trial.setup.cumulative or interval_for_cumulative(trial, seen):
        return []
    out: list[int] = []
    zeros = set(_zero_readings(trial, seen))
    for one in seen.of_jar:
        kept = np.array([i for i in one if i not in zeros], dtype=int)
        if len(kept) < 2:
            continue
        value = seen.value[kept]
        falls = np.flatnonzero(_falls(trial, seen, kept))
        out += [int(kept[i]) for i in falls if value[i] < 0.5 * value[i - 1]]
    return out


def _rolls_over(seen: RoughGas, i: int) -> float | None:
    """Return the capacity at which the counter of reading `i` began again, if one fits."""
    before = int(seen.previous[i])
    value, last = seen.value[i], seen.value[before]
    earlier = int(seen.previous[before])
    step = last - (seen.value[earlier] if earlier >= 0 else 0.0)
    for capacity in (100.0, 1e3, 1e4, 1e5, 65536.0, 1e6):
        implied = capacity - last + value
        full = capacity > last > 0.5 * capacity and value < 0.6 * last
        if full and 0 <= implied <= 2.0 * max(step, 0.0) + 0.02 * last:
            return capacity
    return None


def counter_rollover(trial: Trial, seen: RoughGas) -> tuple[Seen, ...] | None:
    """Find a running total that passed its highest figure and began at zero again."""
    found = [(i, _rolls_over(seen, i)) for i in _unexplained_falls(trial, seen)]
    text = "The total falls as if the counter had passed {:g} and begun again."
    return tuple(
        Seen(float(seen.value[i]), named(trial, [i]), text.format(c))
        for i, c in found
        if c is not None
    )


def counter_reset(trial: Trial, seen: RoughGas) -> tuple[Seen, ...] | None:
    """Find a running total that begins again without a stated reset."""
    falls = _unexplained_falls(trial, seen)
    over = [i for i in falls if _rolls_over(seen, i) is not None]
    if len(over) >= 2 and len(over) == len(falls):
        return ()
    text = "The running total falls from {:g} to {:g} and rises again: the counter was set to zero."
    return tuple(
        Seen(
            float(seen.value[i]),
            named(trial, [i]),
            text.format(seen.value[seen.previous[i]], seen.value[i]),
        )
        for i in falls
    )


def overflow(trial: Trial, seen: RoughGas) -> tuple[Seen, ...] | None:
    """Find a value stuck at the full capacity of the vessel or the gauge."""
    if trial.setup.measured in ("mass", "net yield"):
        return ()
    value = seen.value
    top = finite_max(value)
    if not top > 0:
        return None
    if has_gas(trial) and trial.setup.cumulative:
        return _stuck_total(trial, seen, top)
    distinct = np.unique(value[np.isfinite(value)])
    if len(distinct) < 8:
        return None
    # Of figures that fall off evenly the highest is the rarest: count the next ones below it.
    below = max(0.03 * (top - distinct[0]), 2.2 * float(median(np.diff(distinct[-8:-1]))))
    full = np.flatnonzero(value == top)
    near = int(((value > top - below) & (value < top)).sum())
    if len(full) < 3 or len(full) <= 2.0 * near:
        return ()
    text = f"{len(full)} readings show exactly {top:g}, the highest figure: the vessel was full."
    return (Seen(top, named(trial, full), text),)


def _stuck_total(trial: Trial, seen: RoughGas, top: float) -> tuple[Seen, ...]:
    """Find totals that stop dead at the highest figure while gas was still coming."""
    out = []
    for one in seen.of_jar:
        at = np.flatnonzero(seen.value[one] == top)
        if len(at) < 3 or at[0] < 2 or not np.all(np.diff(at) == 1):
            continue
        if np.max(np.diff(seen.value[one])[at[0] - 2 : at[0]]) > 0.02 * top:
            text = f"The total stays at exactly {top:g} although gas was still coming: it was full."
            out.append(Seen(top, named(trial, one[at]), text))
    return tuple(out)


def _neighbours(value: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return the nearest nonzero value before and after each place; NaN where there is none."""
    known = np.flatnonzero(np.isfinite(value) & (value != 0))
    places = np.arange(len(value))
    left = np.searchsorted(known, places, side="left") - 1
    right = np.searchsorted(known, places, side="right")
    before = np.full(len(value), np.nan)
    after = before.copy()
    before[left >= 0] = value[known[left[left >= 0]]]
    after[right < len(known)] = value[known[right[right < len(known)]]]
    return before, after


def _zero_readings(trial: Trial, seen: RoughGas) -> list[int]:
    """Return readings of exactly zero amid others that are far from it."""
    out: list[int] = []
    total = has_gas(trial) and trial.setup.cumulative
    for one in seen.of_jar:
        value = seen.value[one]
        if not np.any(value == 0) or not finite_max(value) > 0:
            continue
        before, after = _neighbours(value)
        if total:
            amid = (before > 0) & ((after >= 0.97 * before) | np.isnan(after))
        else:
            # A jar that has nearly stopped, or not yet begun, does read zero.
            least = max(_least_sure(trial), 0.25 * float(np.nanmedian(value[value > 0])))
            amid = np.minimum(before, after) > max(least, 3.5 * scale_step(seen.value))
        out += [int(i) for i in one[(value == 0) & amid & (trial.readings.time_d[one] > 0)]]
    return out


def _least_sure(trial: Trial) -> float:
    """Return the figure below which a zero may well be true: 12 mL, 5 kPa, 1 mg."""
    return 5.0 if trial.setup.measured == "pressure" else 12.0 if has_gas(trial) else 0.001


def zero_for_not_read(trial: Trial, seen: RoughGas) -> tuple[Seen, ...] | None:
    """Find a zero typed where nothing was read."""
    text = "A zero stands between readings that are far from zero: it was probably not read."
    zeros = [int(i) for i in _zero_readings(trial, seen) if not _says_so(trial, int(i))]
    out = [Seen(0.0, named(trial, [i]), text, readings=(i,)) for i in zeros]
    share = trial.readings.column("methane_share")
    for one in seen.of_jar:
        column = share[one]
        if np.any(column == 0):
            before, after = _neighbours(column)
            bad = one[(column == 0) & (before > 0.2) & (after > 0.2)]
            text = "A methane share of zero stands between shares far from zero."
            out += [Seen(0.0, named(trial, [int(i)]), text, readings=(int(i),)) for i in bad]
    return tuple(out)


def _says_so(trial: Trial, i: int) -> bool:
    return says_not_measured(trial.readings.note[i])


def _nothing_read(trial: Trial, seen: RoughGas) -> BoolArray:
    none = np.zeros(seen.value.shape)
    if seen.value_name.startswith("absolute"):
        none = filled(trial.readings.column("ambient_kPa"), trial.setup.ambient_kPa)
    return np.asarray(seen.value == none)


def not_measured(trial: Trial, seen: RoughGas) -> tuple[Seen, ...] | None:
    """Return the readings whose gas nobody measured, with what the replicate jars made then."""
    r = trial.readings
    at = [i for i in np.flatnonzero(_nothing_read(trial, seen)).tolist() if _says_so(trial, i)]
    if not at:
        return ()
    beside = peers(trial, seen)
    out = []
    for i in at:
        jar, total = trial.jars[int(r.jar[i])], beside.total_NmL[int(r.jar[i])]
        made = float(beside.expected_NmL[i])
        size = ""
        if np.isfinite(made) and total > 0:
            size = f" The other readings lead to about {100 * made / total:.0f} % of the jar's gas."
        what = (
            "The blank's gas is too low from then on, and the yields too high."
            if jar.role == "blank"
            else "The jar's yield is a lower bound from then on."
        )
        text = f"Nobody measured this gas; it counts as none.{size} {what}"
        out.append(Seen("not measured", named(trial, [i]), text, readings=(i,)))
    return tuple(out)


def duplicate_reading(trial: Trial, seen: RoughGas) -> tuple[Seen, ...] | None:
    """Find a reading given twice: same jar and time, a whole row repeated, or a jar copied."""
    out = _same_time(trial, seen)
    out += _same_row(trial, seen)
    out += _same_jar(trial, seen)
    return tuple(out)


def _same_time(trial: Trial, seen: RoughGas) -> list[Seen]:
    t = trial.readings.time_d
    again = np.flatnonzero(~seen.first & (t - t[seen.previous] < 1e-6))
    text = "The same jar and time stands there twice."
    return [
        Seen(float(seen.value[i]), named(trial, [int(i)]), text, readings=(int(i),)) for i in again
    ]


def _same_row(trial: Trial, seen: RoughGas) -> list[Seen]:
    """Find rows that repeat every figure of the jar's row before, where chance hardly does."""
    r = trial.readings
    checks = np.array([jar.role == "weight check" for jar in trial.jars] or [False])[r.jar]
    apart = ~seen.first & ~checks & (r.time_d - r.time_d[seen.previous] >= 1e-6)
    later = np.flatnonzero(apart)
    if not later.size:
        return []
    same = np.ones(len(later), bool)
    chance = float(len(later))
    for column in r.columns.values():
        change = column[later] - column[seen.previous[later]]
        known = np.isfinite(change)
        if known.mean() < 0.5:
            continue
        same &= ~known | (change == 0)
        step = scale_step(column)
        if step > 0:
            chance /= 1.0 + 2.0 * float(median(np.abs(change[known]))) / step
    value = seen.value[later]
    same &= np.isfinite(value) & (value != 0) & (value == seen.value[seen.previous[later]])
    if chance > 0.02:
        return []
    text = "Every figure of the reading before stands here again: it was copied."
    return [
        Seen(float(seen.value[i]), named(trial, [int(i)]), text, readings=(int(i),))
        for i in later[same]
    ]


COPIED = 0.7
"""Part of a copied jar's figures that nobody changes."""
FIT = 1.5
"""Steps within which two figures are the same, times how they scatter."""
LEAST_BESIDE = 8.0
"""The same for a pair of replicate jars above every other pair."""
LEAST_COPIED = 10.0
"""Logarithm of how much likelier a copy must be than two jars, for one pair."""


def _same_jar(trial: Trial, seen: RoughGas) -> list[Seen]:
    """Find jars with so many figures of another jar that chance cannot have done it.

    Chance follows from how far replicate jars lie apart, in steps of the scale. Two totals that
    met once go on together: then it follows from how far their gas of a round lies apart.
    """
    step = scale_step(seen.value)
    jars = [j for j, jar in enumerate(trial.jars) if jar.role != "weight check"]
    if step <= 0 or len(jars) < 2:
        return []
    table = np.full((len(trial.jars), len(seen.time_d)), np.nan)
    table[trial.readings.jar, seen.round] = seen.value
    figure = np.abs(table[jars])
    if seen.value_name.startswith("absolute"):  # only what stands above the air is the jar's own
        air = filled(trial.readings.column("ambient_kPa"), trial.setup.ambient_kPa)
        above = np.full(table.shape, np.nan)
        above[trial.readings.jar, seen.round] = np.abs(seen.value - filled(air, 101.325))
        figure = above[jars]
    gap = np.abs(table[jars][:, None] - table[jars][None]) / step
    size = np.fmin(figure[:, None], figure[None]) / step
    series = np.array([trial.jars[j].series for j in jars])
    replicates = np.tril(series[:, None] == series[None], -1)
    apart = _apart(replicates, gap, size)
    usual = apart * size
    if trial.setup.measured == "mass" or (has_gas(trial) and trial.setup.cumulative):
        made = np.abs(np.diff(figure, axis=1, prepend=0.0))
        before = np.concatenate([usual[..., :1], gap[..., :-1]], axis=-1)
        usual = np.fmax(0.7 * before, apart * np.fmin(made[:, None], made[None]) / step)
    chance = np.clip(1.0 / (1.0 + FIT * usual), 1e-4, 0.6)
    known = np.isfinite(gap) & (size > 5.0)
    same = known & (gap < 1e-6)
    told = np.where(same, np.log(COPIED / chance), np.log((1 - COPIED) / (1 - chance)))
    gain = np.where(known, told, 0.0).sum(axis=-1)
    least = LEAST_COPIED + np.log(max(len(jars) * (len(jars) - 1) / 2, 1))
    out = []
    for j, k in np.argwhere(np.tril(gain > LEAST_BESIDE, -1)).tolist():
        rest = replicates.copy()
        rest[j, k] = False
        # figures so coarse that other replicate jars nearly seem copies as well tell nothing
        others = max(float(np.quantile(gain[rest], 0.8)), 0.0) if rest.any() else 0.0
        most = max(float(gain[rest].max()), 0.0) if rest.sum() > 2 else np.inf
        alone = gain[j, k] > most + LEAST_BESIDE and replicates[j, k]
        if same[j, k].sum() < 4 or not (alone or gain[j, k] > least + 1.5 * others):
            continue
        one, two = trial.jars[jars[j]].name, trial.jars[jars[k]].name
        text = (
            f"The readings are those of jar {two}, figure by figure."
            if same[j, k].sum() > 0.9 * np.isfinite(gap[j, k]).sum()
            else f"Many of its readings are those of jar {two}, to the last digit: was one jar "
            "read twice under two names?"
        )
        out.append(Seen("copied", f"{one}, {two}", text))
    return out


def _apart(replicates: BoolArray, gap: FloatArray, size: FloatArray) -> float:
    """Return by what part of their figures replicate jars usually lie apart, at least 0.6 %."""
    known = np.isfinite(gap)
    off, whole = (np.where(known, v, 0.0).sum(axis=-1)[replicates] for v in (gap, size))
    each = off[whole > 0] / whole[whole > 0]
    return max(median(each) if each.size > 2 else 0.015, 0.006)


def missing_readings(trial: Trial, seen: RoughGas) -> tuple[Seen, ...] | None:
    """Find gaps in which most other jars were read three times or more."""
    if len(trial.jars) < 3 or trial.setup.given_net:
        return None
    read = np.zeros((len(trial.jars), len(seen.time_d)), bool)
    read[trial.readings.jar, seen.round] = True
    usual = read.mean(axis=0) > 0.5
    if usual.sum() < 5:
        return ()
    before = np.cumsum(usual)
    out = []
    for one, jar in zip(seen.of_jar, trial.jars, strict=True):
        start, last = 0.0, 0
        for i in one:
            here = int(seen.round[i])
            missed = int(before[here] - usual[here] - last)
            if missed >= 3 and jar.counted:
                end = float(trial.readings.time_d[i])
                text = f"{missed} readings that most jars have are missing here."
                out.append(Seen(missed, f"{jar.name} day {start:.4g} to {end:.4g}", text))
            start, last = float(trial.readings.time_d[i]), int(before[here])
    return tuple(out)


def ends_early(trial: Trial, seen: RoughGas) -> tuple[Seen, ...] | None:
    """Find jars whose readings end long before most others'."""
    if len(trial.jars) < 4 or trial.setup.given_net or len(seen.time_d) < 5:
        return None
    last = np.array([seen.round[one[-1]] if len(one) else -1 for one in seen.of_jar])
    counted = np.array(
        [jar.counted and jar.role != "weight check" for jar in trial.jars], dtype=bool
    )
    if not (counted & (last >= 0)).any():
        return None
    end = int(median(last[counted & (last >= 0)]))
    out = []
    for j in np.flatnonzero(counted & (last >= 0) & (last <= end - 3)):
        own_d, others_d = float(seen.time_d[last[j]]), float(seen.time_d[end])
        if own_d > 0.6 * others_d:
            continue
        jar = trial.jars[j]
        what = "The blank" if jar.role == "blank" else f"The yield of {jar.series}"
        text = (
            f"The last reading of jar {jar.name} is on day {own_d:.3g}, that of most jars on day "
            f"{others_d:.3g}. {what} would end with it."
        )
        out.append(Seen(round(own_d, 3), jar.name, text))
    return tuple(out)
