"""Two jars exchanged for a round, from a day on or throughout, and a jar under a wrong feed's name.

Each jar's gas round by round is compared with its own set of replicate jars and with the set of
every other jar: an exchange is named where both jars fit far better the other way round.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from bmp.judge.cause import ONE_OF, Cause, with_jar, with_rows_exchanged
from bmp.judge.one_reading import is_total
from bmp.judge.peers import FIRST_D, jar_sets, median_of_rows, step_NmL
from bmp.judge.reading_error import jar_names
from bmp.judge.rough_gas import RoughGas, median
from bmp.trial import FloatArray, IntArray, Trial

NAME = "swapped labels"
LEAST_NOISE = 0.06
"""Replicate jars differ by as much of their gas."""
APART_D = 0.35
"""Replicate jars begin apart by about this much."""
LEAST_ONCE, LEAST_ON = 24.0, 40.0
"""What an exchange of one round, and one that goes on, must explain (squared distances)."""
LEAST_EACH = 7.0
"""Squared distance from its own set of each of two jars exchanged in a round."""
SAME_MASS = 0.03
"""Portions of one feed are weighed as nearly alike as this (logarithm)."""
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
    if len(sets) < 2 or len(seen.time_d) < 4 or trial.setup.measured == "net yield":
        return None
    total = np.pad(seen.gas_NmL, ((0, 0), (1, 0)))
    read = np.zeros(seen.gas_NmL.shape, dtype=bool)
    read[trial.readings.jar, seen.round] = True
    # what stands between two readings that lie further apart than a round is no reading
    made = np.where(read & np.pad(read, ((0, 0), (1, 0)), constant_values=True)[:, :-1],
                    np.diff(total, axis=1), np.nan)  # fmt: skip
    expected, nearest = np.full(made.shape, np.nan), np.full(made.shape, np.nan)
    set_of = np.full(len(trial.jars), -1)
    for number, jars in enumerate(sets):
        set_of[jars] = number
        size = np.array([_size(trial, int(j)) for j in jars])[:, None]
        per = made[jars] / size
        for k, j in enumerate(jars):
            others = np.delete(per, k, axis=0)
            expected[j] = median_of_rows(others) * size[k]
            nearest[j] = np.min(np.where(np.isfinite(others), np.abs(others - per[k]), np.inf),
                                axis=0) * size[k]  # fmt: skip
    spread = _spread(seen, sets, expected, np.where(np.isfinite(nearest), nearest, np.nan))
    return Fit(sets, set_of, made, total, expected, spread)


def _spread(
    seen: RoughGas, sets: list[IntArray], expected: FloatArray, nearest: FloatArray
) -> FloatArray:
    """Return how far a jar's rounds usually lie off its set, shape (jars, rounds).

    By the nearest replicate, so that one wrong jar of three does not hide itself; two jars, of
    which one may be wrong, scatter as the better ones of the other sets do.
    """
    size = np.abs(expected)
    large = size > median_of_rows(size.T)[:, None]
    relative = median_of_rows(np.where(large & (size > 0), nearest / size, np.nan).T)
    small = median_of_rows(np.where(~large, nearest, np.nan).T)
    usual = [float(np.nanquantile(v, 0.2)) if np.isfinite(v).any() else 0.0
             for v in (np.where(np.isfinite(relative), relative, np.nan),
                       np.where(np.isfinite(small), small, np.nan))]  # fmt: skip
    length, step = np.diff(seen.time_d, prepend=0.0), step_NmL(seen)
    rate = expected / length
    change = np.zeros(rate.shape)
    change[:, 1:-1] = np.abs(rate[:, 2:] - rate[:, :-2]) / 2.0
    spread = np.full(expected.shape, np.nan)
    for jars in sets:
        own = [usual[0], usual[1]]
        if len(jars) >= 3:
            own = [max(usual[0], _middle(relative[jars])),
                   max(usual[1], _middle(small[jars]))]  # fmt: skip
        noise = float(np.clip(1.8 * own[0], LEAST_NOISE, 0.5))
        begun = np.maximum(noise, np.where(seen.time_d < 1.5, 0.6, 0.0))
        least = max(1.5 * own[1], 0.3 * noise * _middle(size[jars]), 0.7 * step, 0.5)
        spread[jars] = 1.5 * np.sqrt(
            (begun * size[jars]) ** 2 + (APART_D * np.nan_to_num(change[jars])) ** 2 + least**2
        )
    return spread


def _middle(values: FloatArray) -> float:
    known = values[np.isfinite(values)]
    return median(known) if known.size else 0.0


def _size(trial: Trial, j: int) -> float:
    jar = trial.jars[j]
    return (jar.sample_g if jar.sample_g > 0 else jar.inoculum_g) or 1.0


def _cost(made: FloatArray, expected: FloatArray, spread: FloatArray) -> FloatArray:
    away = (made - expected) / spread
    return np.nan_to_num(np.minimum(away**2, WORST))


@dataclass(frozen=True, order=True)
class Exchange:
    """What an exchange of two jars from one round until before another explains."""

    gain: float
    one: int
    two: int
    start: int
    stop: int


def in_place_of_another(trial: Trial, seen: RoughGas) -> Cause | None:
    """Return the exchange of two jars, or the jar under a wrong name, that explains most."""
    fit = fit_of(trial, seen)
    if fit is None:
        return None
    # bottles weighed in each other's place show it in their weights
    found = [] if trial.setup.measured == "mass" else _exchanges(trial, seen, fit)
    best = max(found, default=None)
    strange = _strangers(trial, fit)
    if strange and (best is None or max(strange).gain > best.gain):
        return _stranger_told(trial, max(strange))
    if best is None:
        return None
    other = _other_pair(trial, fit, best)
    return _told(trial, seen, best, None) if other is None else _told(trial, seen, *other)


def _exchanges(trial: Trial, seen: RoughGas, fit: Fit) -> list[Exchange]:
    """Return the exchanges of one round, or from a round on, that the readings bear out.

    Costs of all pairs at once: arrays of shape (jars, jars, rounds).
    """
    own = _cost(fit.made, fit.expected, fit.spread)
    across = _cost(fit.made[None], fit.expected[:, None], fit.spread[:, None])
    now, other = own[:, None] + own[None], across + across.swapaxes(0, 1)
    first_other, back = other, np.zeros(now.shape)  # back: of the round after a single one
    running = _is_running(trial, seen)
    if running:
        until = fit.total[None, :, 1:] - fit.total[:, None, :-1]
        first = _cost(until, fit.expected[:, None], fit.spread[:, None])
        first_other = first + first.swapaxes(0, 1)
        back[..., :-1] = (now - first_other)[..., 1:]
    one = np.where(seen.time_d > FIRST_D, now - first_other + back, -np.inf)
    suffix = np.cumsum((now - other)[..., ::-1], axis=-1)[..., ::-1]
    whole = np.append(suffix[..., 1:], np.zeros((*suffix.shape[:2], 1)), axis=-1)
    whole += now - first_other
    if running:
        whole[..., 0] = suffix[..., 0]
    sets = fit.set_of
    may = (sets[:, None] < sets[None]) & (sets[:, None] >= 0)
    some = may & (now.max(axis=-1) >= 10.0)
    some &= (one.max(axis=-1) > LEAST_ONCE) | (whole.max(axis=-1) > LEAST_ON)
    found = []
    for a, b in np.argwhere(some).tolist():
        if _alike(fit.expected[a], fit.expected[b]):
            continue
        k = int(np.argmax(one[a, b]))
        both = min(own[a, k], own[b, k]) > LEAST_EACH  # else one figure in one jar is wrong
        if both and one[a, b, k] > LEAST_ONCE and _once(k, now[a, b], first_other[a, b], running):
            found.append(Exchange(float(one[a, b, k]) - 6.0, a, b, k, k + 1))
        k = int(np.argmax(whole[a, b]))
        if whole[a, b, k] > LEAST_ON and _goes_on(fit, a, b, k, now[a, b], other[a, b]):
            found.append(Exchange(float(whole[a, b, k]) - 8.0, a, b, k, now.shape[-1]))
    return [e for e in found if _matters(trial, fit, e)]


def _once(k: int, now: FloatArray, other: FloatArray, running: bool) -> bool:
    """Tell whether one round fits once exchanged, and the two jars are right else."""
    after = other[k] + (other[k + 1] if running and k + 1 < other.size else 0.0)
    rest = np.delete(now, [n for n in (k - 1, k, k + 1) if 0 <= n < now.size])
    return bool(after < 14.0 and (not rest.size or rest.mean() < 4.0))


def _goes_on(fit: Fit, a: int, b: int, k: int, now: FloatArray, other: FloatArray) -> bool:
    """Tell whether from a round on each jar leaves its set and goes on as the other's."""
    if now.size - k < 3:
        return False
    left = float(other[k + 1 :].mean()) / 2.0
    return left < max(3.0, 0.15 * float(now[k + 1 :].mean())) and _both_apart(fit, a, b, k + 1)


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
        if now.size < 2 or now.sum() < 2.0 * then.sum() or now.sum() - then.sum() < 9.0:
            return False
    return True


