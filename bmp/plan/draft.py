"""A first layout of the jars from the request, before anyone asks whether it is possible."""

from __future__ import annotations

import difflib
import re
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
from bmp.plan.literature import CELLULOSE, INOCULUM, UNKNOWN_FEED, LiteratureFeed, LiteratureRange
from bmp.plan.plan_request import MaterialRequest, PlanRequest
from bmp.trial import FloatArray, Material


@dataclass(frozen=True)
class DosedMaterial:
    """A feed or the control, with all that dosing it takes."""

    asked: MaterialRequest
    role: str
    ratio: float
    solids: DosingSolids
    literature: LiteratureFeed
    jars: int

    @property
    def name(self) -> str:
        """Name of the material."""
        return self.asked.material.name


@dataclass(frozen=True)
class Draft:
    """Doses that follow from the request, be they possible or not."""

    request: PlanRequest
    inoculum: MaterialRequest
    inoculum_solids: DosingSolids
    inoculum_literature: LiteratureFeed
    samples: tuple[DosedMaterial, ...]
    """The control first, then the feeds in the order of the request."""
    liquid_mL: float
    inoculum_g: float
    doses: tuple[Dose, ...]
    """The blank's, then one a sample."""
    counts: tuple[int, ...]
    """Jars of each dose."""

    @property
    def ambient_kPa(self) -> float:
        """Air pressure: as wished, else the standard one."""
        given = self.request.ambient_kPa
        return REFERENCE_PRESSURE_KPA if given is None else given

    @property
    def level_is_fixed(self) -> bool:
        """Whether less feed leaves the level as it is, because both were asked for."""
        return self.request.fill is not None and self.request.substrate_VS_g is not None

    def curve(self, index: int, level: str) -> GasCurve:
        """Return the biogas of dose `index` from closing on, at the `middle` or `high` end."""
        feed = self.samples[index - 1].literature if index else None
        warm = self.request.incubation_temperature_C
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
        return [pace_of(feed, self.request.incubation_temperature_C) for feed in feeds]

    @cached_property
    def _biogas(self) -> tuple[FloatArray, FloatArray]:
        return self._totals(total_biogas_NmL)

    @cached_property
    def _methane(self) -> tuple[FloatArray, FloatArray]:
        return self._totals(total_methane_NmL)

    def _totals(
        self, total: Callable[[LiteratureRange, LiteratureFeed], tuple[float, float, float]]
    ) -> tuple[FloatArray, FloatArray]:
        """Return what inoculum and feed of every dose give in the end. Shape (doses, 3) each."""
        own = [total(dose.inoculum_VS_range, self.inoculum_literature) for dose in self.doses]
        fed = [
            total(dose.sample_VS_range, sample.literature)
            for dose, sample in zip(self.doses[1:], self.samples, strict=True)
        ]
        return np.array(own), np.array([(0.0, 0.0, 0.0), *fed])


def literature_of(
    asked: MaterialRequest, literature: Mapping[str, LiteratureFeed]
) -> LiteratureFeed | None:
    """Return the literature feed that a material names, or whose name it bears."""
    if asked.like is not None:
        return literature.get(asked.like.strip().lower())
    if asked.material.role == "control":
        return literature[CELLULOSE]
    if asked.material.role == "inoculum":
        return literature[INOCULUM]
    return literature.get(asked.material.name.strip().lower())


def missing_materials(
    request: PlanRequest, literature: Mapping[str, LiteratureFeed]
) -> tuple[str, ...]:
    """Return one line for each thing without which no jar can be dosed."""
    roles = [w.material.role for w in request.materials]
    lines = []
    found = roles.count("inoculum")
    if found != 1:
        lines.append(f"a plan needs one material with the role “inoculum”, found {found}")
    if "substrate" not in roles:
        lines.append("a plan needs at least one material with the role “substrate”, found none")
    known = ", ".join(sorted(n for n, f in literature.items() if f.VS is not None))
    for asked in request.materials:
        name, feed = asked.material.name, literature_of(asked, literature)
        if asked.like is not None and feed is None:
            near = _nearest_names(asked.like, literature)
            first = f"write {' or '.join(f'“{one}”' for one in near)}; " if near else ""
            lines.append(
                f"material {name}: no literature feed is called “{asked.like}”; {first}there are: "
                f"{', '.join(sorted(literature))}"
            )
        elif solids_for_dosing(asked.material, feed) is None:
            lines.append(
                f"material {name}: its VS is not given; weigh crucibles, or name in “like” a "
                f"feed whose range may stand in: {known}"
            )
    return tuple(lines)


