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
from tests.planted import PLANTED, clean, unfinished


def outcomes(trial) -> dict[str, str]:
    """Return by trap whether it was `named`, passed, or was `not judged`."""
    out: dict[str, str] = {}
    for finding in find_traps(trial):
        named = finding.outcome in ("caution", "fail")
        out[finding.check] = "named" if named else finding.outcome
    return out


def wilson(hits: int, trials: int) -> tuple[float, float]:
    """Wilson 1927 score interval, 95 %."""
    z, p = 1.959964, hits / trials
    middle = (p + z * z / (2 * trials)) / (1 + z * z / trials)
    half = z * np.sqrt(p * (1 - p) / trials + z * z / (4 * trials**2)) / (1 + z * z / trials)
    return middle - half, middle + half


def count(make, trap: str | None, trials: int, seed: int) -> Counter:
    """Count what became of each trap (or of one) over trials that `make` draws."""
    rng = np.random.default_rng(seed)
    out: Counter = Counter()
    for _ in range(trials):
        seen = outcomes(make(rng))
        out.update(seen.items() if trap is None else [(trap, seen[trap])])
    return out


def main(trials: int) -> None:
    """Print the table."""
    clean_trials = 2 * trials
    alarms = count(lambda rng: clean(rng).trial, None, clean_trials, 1)
    running = count(unfinished, None, clean_trials, 3)
    print(
        f"{clean_trials} clean trials, as many cut off while they run, {trials} planted each; in "
        "brackets the 95 % bound.\n"
    )
    print(
        "| trap | false alarms, % | while running, % | planted | found of judged, % | judged, % |"
    )
    print("|---|---|---|---|---|---|")
    for trap in TRAPS:
        wolves = (alarms[trap.name, "named"], running[trap.name, "named"])
        false, early = (
            f"{100 * wolf / clean_trials:.2f} ({100 * wilson(wolf, clean_trials)[1]:.1f})"
            for wolf in wolves
        )
        for label, (name, plant) in PLANTED.items():
            if name == trap.name:
                seen = count(plant, name, trials, 2)
                hits, judged = seen[name, "named"], trials - seen[name, "not judged"]
                found = f"{100 * hits / judged:.1f} ({100 * wilson(hits, judged)[0]:.1f})"
                part = f"{100 * judged / trials:.0f}"
                print(f"| {name} | {false} | {early} | {label} | {found} | {part} |", flush=True)


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 200)
