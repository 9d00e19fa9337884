"""How often the intervals of B0, k, Rm, lag, t50 and t90 hold where the blank and VS are uncertain.

Run from the project root: `python -m tests.benchmarks.kinetics_intervals [trials]`. Each simulated
trial has three blanks that scatter by 8 % in their gas and 10 % in their rate, and VS from three
crucibles. The jars' own inoculum scatters as the blanks do, or not at all. The truth is that of the
curve itself, not of the curve as it was read.
"""

from __future__ import annotations

import sys
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import product

import numpy as np

from bmp.fit.common_errors import parameter_moves
from bmp.fit.curves import Curves
from bmp.fit.interval import series_limits
from bmp.fit.jarwise import Jarwise, fit_jarwise
from bmp.fit.models import MODELS
from bmp.fit.times import errors_of_days, named_without, share_days
from bmp.statistics import jackknife_influence
from bmp.trial import FloatArray
from tests.benchmarks.simulated import table

BLANKS, BLANK_RATE = 3, 0.08
END_D = 45.0
SCHEDULES = {
    "daily": np.arange(1.0, END_D + 1),
    "Mon, Wed, Fri": np.array([d for d in range(1, 46) if (d + 1) % 7 in (2, 4, 6)] + [45.0]),
    "irregular": np.array([1, 2, 3, 4, 6, 8, 11, 14, 18, 22, 27, 32, 38, 45], dtype=float),
    "every 3 d": np.arange(3.0, END_D + 1, 3.0),
}


@dataclass(frozen=True)
class Truth:
    """A feed's own curve, net of any blank."""

    model: str
    parameters: tuple[float, ...]

    def curve(self, days: FloatArray, named: FloatArray | None = None) -> FloatArray:
        """Return the curve at the days for one or many sets of parameters."""
        given = np.array([self.parameters]) if named is None else named
        return MODELS[self.model].value(days, given)

    def day_of(self, share: float) -> float:
        """Return when the curve reaches a share of what it gives by the end."""
        fine = np.linspace(0.0, END_D, 90_001)
        line = self.curve(fine)[0]
        return float(np.interp(share * line[-1], line, fine))


TRUTHS = (
    Truth("first order", (300.0, 0.15)),
    Truth("first order", (300.0, 0.3)),
    Truth("modified Gompertz", (300.0, 30.0, 0.5)),
    Truth("modified Gompertz", (300.0, 30.0, 1.5)),
    Truth("modified Gompertz", (300.0, 30.0, 3.0)),
)


@dataclass(frozen=True)
class Cell:
    """One cell of the grid."""

    truth: Truth
    schedule: str
    share: float
    """Of the jar's gas at the end that the inoculum makes."""
    solids_u: float
    jars: int
    own_scatter: bool
    jar_rsd: float = 0.02

    @property
    def label(self) -> str:
        """The cell in words."""
        numbers = ", ".join(f"{p:g}" for p in self.truth.parameters[1:])
        own = "scatters" if self.own_scatter else "even"
        return (
            f"{self.truth.model} {numbers}; {self.schedule}; blank {100 * self.share:.0f} %; "
            f"VS {100 * self.solids_u:.0f} %; n {self.jars}; inoculum {own}"
        )


def _blank_curves(shape: tuple[int, ...], days: FloatArray, rng: np.random.Generator) -> FloatArray:
    top = 1 + 0.08 * rng.standard_normal((*shape, 1))
    rate = BLANK_RATE * (1 + 0.10 * rng.standard_normal((*shape, 1)))
    curve: FloatArray = top * (1 - np.exp(-rate * days))
    return curve