def _matters(trial: Trial, fit: Fit, e: Exchange) -> bool:
    """Tell whether an exchange moves a good part of a jar's gas: 1 %, of a blank's 4 %."""
    for j in (e.one, e.two):
        whole = float(np.nansum(fit.expected[j]))
        off = np.nansum(fit.made[j, e.start : e.stop] - fit.expected[j, e.start : e.stop])
        least = 0.04 if trial.jars[j].role == "blank" else 0.01
        if abs(off) > least * whole > 0:
            return True
    return False


def _other_pair(trial: Trial, fit: Fit, e: Exchange) -> tuple[Exchange, Exchange | None] | None:
    """Return the exchange and the one that explains it as well, where both feeds have two jars.

    Exchanging the other two jars makes the sets agree too. A blank gives less gas than a jar with a
    feed, and a curve jumps where it goes on as another: these may tell which two it was.
    """
    sets = [fit.sets[fit.set_of[j]] for j in (e.one, e.two)]
    if any(len(jars) != 2 for jars in sets):
        return None
    a, b = (int(jars[jars != j][0]) for jars, j in zip(sets, (e.one, e.two), strict=True))
    other = Exchange(e.gain, a, b, e.start, e.stop)
    blank = [trial.jars[j].role == "blank" for j in (e.one, e.two)]
    if any(blank) and not all(blank):
        more = [_gas_of(fit, pair, blank[1]) for pair in (e, other)]
        return (e, None) if more[0] >= more[1] else (other, None)
    jumps = [_jumps(fit, pair) for pair in (e, other)]
    if max(jumps) > 2.0 * min(jumps):
        return (e, None) if jumps[0] > jumps[1] else (other, None)
    return e, other


