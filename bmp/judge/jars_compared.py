"""What shows only when jars are held beside their replicates: swaps, leaks, odd readings."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from bmp.judge.reading_error import Seen, jar_names
from bmp.judge.rough_gas import RoughGas, median, scale_step
from bmp.normalise.weighing import balance_uncertainty_g, leaks, weighings
from bmp.trial import FloatArray, IntArray, Trial

# Below this scatter between replicate jars no jar is called odd: weighing and reading alone.
LEAST_SCATTER = 0.015


@dataclass(frozen=True, eq=False)
class Replicates:
    """Jars in sets of one series, with the logarithm of their gas at a few times.

    `level` has shape (jars, features); jars without enough gas or left out are in no set.
    """

    sets: tuple[IntArray, ...]
    level: FloatArray
    at_d: FloatArray


def replicates(trial: Trial, seen: RoughGas) -> Replicates | None:
    """Sort jars into sets of two or more; `None` where too little was read to compare."""
    if trial.setup.given_net or len(seen.time_d) < 3:
        return None
    series: dict[str, list[int]] = {}
    for j, jar in enumerate(trial.jars):
        if jar.counted and jar.role != "weight check" and len(seen.of_jar[j]) >= 3:
            series.setdefault(jar.series, []).append(j)
    sets = tuple(np.array(jars) for jars in series.values() if len(jars) > 1)
    if not sets:
        return None
    every = np.concatenate(sets)
    shared = np.isfinite(seen.gas_NmL[every]).all(axis=0)
    if shared.sum() < 3:
        return None
    middle = np.median(seen.gas_NmL[every][:, shared], axis=0)
    if not middle[-1] > 0:
        return None
    marks = [int(np.argmax(middle >= part * middle[-1])) for part in (0.25, 0.5, 0.75)]
    chosen = sorted({*marks, len(middle) - 1})
    gas = seen.gas_NmL[:, shared][:, chosen]
    inoculum = np.array([[jar.inoculum_g or 1.0] for jar in trial.jars])
    level = np.log(np.maximum(gas, 1e-3 * middle[-1]) / inoculum)
    return Replicates(sets, level, seen.time_d[shared][chosen])


def swapped_labels(trial: Trial, seen: RoughGas) -> tuple[Seen, ...] | None:
    """Find two jars of different sets that each fit the other's set far better than their own."""
    table = replicates(trial, seen)
    if table is None or len(table.sets) < 2 or max(len(s) for s in table.sets) < 3:
        return None
    text = "Each of the two jars fits the other's set and stands apart from its own."
    return tuple(Seen("swap", jar_names(trial, pair), text) for pair in _swapped(table))


def _swapped(table: Replicates) -> list[tuple[int, int]]:
    """Return the pairs of jars, of sets of three or more, that fit each other's set.

    Distances are root mean squares over the features, in standard deviations within the sets,
    both jars left aside. All pairs at once: arrays of shape (jars, jars, features).
    """
    means = [table.level[jars].mean(axis=0) for jars in table.sets]
    off = [table.level[jars] - mean for jars, mean in zip(table.sets, means, strict=True)]
    large = [n for n, jars in enumerate(table.sets) if len(jars) >= 3]
    if len(large) < 2:
        return []
    jars = np.concatenate([table.sets[n] for n in large])
    number = np.concatenate([np.full(len(table.sets[n]), n) for n in large])
    count = np.array([len(one) for one in table.sets])[number][:, None]
    level, mean = table.level[jars], np.array(means)[number]
    rest = (count * mean - level) / (count - 1)
    own = (level - mean) ** 2 * count / (count - 1)  # a jar's part of the squares of its set
    square = np.array([(one**2).sum(axis=0) for one in off]).sum(axis=0)
    freedom = sum(len(one) - 1 for one in table.sets) - 2
    left = np.maximum(square - own[:, None] - own[None, :], 0.0) / freedom
    spread = np.maximum(np.sqrt(left), LEAST_SCATTER)
    by_own = _distance((level - rest)[:, None], spread, count[:, None])
    by_other = _distance(level[:, None] - rest[None, :], spread, count[None, :])
    apart = np.minimum(by_own, by_own.T)
    swap = (apart > 4.5) & (np.maximum(by_other, by_other.T) < 0.4 * apart)
    swap &= number[:, None] < number[None, :]
    pairs = sorted(np.argwhere(swap).tolist(), key=lambda p: (number[p[0]], number[p[1]], *p))
    return [(int(jars[a]), int(jars[b])) for a, b in pairs]