def _nearest_names(asked: str, literature: Mapping[str, LiteratureFeed]) -> list[str]:
    """Return the feeds whose names come nearest to what was written, at most three."""
    words = set(re.findall(r"[^\W\d_]{3,}", asked.lower()))
    shared = {name: len(words & set(re.findall(r"[^\W\d_]{3,}", name))) for name in literature}
    alike = sorted((n for n, count in shared.items() if count), key=lambda n: -shared[n])
    most = [name for name in alike if shared[name] == shared[alike[0]]]
    return (most or difflib.get_close_matches(asked.lower(), literature, 3, 0.6))[:3]


def make_draft(request: PlanRequest, literature: Mapping[str, LiteratureFeed]) -> Draft:
    """Return the doses that follow from request for which `missing_materials` finds nothing."""
    inoculum = next(w for w in request.materials if w.material.role == "inoculum")
    found = literature_of(inoculum, literature)
    inoculum_literature = literature[INOCULUM] if found is None else found
    solids = solids_for_dosing(inoculum.material, inoculum_literature)
    if solids is None:
        raise ValueError("the inoculum has no VS to dose by")
    samples = _samples(request, literature)
    pairs = [(s.ratio, s.solids) for s in samples]
    liquid = liquid_mL(request, solids, pairs)
    inoculum_g = inoculum_per_jar_g(request, liquid, solids, pairs)
    jar = (inoculum_g, liquid, request.jar_volume_mL, request.scale_g, solids)
    blank = dose(inoculum.material.name, "blank", *jar, None)
    others = tuple(dose(s.name, s.role, *jar, (s.ratio, s.solids)) for s in samples)
    return Draft(
        request=request,
        inoculum=inoculum,
        inoculum_solids=solids,
        inoculum_literature=inoculum_literature,
        samples=samples,
        liquid_mL=liquid,
        inoculum_g=inoculum_g,
        doses=(blank, *others),
        counts=(request.planned_blanks, *(s.jars for s in samples)),
    )


def _samples(
    request: PlanRequest, literature: Mapping[str, LiteratureFeed]
) -> tuple[DosedMaterial, ...]:
    given = [w for w in request.materials if w.material.role in ("control", "substrate")]
    if request.planned_control and all(w.material.role != "control" for w in given):
        given.append(cellulose_request(literature))
    if not request.planned_control:
        given = [w for w in given if w.material.role != "control"]
    samples = []
    for asked in sorted(given, key=lambda w: w.material.role != "control"):
        feed = literature_of(asked, literature)
        solids = solids_for_dosing(asked.material, feed)
        if solids is None:
            raise ValueError(f"{asked.material.name} has no VS to dose by")
        ratio = asked.inoculum_to_substrate or request.inoculum_to_substrate
        samples.append(
            DosedMaterial(
                asked,
                asked.material.role,
                ratio,
                solids,
                literature[UNKNOWN_FEED] if feed is None else feed,
                request.planned_jars,
            )
        )
    return tuple(samples)


def cellulose_request(literature: Mapping[str, LiteratureFeed]) -> MaterialRequest:
    """Return the control that a plan adds where the request holds none: VS as documents 303/304."""
    VS = literature[CELLULOSE].VS
    material = Material(
        name=CELLULOSE,
        role="control",
        VS=None if VS is None else VS.middle,
        solids_from="documents 303 and 304, not measured",
    )
    return MaterialRequest(material, like=CELLULOSE)


def assumed_shares(draft: Draft) -> dict[str, LiteratureRange]:
    """Return the methane share of each material's kind where nobody finds it; else empty."""
    if draft.request.methane_known_by != "none" or draft.request.measured == "methane volume":
        return {}
    kinds = [(draft.inoculum.material, draft.inoculum_literature)]
    kinds += [(sample.asked.material, sample.literature) for sample in draft.samples]
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
        if sample.role == "substrate" and draft.request.least_feed_g / feed_g > worst:
            worst, name = draft.request.least_feed_g / feed_g, sample.name
            why = (
                f"{feed_g:.2f} g in a jar, at least {draft.request.least_feed_g:g} g was asked for"
            )
    return worst, name, why