def _gas_of(fit: Fit, e: Exchange, second_is_blank: bool) -> float:
    """Return by how much the jar called blank made more than the one with a feed."""
    made = [float(np.nansum(fit.made[j, e.start : e.stop])) for j in (e.one, e.two)]
    return made[1] - made[0] if second_is_blank else made[0] - made[1]


def _jumps(fit: Fit, e: Exchange) -> float:
    """Return how far the rates of two jars jump where an exchange begins and ends (logarithms)."""
    if e.start == 0:
        return 0.0
    made = np.maximum(fit.made[[e.one, e.two]], 1e-9)
    steps = np.abs(np.diff(np.log(made[:, e.start - 1 : e.stop + 1 if e.stop - e.start == 1
                                                else e.start + 1]), axis=1))  # fmt: skip
    return float(np.nansum(steps))


def _told(trial: Trial, seen: RoughGas, e: Exchange, other: Exchange | None) -> Cause:
    rounds = len(seen.time_d)
    jars = (e.one, e.two)
    in_round = [{int(seen.round[i]): int(i) for i in seen.of_jar[j]} for j in jars]
    both = [k for k in range(e.start, e.stop) if k in in_round[0] and k in in_round[1]]
    pairs = {in_round[0][k]: in_round[1][k] for k in both}
    columns = tuple(name for name in _MARKS if name in trial.readings.columns)
    day = f"{seen.time_d[e.start]:.3g}"
    if e.start == 0 and e.stop == rounds:
        when, text = "", "Each of the two jars fits the other's set and stands apart from its own."
    elif e.stop == rounds and e.stop - e.start > 1:
        when = f" day {day} on"
        text = f"From day {day} on each of the two jars goes on as the other's set does."
    else:
        when = f" day {day}"
        text = f"On day {day} each of the two jars has the other's gas."
    where = ", ".join(f"{trial.jars[j].name}{when}" for j in jars)
    if other is not None:
        two = [" and ".join(trial.jars[j].name for j in (x.one, x.two)) for x in (e, other)]
        where = f"{ONE_OF}{where}, " + ", ".join(
            f"{trial.jars[j].name}{when}" for j in (other.one, other.two)
        )
        text += f" It is {two[0]}, or else {two[1]}: the readings do not tell."
    without = with_rows_exchanged(trial, pairs, columns) if pairs else trial
    return Cause(NAME, "swap", where, text, without)


