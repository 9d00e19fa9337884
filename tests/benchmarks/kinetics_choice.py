"""How often a model is chosen, and how often its level and rate hold, in trials as people run them.

Run from the project root: `python -m tests.benchmarks.kinetics_choice [trials]` (default 1,000 a
cell). Three or four jars, 4 % scatter between them, errors of each interval's gas of 1 % of the
yield; jars are read a few hours apart and one round in ten is skipped.
"""

from __future__ import annotations

import sys
from collections import Counter

import numpy as np

from bmp.fit.material import MaterialCurves, fit_materials
from bmp.fit.models import MODELS
from bmp.trial import FloatArray
from tests.benchmarks.simulated import Case, table

MON_WED_FRI = np.array([d for d in range(1, 41) if d % 7 in (0, 2, 4)], dtype=float)
EVERY_THREE = np.arange(3.0, 43.0, 3.0)
DAILY = np.arange(1.0, 36.0)
CASES = (
    Case(
        "first order, k 0.3, lag 1.3 d, read daily", "first order with lag", (350, 0.3, 1.3), DAILY
    ),
    Case(
        "first order, k 0.3, lag 1.3 d, read Mon, Wed, Fri",
        "first order with lag",
        (350.0, 0.3, 1.3),
        MON_WED_FRI,
    ),
    Case(
        "modified Gompertz, Rm 40, lag 1.5 d, read Mon, Wed, Fri",
        "modified Gompertz",
        (350.0, 40.0, 1.5),
        MON_WED_FRI,
    ),
    Case(
        "modified Gompertz, Rm 40, lag 2 d, read every 3 d",
        "modified Gompertz",
        (350.0, 40.0, 2.0),
        EVERY_THREE,
    ),
    Case("first order, k 0.2, read daily", "first order", (350.0, 0.2), DAILY),
    Case("cone, k 0.4, n 1.8, read daily", "cone", (350.0, 0.4, 1.8), DAILY),
    Case("cone, k 0.4, n 1.8, read Mon, Wed, Fri", "cone", (350.0, 0.4, 1.8), MON_WED_FRI),
)
BATCH = 100


def material(case: Case, jars: int, rng: np.random.Generator) -> MaterialCurves:
    """Return one trial's jars."""
    truth = np.array(case.parameters)
    times, values = [], []
    kept = rng.random(case.days.size) > 0.1
    kept[[0, -1]] = True
    for _ in range(jars):
        days = case.days[kept] + rng.uniform(-0.1, 0.1, int(kept.sum()))
        named = truth * (1 + 0.04 * rng.standard_normal(truth.size))
        gas = np.diff(MODELS[case.model].value(days, named[None])[0], prepend=0.0)
        values.append(np.cumsum(gas + 0.01 * truth[0] * rng.standard_normal(gas.size)))
        times.append(days)
    return MaterialCurves(times, values)


def measure(case: Case, jars: int, trials: int, seed: int) -> tuple[Counter[str], FloatArray]:
    """Return how often each model was chosen, and the shares of trials whose intervals hold.

    Level and rate are those of the true model, the rate its second parameter, and the highest rate
    is that of the chosen one; shares are of the trials that give the number.
    """
    rng = np.random.default_rng(seed)
    form = MODELS[case.model]
    peak = float(form.peak(np.array([case.parameters]))[0][0])
    chosen: Counter[str] = Counter()
    held, given = np.zeros(3), np.zeros(3)
    for begin in range(0, trials, BATCH):
        size = min(BATCH, trials - begin)
        some = [material(case, jars, rng) for _ in range(size)]
        for fits in fit_materials(some, reported=False):
            chosen[fits.choice.model or "none"] += 1
            own = fits.models[case.model].parameters
            truths = (case.parameters[0], case.parameters[1], peak)
            estimates = (own["B0"], own[form.names[1]], fits.peak_rate)
            for i, (truth, one) in enumerate(zip(truths, estimates, strict=True)):
                if one.value is not None and one.ci95 is not None:
                    given[i] += 1
                    held[i] += one.ci95[0] <= truth <= one.ci95[1]  # type: ignore[operator]
    return chosen, np.stack([given / trials, held / np.maximum(given, 1)])


def main(trials: int) -> None:
    """Print the table, the cells whose intervals hold least first."""
    rows = []
    for case in CASES:
        for jars in (3, 4):
            chosen, shares = measure(case, jars, trials, seed=16)
            some = 1 - chosen["none"] / trials
            best = ", ".join(
                f"{name} {100 * n / trials:.0f} %" for name, n in chosen.most_common(3)
            )
            cells = [f"{100 * g:.0f} / {100 * h:.1f} %" for g, h in shares.T]
            rows.append(
                (
                    float(shares[1].min()),
                    [case.label, str(jars), f"{100 * some:.1f} %", best, *cells],
                )
            )
    head = ["true curve", "jars", "a model chosen", "which", "B0 given / held", "rate", "peak rate"]
    print(table(head, [row for _, row in sorted(rows, key=lambda row: row[0])]))


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 1000)
