"""Physics that moves a yield by more than 1 or 2 % and that only the user can tell."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Final

import numpy as np

from bmp.constants import ZERO_CELSIUS_K
from bmp.finding import Finding
from bmp.net import MaterialYield
from bmp.normalise import JarGas
from bmp.normalise.flow import gas_is_kept
from bmp.published_errors import published_error
from bmp.trial import FloatArray, Trial

# A bottle that was read this much colder than it stands is asked about (judgement).
ASKED_FROM_K: Final = 5.0
# Methane that a volume of oxygen costs: CH4 + 2 O2 (stoichiometry).
METHANE_PER_OXYGEN: Final = 0.5
# Less than this share of a yield is not told.
SMALLEST_TOLD_PERCENT: Final = 1.0


def condition_findings(
    trial: Trial, gas: JarGas, yields: Sequence[MaterialYield]
) -> tuple[Finding, ...]:
    """Return what to ask about temperature of bottles, barrier liquid and oxygen."""
    return (
        *_room_temperature(trial),
        *_barrier(trial, gas),
        *_oxygen(trial, gas, yields),
    )


def typed_colder_K(trial: Trial) -> float:
    """Return by how much pressures of bottles were typed with a temperature below the incubation.

    The median over the readings that carry one; 0 without any.
    """
    pressed = np.array([jar.measured == "pressure" for jar in trial.jars], dtype=bool)
    typed = trial.readings.column("temperature_C")[pressed[trial.readings.jar]]
    typed = typed[np.isfinite(typed)]
    return float(trial.setup.incubation_temperature_C - np.median(typed)) if typed.size else 0.0


def _room_temperature(trial: Trial) -> Iterator[Finding]:
    colder = typed_colder_K(trial)
    if colder <= ASKED_FROM_K:
        return
    warm = trial.setup.incubation_temperature_C
    # gas is told by differences of pressure, in which the vapour cancels
    more = 100.0 * colder / (warm - colder + ZERO_CELSIUS_K)
    yield Finding(
        check="temperature of closed bottles",
        outcome="caution",
        value=float(f"{colder:.3g}"),
        limit=f"at most {ASKED_FROM_K:g} K below the incubation",
        source="ideal gas law",
        meaning=(
            f"The bottles are kept at {warm:.0f} °C, but the pressures were typed with about "
            f"{warm - colder:.0f} °C. If that is the room, all yields are about {more:.0f} % too "
            "high."
        ),
        advice=(
            "Had the bottles cooled down before you read the pressure? If not, leave the "
            "temperature empty."
        ),
    )


def _barrier(trial: Trial, gas: JarGas) -> Iterator[Finding]:
    """Ask over what gas was collected, and say what water takes up."""
    liquid = trial.setup.barrier_liquid
    over_liquid = [jar.measured == "volume" for jar in trial.jars]
    if liquid == "none" or not any(over_liquid):
        return
    head = trial.readings.column("water_head_cm")
    if (
        liquid is None
        and np.isnan(head).all()
        and not gas_is_kept(trial.readings, trial.setup).any()
    ):
        return
    assumed = "assumed" in gas.share_from
    error = published_error(liquid or "water")
    size = f"{error.low:g} to {error.high:g} %"
    what = (
        f"Gas was collected over {liquid}."
        if liquid
        else "Gas was collected over a liquid that is not named."
    )
    effect = (
        f"{(liquid or 'plain water').capitalize()} takes up {size} of the gas, nearly all of it "
        "carbon dioxide. "
    )
    effect += (
        "The methane share is assumed here, so methane reads low by as much."
        if assumed
        else "Methane itself loses 2 % at most where its share was measured in the same gas."
    )
    yield Finding(
        check="barrier liquid",
        outcome="caution" if assumed or liquid is None else "pass",
        value=liquid or "not given",
        limit="salt water, or a share measured in the collected gas",
        source=error.source,
        meaning=f"{what} {effect}",
        advice=(
            "Write in the table trial: barrier liquid, and water, acid water, salt water or none. "
            "Use saturated salt water with some acid, or measure the share in the same gas."
        ),
    )


def _oxygen(trial: Trial, gas: JarGas, yields: Sequence[MaterialYield]) -> Iterator[Finding]:
    """Say how much methane the air under the lid cost, beside what the blank's air cost."""
    share = trial.setup.flush_gas.get("O2", 0.0)
    if share <= 0.0:
        return
    closing = np.full(len(trial.jars), np.nan)
    closing[gas.jar] = gas.state.at_closing_NmL
    lost = METHANE_PER_OXYGEN * share * closing
    worst = max(
        (found for one in yields if (found := _oxygen_percent(one, trial, lost))),
        key=lambda found: abs(found[0]),
        default=None,
    )
    if worst is None or abs(worst[0]) < SMALLEST_TOLD_PERCENT:
        return
    percent, series, methane = worst
    way = "low" if percent > 0 else "high"
    yield Finding(
        check="oxygen under the lid",
        outcome="caution",
        value=float(f"{percent:.2g}"),
        limit=f"at most {SMALLEST_TOLD_PERCENT:g} % of a yield",
        source="stoichiometry: two volumes of oxygen use up one of methane",
        meaning=(
            f"Nothing was flushed out. The air under a lid of {series} used up to "
            f"{methane:.0f} NmL of methane. The blanks lost another amount, so the yield may be "
            f"{abs(percent):.0f} % too {way}."
        ),
        advice="Flush all jars, or give blanks and feeds the same headspace and inoculum.",
        where=series,
    )


def _oxygen_percent(
    one: MaterialYield,
    trial: Trial,
    lost_NmL: FloatArray,
) -> tuple[float, str, float] | None:
    """Return what of a yield air cost more than in the blanks, in percent, and per jar."""
    jars = list(one.jars)
    inoculum = trial.jars[jars[0]].inoculum
    own = [
        j
        for j, jar in enumerate(trial.jars)
        if jar.role == "blank" and jar.inoculum == inoculum and jar.counted
    ]
    material = trial.material(one.material)
    counted = {"VS": material.VS, "TS": material.TS, "fresh": 1.0}[one.per]
    if one.value <= 0 or not counted or not np.isfinite(lost_NmL[jars]).all():
        return None
    per_g = 0.0
    if own:
        inoculum_g = np.array([trial.jars[j].inoculum_g for j in own])
        per_g = float(np.mean(lost_NmL[own] / inoculum_g))
    if not np.isfinite(per_g):
        return None
    mass = counted * np.array([trial.jars[j].sample_g for j in jars])
    held = np.array([trial.jars[j].inoculum_g for j in jars])
    cost = float(np.mean((lost_NmL[jars] - per_g * held) / mass))
    return 100.0 * cost / one.value, one.series, float(lost_NmL[jars].max())
