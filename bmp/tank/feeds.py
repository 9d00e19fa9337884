"""Each feed of the diet with what is known of it, and the gas it brings in this tank."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import hypot
from typing import Final

from bmp.constants import HIGHEST_POSSIBLE_YIELD_NML_PER_G_VS
from bmp.tank.diet import Holds, holds
from bmp.tank.inputs import FeedYield, TankFeed, TankSetup
from bmp.tank.result import FeedGas, Span
from bmp.tank.step import ratio_of
from bmp.tank.yields import going_on, tank_yield, temperature_factor
from bmp.theory import Theory, theories_of
from bmp.trial import FloatArray

# Taken where nothing is given; each is said in `assumed`.
ASSUMED_METHANE_SHARE: Final = 0.60
ASSUMED_DEGRADED_SHARE: Final = 0.60

# Below this the rate of gas was never seen, and no figure is given.
COLDEST_C: Final = 10.0
BELOW_BLANK: Final = "its jars made no more methane than the inoculum alone"


@dataclass(frozen=True, eq=False)
class PreparedFeed:
    """A feed with everything that does not depend on how much of it is fed."""

    feed: TankFeed
    holds: Holds
    theory: Theory | None
    curve: FeedYield | None
    per_kg: float | None
    """Grams of the curve's basis per gram of fresh feed; NmL/g times it is NL/kg."""
    factor: Span
    step: Span
    """What is left of a jar's yield beside retention and temperature."""

    @property
    def is_water(self) -> bool:
        """Whether it only thins and gives no gas."""
        return self.feed.material.role == "water"


def prepare(setup: TankSetup, feed: TankFeed, curve: FeedYield | None) -> PreparedFeed:
    """Return a feed with all that does not depend on how much of it is fed."""
    inside = holds(feed.material)
    ways = () if feed.material.role == "water" else theories_of(feed.material)
    per_kg = None
    if curve is not None:
        basis = {"VS": inside.VS, "TS": inside.TS, "fresh": 1000.0}[curve.basis]
        per_kg = None if basis is None else basis / 1000
    jar_C = setup.temperature_C if curve is None else curve.jar_temperature_C
    factor = temperature_factor(setup.temperature_C, jar_C)
    theory = ways[0] if ways else None
    return PreparedFeed(feed, inside, theory, curve, per_kg, factor, ratio_of(setup).step)


def feed_gas(setup: TankSetup, item: PreparedFeed, kg: float, retention_d: float | None) -> FeedGas:
    """Return the gas of one feed.

    The span joins independent doubts in quadrature: the trial's interval, the temperature factor,
    the step from jar to tank, and what an unfinished trial may still bring. A doubt about the
    whole trial (its control, its blank) then widens it by a factor.
    """
    name = item.feed.material.name
    VS = None if item.holds.VS is None else kg * item.holds.VS / 1000
    curve = item.curve
    why = _why_no_gas(setup, item, retention_d)
    if curve is None or item.per_kg is None or retention_d is None or why:
        return FeedGas(name, kg, VS, None, None, None, None, None, None, None, why=why)
    per_kg, last, step = item.per_kg, float(curve.net_NmL_per_g[-1]), item.step

    def at(factor: float, time_d: FloatArray, net: FloatArray) -> float:
        return per_kg * tank_yield(time_d, net, factor * retention_d, setup.mixing)

    middle = at(item.factor.value, curve.time_d, curve.net_NmL_per_g)
    slow = at(item.factor.low, curve.time_d, curve.net_NmL_per_g)
    fast = at(item.factor.high, curve.time_d, curve.net_NmL_per_g)
    most = middle
    if not curve.grounds.finished:
        most = at(item.factor.value, *going_on(curve.time_d, curve.net_NmL_per_g, _ceiling(item)))
    reached = middle / (per_kg * last)
    trial = _carried_interval(curve, per_kg * step.value, last, step.value * middle, reached)
    here = step.value * middle
    low, high = trial if trial is not None else (here, here)
    down = (here - low, middle * (step.value - step.low), step.value * (middle - min(slow, middle)))
    up = (
        high - here,
        middle * (step.high - step.value),
        step.value * (max(fast, middle) - middle),
        step.value * (max(most, middle) - middle),
    )
    # below zero is no gas; an interval that holds zero says so by its low end
    lowest = max(0.0, here - hypot(*down)) * curve.grounds.low_times
    highest = (here + hypot(*up)) * curve.grounds.high_times
    methane = Span(kg * here, kg * lowest, kg * highest)
    share = _methane_share(setup, item)
    by_model = None
    if curve.model_time_d is not None and curve.model_net_NmL_per_g is not None:
        by_model = step.value * at(item.factor.value, curve.model_time_d, curve.model_net_NmL_per_g)
    return FeedGas(
        material=name,
        amount_kg_per_d=kg,
        VS_kg_per_d=VS,
        yield_NL_per_kg=here,
        share_of_jar_yield=step.value * reached,
        yield_by_model_NL_per_kg=by_model,
        methane_NL_per_d=methane,
        trial_interval_NL_per_d=None if trial is None else (kg * trial[0], kg * trial[1]),
        biogas_NL_per_d=scaled(methane, 1 / share),
        methane_share=share,
        share_by_retention=reached,
    )


