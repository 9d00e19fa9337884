"""Carry the jars' curves to the main tank: where the parts of this package meet."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any, Final

from bmp.tank.dangers import dangers_of
from bmp.tank.diet import parts_of_carbon_to_nitrogen
from bmp.tank.feeds import (
    ASSUMED_DEGRADED_SHARE,
    ASSUMED_METHANE_SHARE,
    PreparedFeed,
    feed_gas,
    prepare,
    scaled,
    total_of,
)
from bmp.tank.gaps import not_known
from bmp.tank.heat import heat_need_kWh_per_d
from bmp.tank.heat import tank_conductance_W_per_K as conductance
from bmp.tank.inputs import FeedYield, TankFeed, TankSetup
from bmp.tank.ramp import STOP_SIGNS, RampFeed, days_until_effect, ramp
from bmp.tank.result import ColderTank, HeatMonth, RampWeek, TankResult, TankState
from bmp.tank.state import (
    ASSUMED_AIR_C,
    ASSUMED_AMBIENT_KPA,
    ASSUMED_BURNER_EFFICIENCY,
    burner_efficiency,
    state_of,
    with_alkalinity,
    with_measured_ammonia,
    with_ranges,
)
from bmp.tank.step import kind_of
from bmp.tank.verdict import cautions_of, headline_of, ramp_words, verdict_of
from bmp.theory import degradability
from bmp.trial import MONTHS

_KINDS: Final = {
    "heated": "heated, by its temperature and that of the air",
    "unheated": "not heated, by its temperature and that of the air",
    "not given": "heated or not: not given, so the span holds both",
}
# Colder tanks that the answer shows beside the one there is, K; below 10 °C hardly any gas forms.
COLDER_BY_K: Final = (0.0, 5.0, 10.0, 15.0)
COLDEST_SHOWN_C: Final = 10.0


def carry_to_tank(
    setup: TankSetup, feeds: Sequence[TankFeed], yields: Sequence[FeedYield]
) -> TankResult:
    """Return what the tank is expected to do on today's and on the planned diet.

    Parameters
    ----------
    setup
        The tank.
    feeds
        Daily amounts; a material of role `water` gives nothing.
    yields
        The jar curves, by material name.

    Raises
    ------
    ValueError
        For a formula or composition of a feed that `bmp.theory` refuses.
    """
    known = {curve.material: curve for curve in yields}
    prepared = [prepare(setup, feed, known.get(feed.material.name)) for feed in feeds]
    today_kg = [feed.amount_today_kg_per_d for feed in feeds]
    planned_kg = [feed.amount_planned_kg_per_d for feed in feeds]
    stay_today, stay_planned = _retentions(setup, sum(today_kg), sum(planned_kg))
    UA, UA_words = conductance(setup, sum(today_kg))
    today = state_of(setup, prepared, today_kg, stay_today, UA, UA_words)
    planned = state_of(setup, prepared, planned_kg, stay_planned, UA, UA_words)
    today, planned = with_measured_ammonia(setup, today, planned)
    today, planned = with_alkalinity(setup, today, planned)
    today, planned = with_ranges(setup, today), with_ranges(setup, planned)
    dangers = dangers_of(setup, today, planned, prepared)
    gaps = not_known(setup, planned, prepared, planned_kg)
    weeks: tuple[RampWeek, ...] = ()
    if not dangers:
        weeks = ramp(setup, [_ramp_feed(feed) for feed in prepared], stay_today, stay_planned)
    grounds = _grounds(prepared, planned_kg)
    judged = _degradabilities(prepared)
    factor = next((feed.factor for feed in prepared if feed.curve is not None), None)
    assumed = _assumed(setup, prepared, UA, UA_words)
    return TankResult(
        today=today,
        planned=planned,
        ramp=weeks,
        ramp_words=ramp_words(setup, weeks, stay_planned, dangers),
        stop_signs=STOP_SIGNS,
        effect_after_d=None
        if stay_planned is None
        else days_until_effect(stay_planned, setup.mixing),
        months=_months(setup, today, planned, UA),
        temperature_factor=factor,
        colder_tank=_colder_tank(setup, feeds, known, stay_planned),
        degradability=judged,
        carbon_to_nitrogen=parts_of_carbon_to_nitrogen([f.holds for f in prepared], planned_kg),
        dangers=dangers,
        not_known=gaps,
        headline=headline_of(today, planned, dangers, gaps, grounds),
        verdict=verdict_of(setup, today, planned, weeks, dangers, gaps, grounds),
        cautions=cautions_of(setup, [f.curve for f in prepared], today, planned, judged),
        assumed=assumed,
    )


def _grounds(feeds: Sequence[PreparedFeed], amounts: Sequence[float]) -> tuple[str, ...]:
    """Return what a reader must know of the yields that the planned gas stands on, once each."""
    said = [
        words
        for feed, kg in zip(feeds, amounts, strict=True)
        if kg > 0 and feed.curve is not None
        for words in feed.curve.grounds.words
    ]
    return tuple(dict.fromkeys(said))


def _retentions(
    setup: TankSetup, today_kg: float, planned_kg: float
) -> tuple[float | None, float | None]:
    """Return today's and the planned retention, d. A given one holds for today's diet."""
    volume = setup.liquid_volume_L
    if setup.retention_d is None:
        return (
            volume / today_kg if today_kg > 0 else None,
            volume / planned_kg if planned_kg > 0 else None,
        )
    if today_kg <= 0:
        return None, setup.retention_d
    planned_d = setup.retention_d * today_kg / planned_kg if planned_kg > 0 else None
    return setup.retention_d, planned_d


def _colder_tank(
    setup: TankSetup,
    feeds: Sequence[TankFeed],
    known: Mapping[str, FeedYield],
    retention_d: float | None,
) -> tuple[ColderTank, ...]:
    """Return the planned diet's methane in the tank as it is and in colder ones."""
    found = []
    for colder in COLDER_BY_K:
        at = replace(setup, temperature_C=setup.temperature_C - colder)
        rows = [
            feed_gas(at, prepare(at, feed, known.get(feed.material.name)), kg, retention_d)
            for feed in feeds
            if (kg := feed.amount_planned_kg_per_d) > 0 and feed.material.role != "water"
        ]
        methane = total_of([row.methane_NL_per_d for row in rows])
        if methane is None or at.temperature_C < COLDEST_SHOWN_C:
            break
        found.append(ColderTank(at.temperature_C, methane))
    return tuple(found)


