"""The real curves that stand beside the checkout, for checks and tables.

Net yields of eight laboratories' tests: Hafner, Fruteau de Laclos, Koch & Holliger 2020, Water
12(6):1752, public data set, version 0.1. No licence is stated, so they are no part of the project.
"""

from __future__ import annotations

import csv
from dataclasses import dataclass

import numpy as np

from bmp.trial import FloatArray
from tests.references import REAL

PLACE = REAL / "real-trials" / "curves"
MISSING = "the real curves are not beside the checkout: their licence keeps them out of it"


@dataclass(frozen=True)
class RealSeries:
    """The jars of one feed in one laboratory's test."""

    test: str
    laboratory: str
    feed: str
    time_d: list[FloatArray]
    """Days of each jar's readings, the first of them after day 0."""
    net: list[FloatArray]
    """mL/g VS."""

    @property
    def name(self) -> str:
        """Test and feed."""
        return f"test {self.test}, {self.feed}"

    @property
    def end_d(self) -> float:
        """Day on which the first of its jars ends."""
        return float(min(time[-1] for time in self.time_d))

    def mean_at(self, day: float) -> float:
        """Return the mean yield of the jars on a day, linear between readings."""
        pairs = zip(self.time_d, self.net, strict=True)
        return float(np.mean([np.interp(day, time, net) for time, net in pairs]))

    def until(self, day: float) -> RealSeries:
        """Return the readings up to a day."""
        keep = [time <= day for time in self.time_d]
        return RealSeries(
            self.test,
            self.laboratory,
            self.feed,
            [t[k] for t, k in zip(self.time_d, keep, strict=True)],
            [v[k] for v, k in zip(self.net, keep, strict=True)],
        )


def real_series() -> list[RealSeries]:
    """Return all series, in the order of tests and feeds; empty where the file is missing."""
    path = PLACE / "net_yields.csv"
    if not path.is_file():
        return []
    jars: dict[tuple[str, str, str], dict[str, list[tuple[float, float]]]] = {}
    with path.open(encoding="utf-8", newline="") as lines:
        for row in csv.DictReader(lines):
            series = jars.setdefault((row["test"], row["laboratory"], row["feed"]), {})
            reading = float(row["time_d"]), float(row["net_mL_per_gVS"])
            series.setdefault(row["jar"], []).append(reading)
    found = []
    for (test, laboratory, feed), readings in sorted(jars.items()):
        curves = [np.array(sorted(points)) for points in readings.values()]
        curves = [curve[curve[:, 0] > 0] for curve in curves]
        times, nets = [curve[:, 0] for curve in curves], [curve[:, 1] for curve in curves]
        found.append(RealSeries(test, laboratory, feed, times, nets))
    return found


def published_yields() -> dict[tuple[str, str, int], float]:
    """Return the published yield [mL/g VS] by test, feed and number of jars."""
    with (PLACE / "yields.csv").open(encoding="utf-8", newline="") as lines:
        return {
            (row["test"], row["feed"], int(row["jars"])): float(row["bmp_mL_per_gVS"])
            for row in csv.DictReader(lines)
        }