def _why_no_gas(setup: TankSetup, item: PreparedFeed, retention_d: float | None) -> str:
    name, curve = item.feed.material.name, item.curve
    if setup.temperature_C < COLDEST_C:
        return f"the tank is below {COLDEST_C:.0f} °C"
    if retention_d is None:
        return "no retention time"
    if curve is None:
        return f"{name}: not tested in jars"
    if item.per_kg is None:
        return f"{name}: {curve.basis} not given"
    if curve.grounds.refused:
        return f"{name}: {curve.grounds.refused}"
    if curve.net_NmL_per_g[-1] <= 0:
        return f"{name}: {BELOW_BLANK}"
    return ""


def _ceiling(item: PreparedFeed) -> float:
    """Return the most that the feed can give, NmL per g of the curve's basis."""
    per_VS = HIGHEST_POSSIBLE_YIELD_NML_PER_G_VS
    if item.theory is not None:
        per_VS = min(per_VS, item.theory.ceiling_NmL_per_gVS)
    if item.holds.VS is None or not item.per_kg:
        return HIGHEST_POSSIBLE_YIELD_NML_PER_G_VS
    return per_VS * item.holds.VS / 1000 / item.per_kg


def _carried_interval(
    curve: FeedYield, per_kg: float, last: float, middle: float, reached: float
) -> tuple[float, float] | None:
    """Return the trial's 95 % interval on the tank yield; the curve keeps its shape."""
    if curve.final_ci95_NmL_per_g is None:
        return None
    low, high = curve.final_ci95_NmL_per_g
    keep = per_kg * abs(reached)
    return middle + keep * (low - last), middle + keep * (high - last)


def _methane_share(setup: TankSetup, item: PreparedFeed) -> float:
    if item.curve is not None and item.curve.methane_share is not None:
        return item.curve.methane_share
    return ASSUMED_METHANE_SHARE if setup.methane_share is None else setup.methane_share


def scaled(span: Span, by: float) -> Span:
    """Return an estimate and its span times a positive number."""
    return Span(span.value * by, span.low * by, span.high * by)


def total_of(spans: Sequence[Span | None]) -> Span | None:
    """Add estimates; their errors go the same way (one blank, one scaling), so bounds add."""
    known = [span for span in spans if span is not None]
    if len(known) < len(spans):
        return None
    return Span(
        sum(span.value for span in known),
        sum(span.low for span in known),
        sum(span.high for span in known),
    )


def degraded_share(item: PreparedFeed, gas: FeedGas | None) -> float:
    """Return the share of the organic matter that is degraded in the tank, 0 to 1."""
    VS, curve = item.holds.VS, item.curve
    kept = None if gas is None else gas.share_by_retention
    if item.theory is None or curve is None or not item.per_kg or kept is None or not VS:
        return ASSUMED_DEGRADED_SHARE
    # without the step from jar to tank: its losses leave the nitrogen that is set free
    per_VS = float(curve.net_NmL_per_g[-1]) * kept * item.per_kg / (VS / 1000)
    return min(1.0, max(0.0, per_VS / item.theory.methane_NmL_per_gVS))
