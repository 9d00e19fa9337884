"""The batched engine against one lmfit fit a jar: how many times faster, and the same optimum?

Run from the project root: `python -m tests.benchmarks.kinetics_speed [jars]` (default 5,000 jars
of 40 readings, unfinished curves among them). Prints ratios of processor time within one run:
absolute times mean nothing on a shared machine. lmfit is timed as people use it (`Model.fit`,
default tolerances, good starting values given free of charge); the optimum is compared with lmfit
under analytic derivatives and tight tolerances, since its defaults stop at about 1e-5.
"""

from __future__ import annotations

import sys
import time

import lmfit
import numpy as np

from bmp.fit.curves import Curves
from bmp.fit.engine import fit_curves
from bmp.fit.identify import reasons
from bmp.fit.jarwise import fit_jarwise
from bmp.fit.material import MaterialCurves, fit_materials
from bmp.fit.model import Model
from bmp.fit.models import MODELS
from bmp.fit.reported import reported_fit
from bmp.trial import FloatArray
from tests.benchmarks.simulated import Case, jars, table

DAYS = np.arange(1.0, 41.0)


def first_order(t: FloatArray, B0: float, k: float) -> FloatArray:
    """Return the curve as a user of lmfit writes it."""
    return B0 * (1 - np.exp(-k * t))


def gompertz(t: FloatArray, B0: float, Rm: float, lag: float) -> FloatArray:
    """Return the curve as a user of lmfit writes it."""
    return B0 * np.exp(-np.exp(Rm * np.e / B0 * (lag - t) + 1))


WRITTEN = {"first order": first_order, "modified Gompertz": gompertz}


def archive(model: Model, count: int, rng: np.random.Generator) -> Curves:
    """Return jars with 1 % interval noise, from quick to unfinished."""
    b0 = rng.uniform(150, 500, count)
    if model.name == "first order":
        named = np.column_stack([b0, np.exp(rng.uniform(np.log(0.02), np.log(0.6), count))])
    else:
        named = np.column_stack([b0, b0 * rng.uniform(0.03, 0.25, count), rng.uniform(0, 6, count)])
    gas = np.diff(model.value(DAYS, named), axis=1, prepend=0.0)
    value = np.cumsum(gas + 0.01 * b0[:, None] * rng.standard_normal(gas.shape), axis=1)
    return Curves(np.tile(DAYS, (count, 1)), value, np.ones(value.shape, dtype=np.bool_))


def one_by_one(model: Model, curves: Curves, starts: FloatArray) -> float:
    """Return the seconds that one lmfit fit a jar takes."""
    shape = lmfit.Model(WRITTEN[model.name])
    begin = time.process_time()
    for row, start in zip(curves.value, starts, strict=True):
        given = shape.make_params(**dict(zip(model.names, start, strict=True)))
        shape.fit(row, given, t=DAYS)
    return time.process_time() - begin


def together(model: Model, curves: Curves) -> float:
    """Return the seconds of the engine, the best of five runs."""
    best = np.inf
    for _ in range(5):
        begin = time.process_time()
        fit_curves(model, curves)
        best = min(best, time.process_time() - begin)
    return best


def disagreement(model: Model, curves: Curves, starts: FloatArray) -> tuple[int, float]:
    """Return how many jars are identified and the largest relative difference over them."""
    fits = fit_jarwise(model, curves)
    sure = [i for i, why in enumerate(reasons(fits)) if not any(why)]
    found = np.array([reported_fit(model, curves.rows(slice(i, i + 1)), starts[i]) for i in sure])
    return len(sure), float(np.abs(found / fits.named[sure] - 1).max())


def trial_seconds() -> tuple[float, float]:
    """Return the seconds of everything for a running and a finished 12-jar trial."""
    rng = np.random.default_rng(12)
    seconds = []
    for last in (15, 45):
        days = np.arange(1.0, last + 1.0)
        materials = []
        for name, named in (
            ("first order", (350.0, 0.15)),
            ("modified Gompertz", (350.0, 25.0, 3.0)),
            ("first order", (250.0, 0.05)),
            ("two-pool first order", (300.0, 0.5, 0.6, 0.05)),
        ):
            made = jars(Case("", name, named, days), 3, "additive", 0.05, rng)
            materials.append(MaterialCurves(list(made.time_d), list(made.value)))
        fit_materials(materials)
        begin = time.process_time()
        fit_materials(materials)
        seconds.append(time.process_time() - begin)
    return seconds[0], seconds[1]


def main(count: int) -> None:
    """Print the tables."""
    rng = np.random.default_rng(5000)
    lines = []
    for name in WRITTEN:
        model = MODELS[name]
        curves = archive(model, count, rng)
        begin = model.starts(curves).u[0]
        starts = model.to_named(np.column_stack([curves.value.max(axis=1), begin]))
        before = together(model, curves)
        loop = one_by_one(model, curves, starts)
        engine = min(before, together(model, curves))
        sure, apart = disagreement(model, curves, starts)
        lines.append([name, f"{loop / engine:.0f}", str(sure), f"{apart:.1e}"])
    head = ["model", "times faster than lmfit", "identified jars compared", "largest difference"]
    print(f"{count} jars of {DAYS.size} readings\n")
    print(table(head, lines))
    running, finished = trial_seconds()
    print(f"\n12 jars, all models, intervals, choice: {finished:.2f} s finished (45 readings),")
    print(f"{running:.2f} s running (15 readings, with profile limits and forecasts)")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 5000)
