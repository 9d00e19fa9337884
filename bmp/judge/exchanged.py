"""Two jars exchanged for a round, from a day on or throughout, and a jar under a wrong feed's name.

Each jar's gas round by round is compared with its own set of replicate jars and with the set of
every other jar: an exchange is named where both jars fit far better the other way round.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from bmp.judge.cause import Cause, with_jar, with_rows_exchanged
from bmp.judge.one_reading import is_total
from bmp.judge.peers import FIRST_D, jar_sets, median_of_rows
from bmp.judge.reading_error import jar_names
from bmp.judge.rough_gas import RoughGas
from bmp.trial import FloatArray, IntArray, Trial

NAME = "swapped labels"
NOT_BY_GAS = ("net yield", "mass")
"""Bottles weighed in each other's place show it in their weights."""
START_D = 0.6
"""Replicate jars may begin so much apart: what they give in the first days differs by as much."""
WORST = 30.0
"""No round counts for more than this squared distance."""
_MARKS = (
    "volume_mL", "gauge_before_kPa", "gauge_after_kPa", "absolute_before_kPa",
    "absolute_after_kPa", "mass_g", "mass_before_g", "mass_after_g", "methane_share",
)  # fmt: skip


@dataclass(frozen=True, eq=False)
class Fit:
    """Gas of each jar and round beside what its own set leads to; shape (jars, rounds)."""

    sets: list[IntArray]
    set_of: IntArray
    made: FloatArray
    total: FloatArray
    """Cumulative gas, with a column of zeros in front: shape (jars, rounds + 1)."""
    expected: FloatArray
    spread: FloatArray


def fit_of(trial: Trial, seen: RoughGas) -> Fit | None:
    """Return what each jar should have made in each round, by its replicate jars."""
    sets = jar_sets(trial, seen, 2)
    if len(sets) < 2 or len(seen.time_d) < 4 or trial.setup.measured in NOT_BY_GAS:
        return None
    total = np.pad(seen.gas_NmL, ((0, 0), (1, 0)))
    made = np.diff(total, axis=1)
    expected, spread = np.full(made.shape, np.nan), np.full(made.shape, np.nan)
    set_of = np.full(len(trial.jars), -1)
    for number, jars in enumerate(sets):
        set_of[jars] = number
        size = np.array([_size(trial, int(j)) for j in jars])[:, None]
        per = made[jars] / size
        for k, j in enumerate(jars):
            expected[j] = median_of_rows(np.delete(per, k, axis=0)) * size[k]
        relative = np.abs(made[jars] - expected[jars]) / np.maximum(np.abs(expected[jars]), 1e-9)
        known = np.isfinite(relative)
        if not known.any():
            continue
        large = known & (expected[jars] > np.nanmedian(expected[jars]))
        noise = float(np.clip(np.median(relative[large]) if large.any() else 0.2, 0.08, 0.5))
        small = 0.3 * float(np.nanmedian(np.abs(expected[jars]))) * noise
        off = np.abs(made[jars] - expected[jars])[known & ~large]
        small = max(small, float(np.median(off)) if off.size else 0.0, 0.5)
        slack = np.maximum(noise, START_D / np.maximum(seen.time_d, START_D))
        spread[jars] = 1.5 * np.hypot(slack * expected[jars], small)
    return Fit(sets, set_of, made, total, expected, spread)


def _size(trial: Trial, j: int) -> float:
    jar = trial.jars[j]
    return (jar.sample_g if jar.sample_g > 0 else jar.inoculum_g) or 1.0


def _cost(made: FloatArray, expected: FloatArray, spread: FloatArray) -> FloatArray:
    away = (made - expected) / spread
    return np.nan_to_num(np.minimum(away**2, WORST))


def exchanged(trial: Trial, seen: RoughGas) -> Cause | None:
    """Return the exchange of two jars that explains most."""
    fit = fit_of(trial, seen)
    if fit is None:
        return None
    best: tuple[float, int, int, int, int] | None = None
    rounds = fit.made.shape[1]
    for s in range(len(fit.sets)):
        for t in range(s + 1, len(fit.sets)):
            for a in fit.sets[s]:
                for b in fit.sets[t]:
                    for gain, start, stop in _gains(trial, seen, fit, int(a), int(b)):
                        if best is None or gain > best[0]:
                            best = (gain, int(a), int(b), start, stop)
    if best is None:
        return None
    _, a, b, start, stop = best
    return _told(trial, seen, a, b, start, min(stop, rounds))