def _size_of(trial: Trial, jars: list[int]) -> FloatArray:
    return np.array([_size(trial, int(j)) for j in jars])[:, None]


def _apart(each: FloatArray) -> float:
    """Return how far jars of a set lie apart in all their gas, as a part of it."""
    total = np.nansum(each, axis=1)
    return float(np.ptp(total) / max(median(total), 1e-9))


@dataclass(frozen=True, order=True)
class Stranger:
    """A jar whose gas is that of another feed's jars, and one of these."""

    gain: float
    jar: int
    like: int
    same_mass: bool
    """Its sample weighs as much as theirs."""


def wrong_feed(trial: Trial, seen: RoughGas) -> Cause | None:
    """Return a jar whose gas and sample are those of another feed's jars."""
    sampled = [s for s in jar_sets(trial, seen) if all(trial.jars[j].sample_g > 0 for j in s)]
    spans = [np.ptp(np.log([trial.jars[j].sample_g for j in s])) for s in sampled]
    if max(spans, default=0.0) < SAME_MASS:
        return None  # no sample is unlike its replicates'
    fit = fit_of(trial, seen)
    found = [] if fit is None else [one for one in _strangers(trial, fit) if one.same_mass]
    return _stranger_told(trial, max(found)) if found else None


def _strangers(trial: Trial, fit: Fit) -> list[Stranger]:
    """Return the jars whose gas is that of another feed's jars all along."""
    blanks = [j for s in fit.sets for j in s if trial.jars[j].role == "blank"]
    per_g = np.zeros(fit.made.shape[1])
    if blanks:
        own = [fit.made[j] / (trial.jars[j].inoculum_g or 1.0) for j in blanks]
        per_g = np.nan_to_num(median_of_rows(np.stack(own)))
    sampled = [s for s in fit.sets if all(trial.jars[k].sample_g > 0 for k in s)]
    cost = _cost(fit.made, fit.expected, fit.spread).mean(axis=1)
    found = []
    for jars in sampled:
        for a in jars[cost[jars] >= 5.5] if len(jars) >= 3 else ():
            rest = [k for k in jars if k != a]
            among = np.abs(fit.made[rest] / np.maximum(_size_of(trial, rest), 1e-9))
            if _apart(among) > 0.15:
                continue  # the others of its set are not alike either
            now = _cost(fit.made[a], fit.expected[a], fit.spread[a])
            for others in sampled:
                if a in others:
                    continue
                should = _as_of(trial, fit, int(a), others, per_g)
                if _alike(should, fit.expected[a]):
                    continue
                spread = np.hypot(fit.spread[others].min(axis=0), 0.1 * np.abs(should))
                then = _cost(fit.made[a], should, spread)
                gain = float(now.sum() - then.sum())
                if then.mean() < min(2.5, 0.25 * now.mean()) and gain > 45.0:
                    weigh = median([trial.jars[k].sample_g for k in others])
                    same = abs(np.log(trial.jars[a].sample_g / weigh)) < SAME_MASS
                    found.append(Stranger(gain, int(a), int(others[0]), bool(same)))
    return found


def _as_of(
    trial: Trial, fit: Fit, a: int, others: IntArray, blank_NmL_per_g: FloatArray
) -> FloatArray:
    """Return the gas that jar `a` should make with the feed of other jars, shape (rounds,)."""
    net = [
        (fit.made[k] - blank_NmL_per_g * trial.jars[k].inoculum_g) / trial.jars[k].sample_g
        for k in others
    ]
    own = trial.jars[a]
    return np.asarray(
        blank_NmL_per_g * own.inoculum_g + own.sample_g * median_of_rows(np.stack(net))
    )


def _stranger_told(trial: Trial, one: Stranger) -> Cause:
    text = (
        f"The jar's gas is that of {trial.jars[one.like].series} all along, and unlike the other "
        f"jars of {trial.jars[one.jar].series}: is it under the wrong name?"
    )
    without = with_jar(trial, one.jar, left_out="another feed's")
    return Cause(NAME, "other feed", jar_names(trial, [one.jar]), text, without)
