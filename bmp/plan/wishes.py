"""What a person has and wants, before anything is planned."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import datetime

from bmp.plan.shown_units import ShownUnits
from bmp.trial import Material

# Vessels that a plan knows. Only the last may be closed, and only with a stated rating.
VESSELS: tuple[str, ...] = ("household jar", "laboratory bottle", "rated bottle")
PLACES: tuple[str, ...] = ("home", "school", "laboratory")
OUTLETS: tuple[str, ...] = ("open", "closed")
# How the methane share of the gas is found.
METHANE_KNOWN_BY: tuple[str, ...] = ("meter", "syringe", "absorber", "none")


@dataclass(frozen=True)
class MaterialWish:
    """One material to plan with. Its TS and VS may be missing."""

    material: Material
    like: str | None = None
    """Name of the literature feed it resembles: gives expected gas, and solids not measured."""
    inoculum_to_substrate: float | None = None
    """Ratio by VS for this feed alone; `None`: the trial's."""
    available_g: float | None = None
    """Fresh mass at hand."""


@dataclass(frozen=True)
class Wishes:
    """Everything a plan is made from. Shares are 0 to 1; pressures of a rating are gauge."""

    materials: tuple[MaterialWish, ...]
    jar_volume_mL: float
    """Inner volume of an empty jar."""
    title: str = "BMP trial"
    fill: float | None = None
    """Share of the jar that liquid and feed take; `None`: the plan chooses."""
    inoculum_to_substrate: float = 2.0
    """By VS. 2 in general: protocol draft of the Standard BMP Methods collection (2020)."""
    substrate_VS_g: float | None = None
    """VS of feed in each jar; `None`: follows from the filling."""
    least_feed_g: float = 0.0
    """Fresh feed below which a jar is no fair sample of it."""
    jars_per_material: int = 3
    blanks: int | None = None
    """`None`: as many as jars per material."""
    control: bool = True
    """Whether jars with microcrystalline cellulose are planned."""
    jars_available: int | None = None
    days: float = 40.0
    started: datetime | None = None
    """When the jars are to be closed; `None`: the reading plan counts days."""
    vessel: str = "household jar"
    """One of `VESSELS`."""
    vessel_rating_kPa: float | None = None
    """Gauge pressure that the maker allows."""
    outlet: str = "open"
    """`open`: gas leaves through a tube; `closed`: the jar is vented at each reading."""
    measured: str = "volume"
    """As in a trial's table `trial`."""
    methane_known_by: str | None = None
    """One of `METHANE_KNOWN_BY`; `None`: not said, the logbook has room for a meter and a
    syringe."""
    collector_mL: float | None = None
    """Size of the cylinder or bag of one jar; `None`: the plan says which is needed."""
    ambient_kPa: float | None = None
    """Air pressure of the place, never reduced to sea level; `None`: 101.325, said as assumed."""
    incubation_temperature_C: float = 37.0
    room_temperature_C: float = 20.0
    """Temperature at which jars are closed and gas volumes are read."""
    place: str = "home"
    """One of `PLACES`."""
    expected_rsd: float = 0.06
    """Relative SD between jars of one feed. 6 %: the most that document 100 v1.9 allows the
    control; hand measured trials reach 1 to 3 % (Amodeo et al. 2020, Water 12(6):1839)."""

    units: ShownUnits = field(default_factory=ShownUnits)
    """Of the logbook and the sheets for people."""

    @property
    def planned_blanks(self) -> int:
        """Number of blanks."""
        return self.jars_per_material if self.blanks is None else self.blanks
