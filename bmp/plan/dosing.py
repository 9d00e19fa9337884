"""How much inoculum, feed and water goes into each jar.

Every jar gets the same mass of inoculum and is filled up with water to the same level, so that
blanks and feeds differ in the feed alone and all headspaces are equal. Mixtures are taken at
1 g/mL, as in Standard BMP Methods documents 303 and 304.
"""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass

from bmp.plan.literature import LiteratureFeed, LiteratureRange
from bmp.plan.plan_request import PlanRequest
from bmp.plan.shown_units import ShownUnits
from bmp.trial import Material

# Set-up rules of documents 303 (2023) and 304 v2.3.
D304 = "Standard BMP Methods documents 303 and 304"
ADVISED_SUBSTRATE_VS_G = 1.0
# Below it a jar gives too little gas to be read: about 90 mL. Common practice, no source.
LEAST_SUBSTRATE_VS_G = 0.25
LARGEST_FILL = 0.5
LEAST_HEADSPACE_ML_PER_G_VS = 100.0
LARGEST_HEADSPACE_ML_PER_G_VS = 300.0
# Ratio by VS that the 2020 protocol draft of the same collection advises: 2 in general, down to 1
# for slowly and up to 4 for easily degradable feeds.
ADVISED_RATIO: dict[str, float] = {"slow": 1.0, "medium": 2.0, "fast": 4.0}
# Step to which inoculum and water are weighed at most finely, g.
INOCULUM_STEP_G = 0.1


@dataclass(frozen=True)
class DosingSolids:
    """VS that a material is dosed by, per fresh mass (0 to 1)."""

    VS: float
    low: float
    high: float
    measured: bool
    """False: a literature range, so the true ratio in the jar is known no better than it."""
    source: str

    @property
    def relative_u(self) -> float:
        """Relative standard uncertainty: as given, else that of a rectangular range."""
        half = (self.high - self.low) / 2
        return half / (2.0 if self.measured else 3**0.5) / self.VS


@dataclass(frozen=True)
class Dose:
    """What one jar of a material gets."""

    material: str
    role: str
    """`blank`, `control` or `substrate`."""
    inoculum_g: float
    sample_g: float
    water_g: float
    headspace_mL: float
    inoculum_VS_g: float
    sample_VS_g: float
    ratio: float | None
    """Inoculum to substrate by VS; `None` in a blank."""
    ratio_low: float | None
    """Least ratio that the ranges of solids allow; equal to `ratio` where both were measured."""
    ratio_high: float | None
    inoculum_VS_range: LiteratureRange
    """VS of the inoculum in the jar [g], as far as it is known."""
    sample_VS_range: LiteratureRange


@dataclass(frozen=True)
class PlannedJar:
    """One jar: its name, its place on the shelf and its dose."""

    name: str
    position: int
    dose: Dose


def solids_for_dosing(material: Material, feed: LiteratureFeed | None) -> DosingSolids | None:
    """Return the VS to dose by: as given, else from the literature's range, else `None`."""
    if material.VS is not None:
        spread = 2 * (material.VS_u or 0.0)
        low, high = max(material.VS - spread, 0.0), material.VS + spread
        return DosingSolids(material.VS, low, high, True, "as given")
    if feed is None or feed.VS_of_TS is None or feed.VS is None:
        return None
    if material.TS is not None:
        share = feed.VS_of_TS
        found = LiteratureRange(material.TS * share.low, material.TS * share.high)
        source = f"TS as given, VS of TS from the literature's range of {feed.name}"
    else:
        found, source = feed.VS, f"literature's range of {feed.name}"
    return DosingSolids(found.middle, found.low, found.high, False, source)


def feed_mass_per_inoculum(ratio: float, inoculum: DosingSolids, sample: DosingSolids) -> float:
    """Return grams of fresh feed per gram of inoculum at a ratio by VS."""
    return inoculum.VS / (ratio * sample.VS)


def liquid_mL(
    request: PlanRequest, inoculum: DosingSolids, samples: Sequence[tuple[float, DosingSolids]]
) -> float:
    """Return the volume that liquid and feed take in every jar.

    Parameters
    ----------
    samples
        Ratio and solids of every feed and control.

    Notes
    -----
    A stated filling is obeyed; a stated VS per jar gives the volume of the wettest feed; else it
    is the most that leaves the advised headspace, at most half of the jar.
    """
    if request.fill is not None:
        return request.fill * request.jar_volume_mL
    if request.substrate_VS_g is not None:
        inoculum_g = request.inoculum_to_substrate * request.substrate_VS_g / inoculum.VS
        return inoculum_g * (1 + max(feed_mass_per_inoculum(r, inoculum, s) for r, s in samples))
    wettest = max(feed_mass_per_inoculum(r, inoculum, s) for r, s in samples)
    # Inoculum per mL of liquid is fixed by the wettest feed, VS per inoculum by the least ratio.
    VS_per_mL = inoculum.VS / min(r for r, _ in samples) / (1 + wettest)
    headspace_rule = request.jar_volume_mL / (1 + LEAST_HEADSPACE_ML_PER_G_VS * VS_per_mL)
    return min(headspace_rule, LARGEST_FILL * request.jar_volume_mL)


