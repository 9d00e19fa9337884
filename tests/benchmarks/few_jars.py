"""How often the interval with borrowed scatter holds, and how wide it is: few jars a feed.

Run from the project root: `python -m tests.benchmarks.few_jars [trials]`. The true scatter of the
sets of one trial is drawn about the trial's own level; the noisiest tenth of the sets is shown by
itself. A trial's level is the published one, with its spread over laboratories, or one fixed level.
Without borrowing: Student's t over the set's own jars.
"""

from __future__ import annotations

import sys
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from bmp.borrowed_scatter import borrowed_scatter
from bmp.compare.contrast import components, contrast
from bmp.compare.feed import FeedSample
from bmp.statistics import critical_t, difference_interval
from bmp.trial import FloatArray
from tests.benchmarks.simulated import table

CELLS = [
    (sets, jars, level, spread)
    for sets in (1, 3, 5)
    for jars in (1, 2, 3)
    for level, spread in ((None, 0.35), (0.02, 0.35), (0.04, 0.35), (0.08, 0.35), (0.12, 0.35))
]


@dataclass(frozen=True)
class Cell:
    """One cell: shares in percent, widths in percent of the yield."""

    sets: int
    jars: int
    level: float | None
    """`None`: as published, 3.9 % with a spread of its logarithm of 0.35 over laboratories."""
    held: float
    noisiest: float
    width: float
    plain_width: float


def measured(
    sets: int, jars: int, level: float | None, spread: float, trials: int, rng: np.random.Generator
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return the true RSD of the sets of many trials, their means (truly 1) and the RSD found."""
    usual = 0.039 * np.exp(0.35 * rng.standard_normal((trials, 1))) if level is None else level
    true = usual * np.exp(spread * rng.standard_normal((trials, sets)))
    values = 1 + true[..., None] * rng.standard_normal((trials, sets, jars))
    mean = values.mean(axis=-1)
    rsd = values.std(axis=-1, ddof=1) / mean if jars > 1 else np.full(mean.shape, np.nan)
    return true, mean, rsd


def lent(rsd: FloatArray, jars: int) -> tuple[FloatArray, FloatArray]:
    """Return the borrowed RSD and its degrees of freedom, shape (trials, sets)."""
    trial = np.repeat(np.arange(rsd.shape[0]), rsd.shape[1])
    drawn, freedom = borrowed_scatter(rsd.ravel(), np.full(trial.size, jars), trial)
    return drawn.reshape(rsd.shape), freedom.reshape(rsd.shape)


def called_different(
    sets: int, jars: int, level: float | None, trials: int, rng: np.random.Generator
) -> float:
    """Return how often two equal feeds of a trial are called different, in percent."""
    _, mean, rsd = measured(sets, jars, level, 0.35, trials, rng)
    drawn, freedom = lent(rsd, jars)
    samples = [
        FeedSample(
            f"feed {i}", "a trial", np.repeat(mean[:, i : i + 1], jars, axis=1), None,
            lent_scatter=(drawn[:, i], float(freedom[0, i])),
        )
        for i in range(2)
    ]  # fmt: skip
    found = difference_interval(contrast(samples, (1, -1)), components(samples, (1, -1)))
    return 100 * float(((found.low > 0) | (found.high < 0)).mean())


def cell(
    sets: int, jars: int, level: float | None, spread: float, trials: int, rng: np.random.Generator
) -> Cell:
    """Return coverage and median half width of one cell."""
    true, mean, rsd = measured(sets, jars, level, spread, trials, rng)
    drawn, freedom = lent(rsd, jars)
    half = critical_t(freedom) * drawn / np.sqrt(jars) * mean
    inside = np.abs(mean - 1) <= half
    noisy = true >= np.quantile(true, 0.9)
    plain = critical_t(jars - 1.0) * rsd / np.sqrt(jars) if jars > 1 else np.full(1, np.nan)
    return Cell(
        sets, jars, level, 100 * float(inside.mean()), 100 * float(inside[noisy].mean()),
        100 * float(np.median(half)), 100 * float(np.median(plain)),
    )  # fmt: skip


def cells(trials: int) -> Iterator[Cell]:
    """Yield all cells."""
    rng = np.random.default_rng(17)
    for one in CELLS:
        yield cell(*one, trials, rng)


def main(trials: int) -> None:
    """Print the table, the worst cells first."""
    found = sorted(cells(trials), key=lambda one: one.held)
    print(f"{len(found)} cells of {trials} trials, the worst first; percent\n")
    head = ["feeds", "jars", "RSD of the trial", "held",
            "noisiest tenth", "half width", "without borrowing"]  # fmt: skip
    rows = [
        [str(c.sets), str(c.jars),
         "as published" if c.level is None else f"{100 * c.level:.0f}", f"{c.held:.1f}",
         f"{c.noisiest:.1f}", f"{c.width:.1f}", "none" if c.jars == 1 else f"{c.plain_width:.1f}"]
        for c in found
    ]  # fmt: skip
    print(table(head, rows))
    print("\nEqual feeds called different, percent, the worst first\n")
    rng = np.random.default_rng(18)
    errors = {
        (sets, jars, level): called_different(sets, jars, level, trials, rng)
        for sets in (2, 3, 5) for jars in (1, 2, 3) for level in (None, 0.02, 0.04, 0.08, 0.12)
    }  # fmt: skip
    head = ["feeds", "jars", "RSD of the trial", "error"]
    print(table(head, [
        [str(sets), str(jars), "as published" if level is None else f"{100 * level:.0f}",
         f"{errors[sets, jars, level]:.1f}"]
        for sets, jars, level in sorted(errors, key=lambda one: -errors[one])
    ]))  # fmt: skip


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 4000)
