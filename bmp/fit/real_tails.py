"""What real curves showed of tails: numbers of our own computation, one row a laboratory and day.

Computed by `python -m tests.benchmarks.real_tails` from the net yields of eight laboratories' tests
in Hafner, Fruteau de Laclos, Koch & Holliger 2020, Water 12(6):1752, public data set, version 0.1
(the readings are not in this project). Each series that had not met the stop rule on that day and
went on for five days or more gives the logarithm of the gas that still came over the gas that
`bmp.fit.tail` expects; gains below 1 % of the last value count as 1 %.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final


@dataclass(frozen=True)
class RealTails:
    """The tails of one laboratory's series from one day on."""

    laboratory: str
    """Its number in the data set."""
    cut_d: float
    series: int
    mean_log_ratio: float
    sd_log_ratio: float


TAILS: Final = (
    RealTails("9", 7, 8, -0.25, 0.50),
    RealTails("9", 10, 8, -0.16, 0.51),
    RealTails("9", 12, 8, -0.16, 0.51),
    RealTails("9", 15, 5, -0.26, 0.24),
    RealTails("10", 7, 8, 0.09, 0.31),
    RealTails("10", 10, 7, -0.12, 0.39),
    RealTails("10", 12, 5, -0.11, 0.42),
    RealTails("19", 7, 6, 0.32, 0.24),
    RealTails("19", 10, 5, 0.25, 0.18),
    RealTails("19", 12, 5, 0.16, 0.15),
    RealTails("19", 15, 1, 0.14, 0.00),
    RealTails("27", 7, 7, -0.30, 0.34),
    RealTails("27", 10, 7, -0.24, 0.27),
    RealTails("27", 12, 6, 0.15, 0.54),
    RealTails("27", 15, 3, -0.24, 0.63),
    RealTails("27", 20, 3, -0.24, 0.63),
)
