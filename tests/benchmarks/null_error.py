"""How often two equal feeds are called different, by the rule of `bmp.statistics`.

Run from the project root: `python -m tests.benchmarks.null_error [trials]`. A cell is the sources
of error of one comparison: jars of either feed, blanks whose error does not cancel, crucibles. The
table shows the worst cells first, beside Welch and Satterthwaite's test by itself.
"""

from __future__ import annotations

import sys
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from bmp.statistics import satterthwaite, two_sided_p, two_sided_sum_p
from tests.benchmarks.simulated import table

SPREADS = (0.05, 0.1, 0.2, 0.3, 0.5, 0.8, 1.0, 1.5, 3.0, 6.0)
"""Standard error of the second source and those after it, over that of the first."""
DESIGNS: dict[str, tuple[float, ...]] = {
    "2 jars against 2": (1, 1),
    "2 jars against 6": (1, 5),
    "3 jars against 3": (2, 2),
    "3 jars against 6": (2, 5),
    "3 jars against 9": (2, 8),
    "5 jars against 5": (4, 4),
    "3 jars, a known error": (2, 1e9),
    "2 against 2, 2 blanks": (1, 1, 1),
    "2 against 2, 3 blanks": (1, 1, 2),
    "3 against 3, 2 blanks": (2, 2, 1),
    "3 against 3, 3 blanks": (2, 2, 2),
    "3 against 6, 3 blanks": (2, 5, 2),
    "5 against 5, 2 blanks": (4, 4, 1),
    "3 against 3, 3 blanks, 3 crucibles each": (2, 2, 2, 2, 2),
}


@dataclass(frozen=True)
class Cell:
    """Error of the two tests in one cell, percent."""

    design: str
    spread: float
    ours: float
    welch: float


def cell(design: str, spread: float, trials: int, rng: np.random.Generator) -> Cell:
    """Return one cell of the table."""
    dof = np.array(DESIGNS[design])
    error = np.array([1.0, *[spread] * (dof.size - 1)])
    difference = (rng.standard_normal((trials, dof.size)) * error).sum(axis=-1)
    variances = error**2 * rng.chisquare(dof, (trials, dof.size)) / dof
    t = difference / np.sqrt(variances.sum(axis=-1))
    ours = two_sided_sum_p(t, variances, dof)
    welch = two_sided_p(t, satterthwaite(variances, dof))
    shares = [float(100 * np.mean(p < 0.05)) for p in (ours, welch)]
    return Cell(design, spread, *shares)


def cells(trials: int) -> Iterator[Cell]:
    """Yield all cells."""
    rng = np.random.default_rng(20)
    for design in DESIGNS:
        for spread in SPREADS:
            yield cell(design, spread, trials, rng)


def main(trials: int) -> None:
    """Print the worst cell of each design, the worst first."""
    worst: dict[str, Cell] = {}
    for one in cells(trials):
        if one.design not in worst or one.ours > worst[one.design].ours:
            worst[one.design] = one
    rows = sorted(worst.values(), key=lambda one: -one.ours)
    print(f"Equal feeds called different, percent of {trials} trials: the worst spread a design\n")
    head = ["compared", "spread of the second", "error", "Welch and Satterthwaite"]
    print(table(head, [[c.design, f"{c.spread:g}", f"{c.ours:.1f}", f"{c.welch:.1f}"]
                       for c in rows]))  # fmt: skip


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 20_000)
