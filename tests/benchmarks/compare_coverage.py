"""How often the comparison's 95 % intervals hold the truth.

`python -m tests.benchmarks.compare_coverage`; with the word `family`, minutes more.

Each simulated trial is weighed and measured: blanks with their own scatter, jars that hold inoculum
and feed, solids with an error that all jars of a feed share. Everything runs over all trials at
once through the functions that the program uses.
"""

from __future__ import annotations

import sys
from collections.abc import Iterator
from dataclasses import dataclass, replace
from functools import partial

import numpy as np

from bmp.compare import Feed, TrialBlanks, compare_all
from bmp.compare.between_trials import between_sd_interval, trials_half_widths
from bmp.compare.contrast import components, contrast
from bmp.compare.feed import FeedSample, blank_influence
from bmp.fit.curves import Curves
from bmp.fit.times import share_days
from bmp.statistics import (
    difference_interval,
    fieller_interval,
    jackknife_influence,
    log_interval,
)

TRIALS = 4000
SEED = 20240131


@dataclass(frozen=True)
class Case:
    """One cell: two feeds (or more) of one trial."""

    label: str
    jars: tuple[int, ...] = (3, 3)
    blanks: int = 3
    yields: tuple[float, ...] = (250.0, 220.0)
    jar_rsd: tuple[float, ...] = (0.05, 0.05)
    ratio: tuple[float, ...] = (60.0, 60.0)
    """Inoculum per gram of VS."""
    blank: float = 1.2
    blank_rsd: float = 0.08
    solids_u: tuple[float, ...] = (0.0, 0.0)


CASES = (
    Case("equal inoculum, jars 5 %"),
    Case("jars 3 % and 12 %", jar_rsd=(0.03, 0.12)),
    Case("inoculum 30 and 90 g/g VS", ratio=(30.0, 90.0)),
    Case("the same, blanks 20 %", ratio=(30.0, 90.0), blank_rsd=0.20),
    Case("solids 2 %", solids_u=(0.02, 0.02)),
    Case("solids 5 %", solids_u=(0.05, 0.05)),
    Case("solids 3 %, inoculum 30 and 90", ratio=(30.0, 90.0), solids_u=(0.03, 0.03)),
    Case("250 against 60, jars 5 and 15 %", yields=(250.0, 60.0), jar_rsd=(0.05, 0.15)),
    Case("low yields 40 and 30, jars 10 %", yields=(40.0, 30.0), jar_rsd=(0.10, 0.10)),
)
JARS = ((3, 3), (4, 4), (5, 5), (3, 5))


def simulate(
    case: Case, rng: np.random.Generator, trial: str = "T", count: int = TRIALS
) -> list[FeedSample]:
    """Return one sample a feed, each with `count` simulated trials as its leading axis."""
    blanks = case.blank * (1 + case.blank_rsd * rng.standard_normal((count, case.blanks)))
    found = []
    for i, (n, y, rsd, ratio, u) in enumerate(
        zip(case.jars, case.yields, case.jar_rsd, case.ratio, case.solids_u, strict=True)
    ):
        weighed = ratio * (1 + 0.01 * rng.standard_normal(n))
        gas = y * (1 + rsd * rng.standard_normal((count, n))) + weighed * case.blank
        # The solids in the jar are not what the dish said: one factor for the whole feed.
        solids = 1 + u * rng.standard_normal((count, 1))
        net = (gas - weighed * blanks.mean(axis=-1, keepdims=True)) * solids
        influence = blank_influence(np.broadcast_to(weighed, (count, n)), blanks)
        found.append(FeedSample(f"feed {i}", trial, net, influence, {f"solids {i} {trial}": u}))
    return found


def covered(low: np.ndarray, truth: float, high: np.ndarray) -> float:
    """Return the share of intervals that hold the truth, in per cent."""
    return float(100 * np.mean((low <= truth) & (truth <= high)))


def pair_coverage(case: Case, rng: np.random.Generator) -> tuple[float, float]:
    """Coverage of the difference and of the ratio."""
    samples = simulate(case, rng)
    a, b = case.yields
    found = difference_interval(contrast(samples, [1, -1]), components(samples, [1, -1]))
    both = components(samples, [1, 0], [0, 1])
    low, high = fieller_interval(samples[0].mean, samples[1].mean, both)
    return covered(found.low, a - b, found.high), covered(low, a / b, high)


def mixture_coverage(jars: int, rng: np.random.Generator) -> float:
    """Coverage of a mixture against 0.4 and 0.6 of its parts, whose solids cancel."""
    case = Case(
        "mixture",
        jars=(jars,) * 3,
        yields=(240.0, 250.0, 220.0),
        jar_rsd=(0.05,) * 3,
        ratio=(60.0, 50.0, 80.0),
        solids_u=(0.0,) * 3,
    )
    samples = simulate(case, rng)
    weights = [1.0, -0.4, -0.6]
    found = difference_interval(contrast(samples, weights), components(samples, weights))
    return covered(found.low, 240.0 - 0.4 * 250 - 0.6 * 220, found.high)


