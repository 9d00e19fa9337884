"""The step from jar to tank: what a tank loses beside what retention and temperature take.

A jar is mixed, warm and closed. A tank has dead corners, leaks, cold days and days without care.
Published ratios of tank to jar hold both that and the short stay in the tank. The jar's own curve
tells what the stay takes, so each ratio is divided by what retention left in those tanks.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from bmp.tank.inputs import TankSetup
from bmp.tank.result import Span


@dataclass(frozen=True)
class PublishedRatio:
    """Published yields of one kind of tank over the jars' final yield."""

    kind: str
    """`heated`, `unheated`, or `not given`: the span of both."""
    words: str
    whole: Span
    """Tank over jar, all losses in it."""
    by_retention: float
    """What retention and temperature alone left in those tanks."""
    source: str

    @property
    def step(self) -> Span:
        """Return what is left of a jar's yield beside retention and temperature."""
        whole, kept = self.whole, self.by_retention
        return Span(whole.value / kept, whole.low / kept, whole.high / kept)


# What retention left: k θ/(1 + k θ) with k 0.15 a day and 75 d for the heated plants (mixed
# feeds), with k 0.06 and 50 d for the simple ones (dung at 25 to 30 °C): judgement.
_HEATED_KEPT: Final = 0.15 * 75 / (1 + 0.15 * 75)
_SIMPLE_KEPT: Final = 0.06 * 50 / (1 + 0.06 * 50)
_HEATED: Final = Span(0.88, 0.80, 0.95)
_SIMPLE: Final = Span(0.50, 0.30, 0.75)

RATIOS: Final = (
    PublishedRatio(
        "heated",
        "heated, stirred tanks",
        _HEATED,
        _HEATED_KEPT,
        "0.93 at full scale (Jurgutis et al. 2020, Biomass Bioenergy 141:105693); two plants near "
        "their jars (Holliger et al. 2017, Front. Energy Res. 5:12, figures from memory)",
    ),
    PublishedRatio(
        "unheated",
        "simple tanks without heating",
        _SIMPLE,
        _SIMPLE_KEPT,
        "0.30 to 0.60 of the ultimate yield (Biogas plants in animal husbandry, GTZ 1989, p. 42); "
        "near 0.75 at best is judgement",
    ),
    PublishedRatio(
        "not given",
        "tanks of both kinds",
        Span(0.5 * (_HEATED.value + _SIMPLE.value), _SIMPLE.low, _HEATED.high),
        0.5 * (_HEATED_KEPT + _SIMPLE_KEPT),
        "the span of heated and of simple tanks",
    ),
)

# A tank held this much above the mean air, and at least this warm, is heated: one in the ground is
# warmer than winter air too. Without an air temperature one as warm as the last is.
HEATED_ABOVE_AIR_K: Final = 5.0
HEATED_AT_LEAST_C: Final = 25.0
HEATED_FROM_C: Final = 33.0


def ratio_of(setup: TankSetup) -> PublishedRatio:
    """Return the published ratio for this kind of tank."""
    return next(row for row in RATIOS if row.kind == kind_of(setup))


def kind_of(setup: TankSetup) -> str:
    """Return `heated`, `unheated` or `not given`."""
    if setup.heating is not None:
        return setup.heating
    if setup.heater_use_kWh_per_d is not None:
        return "heated"
    air = setup.mean_air_C
    if air is not None:
        warmest = max(air + HEATED_ABOVE_AIR_K, HEATED_AT_LEAST_C)
        return "heated" if setup.temperature_C >= warmest else "unheated"
    return "heated" if setup.temperature_C >= HEATED_FROM_C else "not given"
