"""Safety cautions: one table, from which every part prints what its reader may meet.

A caution is a row: what it says, its figure, the figure's source, and the hazards it applies to.
Adding a caution is adding a row. None of it replaces local codes or licensed practice, and the row
that says so is always printed first.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

# What can be present. A part of the tool names what it plans or reads; the table answers.
HAZARDS: dict[str, str] = {
    "jar": "a jar that ferments",
    "closed glass": "a vessel closed between ventings",
    "household jar": "a jar that is not made for pressure",
    "open outlet": "a jar whose gas leaves through a tube",
    "gas store": "gas kept in a bag, cylinder or storage",
    "manure or meat": "manure, slaughter or food waste, digestate",
    "caustic": "a caustic absorber or soda lye",
    "crucibles": "drying oven and furnace",
    "school": "pupils take part",
    "tank": "a digester, its pit or its storage",
}


@dataclass(frozen=True)
class Caution:
    """One caution."""

    id: str
    hazards: frozenset[str]
    """Any of these makes it apply (keys of `HAZARDS`); empty: always."""
    text: str
    figure: str
    """The number to hold on to; empty where there is none."""
    source: str
    brief: str = ""
    """The same in a line, for a terminal; empty: the first sentence of `text`."""

    @property
    def line(self) -> str:
        """Return the caution in a line."""
        return self.brief or self.text.partition(". ")[0].rstrip(".") + "."

    def to_dict(self) -> dict[str, str]:
        """Return id, text, figure and source."""
        return {"id": self.id, "text": self.text, "figure": self.figure, "source": self.source}


def _row(id: str, hazards: str, text: str, figure: str, source: str, brief: str = "") -> Caution:
    named = frozenset(h.strip() for h in hazards.split(",") if h.strip())
    return Caution(id, named, text, figure, source, brief)


_D304 = "Standard BMP Methods document 304 v2.3 and its 2020 protocol draft"
_COMMON = "common practice, no source"

CAUTIONS: tuple[Caution, ...] = (
    _row(
        "local rules",
        "",
        "Local codes, the vessel's and the gas appliance's own instructions and licensed "
        "practice come first; what stands here does not replace them.",
        "",
        _COMMON,
        "Local codes and licensed practice come first.",
    ),
    _row(
        "household jar",
        "household jar",
        "A household or preserving jar has no pressure rating and breaks without warning: never "
        "close it. Its gas must always be free to leave through an open tube; look daily that "
        "neither foam nor a kink has closed it.",
        "At most 0 kPa gauge",
        _COMMON,
        "A household jar breaks without warning: never close it; its gas must always be free to "
        "leave.",
    ),
    _row(
        "closed glass",
        "closed glass",
        "Closed glass can burst. Keep the predicted and the read gauge pressure below the "
        "vessel's stated rating. Use only undamaged vessels. Cover them or stand behind a "
        "screen, and wear eye protection. Vent on time, and at once when a reading passes the "
        "plan.",
        "At most 200 kPa gauge even if rated higher; cautious 100 kPa",
        _D304,
    ),
    _row(
        "open outlet",
        "open outlet",
        "Let an outlet under water end so shallow that no water can be drawn back into the jar "
        "when it cools. Put no tap or clamp in it that can be left closed.",
        "",
        _COMMON,
    ),
    _row(
        "flame",
        "jar, gas store, tank",
        "Methane burns in air. No flame, spark, smoking or hot surface near jars, bags or "
        "storage; let the gas out into the open or under a fume hood.",
        "5 to 15 % CH4 in air burns (4.4 % is also in use); keep below a quarter of it, 1.25 %",
        "Coward & Jones 1952, US Bureau of Mines Bulletin 503; Zabetakis 1965, Bulletin 627",
        "Methane burns: no flame, spark or hot surface near jars, bags or storage.",
    ),
    _row(
        "hydrogen sulphide",
        "jar, gas store, tank",
        "Biogas holds hydrogen sulphide. The nose stops warning before it becomes deadly: do "
        "not rely on smell, do not breathe vented gas, ventilate, use a meter where gas gathers.",
        "Ceiling 10 ppm (10 min); 100 ppm dangerous at once; smell lost at 100 to 150 ppm",
        "NIOSH REL and IDLH; OSHA 29 CFR 1910.1000 Z-2 (ceiling 20 ppm)",
        "Hydrogen sulphide kills and stops smelling first: do not breathe the gas, ventilate.",
    ),
    _row(
        "no air",
        "gas store, tank",
        "Biogas, carbon dioxide and flush gas push the air out of small rooms and pits. Never "
        "enter a pit, tank or storage. Open windows while flushing and venting.",
        "CO2 at most 0.5 % over a working day, 4 % is dangerous at once; oxygen at least 19.5 %",
        "OSHA 29 CFR 1910.1000, NIOSH IDLH (from memory)",
        "Gas pushes out the air: never enter a pit, tank or storage.",
    ),
    _row(
        "tank flame",
        "tank",
        "A burner under or near a tank of gas is for licensed practice. Heat the tank through "
        "water, with the flame apart. Put a flame arrester and a water seal in the gas line.",
        "",
        _COMMON,
        "Heating by a burner is for licensed practice: flame apart, flame arrester, water seal.",
    ),
    _row(
        "germs",
        "manure or meat",
        "Digestate, manure and meat carry germs that make people ill. Gloves, eye protection, no "
        "food or drink, wash hands. Keep children, pregnant women and people with weak defences "
        "away. Heat-treat or dispose of the residue as the local rules say.",
        "",
        _COMMON,
        "Digestate, manure and meat carry germs: gloves, eye protection, wash hands.",
    ),
    _row(
        "caustic",
        "caustic",
        "Sodium hydroxide solution blinds and burns. Wear goggles and gloves. Put pellets into "
        "cold water, never water onto pellets (it boils). Rinse splashes with much water at once "
        "and see a doctor for the eyes. Label and lock away.",
        "3 mol/L is 120 g NaOH per litre",
        _COMMON,
        "Sodium hydroxide blinds and burns: goggles, gloves, pellets into cold water.",
    ),
    _row(
        "oven and furnace",
        "crucibles",
        "Crucibles leave the oven at 105 °C and the furnace at 550 °C. Use tongs, heat "
        "gloves and a cooling plate. Dry completely before ignition, or the sample spits. Ignite "
        "under a hood. No kitchen oven that is used for food.",
        "105 °C, 550 °C",
        "Standard BMP Methods document 100 v1.9 (temperatures); common practice (the rest)",
        "Crucibles come out at 105 and 550 °C: tongs, heat gloves, a cooling plate.",
    ),
    _row(
        "acid feed drying",
        "crucibles",
        "Silage and other sour feeds lose acids and alcohol in the oven: TS and VS come out too "
        "low and the yield too high.",
        "Beet silage dried so looked 51 % better than fresh",
        "Kreuger, Nges & Björnsson 2011, Biotechnol. Biofuels 4:44",
    ),
    _row(
        "school",
        "school",
        "Rules for schools differ: some bodies advise vegetable matter in place of manure and no "
        "soil (spores), others allow manure with gloves and goggles. Ask the authority; an adult "
        "doses, vents and cleans; a ventilated room; no closed glass.",
        "",
        "advice of school science safety bodies, which disagree",
    ),
)


def cautions_for(hazards: Iterable[str]) -> tuple[Caution, ...]:
    """Return the cautions for what is present, in the table's order.

    Parameters
    ----------
    hazards
        Keys of `HAZARDS`.

    Raises
    ------
    KeyError
        For a hazard that the table does not know.
    """
    present = set(hazards)
    unknown = present - HAZARDS.keys()
    if unknown:
        raise KeyError(f"no such hazard: {', '.join(sorted(unknown))}")
    return tuple(c for c in CAUTIONS if not c.hazards or c.hazards & present)