def bridge_coverage(jars: int, rng: np.random.Generator) -> float:
    """Coverage of the ratio of two feeds of two trials over the control of both."""
    case = Case("bridge", (jars, jars), yields=(250.0, 365.0), ratio=(60.0, 45.0))
    case = replace(case, solids_u=(0.02, 0.005), jar_rsd=(0.06, 0.03))
    first = simulate(case, rng, "one")
    second = simulate(replace(case, yields=(198.0, 328.5)), rng, "two")
    four = [*first, *second]
    signs = np.array([1.0, -1.0, -1.0, 1.0])
    means = np.stack([s.mean for s in four], axis=-1)
    ratio = means[:, 0] / means[:, 1] / (means[:, 2] / means[:, 3])
    low, high = log_interval(ratio, components(four, signs / means))
    return covered(low, 250.0 / 365 / (198.0 / 328.5), high)


DAYS = np.array([1, 2, 3, 4, 6, 8, 11, 14, 18, 22, 27, 32, 38, 45], dtype=float)


def t90_coverage(jars: int, rng: np.random.Generator, with_blank: bool = True) -> float:
    """Coverage of a difference in days to 90 %, feeds whose gas is small beside the blank's."""
    feeds, found = ((60.0, 0.10, 60.0), (45.0, 0.06, 90.0)), []
    kinetics = 0.08 * (1 + 0.10 * rng.standard_normal((TRIALS, 3, 1)))
    top = 1.2 * (1 + 0.08 * rng.standard_normal((TRIALS, 3, 1)))
    blanks = top * (1 - np.exp(-kinetics * DAYS))
    expected_blank = 1.2 * np.mean(1 - np.exp(-kinetics * DAYS), axis=(0, 1))
    truth = []
    for i, (level, rate, ratio) in enumerate(feeds):
        rates = rate * (1 + 0.05 * rng.standard_normal((TRIALS, jars, 1)))
        levels = level * (1 + 0.05 * rng.standard_normal((TRIALS, jars, 1)))
        gas = levels * (1 - np.exp(-rates * DAYS)) + ratio * expected_blank
        days = _t90(gas - ratio * blanks.mean(axis=1, keepdims=True))
        without = [
            _t90(gas - ratio * np.delete(blanks, j, axis=1).mean(axis=1, keepdims=True))
            for j in range(3)
        ]
        influence = jackknife_influence(np.stack([w.mean(axis=1) for w in without], axis=-1))
        found.append(FeedSample(f"feed {i}", "T", days, influence if with_blank else None))
        truth.append(_t90(level * (1 - np.exp(-rate * DAYS))[None, None])[0, 0])
    interval = difference_interval(contrast(found, [1, -1]), components(found, [1, -1]))
    return covered(interval.low, truth[0] - truth[1], interval.high)


def _t90(net: np.ndarray) -> np.ndarray:
    flat = net.reshape(-1, DAYS.size)
    times = np.broadcast_to(DAYS, flat.shape)
    curves = Curves(times, flat, np.ones(flat.shape, dtype=bool))
    return share_days(curves, 0.9, None).reshape(net.shape[:-1])


def trials_coverage(
    trials: int, jars: int, between: float, rng: np.random.Generator
) -> tuple[float, float, float]:
    """Coverage of the mean, of the spread between trials, and of one more trial."""
    truth = 200 * (1 + between * rng.standard_normal((TRIALS, trials, 1)))
    # Jars scatter by 3 to 9 % and differ from trial to trial in that, too.
    rsd = np.linspace(0.03, 0.09, trials)[None, :, None]
    values = truth + 200 * rsd * rng.standard_normal((TRIALS, trials, jars))
    means, errors = values.mean(axis=-1), values.std(axis=-1, ddof=1) / np.sqrt(jars)
    half, wide = trials_half_widths(means)
    low, high = between_sd_interval(means, errors, np.full(means.shape, jars - 1.0))
    middle = means.mean(axis=-1)
    error_next = 200 * float(rsd.mean()) / np.sqrt(jars)
    one_more = 200 * (1 + between * rng.standard_normal(TRIALS))
    one_more += error_next * rng.standard_normal(TRIALS)
    return (
        covered(middle - half, 200.0, middle + half),
        covered(low, 200 * between, high),
        float(100 * np.mean(np.abs(one_more - middle) <= wide)),
    )


