"""The tank on one diet: gas, mixture, heat, storage, each beside its published ranges."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any, Final

from bmp.tank.ammonia import free_ammonia_N
from bmp.tank.diet import (
    lipid_share_of_COD,
    nitrogen_set_free_mg_per_L,
    total_per_d,
    water_to_add_kg_per_d,
)
from bmp.tank.feeds import PreparedFeed, degraded_share, feed_gas, scaled, total_of
from bmp.tank.gas_use import gas_mass_kg_per_d, hours_until_full, wet_litres_per_NL, what_gas_does
from bmp.tank.heat import METHANE_KWH_PER_NL, coldest_air_C, heat_need_kWh_per_d
from bmp.tank.inputs import TankSetup
from bmp.tank.ranges import check_range
from bmp.tank.result import FeedGas, Span, TankState
from bmp.tank.step import kind_of

ASSUMED_BURNER_EFFICIENCY: Final = 0.50
ASSUMED_AIR_C: Final = 20.0
ASSUMED_AMBIENT_KPA: Final = 101.325
# One mole of ammonium holds one of bicarbonate, counted as half a mole of CaCO3 (stoichiometry).
ALKALINITY_PER_AMMONIA_N: Final = 100.09 / 2 / 14.007


def state_of(
    setup: TankSetup,
    feeds: Sequence[PreparedFeed],
    amounts: Sequence[float],
    retention_d: float | None,
    UA: float | None,
    UA_words: str,
) -> TankState:
    """Return the tank on one diet; `ranges` stay empty until `with_ranges`.

    Parameters
    ----------
    setup, feeds
        The tank and its feeds.
    amounts
        Of each feed, kg/d. Shape as `feeds`.
    retention_d
        None where nothing is fed.
    UA, UA_words
        Heat conductance of the tank, W/K, and how it was found or what is missing.
    """
    total = sum(amounts)
    gas = [
        feed_gas(setup, feed, kg, retention_d)
        for feed, kg in zip(feeds, amounts, strict=True)
        if kg > 0 and not feed.is_water
    ]
    unknown: dict[str, str] = {}
    for row in gas:
        if row.methane_NL_per_d is None:
            unknown["methane_NL_per_d"] = row.why
    methane = total_of([row.methane_NL_per_d for row in gas])
    biogas = total_of([row.biogas_NL_per_d for row in gas])
    if setup.pH is None:
        unknown["free_ammonia_mgN_per_L"] = "no pH of the tank"
    if setup.storage_volume_L is None:
        unknown["storage_full_after_h"] = "no storage volume"
    mixture = _mixture(setup, feeds, amounts, gas, unknown)
    heat = _heat(setup, methane, total, UA, UA_words, unknown)
    return TankState(
        total_kg_per_d=total,
        retention_d=retention_d,
        methane_NL_per_d=methane,
        biogas_NL_per_d=biogas,
        by_material=tuple(gas),
        unknown=unknown,
        **mixture,
        **heat,
        **_outflow(setup, methane, biogas, total),
    )


def _outflow(
    setup: TankSetup, methane: Span | None, biogas: Span | None, total_kg: float
) -> dict[str, Any]:
    """Return what becomes of the gas in the bag, and the digestate."""
    if methane is None or biogas is None:
        return {
            "storage_full_after_h": None,
            "storage_full_soonest_h": None,
            "digestate_kg_per_d": None,
        }
    air = setup.mean_air_C
    litres = wet_litres_per_NL(
        ASSUMED_AIR_C if air is None else air, setup.ambient_kPa or ASSUMED_AMBIENT_KPA
    )
    bag = setup.storage_volume_L
    return {
        "storage_full_after_h": bag and hours_until_full(bag, biogas.value, litres),
        "storage_full_soonest_h": bag and hours_until_full(bag, biogas.high, litres),
        "digestate_kg_per_d": total_kg - gas_mass_kg_per_d(methane.value, biogas.value),
        "uses": what_gas_does(biogas.value, litres),
    }


def _mixture(
    setup: TankSetup,
    feeds: Sequence[PreparedFeed],
    amounts: Sequence[float],
    gas: Sequence[FeedGas],
    unknown: dict[str, str],
) -> dict[str, Any]:
    inside, total = [feed.holds for feed in feeds], sum(amounts)
    sums: dict[str, float | None] = {}
    for what in ("TS", "VS", "carbon", "nitrogen", "lipid"):
        sums[what], why = total_per_d(inside, amounts, what)
        if why:
            unknown[what] = why
    TS, VS, lipid = sums["TS"], sums["VS"], sums["lipid"]
    carbon, nitrogen = sums["carbon"], sums["nitrogen"]
    lipid_share = lipid / VS if lipid is not None and VS else None
    shares = {row.material: row for row in gas}
    degraded = [degraded_share(feed, shares.get(feed.feed.material.name)) for feed in feeds]
    ammonia = nitrogen_set_free_mg_per_L(inside, amounts, degraded)
    upper = nitrogen_set_free_mg_per_L(inside, amounts, [1.0] * len(feeds))
    return {
        "load_kgVS_per_m3_d": None if VS is None else VS / setup.liquid_volume_L,
        "TS_share": TS / 1000 / total if TS is not None and total > 0 else None,
        "C_to_N": carbon / nitrogen if carbon is not None and nitrogen else None,
        "lipid_share_of_VS": lipid_share,
        "lipid_share_of_COD": None if lipid_share is None else lipid_share_of_COD(lipid_share),
        "total_ammonia_N_mg_per_L": ammonia,
        "total_ammonia_N_upper_mg_per_L": upper,
        "free_ammonia_mgN_per_L": _free(setup, ammonia),
        "water_to_add_kg_per_d": None if TS is None else water_to_add_kg_per_d(TS, total),
        "digestate_N_g_per_d": nitrogen,
    }


def _free(setup: TankSetup, total: float | None) -> float | None:
    if total is None or setup.pH is None:
        return None
    return free_ammonia_N(total, setup.pH, setup.temperature_C)


def _heat(
    setup: TankSetup,
    methane: Span | None,
    total_kg: float,
    UA: float | None,
    UA_words: str,
    unknown: dict[str, str],
) -> dict[str, Any]:
    found: dict[str, Any] = dict.fromkeys(
        (
            "heat_need_kWh_per_d",
            "heat_loss_kWh_per_d",
            "feed_warming_kWh_per_d",
            "heat_share_from_gas",
            "own_flame_down_to_C",
        )
    )
    gas = None if methane is None else scaled(methane, METHANE_KWH_PER_NL)
    found["gas_kWh_per_d"] = gas
    useful = None if gas is None else scaled(gas, burner_efficiency(setup))
    if UA is None:
        unknown["heat_need_kWh_per_d"] = UA_words
        return found
    if useful is not None:
        ends = [
            coldest_air_C(setup, UA, total_kg, heat)
            for heat in (useful.value, useful.high, useful.low)
        ]
        found["own_flame_down_to_C"] = Span(*ends)
    air = setup.mean_air_C
    if air is None:
        unknown["heat_need_kWh_per_d"] = "no air temperature"
        return found
    loss, feed = heat_need_kWh_per_d(setup, UA, total_kg, air)
    found |= {
        "heat_need_kWh_per_d": loss + feed,
        "heat_loss_kWh_per_d": loss,
        "feed_warming_kWh_per_d": feed,
    }
    if useful is not None and loss + feed > 0:
        found["heat_share_from_gas"] = scaled(useful, 1 / (loss + feed))
    return found


def burner_efficiency(setup: TankSetup) -> float:
    """Return the burner's efficiency, as given or assumed."""
    given = setup.burner_efficiency
    return ASSUMED_BURNER_EFFICIENCY if given is None else given


