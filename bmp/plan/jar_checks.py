"""Which drafted jars are impossible: too little in them, too full, or too much gas."""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Callable

from bmp.plan.dosing import ADVISED_SUBSTRATE_VS_G, D304, LEAST_HEADSPACE_ML_PER_G_VS
from bmp.plan.draft import Draft, least_factor, sample_VS_g
from bmp.plan.gas import warming_kPa
from bmp.plan.plan_request import MaterialRequest
from bmp.plan.reading_rounds import (
    bearable_factor,
    calendar,
    limit,
    plan_rounds,
    shortest_gap_d,
    worst_burden,
)
from bmp.plan.refusal import Refusal
from bmp.plan.request_checks import most_fill

# A sample of fewer steps of the scale is not weighed but guessed. Common practice, no source.
LEAST_STEPS = 3
SCALES_G = (1.0, 0.1, 0.01)
# What rounded doses and proposals may move: a proposal stays that far above the least amounts.
ROUNDING = 1.01


def fits(draft: Draft) -> Refusal | None:
    """Refuse a VS per jar that needs more than the wished or the largest filling."""
    request = draft.request
    VS = request.substrate_VS_g
    if VS is None:
        return None
    room = (most_fill(request) if request.fill is None else request.fill) * request.jar_volume_mL
    needed = draft.inoculum_g * (1 + _wettest(draft))
    if needed <= room * (1 + 1e-9):
        return None
    why = (
        f"{VS:g} g in each jar needs {needed:.0f} g of inoculum and feed; "
        f"{room:.0f} mL of the jar may be filled"
    )
    most = most_fill(request)
    if request.fill is not None and request.fill < most:
        fill = min(_up(needed / request.jar_volume_mL), most)
        return Refusal("fill", why, f"fill of {100 * fill:g} %", {"fill": fill})
    possible = _down(VS * room / needed)
    if possible / VS >= least_factor(draft)[0] * ROUNDING:
        return Refusal("substrate VS", why, f"{possible:g} g", {"substrate_VS_g": possible})
    volume = math.ceil(request.jar_volume_mL * needed / room)
    return Refusal("substrate VS", why, f"jars of {volume} mL", {"jar_volume_mL": float(volume)})


def _wettest(draft: Draft) -> float:
    """Return the most grams of feed per gram of inoculum of any sample."""
    return max(draft.inoculum_solids.VS / (s.ratio * s.solids.VS) for s in draft.samples)


def _enough_feed_in_a_jar(draft: Draft) -> Refusal | None:
    """Refuse less than 1 g of VS, or less fresh feed than a fair sample needs."""
    request = draft.request
    worst, name, why = least_factor(draft)
    if worst <= 1 + 1e-9:
        return None
    item = f"amount of {name}"
    if request.substrate_VS_g is not None:
        VS = _up(request.substrate_VS_g * worst)
        return Refusal(item, why, f"substrate VS of {VS:g} g", {"substrate_VS_g": VS})
    has = draft.liquid_mL / request.jar_volume_mL
    fill = min(_up(has * worst), _roomiest_fill(draft))
    if request.fill is not None and fill >= has + 0.001:
        return Refusal(item, why, f"fill of {100 * fill:g} %", {"fill": fill})
    volume = float(math.ceil(request.jar_volume_mL * worst))
    return Refusal(item, why, f"jars of {volume:.0f} mL", {"jar_volume_mL": volume})


def _headspace_per_VS(draft: Draft) -> float:
    """Return mL of headspace per g VS of the jar that holds most VS."""
    return (draft.request.jar_volume_mL - draft.liquid_mL) / max(sample_VS_g(draft))


def _headspace_factor(draft: Draft) -> float:
    """Return how many times as much leaves the least headspace per g VS.

    The headspace V - m w of a VS m at w mL per g falls until V/m - w = 100 mL/g.
    """
    if draft.level_is_fixed:
        return _headspace_per_VS(draft) / LEAST_HEADSPACE_ML_PER_G_VS
    VS = max(sample_VS_g(draft))
    per_VS = draft.liquid_mL / VS
    return draft.request.jar_volume_mL / (LEAST_HEADSPACE_ML_PER_G_VS + per_VS) / VS


