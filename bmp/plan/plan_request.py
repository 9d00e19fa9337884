"""What a person has and wants, before anything is planned."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import datetime
from functools import cached_property

from bmp.plan.shown_units import ShownUnits
from bmp.trial import Material

# Vessels that a plan knows. Only the last may be closed, and only with a stated rating.
VESSELS: tuple[str, ...] = ("household jar", "laboratory bottle", "rated bottle")
PLACES: tuple[str, ...] = ("home", "school", "laboratory")
OUTLETS: tuple[str, ...] = ("open", "closed")
# How the methane share of the gas is found.
METHANE_KNOWN_BY: tuple[str, ...] = ("meter", "syringe", "absorber", "none")

Counts = tuple[int, int, bool]
"""Jars of each material, blanks, and whether there is a control."""
# How few jars are shared out, the best first: three of each with a control can be validated
# (Standard BMP Methods document 100 v1.9); two of each still show their scatter, so feeds can be
# compared; one of each gives a figure and no more. The order is judgement.
WAYS_TO_SHARE_JARS: tuple[Counts, ...] = (
    (3, 3, True),
    (2, 2, True),
    (3, 3, False),
    (2, 2, False),
    (2, 1, False),
    (1, 1, True),
    (1, 1, False),
)


@dataclass(frozen=True)
class MaterialRequest:
    """One material to plan with. Its TS and VS may be missing."""

    material: Material
    like: str | None = None
    """Name of the literature feed it resembles: gives expected gas, and solids not measured."""
    inoculum_to_substrate: float | None = None
    """Ratio by VS for this feed alone; `None`: the trial's."""
    available_g: float | None = None
    """Fresh mass at hand."""


@dataclass(frozen=True)
class PlanRequest:
    """Everything a plan is made from. Shares are 0 to 1; pressures of a rating are gauge."""

    materials: tuple[MaterialRequest, ...]
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
    jars_per_material: int | None = None
    """`None`: as many as the jars at hand allow, at most 3."""
    blanks: int | None = None
    """`None`: as many as jars per material, where the jars at hand allow it."""
    control: bool | None = None
    """Whether jars with microcrystalline cellulose are planned; `None`: where there are jars."""
    jars_available: int | None = None
    scale_g: float = 0.01
    """Smallest step of the scale that the jars are filled with."""
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
    def planned_jars(self) -> int:
        """Number of jars of each material."""
        return self._counts[0]

    @property
    def planned_blanks(self) -> int:
        """Number of blanks."""
        return self._counts[1]

    @property
    def planned_control(self) -> bool:
        """Whether there are jars of a control."""
        return self._counts[2]

    @property
    def jars_needed(self) -> int:
        """Number of all jars."""
        return self._needed(*self._counts)

    @cached_property
    def _counts(self) -> Counts:
        """The first of `WAYS_TO_SHARE_JARS` that the jars at hand allow, else the first."""
        ways = self.ways_to_share
        have = self.jars_available
        return next((w for w in ways if have is None or self._needed(*w) <= have), ways[0])

    @property
    def ways_to_share(self) -> list[Counts]:
        """The ways to share jars that what was asked for leaves open, the best first."""
        if self.jars_per_material is not None:
            asked = self.jars_per_material
            blanks = asked if self.blanks is None else self.blanks
            return [(asked, blanks, self.control is not False)]
        return [
            (
                jars,
                blanks if self.blanks is None else self.blanks,
                control if self.control is None else self.control,
            )
            for jars, blanks, control in WAYS_TO_SHARE_JARS
        ]

    def _needed(self, jars: int, blanks: int, control: bool) -> int:
        roles = [w.material.role for w in self.materials]
        kinds = roles.count("substrate") + (max(roles.count("control"), 1) if control else 0)
        return kinds * jars + blanks

    def best_that_fits(self) -> Counts | None:
        """Return the best way to share the jars at hand, whatever number was asked for."""
        have = self.jars_available
        fitting = (w for w in WAYS_TO_SHARE_JARS if have is None or self._needed(*w) <= have)
        return next(fitting, None)