def _distance(away: FloatArray, spread: FloatArray, count: IntArray) -> FloatArray:
    """Return the distance from a mean over a set but one; count: jars in the set."""
    return np.asarray(np.sqrt(np.mean((away / spread) ** 2 * (1 - 1 / count), axis=-1)))


def _expected(trial: Trial, gas: FloatArray, jars: IntArray, j: int, blank: float) -> float:
    """Return the gas that jar `j` should have made by its replicates' gas per gram of sample."""
    others = [int(k) for k in jars if k != j]
    own = trial.jars[j]
    if own.sample_g > 0:
        # a trial is looked at before it is mended too, when a replicate jar's mass may be missing
        rates = [
            (gas[k] - blank * trial.jars[k].inoculum_g) / trial.jars[k].sample_g
            for k in others
            if trial.jars[k].sample_g > 0
        ]
        if not rates:
            return float("nan")
        return blank * own.inoculum_g + median(rates) * own.sample_g
    rates = [gas[k] / (trial.jars[k].inoculum_g or 1.0) for k in others]
    return median(rates) * (own.inoculum_g or 1.0)


def _beside_replicates(
    trial: Trial, sets: tuple[IntArray, ...], gas: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Return gas / expected gas - 1 and the expected gas; NaN for jars without two replicates."""
    blanks = [j for s in sets for j in s if trial.jars[j].role == "blank"]
    own = [gas[j] / (trial.jars[j].inoculum_g or 1.0) for j in blanks]
    blank = median(own) if own else 0.0
    should = np.full(len(trial.jars), np.nan)
    for jars in sets:
        for j in jars if len(jars) >= 3 else ():
            expected = _expected(trial, gas, jars, int(j), blank)
            should[j] = expected if expected > 0 else np.nan
    return gas / should - 1.0, should


def leaking_jar(trial: Trial, seen: RoughGas) -> tuple[Seen, ...] | None:
    """Find a jar that lost gas: by its weight between readings, or far below its replicates.

    Limits: 15 % below its replicates over all or 35 % over the later half of the gas, and four and
    a half times the scatter of the other jars. Document 204: a loss of mass between one venting
    and the next weighing beyond three standard deviations times the root of the intervals.
    """
    found = list(_lost_weight(trial, seen))
    table = replicates(trial, seen)
    if table is None or not any(len(s) >= 3 for s in table.sets):
        return tuple(found) if found or trial.setup.measured == "mass" else None
    ends = np.searchsorted(seen.time_d, table.at_d)
    half = seen.gas_NmL[:, ends[min(1, len(ends) - 1)]]
    noise = _reading_noise_NmL(trial, seen)
    whole, _ = _beside_replicates(trial, table.sets, seen.gas_NmL[:, ends[-1]])
    for gas, least, words in (
        (seen.gas_NmL[:, ends[-1]], 0.15, "of all gas"),
        (seen.gas_NmL[:, ends[-1]] - half, 0.35, "of the later gas"),
    ):
        ratio, should = _beside_replicates(trial, table.sets, gas)
        low = (ratio < -least) & (whole < -0.08)
        for j in np.flatnonzero(low):
            own = next(jars for jars in table.sets if j in jars)
            if 2 * int(low[own].sum()) > len(own):
                continue  # most of a set do not leak: the other one has too much
            spread = np.hypot(_left_aside(ratio, table.sets, int(j)), noise / should[j])
            name = trial.jars[j].name
            if ratio[j] < -4.5 * spread and all(name not in f.where for f in found):
                less = f"{-100 * ratio[j]:.0f} % less {words}"
                text = f"The jar made {less} than its replicate jars: a leak?"
                found.append(Seen(round(float(-100 * ratio[j]), 1), name, text))
    return tuple(found)


def _left_aside(ratio: FloatArray, sets: tuple[IntArray, ...], j: int) -> float:
    """Return the scatter of the other jars about their replicates, jar `j` and its set aside."""
    rest = [k for s in sets if j not in s for k in s if np.isfinite(ratio[k])]
    if len(rest) < 3:
        return 0.04
    # A ratio to the median of two replicates scatters 1.22 times as much as a jar does.
    return max(float(np.sqrt(np.mean(ratio[rest] ** 2))) / 1.22, LEAST_SCATTER)


def _reading_noise_NmL(trial: Trial, seen: RoughGas) -> float:
    """Return what the readings' own errors may add up to over a jar.

    From how far each interval lies off the line through its neighbours. Errors add up only where
    each interval is read on its own; in a running total or a jar left closed they cancel.
    """
    off = [np.abs(made[1:-1] - (made[:-2] + made[2:]) / 2) for made in map(seen.made_by, seen.jars)]
    every = np.concatenate(off) if off else np.array([])
    if not every.size:
        return float("inf")
    one = float(1.4826 * median(every) / np.sqrt(1.5))
    on_its_own = not (trial.setup.cumulative or bool(trial.readings.not_vented.any()))
    return one * float(np.sqrt(len(seen.time_d))) if on_its_own else one


def _lost_weight(trial: Trial, seen: RoughGas) -> list[Seen]:
    """Find leaks as `bmp.normalise.weighing` tells them, also where the scale is not known.

    How exact an unknown scale is shows in how the jars' losses between ventings scatter.
    """
    if trial.setup.measured != "mass" or trial.setup.closed_between_readings is False:
        return []
    r = trial.readings
    weighed = weighings(r, trial.jars)
    known = weighed.leaked[np.isfinite(weighed.leaked)]
    if not known.size:
        return []
    scale_g = balance_uncertainty_g(r, trial.jars, trial.setup)
    if scale_g is None:
        step_g = scale_step(r.column("mass_before_g"))
        scale_g = max(1.4826 * float(median(np.abs(known))), 0.7 * step_g)
    told = leaks(r, weighed, scale_g)
    text = (
        "Between ventings the jar lost {:.2g} g, {:.0f} % of all it lost; {:.2g} g could be seen."
    )
    return [
        Seen(round(float(lost), 3), trial.jars[int(j)].name, text.format(lost, 100 * share, least))
        for j, lost, share, least in zip(
            told.jar, told.leaked_g, told.share_of_loss, told.detectable_g, strict=True
        )
        if lost > 2.0 * least and share > 0.1
    ]


def sample_below_blank(trial: Trial, seen: RoughGas) -> tuple[Seen, ...] | None:
    """Find jars with a sample that made less gas than the inoculum alone."""
    if trial.setup.given_net:
        low = [
            j
            for j, one in enumerate(seen.of_jar)
            if len(one) > 2 and np.all(seen.value[one][-3:] < 0)
        ]
        text = "The net yield ends below zero: less than the inoculum alone."
        return tuple(Seen("below zero", trial.jars[j].name, text) for j in low)
    table = replicates(trial, seen)
    if table is None:
        return None
    gas = seen.gas_NmL[:, np.searchsorted(seen.time_d, table.at_d[-1])]
    own = [
        gas[j] / trial.jars[j].inoculum_g
        for s in table.sets
        for j in s
        if trial.jars[j].role == "blank" and trial.jars[j].inoculum_g > 0
    ]
    if not own:
        return None
    blank = float(np.mean(own))
    spread = max(float(np.std(own, ddof=1)) if len(own) > 1 else 0.0, 0.015 * abs(blank))
    noise = _reading_noise_NmL(trial, seen)
    out = []
    for j, jar in enumerate(trial.jars):
        if jar.sample_g > 0 and jar.counted and np.isfinite(gas[j]) and jar.inoculum_g:
            less = blank - gas[j] / jar.inoculum_g
            if less > 2.5 * float(np.hypot(spread, noise / jar.inoculum_g)):
                part = 100 * less / blank if blank > 0 else np.nan
                text = (
                    f"The jar made {part:.0f} % less gas than its inoculum alone would: consistent "
                    "with inhibition, a leak, or a blank that failed."
                )
                out.append(Seen(round(float(part), 1), jar.name, text))
    return tuple(out)