def _roomiest_fill(draft: Draft) -> float:
    """Return the largest filling that the rules of the outlet allow this mixture."""
    request, most = draft.request, most_fill(draft.request)
    if request.outlet == "closed":
        allowed = _headspace_factor(draft) * draft.liquid_mL / request.jar_volume_mL
        most = min(most, _down(allowed))
    return most


def _enough_headspace(draft: Draft) -> Refusal | None:
    """Refuse closed jars with less than 100 mL of headspace per g of VS."""
    request = draft.request
    has = _headspace_per_VS(draft)
    if request.outlet != "closed" or has >= LEAST_HEADSPACE_ML_PER_G_VS * (1 - 1e-9):
        return None
    why = f"{has:.0f} mL of headspace per g VS, at least {LEAST_HEADSPACE_ML_PER_G_VS:g} ({D304})"
    return _less(draft, _headspace_factor(draft), "headspace", why)


def _less(draft: Draft, factor: float, item: str, why: str) -> Refusal:
    """Refuse, and propose `factor` times as much in every jar, or a larger jar for the least."""
    request = draft.request
    if factor < least_factor(draft)[0] * ROUNDING:
        volume = float(math.ceil(request.jar_volume_mL / factor))
        return Refusal(item, why, f"jars of {volume:.0f} mL", {"jar_volume_mL": volume})
    if request.substrate_VS_g is not None:
        VS = _down(request.substrate_VS_g * factor)
        return Refusal(item, why, f"substrate VS of {VS:g} g", {"substrate_VS_g": VS})
    fill = _down(draft.liquid_mL / request.jar_volume_mL * factor)
    return Refusal(item, why, f"fill of {100 * fill:g} %", {"fill": fill})


def needed_g(draft: Draft) -> dict[str, float]:
    """Return the fresh mass of every material that all jars together take."""
    total: dict[str, float] = {draft.inoculum.material.name: 0.0}
    for one, count in zip(draft.doses, draft.counts, strict=True):
        total[draft.inoculum.material.name] += one.inoculum_g * count
        if one.role != "blank":
            total[one.material] = total.get(one.material, 0.0) + one.sample_g * count
    return total


def _enough_at_hand(draft: Draft) -> Refusal | None:
    """Refuse jars that together take more inoculum or feed than is at hand."""
    short: list[tuple[float, MaterialRequest, float]] = []
    wanted = needed_g(draft)
    for asked in (draft.inoculum, *(s.asked for s in draft.samples)):
        need = wanted[asked.material.name]
        if asked.available_g is not None and asked.available_g < need:
            short.append((asked.available_g / need, asked, need))
    if not short:
        return None
    factor, asked, need = min(short, key=lambda s: s[0])
    item = f"available {asked.material.name}"
    why = f"{asked.available_g:g} g at hand, all jars together take {need:.0f} g"
    # A little less than the share, because doses are rounded to what a scale shows.
    factor *= 0.995
    if factor >= least_factor(draft, ADVISED_SUBSTRATE_VS_G)[0] * ROUNDING:
        return _less(draft, factor, item, why)
    fetched = float(math.ceil(need * 1.01))
    materials = tuple(
        dataclasses.replace(w, available_g=fetched) if w is asked else w
        for w in draft.request.materials
    )
    return Refusal(item, why, f"fetch {fetched:.0f} g", {"materials": materials})


