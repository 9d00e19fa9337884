"""What is said about the tank. `TankResult.to_dict()` is the `tank` of `results.json`.

Every number here is an estimate. What cannot be known is None, and `unknown` says why.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass
from typing import Any


@dataclass(frozen=True)
class Span:
    """An estimate and the span it may well lie in."""

    value: float
    low: float
    high: float

    def to_dict(self) -> dict[str, float]:
        """Return value, low and high."""
        return {"value": self.value, "low": self.low, "high": self.high}


@dataclass(frozen=True)
class FeedGas:
    """What one material brings to the tank in one state."""

    material: str
    amount_kg_per_d: float
    VS_kg_per_d: float | None
    yield_NL_per_kg: float | None
    """Methane in this tank per kg of fresh feed."""
    share_of_jar_yield: float | None
    """Yield in this tank over the last value of the jar curve."""
    yield_by_model_NL_per_kg: float | None
    """The same from the chosen model, which runs on after the trial's end."""
    methane_NL_per_d: Span | None
    trial_interval_NL_per_d: tuple[float, float] | None
    """The 95 % interval of the trial alone, carried."""
    biogas_NL_per_d: Span | None
    methane_share: float | None
    share_by_retention: float | None = None
    """What retention and temperature alone leave of the jar's yield; the step from jar to tank
    takes the rest."""
    why: str = ""
    """Why there is no gas figure."""


@dataclass(frozen=True)
class RangeCheck:
    """One quantity beside every published range for it."""

    quantity: str
    value: float
    unit: str
    ranges: tuple[Mapping[str, Any], ...]
    """Each with low, high, meaning, source, and whether the value lies inside."""
    outcome: str
    """`inside`, `care` or `stop`, by the most cautious of the ranges that hold for this tank."""


@dataclass(frozen=True)
class Danger:
    """Why the diet must not be changed as planned, and what to do first."""

    what: str
    do: str


@dataclass(frozen=True)
class TankState:
    """The tank on one diet: today's or the planned one."""

    total_kg_per_d: float
    retention_d: float | None
    methane_NL_per_d: Span | None
    biogas_NL_per_d: Span | None
    by_material: tuple[FeedGas, ...]
    load_kgVS_per_m3_d: float | None
    TS_share: float | None
    C_to_N: float | None
    lipid_share_of_VS: float | None
    lipid_share_of_COD: float | None
    total_ammonia_N_mg_per_L: float | None
    total_ammonia_N_upper_mg_per_L: float | None
    """Were all nitrogen set free: the upper limit by mass balance."""
    free_ammonia_mgN_per_L: float | None
    water_to_add_kg_per_d: float | None
    gas_kWh_per_d: Span | None
    heat_need_kWh_per_d: float | None
    heat_loss_kWh_per_d: float | None
    feed_warming_kWh_per_d: float | None
    heat_share_from_gas: Span | None
    own_flame_down_to_C: Span | None
    """Air temperature below which the gas no longer keeps the tank warm."""
    storage_full_after_h: float | None
    storage_full_soonest_h: float | None
    """At the upper end of the gas estimate."""
    digestate_kg_per_d: float | None
    digestate_N_g_per_d: float | None
    alkalinity_g_per_L: float | None = None
    """As CaCO3: measured today and changed with the ammonia, else what the ammonia holds."""
    uses: tuple[Mapping[str, Any], ...] = ()
    """What all the gas would do, either or: use, low, high, unit, source."""
    ranges: tuple[RangeCheck, ...] = ()
    unknown: Mapping[str, str] | None = None

    def to_dict(self) -> dict[str, Any]:
        """Return the plain dictionary; `heat_share_from_gas` is the bare estimate."""
        plain = asdict(self)
        share = self.heat_share_from_gas
        plain["heat_share_from_gas"] = None if share is None else share.value
        plain["heat_share_from_gas_range"] = None if share is None else share.to_dict()
        gas = self.gas_kWh_per_d
        plain["gas_kWh_per_d"] = None if gas is None else gas.value
        plain["gas_kWh_per_d_range"] = None if gas is None else gas.to_dict()
        return {key: _lists(value) for key, value in plain.items()}


@dataclass(frozen=True)
class RampWeek:
    """One week of the way from today's diet to the planned one."""

    week: int
    share_of_change: float
    amounts_kg_per_d: Mapping[str, float]
    load_kgVS_per_m3_d: float | None
    expected_methane_NL_per_d: float | None
    """At the end of that week, from the simulated tank."""
    expected_times_today: float | None
    """Expected over today's expected gas: what the meter should show, times today's reading."""


@dataclass(frozen=True)
class HeatMonth:
    """One month of the heat picture."""

    month: str
    air_temperature_C: float
    need_today_kWh_per_d: float
    need_planned_kWh_per_d: float
    useful_gas_today_kWh_per_d: Span | None
    """After the burner's efficiency."""
    useful_gas_planned_kWh_per_d: Span | None


@dataclass(frozen=True)
class ColderTank:
    """The planned diet in a tank held at one temperature."""

    temperature_C: float
    methane_NL_per_d: Span


@dataclass(frozen=True)
class TankResult:
    """The whole answer."""

    today: TankState
    planned: TankState
    ramp: tuple[RampWeek, ...]
    ramp_words: str
    stop_signs: tuple[Mapping[str, str], ...]
    effect_after_d: Mapping[str, float] | None
    """Days until 63 % and 95 % of a change show, and until it can be judged."""
    months: tuple[HeatMonth, ...]
    temperature_factor: Span | None
    colder_tank: tuple[ColderTank, ...]
    """Methane of the planned diet in the tank as it is, then in colder ones."""
    degradability: Mapping[str, Mapping[str, Any]]
    carbon_to_nitrogen: str
    """The plan's C:N in parts of carbon-rich feed to one of nitrogen-rich feed."""
    dangers: tuple[Danger, ...]
    """Why there is no ramp, and what to do first; empty: nothing known speaks against it."""
    not_known: Mapping[str, str]
    """What could not be judged of the planned diet, and what to measure."""
    headline: str
    """Danger, gas and care in a line or two; `verdict` says more."""
    verdict: str
    cautions: tuple[str, ...]
    assumed: tuple[str, ...]

    def to_dict(self) -> dict[str, Any]:
        """Return the `tank` of `results.json`."""
        plain = {**asdict(self), "estimate": True}
        plain["today"], plain["planned"] = self.today.to_dict(), self.planned.to_dict()
        return {key: _lists(value) for key, value in plain.items()}


def _lists(value: Any) -> Any:
    if isinstance(value, Mapping):
        return {key: _lists(item) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [_lists(item) for item in value]
    return value