def _ramp_feed(item: PreparedFeed) -> RampFeed:
    curve, per_kg = item.curve, item.per_kg
    known = curve is not None and per_kg is not None
    return RampFeed(
        name=item.feed.material.name,
        today_kg_per_d=item.feed.amount_today_kg_per_d,
        planned_kg_per_d=item.feed.amount_planned_kg_per_d,
        VS_g_per_kg=item.holds.VS,
        time_d=curve.time_d if curve is not None and known else None,
        net_NL_per_kg=curve.net_NmL_per_g * per_kg if curve is not None and per_kg else None,
        gives_no_gas=item.is_water,
        factor=item.factor.value,
        step=item.step.value,
    )


def _degradabilities(feeds: Sequence[PreparedFeed]) -> dict[str, dict[str, Any]]:
    """Return measured over theoretical yield of each feed that has both."""
    found = {}
    for item in feeds:
        curve, VS = item.curve, item.holds.VS
        if curve is None or item.per_kg is None or item.theory is None or not VS:
            continue
        per_VS = item.per_kg * 1000 / VS
        interval = curve.final_ci95_NmL_per_g
        scaled_interval = None if interval is None else (interval[0] * per_VS, interval[1] * per_VS)
        judged = degradability(
            float(curve.net_NmL_per_g[-1]) * per_VS, scaled_interval, item.theory
        )
        theory = item.theory.to_dict()
        found[item.feed.material.name] = {**judged.to_dict(), "theoretical": theory}
    return found


def _months(
    setup: TankSetup, today: TankState, planned: TankState, UA: float | None
) -> tuple[HeatMonth, ...]:
    """Return the heat picture month by month; empty without twelve temperatures or a loss."""
    if UA is None or not setup.air_temperatures_by_month_C:
        return ()
    burner = burner_efficiency(setup)
    useful = [
        None if state.gas_kWh_per_d is None else scaled(state.gas_kWh_per_d, burner)
        for state in (today, planned)
    ]

    def need(state: TankState, air: float) -> float:
        return sum(heat_need_kWh_per_d(setup, UA or 0.0, state.total_kg_per_d, air))

    return tuple(
        HeatMonth(month, air, need(today, air), need(planned, air), useful[0], useful[1])
        for month, air in zip(MONTHS, setup.air_temperatures_by_month_C, strict=True)
    )


def _assumed(
    setup: TankSetup, feeds: Sequence[PreparedFeed], UA: float | None, UA_words: str
) -> tuple[str, ...]:
    said = [words for feed in feeds for words in feed.holds.assumed]
    said.append("the feeds and the digestate weigh 1 kg/L")
    if setup.methane_share is None and any(
        feed.curve is not None and feed.curve.methane_share is None for feed in feeds
    ):
        said.append(f"methane in the gas: {100 * ASSUMED_METHANE_SHARE:.0f} %")
    if any(feed.theory is None and not feed.is_water for feed in feeds):
        said.append(
            f"of feeds with no theoretical yield {100 * ASSUMED_DEGRADED_SHARE:.0f} % of the "
            "organic nitrogen is set free"
        )
    if setup.heating is None:
        said.append(f"the tank is {_KINDS[kind_of(setup)]}")
    if setup.burner_efficiency is None:
        said.append(f"burner efficiency: {100 * ASSUMED_BURNER_EFFICIENCY:.0f} %")
    if UA is not None:
        said.append(f"heat loss from {UA_words}: {UA:.2g} W/K; the microbes' own heat is left out")
    if setup.feed_temperature_C is None:
        said.append("the feed comes as cold as the air, never below 0 °C")
    air = setup.mean_air_C
    if air is None:
        said.append(f"gas in the bag at {ASSUMED_AIR_C:.0f} °C")
    elif setup.air_temperature_C is None:
        said.append(f"air temperature: the mean of the twelve months, {air:.1f} °C")
    if setup.ambient_kPa is None:
        said.append(f"air pressure: {ASSUMED_AMBIENT_KPA} kPa")
    return tuple(dict.fromkeys(said))