def drawn(
    cell: Cell, trials: int, rng: np.random.Generator
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return net curves (trials, jars, days), blank moves (trials, blanks, days) and VS's u."""
    days = SCHEDULES[cell.schedule]
    expected = _blank_curves((4000,), days, np.random.default_rng(1)).mean(axis=0)
    end = cell.truth.curve(days)[0, -1]
    ratio = cell.share / (1 - cell.share) * end / expected[-1]
    scatter = rng.standard_normal((trials * cell.jars, len(cell.truth.parameters)))
    named = np.array(cell.truth.parameters) * (1 + cell.jar_rsd * scatter)
    level = cell.truth.curve(days, named)
    gas = np.diff(level, axis=-1, prepend=0.0)
    level = np.cumsum(gas * (1 + 0.02 * rng.standard_normal(gas.shape)), axis=-1)
    level = level.reshape(trials, cell.jars, -1)
    if cell.own_scatter:
        own = _blank_curves((trials, cell.jars), days, rng)
    else:
        own = np.broadcast_to(expected, level.shape)
    blanks = _blank_curves((trials, BLANKS), days, rng)
    crucibles = 1 + cell.solids_u * np.sqrt(3) * rng.standard_normal((trials, 3))
    solids = 1 / crucibles.mean(axis=-1)
    net = (level + ratio * own - ratio * blanks.mean(axis=1, keepdims=True)) * solids[:, None, None]
    moves = -ratio * (blanks - blanks.mean(axis=1, keepdims=True))
    return net, moves, crucibles.std(axis=-1, ddof=1) / np.sqrt(3)


def held(
    cell: Cell, trials: int, rng: np.random.Generator, with_blank: bool = True
) -> dict[str, float]:
    """Return the percent of intervals that hold the truth, by quantity."""
    net, moves, solids = drawn(cell, trials, rng)
    if not with_blank:
        moves = np.zeros_like(moves)
    days, n = SCHEDULES[cell.schedule], cell.jars
    flat = net.reshape(trials * n, -1)
    curves = Curves(np.tile(days, (len(flat), 1)), flat, np.ones(flat.shape, dtype=np.bool_))
    fits = fit_jarwise(MODELS[cell.truth.model], curves)
    fits_moved = [
        parameter_moves(fits.model, curves, fits.named, np.repeat(moves[:, i], n, axis=0))
        for i in range(BLANKS)
    ]
    found = {}
    for i, parameter in enumerate(fits.model.parameters):
        jars = Jars(fits.named[:, i], fits.standard_error[:, i], fits.degrees, n)
        moved = np.stack([m[:, i].reshape(trials, n).mean(axis=1) for m in fits_moved], axis=-1)
        per_gram = parameter.unit.startswith("yield")
        found[parameter.name] = _held(jars, moved, solids if per_gram else None,
                                      cell.truth.parameters[i])  # fmt: skip
    for name, share in (("t50", 0.5), ("t90", 0.9)):
        at = share_days(curves, share, fits)
        jars = Jars(at, *errors_of_days(curves, share, at, fits, np.arange(at.size)), n)
        moved = _time_moves(share, curves, fits, moves, n)
        found[name] = _held(jars, moved, None, cell.truth.day_of(share))
    return found


@dataclass(frozen=True)
class Jars:
    """One quantity of all jars: value, standard error within the jar, its degrees of freedom."""

    value: FloatArray
    error: FloatArray
    degrees: FloatArray
    in_a_trial: int


def _time_moves(
    share: float, curves: Curves, fits: Jarwise, moves: FloatArray, n: int
) -> FloatArray:
    less = np.repeat(moves.transpose(1, 0, 2), n, axis=1) / (BLANKS - 1)
    named = named_without(fits, np.arange(len(curves.value)), curves, less)
    without = []
    for i in range(BLANKS):
        moved = Curves(curves.time_d, curves.value - less[i], curves.valid)
        days = share_days(moved, share, fits, named=named[i])
        without.append(days.reshape(-1, n).mean(axis=1))
    return jackknife_influence(np.stack(without, axis=-1))


def _held(jars: Jars, moved: FloatArray, solids: FloatArray | None, truth: float) -> float:
    mean = jars.value.reshape(-1, jars.in_a_trial).mean(axis=1)
    two = np.full(mean.size, 2.0)
    common = [((moved**2).sum(axis=-1) / (BLANKS * (BLANKS - 1)), two)]
    if solids is not None:
        common.append(((solids * mean) ** 2, two))
    series = np.repeat(np.arange(mean.size), jars.in_a_trial)
    low, high = series_limits(mean, jars.value, jars.error, jars.degrees, series, common=common)
    return float(100 * np.mean((low <= truth) & (truth <= high)))


def cells(truths=TRUTHS, schedules=tuple(SCHEDULES), shares=(0.1, 0.3, 0.5), solids=(0.0, 0.03),
          jars=(3, 5), own=(False, True)) -> Iterator[Cell]:  # fmt: skip
    """Yield the cells of the grid."""
    for parts in product(truths, schedules, shares, solids, jars, own):
        yield Cell(*parts)


def main(trials: int, quick: bool = False) -> None:
    """Print the tables, the worst cells first."""
    few = {"schedules": ("every 3 d", "daily"), "shares": (0.3, 0.5), "own": (False,)}
    _print(list(cells(**few) if quick else cells()), trials)
    print("\nOne or two jars, whose interval is within the jar only:\n")
    _print(list(cells(schedules=("daily", "every 3 d"), jars=(1, 2), own=(True,))), trials)


def _print(grid: list[Cell], trials: int) -> None:
    rows = []
    for number, cell in enumerate(grid):
        found = held(cell, trials, np.random.default_rng(number))
        rows += [(value, cell.label, name) for name, value in found.items()]
    rows.sort()
    figures = np.array([row[0] for row in rows])
    inside = np.mean((figures >= 93) & (figures <= 97))
    below, above = int((figures < 93).sum()), int((figures > 97).sum())
    print(
        f"{len(rows)} cells of {trials} trials: {figures.min():.1f} to {figures.max():.1f} %, "
        f"mean {figures.mean():.1f} %. {100 * inside:.1f} % of cells are within 93 to 97 %, "
        f"{below} below, {above} above\n"
    )
    print(table(["held, %", "cell", "of"], [[f"{v:.1f}", c, q] for v, c, q in rows[:12]]))
    print("\nThe most:\n")
    print(table(["held, %", "cell", "of"], [[f"{v:.1f}", c, q] for v, c, q in rows[:-7:-1]]))
    print()
    names = dict.fromkeys(name for _, _, name in rows)
    own = {name: [v for v, _, q in rows if q == name] for name in names}
    spans = [[n, *(f"{of(v):.1f}" for of in (min, max, np.median))] for n, v in own.items()]
    print(table(["quantity", "least, %", "most, %", "median, %"], spans))


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 1000, "quick" in sys.argv)
