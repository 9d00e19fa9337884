"""What the daily mixture of feeds holds: solids, carbon, nitrogen, lipid, and the water to add."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from bmp.constants import ATOMIC_MASS
from bmp.theory import COMPONENT_FORMULA, from_formula, parse_formula
from bmp.trial import Material

# Protein holds 16 % nitrogen (the factor 6.25 of food chemistry; common practice).
NITROGEN_IN_PROTEIN: Final = 1 / 6.25
# Volatile solids hold about 1 g of carbon in 1.8 g (common practice in composting, no source).
VS_PER_CARBON: Final = 1.8
# A mixture thicker than this is no longer stirred or poured easily (common practice, no source).
HIGHEST_POURABLE_TS: Final = 0.10
# The ratio that the parts rule is worked out for: best at 35 °C in Wang et al. 2014, PLoS ONE
# 9:e97265, and inside the usual 20 to 30.
WANTED_C_TO_N: Final = 25.0


@dataclass(frozen=True)
class Holds:
    """What one kilogram of fresh feed holds, g/kg; None where the analysis does not tell."""

    name: str
    TS: float | None
    VS: float | None
    carbon: float | None
    nitrogen: float | None
    ammonium_N: float
    lipid: float | None
    assumed: tuple[str, ...] = ()


def holds(material: Material) -> Holds:
    """Return what a kilogram of a material holds.

    Carbon is taken from `carbon`, else from the formula, else VS/1.8; nitrogen from `nitrogen`,
    else from protein/6.25 and ammonium. What is taken so is listed in `assumed`.
    """
    name = material.name
    if material.role == "water":
        return Holds(name, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0)
    TS = None if material.TS is None else 1000 * material.TS
    VS = None if material.VS is None else 1000 * material.VS
    carbon, from_carbon = _carbon(material, TS, VS)
    nitrogen, from_nitrogen = _nitrogen(material, TS, VS)
    lipid_share = _component(material, "lipid")
    lipid = None if VS is None or lipid_share is None else VS * lipid_share
    assumed = tuple(f"{name}: {words}" for words in (from_carbon, from_nitrogen) if words)
    ammonium = material.ammonium_N_g_per_kg or 0.0
    return Holds(name, TS, VS, carbon, nitrogen, ammonium, lipid, assumed)


def _component(material: Material, component: str) -> float | None:
    """Return a component's share of VS; a pure compound given by its formula is known too."""
    given: float | None = getattr(material, component)
    if given is None and material.formula:
        return float(parse_formula(material.formula) == parse_formula(COMPONENT_FORMULA[component]))
    return given


def _carbon(material: Material, TS: float | None, VS: float | None) -> tuple[float | None, str]:
    if material.carbon is not None and TS is not None:
        return material.carbon * TS, ""
    if VS is None:
        return None, ""
    if material.formula:
        atoms = parse_formula(material.formula)
        mass = sum(ATOMIC_MASS[element] * count for element, count in atoms.items())
        return VS * ATOMIC_MASS["C"] * atoms["C"] / mass, "carbon from the formula"
    return VS / VS_PER_CARBON, "carbon taken as VS / 1.8 (common practice)"


def _nitrogen(material: Material, TS: float | None, VS: float | None) -> tuple[float | None, str]:
    ammonium = material.ammonium_N_g_per_kg or 0.0
    if material.nitrogen is not None and TS is not None:
        return max(material.nitrogen * TS, ammonium), ""
    if VS is None:
        return None, ""
    if material.formula:
        share = from_formula(material.formula).ammonia_N_g_per_gVS or 0.0
        return VS * share, "nitrogen from the formula"
    if material.protein is not None:
        total = VS * material.protein * NITROGEN_IN_PROTEIN + ammonium
        return total, "nitrogen taken as protein / 6.25 and ammonium"
    return None, ""


