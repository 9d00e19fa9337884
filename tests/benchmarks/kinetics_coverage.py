"""How often the 95 % intervals of the kinetic parameters hold the true value.

Run from the project root: `python -m tests.benchmarks.kinetics_coverage [trials]` (default 2,000
a cell; the standard error of 95 % is then half a point). Between jars: the t-interval over per-jar
values, for n = 3, 4, 5 jars whose parameters scatter by 0, 5 or 10 %. Within the jar: the interval
given for one jar, without scatter. Beside it, what the usual standard error of a fit to one
cumulative curve covers, which the tool never prints.
"""

from __future__ import annotations

import sys

import numpy as np

from bmp.fit.curves import Curves
from bmp.fit.engine import fit_curves
from bmp.fit.jarwise import Jarwise, fit_jarwise
from bmp.fit.models import MODELS
from bmp.statistics import critical_t
from bmp.trial import FloatArray
from tests.benchmarks.simulated import NOISE, Case, jars, table

FINISHED = np.concatenate([np.arange(1.0, 15.0), np.arange(16.0, 41.0, 2.0)])
CASES = (
    Case("first order, k 0.15", "first order", (350.0, 0.15), FINISHED),
    Case("first order, k 0.4", "first order", (250.0, 0.4), FINISHED),
    Case("first order, at 59 %", "first order", (350.0, 0.03), np.arange(1.0, 31.0)),
    Case("modified Gompertz, Rm 25, lag 3", "modified Gompertz", (350.0, 25.0, 3.0), FINISHED),
    Case("modified Gompertz, Rm 60, lag 1", "modified Gompertz", (300.0, 60.0, 1.0), FINISHED),
    Case(
        "modified Gompertz, at 68 %", "modified Gompertz", (350.0, 20.0, 3.0), np.arange(1.0, 16.0)
    ),
)
JARS = (3, 4, 5)
SCATTER = (0.0, 0.05, 0.1)


def between(
    case: Case, noise: str, count: int, scatter: float, trials: int, seed: int
) -> FloatArray:
    """Return the share of trials whose t-interval between jars holds each parameter."""
    curves = jars(case, trials * count, noise, scatter, np.random.default_rng(seed))
    named = fit_curves(MODELS[case.model], curves).named.reshape(trials, count, -1)
    half = critical_t(count - 1) * named.std(axis=1, ddof=1) / np.sqrt(count)
    held: FloatArray = (np.abs(named.mean(axis=1) - case.parameters) <= half).mean(axis=0)
    return held


def within(case: Case, noise: str, trials: int, seed: int) -> tuple[FloatArray, FloatArray]:
    """Return the same for the interval within one jar and for the usual standard error."""
    curves = jars(case, trials, noise, 0.0, np.random.default_rng(seed))
    fits = fit_jarwise(MODELS[case.model], curves)
    truth, t = np.array(case.parameters), critical_t(fits.degrees)[:, None]
    away = np.abs(fits.named - truth)
    for i, parameter in enumerate(fits.model.parameters):
        if parameter.positive:
            away[:, i] = np.abs(np.log(fits.named[:, i] / truth[i])) * fits.named[:, i]
    ours = away <= t * fits.standard_error
    naive = np.abs(fits.named - truth) <= t * _usual_error(fits, curves)
    return ours.mean(axis=0), naive.mean(axis=0)


def _usual_error(fits: Jarwise, curves: Curves) -> FloatArray:
    gradient = fits.model.gradient(curves.time_d, fits.named)
    normal = np.einsum("ijk,ijl->ikl", gradient, gradient)
    variance = np.einsum("ijj->ij", np.linalg.inv(normal))
    error: FloatArray = np.sqrt(variance * (fits.fit.rss / fits.degrees)[:, None])
    return error


def _percent(shares: FloatArray) -> str:
    return " / ".join(f"{100 * share:.1f}" for share in shares)


def _range(shares: list[FloatArray]) -> str:
    stacked = np.stack(shares)
    spans = zip(stacked.min(axis=0), stacked.max(axis=0), strict=True)
    return " / ".join(f"{100 * low:.1f}–{100 * high:.1f}" for low, high in spans)


def main(trials: int) -> None:
    """Print the tables."""
    print(f"{trials} trials a cell; percent of intervals that hold the true value\n")
    single, several, everything = [], [], []
    for number, case in enumerate(CASES):
        names = " / ".join(MODELS[case.model].names)
        for noise in NOISE:
            ours, naive = within(case, noise, trials, number)
            single.append([case.label, noise, names, _percent(ours), _percent(naive)])
            row = [case.label, noise, names]
            for count in JARS:
                cells = [
                    between(case, noise, count, s, trials, 10 * number + count) for s in SCATTER
                ]
                row.append(_range(cells))
                everything += [share for cell in cells for share in cell]
            several.append(row)
    print("Between jars, range over 0, 5 and 10 % scatter of the jars:\n")
    print(table(["true curve", "noise", "of", *(f"n = {n}" for n in JARS)], several))
    print(f"\nall {len(everything)} cells: {100 * min(everything):.1f} to ", end="")
    print(f"{100 * max(everything):.1f} %, mean {100 * np.mean(everything):.1f} %\n")
    print("One jar:\n")
    print(table(["true curve", "noise", "of", "within the jar", "usual standard error"], single))


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 2000)
