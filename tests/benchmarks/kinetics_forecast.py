"""How often the forecast made on day 5, 10, 15 or 20 of a 45-day trial holds.

Run from the project root: `python -m tests.benchmarks.kinetics_forecast [trials]` (default 2,000
a cell). A trial of three jars (5 % scatter between them) is read daily to day 45. The yield
counts as covered if the interval holds the true yield of the material on the day when the trial
met the stop rule; the stop day, if its interval holds that day.
"""

from __future__ import annotations

import sys

import numpy as np

from bmp.fit.material import MaterialCurves, fit_materials
from bmp.stop_rule import stop_days_read_together
from tests.benchmarks.simulated import Case, jars, table

DAYS = np.arange(1.0, 46.0)
CASES = (
    Case("first order, k 0.25", "first order", (350.0, 0.25), DAYS),
    Case("first order, k 0.12", "first order", (350.0, 0.12), DAYS),
    Case("modified Gompertz, Rm 30, lag 2", "modified Gompertz", (350.0, 30.0, 2.0), DAYS),
    Case("two pools (no model fits)", "two-pool first order", (350.0, 0.5, 0.5, 0.08), DAYS),
)
ASKED_ON = (5, 10, 15, 20)
JARS = 3
BATCH = 100


def main(trials: int) -> None:
    """Print the table."""
    rng = np.random.default_rng(45)
    rows = []
    for case in CASES:
        for noise in ("additive", "multiplicative"):
            found = {day: np.zeros(6) for day in ASKED_ON}
            widths: dict[int, list[float]] = {day: [] for day in ASKED_ON}
            for _ in range(-(-trials // BATCH)):
                _batch(case, noise, rng, found, widths)
            rows += [_row(case.label, noise, day, found[day], widths[day]) for day in ASKED_ON]
    head = [
        "true curve",
        "noise",
        "day",
        "trials",
        "a number given",
        "yield covered",
        "median half width",
        "stop day covered",
        "mean stop interval",
    ]
    print(table(head, rows))


def _batch(case, noise, rng, found, widths) -> None:  # type: ignore[no-untyped-def]
    curves = jars(case, JARS * BATCH, noise, 0.05, rng)
    met = stop_days_read_together(DAYS, curves.value, curves.value).reshape(BATCH, JARS).max(axis=1)
    for day in ASKED_ON:
        running = np.flatnonzero((met > day) & np.isfinite(met))
        materials = [
            MaterialCurves(
                [DAYS[:day]] * JARS, list(curves.value[JARS * i : JARS * i + JARS, :day])
            )
            for i in running
        ]
        for i, fits in zip(running, fit_materials(materials, reported=False), strict=True):
            found[day][0] += 1
            ahead = fits.forecast
            if ahead is None or ahead.final_yield.ci95 is None:
                continue
            low, high = ahead.final_yield.ci95
            truth = case.true_curve(met[i : i + 1])[0]
            early, late = ahead.stop_day_d.ci95 or (None, None)
            found[day][1] += 1
            found[day][2] += low <= truth <= high
            found[day][3] += early is not None and early <= met[i] <= (late or np.inf)
            widths[day].append((high - low) / (2 * truth))
            found[day][4] += (late or np.inf) - (early or 0.0) if late else 100.0


def _row(label: str, noise: str, day: int, n: np.ndarray, width: list[float]) -> list[str]:
    given = max(n[1], 1)
    share = [f"{100 * n[1] / max(n[0], 1):.0f} %"]
    if n[1] < 20:
        return [label, noise, str(day), f"{n[0]:.0f}", *share, "–", "–", "–", "–"]
    return [
        label,
        noise,
        str(day),
        f"{n[0]:.0f}",
        *share,
        f"{100 * n[2] / given:.1f} %",
        f"{100 * np.median(width):.0f} %",
        f"{100 * n[3] / given:.1f} %",
        f"{n[4] / given:.0f} d",
    ]


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 2000)