def total_per_d(
    feeds: Sequence[Holds], amounts_kg_per_d: Sequence[float], what: str
) -> tuple[float | None, str]:
    """Return the sum of one property over the diet, g/d, or None and whose analysis is missing.

    `what` is a field of `Holds`. A feed of which nothing is fed is not missed.
    """
    fed = [(feed, kg) for feed, kg in zip(feeds, amounts_kg_per_d, strict=True) if kg > 0]
    missing = [feed.name for feed, _ in fed if getattr(feed, what) is None]
    if missing:
        return None, f"{what} of {', '.join(missing)} is not known"
    return sum(kg * getattr(feed, what) for feed, kg in fed), ""


def lipid_share_of_COD(lipid_share_of_VS: float) -> float:
    """Return lipid as a share of COD, the rest of the VS counted as carbohydrate."""
    lipid = from_formula(COMPONENT_FORMULA["lipid"]).COD_g_per_gVS * lipid_share_of_VS
    rest = from_formula(COMPONENT_FORMULA["carbohydrate"]).COD_g_per_gVS * (1 - lipid_share_of_VS)
    return lipid / (lipid + rest)


def water_to_add_kg_per_d(
    TS_g_per_d: float, total_kg_per_d: float, highest_TS: float = HIGHEST_POURABLE_TS
) -> float:
    """Return the water that thins the mixture to a share `highest_TS` of dry matter, kg/d."""
    return max(0.0, TS_g_per_d / 1000 / highest_TS - total_kg_per_d)


def nitrogen_set_free_mg_per_L(
    feeds: Sequence[Holds], amounts_kg_per_d: Sequence[float], degraded: Sequence[float]
) -> float | None:
    """Return total ammonia N in the tank once the diet has lasted, mg/L at 1 kg/L.

    Ammonium that comes in stays; of the organic nitrogen the share that is degraded is set free.
    None where a feed's nitrogen is not known or nothing is fed.
    """
    total_kg = sum(amounts_kg_per_d)
    released = 0.0
    for feed, kg, share in zip(feeds, amounts_kg_per_d, degraded, strict=True):
        if kg <= 0:
            continue
        if feed.nitrogen is None:
            return None
        released += kg * (feed.ammonium_N + share * (feed.nitrogen - feed.ammonium_N))
    return 1000 * released / total_kg if total_kg > 0 else None


def parts_of_carbon_to_nitrogen(feeds: Sequence[Holds], amounts_kg_per_d: Sequence[float]) -> str:
    """Say the C:N of a diet as parts of carbon-rich feed to one of nitrogen-rich feed.

    Feeds above the wanted C:N of 25 are carbon-rich, those below it nitrogen-rich; the parts that
    give 25 follow from the same sums. Empty where a feed's carbon or nitrogen is not known, or
    where all feeds lie on one side.
    """
    sides: dict[bool, list[tuple[Holds, float]]] = {True: [], False: []}
    surplus = {True: 0.0, False: 0.0}
    for feed, kg in zip(feeds, amounts_kg_per_d, strict=True):
        if kg <= 0 or feed.VS == 0:
            continue
        if feed.carbon is None or feed.nitrogen is None:
            return ""
        over = kg * (feed.carbon - WANTED_C_TO_N * feed.nitrogen)
        sides[over > 0].append((feed, kg))
        surplus[over > 0] += over
    names = {side: ", ".join(feed.name for feed, _ in sides[side]) for side in sides}
    if not sides[True] or not sides[False]:
        return ""
    now = sum(kg for _, kg in sides[True]) / sum(kg for _, kg in sides[False])
    wanted = now * -surplus[False] / surplus[True]
    return (
        f"Carbon-rich: {names[True]}. Nitrogen-rich: {names[False]}. The plan has {now:.2g} parts "
        f"of the first to 1 of the second by weight; {wanted:.2g} to 1 gives a C:N of "
        f"{WANTED_C_TO_N:.0f}."
    )
