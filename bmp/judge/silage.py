"""Silage and other acid feeds: what oven drying loses, and the solids with it put back.

Oven drying drives off volatile acids and alcohols, which do make methane. TS and VS come out too
small and the yield per gram of VS too large: sugar-beet silage looked 51 % better than fresh beet
by uncorrected VS (Kreuger, Nges & Björnsson 2011, Biotechnol. Biofuels 4:44, abstract).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from bmp.finding import Finding
from bmp.trial import Material

# Part of the volatile fatty acids that drying at about 100 °C loses (abstracts of drying studies;
# 79 % of acetic acid and all alcohol at 80 °C). The interval up to all of it is our own.
ACIDS_LOST: Final = 0.735
ACIDS_LOST_LEAST: Final = 0.6
ACIDS_LOST_MOST: Final = 1.0
SOURCE: Final = (
    "Kreuger, Nges & Björnsson 2011, Biotechnol. Biofuels 4:44; 73.5 % of the volatile fatty acids "
    "lost at 100 °C (abstracts of drying studies)"
)
ACID_PH: Final = 5.0
NOTABLE_PERCENT: Final = 2.0


@dataclass(frozen=True)
class CorrectedSolids:
    """Solids with the acids put back that drying lost. Fractions of fresh mass."""

    TS: float | None
    VS: float
    VS_low: float
    VS_high: float
    yield_factor: float
    """What a yield per gram of uncorrected VS is multiplied by; below 1."""


def corrected_solids(
    VS: float, volatile_acids_g_per_kg: float, TS: float | None = None
) -> CorrectedSolids:
    """Return the solids with the lost acids put back.

    Parameters
    ----------
    VS, TS : float
        As the furnace gave them, fractions of fresh mass, 0 to 1.
    volatile_acids_g_per_kg : float
        Volatile fatty acids in the fresh feed, as acetic acid.

    Raises
    ------
    ValueError
        `VS` or the acids are not positive figures that fit into a kilogram.
    """
    acids = volatile_acids_g_per_kg / 1000.0
    if not (0.0 < VS <= 1.0 and 0.0 <= acids <= 1.0):
        raise ValueError("VS lies between 0 and 1, the acids between 0 and 1000 g/kg")
    VS_now = VS + ACIDS_LOST * acids
    return CorrectedSolids(
        TS=None if TS is None else TS + ACIDS_LOST * acids,
        VS=VS_now,
        VS_low=VS + ACIDS_LOST_LEAST * acids,
        VS_high=VS + ACIDS_LOST_MOST * acids,
        yield_factor=VS / VS_now,
    )


def acid_feed(material: Material) -> tuple[Finding, ...]:
    """Say what drying lost from an acid feed, or that its acids should be measured."""
    acids, VS = material.volatile_acids_g_per_kg, material.VS
    if material.role == "inoculum" or VS is None:
        return ()
    if acids and 0.0 < acids <= 1000.0 and 0.0 < VS <= 1.0:
        solids = corrected_solids(VS, acids, material.TS)
        percent = 100.0 * (solids.VS / VS - 1.0)
        outcome = "caution" if percent > NOTABLE_PERCENT else "pass"
        meaning = (
            f"Oven drying lost acids: VS is about {100 * solids.VS:.3g} % of fresh mass "
            f"({100 * solids.VS_low:.3g} to {100 * solids.VS_high:.3g}) instead of "
            f"{100 * VS:.3g} %. The yield per gram of VS is {100 * (1 - solids.yield_factor):.2g} "
            "% lower than printed."
        )
        advice = "Compare acid feeds per gram of fresh mass, or by the corrected VS."
        return (
            Finding(
                "VS lost in drying", "caution" if outcome == "caution" else "pass",
                round(percent, 2), f"at most {NOTABLE_PERCENT:g} % of VS", SOURCE, meaning, advice,
                material.name,
            ),
        )  # fmt: skip
    acid = material.pH is not None and material.pH < ACID_PH
    if acid or "silage" in material.name.lower():
        why = f"pH {material.pH:g}" if acid else "a silage"
        meaning = (
            f"An acid feed ({why}) loses acids and alcohol in the oven. Without their amount its "
            "VS is too small and its yield per gram of VS too large, by a few up to 50 %."
        )
        advice = "Have the volatile fatty acids measured, or compare per gram of fresh mass."
        return (
            Finding(
                "VS lost in drying", "caution", material.pH, f"pH above {ACID_PH:g}", SOURCE,
                meaning, advice, material.name,
            ),
        )  # fmt: skip
    return ()
