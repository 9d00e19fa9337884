"""A first layout of the jars from the wishes, before anyone asks whether it is possible."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from bmp.constants import REFERENCE_PRESSURE_KPA
from bmp.plan.dosing import (
    LEAST_SUBSTRATE_VS_G,
    Dose,
    DosingSolids,
    dose,
    inoculum_per_jar_g,
    liquid_mL,
    solids_for_dosing,
)
from bmp.plan.gas import (
    GasCurve,
    Pace,
    gas_curve,
    interval_shares,
    pace_of,
    total_biogas_NmL,
    total_methane_NmL,
)
from bmp.plan.literature import CELLULOSE, INOCULUM, UNKNOWN_FEED, LiteratureFeed, Range
from bmp.plan.wishes import MaterialWish, Wishes
from bmp.trial import FloatArray, Material


@dataclass(frozen=True)
class Sample:
    """A feed or the control, with all that dosing it takes."""

    wish: MaterialWish
    role: str
    ratio: float
    solids: DosingSolids
    literature: LiteratureFeed
    jars: int

    @property
    def name(self) -> str:
        """Name of the material."""
        return self.wish.material.name


@dataclass(frozen=True)
class Draft:
    """Doses that follow from the wishes, be they possible or not."""

    wishes: Wishes
    inoculum: MaterialWish
    inoculum_solids: DosingSolids
    inoculum_literature: LiteratureFeed
    samples: tuple[Sample, ...]
    """The control first, then the feeds in the order of the wishes."""
    liquid_mL: float
    inoculum_g: float
    doses: tuple[Dose, ...]
    """The blank's, then one a sample."""
    counts: tuple[int, ...]
    """Jars of each dose."""

    @property
    def ambient_kPa(self) -> float:
        """Air pressure: as wished, else the standard one."""
        given = self.wishes.ambient_kPa
        return REFERENCE_PRESSURE_KPA if given is None else given

    @property
    def level_is_fixed(self) -> bool:
        """Whether less feed leaves the level as it is, because both were asked for."""
        return self.wishes.fill is not None and self.wishes.substrate_VS_g is not None

    def curve(self, index: int, level: str) -> GasCurve:
        """Return the biogas of dose `index` from closing on, at the `middle` or `high` end."""
        feed = self.samples[index - 1].literature if index else None
        warm = self.wishes.incubation_temperature_C
        return gas_curve(self.doses[index], feed, self.inoculum_literature, level, warm)

    def biogas_NmL(self, from_d: float, to_d: float) -> FloatArray:
        """Return the least, middle and most biogas of every dose in an interval.

        Shape (doses, 3).
        """
        return self._within(self._biogas, from_d, to_d)

    def methane_NmL(self, from_d: float, to_d: float) -> FloatArray:
        """Return the methane of `biogas_NmL`. Shape (doses, 3)."""
        return self._within(self._methane, from_d, to_d)

    def _within(
        self, totals: tuple[FloatArray, FloatArray], from_d: float, to_d: float
    ) -> FloatArray:
        shares = np.array([interval_shares(pace, from_d, to_d) for pace in self._paces])
        return np.asarray(totals[0] * shares[0] + totals[1] * shares)

    @cached_property
    def _paces(self) -> list[Pace]:
        """The inoculum's, then one a sample."""
        feeds = [self.inoculum_literature, *(s.literature for s in self.samples)]
        return [pace_of(feed, self.wishes.incubation_temperature_C) for feed in feeds]

    @cached_property
    def _biogas(self) -> tuple[FloatArray, FloatArray]:
        return self._totals(total_biogas_NmL)

    @cached_property
    def _methane(self) -> tuple[FloatArray, FloatArray]:
        return self._totals(total_methane_NmL)

    def _totals(
        self, total: Callable[[Range, LiteratureFeed], tuple[float, float, float]]
    ) -> tuple[FloatArray, FloatArray]:
        """Return what inoculum and feed of every dose give in the end. Shape (doses, 3) each."""
        own = [total(dose.inoculum_VS_range, self.inoculum_literature) for dose in self.doses]
        fed = [
            total(dose.sample_VS_range, sample.literature)
            for dose, sample in zip(self.doses[1:], self.samples, strict=True)
        ]
        return np.array(own), np.array([(0.0, 0.0, 0.0), *fed])


def literature_of(
    wish: MaterialWish, literature: Mapping[str, LiteratureFeed]
) -> LiteratureFeed | None:
    """Return the literature feed a wish names, or whose name its material bears."""
    if wish.like is not None:
        return literature.get(wish.like.strip().lower())
    if wish.material.role == "control":
        return literature[CELLULOSE]
    if wish.material.role == "inoculum":
        return literature[INOCULUM]
    return literature.get(wish.material.name.strip().lower())