def _gains(trial: Trial, seen: RoughGas, fit: Fit, a: int, b: int) -> list[tuple[float, int, int]]:
    """Return what an exchange of one round, or from a round on, explains: (gain, start, stop)."""
    if len(fit.sets[fit.set_of[a]]) + len(fit.sets[fit.set_of[b]]) < 5:
        return []  # of two and two nobody can tell which were exchanged
    if _alike(fit.expected[a], fit.expected[b]):
        return []
    now = _cost(fit.made[a], fit.expected[a], fit.spread[a]) + _cost(
        fit.made[b], fit.expected[b], fit.spread[b]
    )
    other = _cost(fit.made[b], fit.expected[a], fit.spread[a]) + _cost(
        fit.made[a], fit.expected[b], fit.spread[b]
    )
    if now.max() < 10.0:
        return []
    gain = now - other
    rounds = gain.size
    back = np.zeros(rounds)  # cost of the round after a single exchanged one
    first_other, first_now = other, now
    if _is_running(trial, seen):
        to_b = fit.total[b, 1:] - fit.total[a, :-1]
        to_a = fit.total[a, 1:] - fit.total[b, :-1]
        first_other = _cost(to_b, fit.expected[a], fit.spread[a]) + _cost(
            to_a, fit.expected[b], fit.spread[b]
        )
        back[:-1] = (now - first_other)[1:]
    found = []
    one = first_now - first_other + back
    one = np.where(seen.time_d > FIRST_D, one, -np.inf)
    k = int(np.argmax(one))
    after = first_other[k] + (first_other[k + 1] if back[k] and k + 1 < rounds else 0.0)
    rest = np.delete(now, [n for n in (k - 1, k, k + 1) if 0 <= n < rounds])
    calm = not rest.size or rest.mean() < 4.0  # else the two are wrong all along
    if one[k] > 26.0 and after < 14.0 and calm and _matters(trial, fit, a, b, k, k + 1):
        found.append((float(one[k]) - 6.0, k, k + 1))
    suffix = np.cumsum(gain[::-1])[::-1]
    later = np.append(suffix[1:], 0.0)
    whole = later + first_now - first_other
    if _is_running(trial, seen):
        whole[0] = suffix[0]
    k = int(np.argmax(whole))
    left = other[k + 1 :].sum() + first_other[k]
    count = 2 * max(rounds - k, 1)
    sure = rounds - k >= 3 and left / count < 3.0 and _both_apart(fit, a, b, k + 1)
    if sure and whole[k] > 45.0 and _matters(trial, fit, a, b, k, rounds):
        found.append((float(whole[k]) - 8.0, k, rounds))
    return found


def _is_running(trial: Trial, seen: RoughGas) -> bool:
    """Tell whether one figure in a wrong place spoils two rounds."""
    return is_total(trial, seen) or bool(np.mean(trial.readings.not_vented) > 0.5)


def _alike(one: FloatArray, two: FloatArray) -> bool:
    """Tell whether two sets give so nearly the same gas that scatter looks like an exchange."""
    known = np.isfinite(one) & np.isfinite(two)
    size = float(np.abs(one[known]).sum() + np.abs(two[known]).sum())
    return not size > 0 or float(np.abs(one[known] - two[known]).sum()) < 0.1 * size


def _both_apart(fit: Fit, a: int, b: int, start: int) -> bool:
    """Tell whether each jar by itself stands apart from its set, and near the other's."""
    for j, other in ((a, b), (b, a)):
        now = _cost(fit.made[j], fit.expected[j], fit.spread[j])[start:]
        then = _cost(fit.made[j], fit.expected[other], fit.spread[other])[start:]
        if now.size < 2 or now.sum() < 2.5 * then.sum() or now.sum() - then.sum() < 15.0:
            return False
    return True