def inoculum_per_jar_g(
    request: PlanRequest,
    liquid: float,
    inoculum: DosingSolids,
    samples: Sequence[tuple[float, DosingSolids]],
) -> float:
    """Return the inoculum that every jar gets: all that the wettest feed leaves room for."""
    if request.substrate_VS_g is not None:
        return request.inoculum_to_substrate * request.substrate_VS_g / inoculum.VS
    return liquid / (1 + max(feed_mass_per_inoculum(r, inoculum, s) for r, s in samples))


def dose(
    name: str,
    role: str,
    inoculum_g: float,
    liquid: float,
    jar_volume_mL: float,
    scale_g: float,
    inoculum: DosingSolids,
    sample: tuple[float, DosingSolids] | None,
) -> Dose:
    """Return the dose of one jar in steps of the scale; `sample` is the feed's ratio and solids."""
    coarse_g = max(scale_g, INOCULUM_STEP_G)
    inoculum_g = _in_steps(inoculum_g, coarse_g)
    inoculum_VS = inoculum_g * inoculum.VS
    sample_g = sample_VS = 0.0
    ratio = low = high = None
    inoculum_range = LiteratureRange(
        inoculum_g * inoculum.low, inoculum_g * inoculum.high, inoculum_VS
    )
    sample_range = LiteratureRange(0.0, 0.0)
    if sample is not None:
        wanted, solids = sample
        sample_g = _in_steps(inoculum_VS / wanted / solids.VS, scale_g)
        sample_VS = sample_g * solids.VS
        sample_range = LiteratureRange(sample_g * solids.low, sample_g * solids.high, sample_VS)
        ratio = inoculum_VS / sample_VS if sample_VS else None
    if sample is not None and sample_VS:
        low = inoculum_g * inoculum.low / (sample_g * sample[1].high)
        high = inoculum_g * inoculum.high / (sample_g * sample[1].low) if sample[1].low else None
    water_g = _in_steps(max(liquid - inoculum_g - sample_g, 0.0), coarse_g)
    return Dose(
        material=name,
        role=role,
        inoculum_g=inoculum_g,
        sample_g=sample_g,
        water_g=water_g,
        headspace_mL=round(jar_volume_mL - inoculum_g - sample_g - water_g, 1),
        inoculum_VS_g=inoculum_VS,
        sample_VS_g=sample_VS,
        ratio=ratio,
        ratio_low=low,
        ratio_high=high,
        inoculum_VS_range=inoculum_range,
        sample_VS_range=sample_range,
    )


def _in_steps(mass_g: float, step_g: float) -> float:
    return round(round(mass_g / step_g) * step_g, 6)


def in_own_unit(units: ShownUnits, dose: Dose) -> tuple[float, float, float]:
    """Return inoculum, sample and water of a jar in the unit that the plan weighs in."""
    masses = (dose.inoculum_g, dose.sample_g, dose.water_g)
    if units.mass == "g":
        return masses
    inoculum, sample, water = (round(units.shown("mass", mass), 4) for mass in masses)
    return inoculum, sample, water


def place_jars(doses: Sequence[Dose], counts: Sequence[int], seed: str) -> tuple[PlannedJar, ...]:
    """Return all jars in a random order that `seed` alone decides.

    Each jar's lot is the SHA-256 of the seed and its name: the same plan gives the same shelf on
    every machine and with every version of any library.
    """
    names = jar_names(doses, counts)
    lots = sorted(names, key=lambda n: hashlib.sha256(f"{seed}/{n[0]}".encode()).digest())
    return tuple(PlannedJar(name, i, dose) for i, (name, dose) in enumerate(lots, start=1))


def jar_names(doses: Sequence[Dose], counts: Sequence[int]) -> list[tuple[str, Dose]]:
    """Name jars by a letter a material and a number: B blanks, C control, D on for the feeds."""
    named: list[tuple[str, Dose]] = []
    feeds = 0
    for one, count in zip(doses, counts, strict=True):
        letter = {"blank": "B", "control": "C"}.get(one.role)
        if letter is None:
            letter = chr(ord("D") + feeds) if feeds < 23 else f"Z{feeds - 22}-"
            feeds += 1
        named += [(f"{letter}{i}", one) for i in range(1, count + 1)]
    return named