def with_measured_ammonia(
    setup: TankSetup, today: TankState, planned: TankState
) -> tuple[TankState, TankState]:
    """Return both states with the total ammonia measured in the tank, where there is one.

    The planned diet keeps the difference between the measured and today's computed figure.
    """
    measured = setup.total_ammonia_N_mg_per_L
    if measured is None:
        return today, planned
    computed, after = today.total_ammonia_N_mg_per_L, planned.total_ammonia_N_mg_per_L
    upper, later = today.total_ammonia_N_upper_mg_per_L, planned.total_ammonia_N_upper_mg_per_L
    planned_total = None
    if computed is not None and after is not None:
        planned_total = max(0.0, measured + after - computed)
    if upper is not None and later is not None:
        later = max(0.0, measured + later - (computed or upper))
    return (
        _with_ammonia(setup, today, measured, upper),
        _with_ammonia(setup, planned, planned_total, later),
    )


def _with_ammonia(
    setup: TankSetup, state: TankState, total: float | None, upper: float | None
) -> TankState:
    return replace(
        state,
        total_ammonia_N_mg_per_L=total,
        total_ammonia_N_upper_mg_per_L=upper,
        free_ammonia_mgN_per_L=_free(setup, total),
    )


def with_alkalinity(
    setup: TankSetup, today: TankState, planned: TankState
) -> tuple[TankState, TankState]:
    """Return both states with their alkalinity, g CaCO3/L.

    Measured: the planned diet changes it with its ammonia. Else what the ammonia alone holds, the
    salts of the feeds left out.
    """
    now, then = (
        None if total is None else ALKALINITY_PER_AMMONIA_N * total / 1000
        for total in (today.total_ammonia_N_mg_per_L, planned.total_ammonia_N_mg_per_L)
    )
    measured = setup.alkalinity_g_per_L
    if measured is not None:
        then = None if now is None or then is None else max(0.0, measured + then - now)
        now = measured
    return replace(today, alkalinity_g_per_L=now), replace(planned, alkalinity_g_per_L=then)


def with_ranges(setup: TankSetup, state: TankState) -> TankState:
    """Return a state with each of its quantities beside the published ranges."""
    measured = setup.alkalinity_g_per_L is not None
    acids = None
    if measured and setup.alkalinity_g_per_L and setup.volatile_acids_g_per_L is not None:
        acids = setup.volatile_acids_g_per_L / setup.alkalinity_g_per_L
    values = {
        "temperature of the tank": setup.temperature_C,
        "organic load": state.load_kgVS_per_m3_d,
        "retention": state.retention_d,
        "C:N": state.C_to_N,
        "total ammonia N": state.total_ammonia_N_mg_per_L,
        "free ammonia N": state.free_ammonia_mgN_per_L,
        "alkalinity" if measured else "alkalinity from ammonia": state.alkalinity_g_per_L,
        "volatile acids over alkalinity": acids,
        "lipid share of COD": _percent(state.lipid_share_of_COD),
        "TS of the mixture": _percent(state.TS_share),
        "pH": setup.pH,
    }
    checks = [
        check_range(name, value, setup.temperature_C, kind_of(setup))
        for name, value in values.items()
        if value is not None
    ]
    return replace(state, ranges=tuple(checks))


def _percent(share: float | None) -> float | None:
    return None if share is None else 100.0 * share
