"""Each feed of the diet with what is known of it, and the gas it brings in this tank."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import hypot
from typing import Final

from bmp.tank.inputs import FeedYield, TankFeed, TankSetup
from bmp.tank.mixture import Holds, holds
from bmp.tank.result import FeedGas, Range
from bmp.tank.yields import SCALING_SPREAD, tank_yield, temperature_factor
from bmp.theory import Theory, theories_of
from bmp.trial import FloatArray

# Taken where nothing is given; each is said in `assumed`.
ASSUMED_METHANE_SHARE: Final = 0.60
ASSUMED_DEGRADED_SHARE: Final = 0.60


@dataclass(frozen=True, eq=False)
class PreparedFeed:
    """A feed with everything that does not depend on how much of it is fed."""

    feed: TankFeed
    holds: Holds
    theory: Theory | None
    curve: FeedYield | None
    per_kg: float | None
    """Grams of the curve's basis per gram of fresh feed; NmL/g times it is NL/kg."""
    factor: Range

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
    return PreparedFeed(feed, inside, ways[0] if ways else None, curve, per_kg, factor)


def feed_gas(setup: TankSetup, item: PreparedFeed, kg: float, retention_d: float | None) -> FeedGas:
    """Return the gas of one feed.

    The span joins three independent doubts in quadrature: the trial's interval, the temperature
    factor, and the step from jar to tank.
    """
    name = item.feed.material.name
    VS = None if item.holds.VS is None else kg * item.holds.VS / 1000
    curve = item.curve
    if curve is None or item.per_kg is None or retention_d is None:
        why = f"{name}: not tested in jars" if curve is None else f"{name}: {curve.basis} not given"
        if retention_d is None:
            why = "no retention time"
        return FeedGas(name, kg, VS, None, None, None, None, None, None, None, why)
    per_kg, last = item.per_kg, float(curve.net_NmL_per_g[-1])

    def at(factor: float, time_d: FloatArray, net: FloatArray) -> float:
        return per_kg * tank_yield(time_d, net, factor * retention_d, setup.mixing)

    middle = at(item.factor.value, curve.time_d, curve.net_NmL_per_g)
    slow = at(item.factor.low, curve.time_d, curve.net_NmL_per_g)
    fast = at(item.factor.high, curve.time_d, curve.net_NmL_per_g)
    reached = middle / (per_kg * last) if last else None
    trial = _carried_interval(curve, per_kg, last, middle, reached)
    low, high = trial if trial is not None else (middle, middle)
    scale_low, scale_high = (abs(middle) * share for share in SCALING_SPREAD)
    methane = Range(
        kg * middle,
        kg * (middle - hypot(middle - low, scale_low, middle - min(slow, middle))),
        kg * (middle + hypot(high - middle, scale_high, max(fast, middle) - middle)),
    )
    share = _methane_share(setup, item)
    by_model = None
    if curve.model_time_d is not None and curve.model_net_NmL_per_g is not None:
        by_model = at(item.factor.value, curve.model_time_d, curve.model_net_NmL_per_g)
    return FeedGas(
        material=name,
        amount_kg_per_d=kg,
        VS_kg_per_d=VS,
        yield_NL_per_kg=middle,
        share_of_jar_yield=reached,
        yield_by_model_NL_per_kg=by_model,
        methane_NL_per_d=methane,
        trial_interval_NL_per_d=None if trial is None else (kg * trial[0], kg * trial[1]),
        biogas_NL_per_d=scaled(methane, 1 / share),
        methane_share=share,
    )


def _carried_interval(
    curve: FeedYield, per_kg: float, last: float, middle: float, reached: float | None
) -> tuple[float, float] | None:
    """Return the trial's 95 % interval on the tank yield; the curve keeps its shape."""
    if curve.final_ci95_NmL_per_g is None:
        return None
    low, high = curve.final_ci95_NmL_per_g
    keep = 1.0 if reached is None else abs(reached)
    return middle + per_kg * keep * (low - last), middle + per_kg * keep * (high - last)


def _methane_share(setup: TankSetup, item: PreparedFeed) -> float:
    if item.curve is not None and item.curve.methane_share is not None:
        return item.curve.methane_share
    return ASSUMED_METHANE_SHARE if setup.methane_share is None else setup.methane_share


def scaled(span: Range, by: float) -> Range:
    """Return an estimate and its span times a positive number."""
    return Range(span.value * by, span.low * by, span.high * by)


def total_of(spans: Sequence[Range | None]) -> Range | None:
    """Add estimates; their errors go the same way (one blank, one scaling), so bounds add."""
    known = [span for span in spans if span is not None]
    if len(known) < len(spans):
        return None
    return Range(
        sum(span.value for span in known),
        sum(span.low for span in known),
        sum(span.high for span in known),
    )


def degraded_share(item: PreparedFeed, gas: FeedGas | None) -> float:
    """Return the share of the organic matter that is degraded in the tank, 0 to 1."""
    VS = item.holds.VS
    if item.theory is None or gas is None or gas.yield_NL_per_kg is None or not VS:
        return ASSUMED_DEGRADED_SHARE
    share = gas.yield_NL_per_kg / (VS / 1000) / item.theory.methane_NmL_per_gVS
    return min(1.0, max(0.0, share))