def _matters(trial: Trial, fit: Fit, a: int, b: int, start: int, stop: int) -> bool:
    """Tell whether an exchange moves a good part of a jar's gas: 3 %, of a blank's 10 %."""
    for j in (a, b):
        whole = float(np.nansum(fit.expected[j]))
        off = np.nansum(fit.made[j, start:stop] - fit.expected[j, start:stop])
        least = 0.10 if trial.jars[j].role == "blank" else 0.03
        if trial.jars[j].role != "blank" and abs(off) > least * whole > 0:
            return True
    return False


def _told(trial: Trial, seen: RoughGas, a: int, b: int, start: int, stop: int) -> Cause:
    rounds = len(seen.time_d)
    in_round = {j: {int(seen.round[i]): int(i) for i in seen.of_jar[j]} for j in (a, b)}
    both = [k for k in range(start, stop) if k in in_round[a] and k in in_round[b]]
    pairs = {in_round[a][k]: in_round[b][k] for k in both}
    columns = tuple(name for name in _MARKS if name in trial.readings.columns)
    day = f"{seen.time_d[start]:.3g}"
    if start == 0 and stop == rounds:
        when, text = "", "Each of the two jars fits the other's set and stands apart from its own."
    elif stop == rounds and stop - start > 1:
        when = f" day {day} on"
        text = f"From day {day} on each of the two jars goes on as the other's set does."
    else:
        when = f" day {day}"
        text = f"On day {day} each of the two jars has the other's gas."
    names = [trial.jars[j].name for j in (a, b)]
    where = ", ".join(f"{name}{when}" for name in names)
    without = with_rows_exchanged(trial, pairs, columns) if pairs else trial
    return Cause(NAME, "swap", where, text, without)


def _size_of(trial: Trial, jars: list[int]) -> FloatArray:
    return np.array([_size(trial, int(j)) for j in jars])[:, None]


def _apart(each: FloatArray) -> float:
    """Return how far jars of a set lie apart in all their gas, as a part of it."""
    total = np.nansum(each, axis=1)
    return float(np.ptp(total) / max(float(np.median(total)), 1e-9))


def wrong_feed(trial: Trial, seen: RoughGas) -> Cause | None:
    """Return a jar whose gas is that of another feed's jars all along."""
    fit = fit_of(trial, seen)
    if fit is None:
        return None
    blanks = [j for s in fit.sets for j in s if trial.jars[j].role == "blank"]
    per_g = (
        median_of_rows(np.stack([fit.made[j] / (trial.jars[j].inoculum_g or 1.0) for j in blanks]))
        if blanks
        else np.zeros(fit.made.shape[1])
    )
    best: tuple[float, int, int] | None = None
    for s, jars in enumerate(fit.sets):
        for a in jars if len(jars) >= 3 else ():
            now = _cost(fit.made[a], fit.expected[a], fit.spread[a])
            if now.mean() < 5.5 or trial.jars[a].sample_g <= 0:
                continue
            rest = [k for k in jars if k != a]
            among = np.abs(fit.made[rest] / np.maximum(_size_of(trial, rest), 1e-9))
            if _apart(among) > 0.15:
                continue  # the others of its set are not alike either
            for t, others in enumerate(fit.sets):
                if t == s or any(trial.jars[k].sample_g <= 0 for k in others):
                    continue
                own = trial.jars[a]
                net = [
                    (fit.made[k] - per_g * trial.jars[k].inoculum_g) / trial.jars[k].sample_g
                    for k in others
                ]
                should = per_g * own.inoculum_g + own.sample_g * median_of_rows(np.stack(net))
                if _alike(should, fit.expected[a]):
                    continue
                spread = np.hypot(fit.spread[others].min(axis=0), 0.1 * np.abs(should))
                then = _cost(fit.made[a], should, spread)
                gain = float(now.sum() - then.sum())
                if (
                    then.mean() < min(2.5, 0.25 * now.mean())
                    and gain > 45.0
                    and (best is None or gain > best[0])
                ):
                    best = (gain, int(a), int(others[0]))
    if best is None:
        return None
    _, a, other = best
    like = trial.jars[other]
    text = (
        f"The jar's gas is that of {like.series} all along, and unlike the other jars of "
        f"{trial.jars[a].series}: is it under the wrong name?"
    )
    return Cause(
        NAME,
        "other feed",
        jar_names(trial, [a]),
        text,
        with_jar(trial, a, left_out="another feed's"),
    )
