"""Invented trials for the benchmarks: known curves with known noise."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from bmp.fit.curves import Curves
from bmp.fit.models import MODELS
from bmp.trial import FloatArray

NOISE = ("additive", "multiplicative", "independent")
"""Errors of the interval gas of one size (1 % of B0), in proportion to the gas (10 %), or errors
of the running total that do not add up (1 % of B0)."""


@dataclass(frozen=True)
class Case:
    """One true curve and the days on which it is read."""

    label: str
    model: str
    parameters: tuple[float, ...]
    days: FloatArray

    def true_curve(self, days: FloatArray) -> FloatArray:
        """Return the curve without noise, shape (days,)."""
        return MODELS[self.model].value(days, np.array([self.parameters]))[0]


def jars(case: Case, count: int, noise: str, scatter: float, rng: np.random.Generator) -> Curves:
    """Return noisy jars whose parameters scatter about the case's by a relative `scatter`."""
    truth = np.array(case.parameters)
    named = truth * (1 + scatter * rng.standard_normal((count, truth.size)))
    level = MODELS[case.model].value(case.days, named)
    gas = np.diff(level, axis=1, prepend=0.0)
    error = rng.standard_normal(gas.shape)
    if noise == "additive":
        value = np.cumsum(gas + 0.01 * truth[0] * error, axis=1)
    elif noise == "multiplicative":
        value = np.cumsum(gas * (1 + 0.1 * error), axis=1)
    else:
        value = level + 0.01 * truth[0] * error
    days = np.tile(case.days, (count, 1))
    return Curves(days, value, np.ones(value.shape, dtype=np.bool_))


def table(head: list[str], rows: list[list[str]]) -> str:
    """Return a Markdown table."""
    lines = [head, ["---"] * len(head), *rows]
    return "\n".join("| " + " | ".join(line) + " |" for line in lines)