def missing_materials(wishes: Wishes, literature: Mapping[str, LiteratureFeed]) -> tuple[str, ...]:
    """Return one line for each thing without which no jar can be dosed."""
    roles = [w.material.role for w in wishes.materials]
    lines = []
    found = roles.count("inoculum")
    if found != 1:
        lines.append(f"a plan needs one material with the role “inoculum”, found {found}")
    if "substrate" not in roles:
        lines.append("a plan needs at least one material with the role “substrate”, found none")
    known = ", ".join(sorted(n for n, f in literature.items() if f.VS is not None))
    for wish in wishes.materials:
        name, feed = wish.material.name, literature_of(wish, literature)
        if wish.like is not None and feed is None:
            lines.append(
                f"material {name}: no literature feed is called {wish.like!r}; there are: "
                f"{', '.join(sorted(literature))}"
            )
        elif solids_for_dosing(wish.material, feed) is None:
            lines.append(
                f"material {name}: its VS is not given; weigh crucibles, or name in “like” a "
                f"feed whose range may stand in: {known}"
            )
    return tuple(lines)


def make_draft(wishes: Wishes, literature: Mapping[str, LiteratureFeed]) -> Draft:
    """Return the doses that follow from wishes for which `missing_materials` finds nothing."""
    inoculum = next(w for w in wishes.materials if w.material.role == "inoculum")
    found = literature_of(inoculum, literature)
    inoculum_literature = literature[INOCULUM] if found is None else found
    solids = solids_for_dosing(inoculum.material, inoculum_literature)
    if solids is None:
        raise ValueError("the inoculum has no VS to dose by")
    samples = _samples(wishes, literature)
    pairs = [(s.ratio, s.solids) for s in samples]
    liquid = liquid_mL(wishes, solids, pairs)
    inoculum_g = inoculum_per_jar_g(wishes, liquid, solids, pairs)
    jar = (inoculum_g, liquid, wishes.jar_volume_mL, wishes.scale_g, solids)
    blank = dose(inoculum.material.name, "blank", *jar, None)
    others = tuple(dose(s.name, s.role, *jar, (s.ratio, s.solids)) for s in samples)
    return Draft(
        wishes=wishes,
        inoculum=inoculum,
        inoculum_solids=solids,
        inoculum_literature=inoculum_literature,
        samples=samples,
        liquid_mL=liquid,
        inoculum_g=inoculum_g,
        doses=(blank, *others),
        counts=(wishes.planned_blanks, *(s.jars for s in samples)),
    )


def _samples(wishes: Wishes, literature: Mapping[str, LiteratureFeed]) -> tuple[Sample, ...]:
    given = [w for w in wishes.materials if w.material.role in ("control", "substrate")]
    if wishes.planned_control and all(w.material.role != "control" for w in given):
        given.append(cellulose_wish(literature))
    if not wishes.planned_control:
        given = [w for w in given if w.material.role != "control"]
    samples = []
    for wish in sorted(given, key=lambda w: w.material.role != "control"):
        feed = literature_of(wish, literature)
        solids = solids_for_dosing(wish.material, feed)
        if solids is None:
            raise ValueError(f"{wish.material.name} has no VS to dose by")
        ratio = wish.inoculum_to_substrate or wishes.inoculum_to_substrate
        samples.append(
            Sample(
                wish,
                wish.material.role,
                ratio,
                solids,
                literature[UNKNOWN_FEED] if feed is None else feed,
                wishes.planned_jars,
            )
        )
    return tuple(samples)


def cellulose_wish(literature: Mapping[str, LiteratureFeed]) -> MaterialWish:
    """Return the control that a plan adds where the wishes hold none: VS as documents 303/304."""
    VS = literature[CELLULOSE].VS
    material = Material(
        name=CELLULOSE,
        role="control",
        VS=None if VS is None else VS.middle,
        solids_from="documents 303 and 304, not measured",
    )
    return MaterialWish(material, like=CELLULOSE)


def assumed_shares(draft: Draft) -> dict[str, Range]:
    """Return the methane share of each material's kind where nobody finds it; else empty."""
    if draft.wishes.methane_known_by != "none" or draft.wishes.measured == "methane volume":
        return {}
    kinds = [(draft.inoculum.material, draft.inoculum_literature)]
    kinds += [(sample.wish.material, sample.literature) for sample in draft.samples]
    return {m.name: kind.methane_share for m, kind in kinds if m.methane_share is None}


def sample_VS_g(draft: Draft) -> list[float]:
    """Return the VS of every sample's jar before rounding."""
    inoculum_VS = draft.inoculum_g * draft.inoculum_solids.VS
    return [inoculum_VS / s.ratio for s in draft.samples]


def least_factor(draft: Draft, least_VS_g: float = LEAST_SUBSTRATE_VS_G) -> tuple[float, str, str]:
    """Return how many times as much a jar must hold at least, of which sample, and why."""
    worst, name, why = 0.0, "", ""
    for sample, VS in zip(draft.samples, sample_VS_g(draft), strict=True):
        feed_g = VS / sample.solids.VS
        if worst < least_VS_g / VS:
            worst, name = least_VS_g / VS, sample.name
            why = f"{VS:.2f} g of VS in a jar, at least {least_VS_g:g} g"
        if sample.role == "substrate" and draft.wishes.least_feed_g / feed_g > worst:
            worst, name = draft.wishes.least_feed_g / feed_g, sample.name
            why = f"{feed_g:.2f} g in a jar, at least {draft.wishes.least_feed_g:g} g was asked for"
    return worst, name, why