def _weighable(draft: Draft) -> Refusal | None:
    """Refuse samples that the scale cannot tell from nothing.

    A control that nobody asked for is rather left out.
    """
    step = draft.request.scale_g
    fed_VS_g = draft.inoculum_g * draft.inoculum_solids.VS
    fed = [(fed_VS_g / (s.ratio * s.solids.VS), s) for s in draft.samples]
    short = [(mass, s) for mass, s in fed if mass < LEAST_STEPS * step]
    if not short:
        return None
    least, sample = min(short, key=lambda one: one[0])
    why = f"{least:.2g} g of {sample.name} would be weighed on a scale that shows {step:.4g} g"
    finer = next((s for s in SCALES_G if s < step and least >= LEAST_STEPS * s), 0.001)
    words = f"a scale that shows {finer:g} g"
    if draft.request.control is None and all(s.role == "control" for _, s in short):
        return Refusal("scale", why, f"{words}, or no control", {"control": False})
    return Refusal("scale", why, words, {"scale_g": finer})


DRAFT_CHECKS: tuple[Callable[[Draft], Refusal | None], ...] = (
    _enough_feed_in_a_jar,
    _enough_headspace,
    _enough_at_hand,
    _weighable,
)


def bears_its_gas(draft: Draft) -> Refusal | None:
    """Refuse jars that pass their pressure or run their collector over in the shortest step."""
    bound = limit(draft)
    if bound is None or plan_rounds(draft) is not None:
        return None
    request = draft.request
    step = shortest_gap_d(draft)
    load = worst_burden(draft, 0.0, step)
    hours = 24 * step
    if request.outlet == "open":
        most = worst_burden(draft, 0.0, calendar(draft).longest_gap_d(1))
        size = float(math.ceil(most / 100) * 100)
        why = f"{bound:g} mL run over within {hours:.0f} h: up to {load:.0f} mL may come"
        return Refusal("collector", why, f"{size:.0f} mL, read daily", {"collector_mL": size})
    why = (
        f"up to {load:.0f} kPa may gather within {hours:.0f} h; a rating of "
        f"{request.vessel_rating_kPa:g} kPa is planned to {bound:.0f} kPa at most"
    )
    factor = 0.995 * bearable_factor(draft, step)
    if factor >= least_factor(draft)[0] * ROUNDING:
        return _less(draft, factor, "vessel rating", why)
    larger = _larger_jar(draft, bound)
    if larger is not None:
        words = f"jars of {larger['jar_volume_mL']:.0f} mL, or an open outlet"
        return Refusal("vessel rating", why, words, larger)
    measured = "volume" if request.measured == "pressure" else request.measured
    change = {"outlet": "open", "measured": measured}
    return Refusal("vessel rating", why, "an open outlet", change)


def _larger_jar(draft: Draft, bound: float) -> dict[str, float] | None:
    """Return the request for a closed jar, up to twice as large, that bears the least feed."""
    request, least = draft.request, least_factor(draft)[0] * ROUNDING
    room, warm = request.room_temperature_C, request.incubation_temperature_C
    start = max(warming_kPa(draft.ambient_kPa, room, warm), 0.0)
    if bound <= start:
        return None
    liquid = draft.liquid_mL * least
    rise = (worst_burden(draft, 0.0, shortest_gap_d(draft)) - start) * least
    headspace = (request.jar_volume_mL - draft.liquid_mL) * rise / (bound - start)
    volume = math.ceil((liquid + headspace) * ROUNDING / 10) * 10.0
    if volume > 2 * request.jar_volume_mL:
        return None
    change = {"jar_volume_mL": volume}
    if request.substrate_VS_g is not None:
        change["substrate_VS_g"] = _up(request.substrate_VS_g * least)
    if request.fill is not None:
        change["fill"] = _up(liquid / volume)
    return change


def _down(value: float) -> float:
    """Round down to four digits."""
    scale = 10.0 ** (3 - math.floor(math.log10(value)))
    return math.floor(value * scale + 1e-6) / scale


def _up(value: float) -> float:
    """Round up to four digits."""
    scale = 10.0 ** (3 - math.floor(math.log10(value)))
    return math.ceil(value * scale - 1e-6) / scale
