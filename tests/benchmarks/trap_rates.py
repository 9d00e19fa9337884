"""Measure how often each trap detector cries wolf, and how often it sees what was planted.

Run from the project root: `python tests/benchmarks/trap_rates.py [trials]`. Prints a Markdown
table: the share of clean simulated trials in which the trap was named, and the share of trials
with that slip planted in which it was named, with the upper and lower 95 % bound (Wilson).
"""

from __future__ import annotations

import sys
from collections import Counter
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[2]))

from bmp.judge.traps import TRAPS, find_traps
from tests.planted import PLANTED, clean


def named_traps(trial) -> set[str]:
    """Names of the traps that were seen."""
    return {f.check for f in find_traps(trial) if f.outcome in ("caution", "fail")}


def wilson(hits: int, trials: int) -> tuple[float, float]:
    """Wilson 1927 score interval, 95 %."""
    z, p = 1.959964, hits / trials
    middle = (p + z * z / (2 * trials)) / (1 + z * z / trials)
    half = z * np.sqrt(p * (1 - p) / trials + z * z / (4 * trials**2)) / (1 + z * z / trials)
    return middle - half, middle + half


def false_alarms(trials: int, seed: int) -> Counter:
    """Count clean trials in which each trap was named."""
    rng = np.random.default_rng(seed)
    return Counter(name for _ in range(trials) for name in named_traps(clean(rng).trial))


def found(plant, trap: str, trials: int, seed: int) -> int:
    """Count planted trials in which the trap was named."""
    rng = np.random.default_rng(seed)
    return sum(trap in named_traps(plant(rng)) for _ in range(trials))


def main(trials: int) -> None:
    alarms = false_alarms(2 * trials, 1)
    print(f"{2 * trials} clean trials, {trials} planted each.\n")
    print("| trap | false alarms, % (upper bound) | planted | found, % (lower bound) |")
    print("|---|---|---|---|")
    for trap in TRAPS:
        wolf = alarms[trap.name]
        false = f"{50 * wolf / trials:.2f} ({100 * wilson(wolf, 2 * trials)[1]:.1f})"
        for label, (name, plant) in PLANTED.items():
            if name == trap.name:
                hits = found(plant, name, trials, 2)
                seen = f"{100 * hits / trials:.1f} ({100 * wilson(hits, trials)[0]:.1f})"
                print(f"| {name} | {false} | {label} | {seen} |", flush=True)


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 200)