def weighted_coverage(trials: int, jars: int, between: float, rng: np.random.Generator) -> float:
    """Coverage of the method not chosen, by statsmodels: weights, Paule-Mandel, Hartung-Knapp."""
    from statsmodels.stats.meta_analysis import combine_effects

    rsd = np.linspace(0.03, 0.09, trials)[:, None]
    inside, count = 0, 1000
    for _ in range(count):
        truth = 200 * (1 + between * rng.standard_normal((trials, 1)))
        values = truth + 200 * rsd * rng.standard_normal((trials, jars))
        found = combine_effects(
            values.mean(axis=1), values.var(axis=1, ddof=1) / jars, method_re="iterated"
        )
        low, high = found.conf_int(use_t=True)[3]
        inside += low <= 200 <= high
    return 100 * inside / count


def family_error(
    spreads: tuple[float, ...],
    jars: int,
    against: bool,
    alike: bool | None,
    rng: np.random.Generator,
    count: int = 2000,
) -> tuple[float, str]:
    """Share of trials with equal feeds in which any pair is called different, in per cent."""
    wrong, used = 0, dict.fromkeys(("Holm", "Tukey", "Dunnett"), 0)
    silent = TrialBlanks((1.0, 1.0))
    for _ in range(count):
        feeds = [
            Feed(
                f"{i}",
                "T",
                tuple(f"{i} {j}" for j in range(jars)),
                {"yield": tuple(200 + 10 * s * rng.standard_normal(jars))},
                (0.0,) * jars,
                silent,
                VS_relative_u=0.0,
            )
            for i, s in enumerate(spreads)
        ]
        family = compare_all(feeds, against="0" if against else None, spreads_alike=alike)
        wrong += any(c.verdict in ("more", "less") for c in family.comparisons)
        used[family.adjusted_by] += 1
    return 100 * wrong / count, ", ".join(f"{n} {u}" for n, u in used.items() if u)


def tables(rng: np.random.Generator) -> Iterator[str]:
    """Yield the lines of the Markdown tables."""
    yield f"Coverage of the 95 % intervals, per cent of {TRIALS} simulated trials\n"
    yield "| pair | " + " | ".join(f"{a} and {b} jars" for a, b in JARS) + " |"
    yield "|---|" + "---|" * len(JARS)
    for case in CASES:
        cells = [pair_coverage(replace(case, jars=jars), rng) for jars in JARS]
        yield f"| {case.label} | " + " | ".join(f"{d:.1f} / {r:.1f}" for d, r in cells) + " |"
    yield "\n(difference / ratio)\n"
    yield "| | 3 jars | 4 jars | 5 jars |\n|---|---|---|---|"
    for label, coverage in (
        ("mixture", mixture_coverage),
        ("over the control", bridge_coverage),
        ("days to 90 %, each blank left out in turn", t90_coverage),
        ("the same without the blank's error", partial(t90_coverage, with_blank=False)),
    ):
        yield f"| {label} | " + " | ".join(f"{coverage(n, rng):.1f}" for n in (3, 4, 5)) + " |"
    yield "\n| trials of 3 jars | spread between | mean | spread | one more trial | weighted mean |"
    yield "|---|---|---|---|---|---|"
    for trials in (2, 3, 5, 8):
        for between in (0.0, 0.05, 0.10):
            found = trials_coverage(trials, 3, between, rng)
            cells = " | ".join(f"{x:.1f}" for x in found)
            other = weighted_coverage(trials, 3, between, rng)
            yield f"| {trials} | {100 * between:.0f} % | {cells} | {other:.1f} |"


def family_table(rng: np.random.Generator) -> Iterator[str]:
    """Yield the lines of the table of family errors."""
    yield "\nEqual feeds called different at least once, per cent of 2000 trials\n"
    yield "| feeds, spreads | jars | question | error | chosen |\n|---|---|---|---|---|"
    for spreads in ((1.0,) * 4, (1.0, 1.0, 1.0, 3.0)):
        for jars in (3, 5):
            for against in (False, True):
                error, used = family_error(spreads, jars, against, None, rng)
                ratio = "alike" if len(set(spreads)) == 1 else "one of 3 times the others"
                question = "all against one" if against else "all pairs"
                yield f"| 4, {ratio} | {jars} | {question} | {error:.1f} | {used} |"
    error, used = family_error((1.0, 1.0, 1.0, 3.0), 3, False, True, rng)
    yield f"| the same, said to be alike | 3 | all pairs | {error:.1f} | {used} |"


def main() -> None:
    """Print the tables; with the word `family`, also those that take minutes."""
    rng = np.random.default_rng(SEED)
    for line in tables(rng):
        print(line)
    if "family" in sys.argv[1:]:
        for line in family_table(rng):
            print(line, flush=True)


if __name__ == "__main__":
    main()
