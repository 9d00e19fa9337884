"""A whole plan from the request, or a refusal with the nearest possible one."""

from __future__ import annotations

import dataclasses
import hashlib
import json
import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from bmp.cautions import Caution, cautions_for
from bmp.plan.advice import advise
from bmp.plan.dosing import Dose, PlannedJar, in_own_unit, place_jars
from bmp.plan.draft import Draft
from bmp.plan.jar_checks import needed_g
from bmp.plan.literature import LiteratureFeed
from bmp.plan.plan_request import PlanRequest
from bmp.plan.possible import nearest, refusals
from bmp.plan.power import design_of, detectable_difference, just_significant
from bmp.plan.reading_rounds import Expectation, Round, expectations, fitting_draft, plan_rounds
from bmp.plan.refusal import PlanRefused

# What to fetch beyond the doses: spills, crucibles, a jar to do again. Common practice, no source.
RESERVE = 0.2
FORMAT = "bmp-plan-1"


@dataclass(frozen=True)
class Amount:
    """Fresh mass of one material, or of water, for the whole trial."""

    material: str
    dosed_g: float
    fetch_g: float
    """With `RESERVE`, rounded up to two digits."""


@dataclass(frozen=True)
class Plan:
    """Everything to do, in the order of doing it."""

    request: PlanRequest
    seed: str
    """Twelve hexadecimal digits of the SHA-256 of the request: decides the positions."""
    draft: Draft
    jars: tuple[PlannedJar, ...]
    """By name; `position` is the place on the shelf."""
    amounts: tuple[Amount, ...]
    rounds: tuple[Round, ...]
    expected: tuple[Expectation, ...]
    detectable_difference: float | None
    """Relative difference of two feeds that is found four times in five; `None` with one feed, or
    one jar of each."""
    detectable_borrowed: float | None
    """The same with borrowed scatter; `None` with one feed."""
    just_significant: float | None
    watch: tuple[str, ...]
    """Plain sentences: what to look after, with figures."""
    assumed: tuple[str, ...]
    """Plain sentences: what was not given."""
    cautions: tuple[Caution, ...]

    @property
    def weighed_when_closed(self) -> bool:
        """Whether the first round is the moment of closing: an open jar is losing gas from then."""
        return self.request.measured == "mass" and self.request.outlet == "open"


def plan_trial(request: PlanRequest, literature: Mapping[str, LiteratureFeed]) -> Plan:
    """Return the plan of a trial.

    Parameters
    ----------
    request
        What the person has and wants.
    literature
        Feeds by name, from `bmp.plan.literature.read_literature`.

    Raises
    ------
    PlanRefused
        Where the request is impossible, with every reason and the nearest possible request.
    """
    given_up: tuple[str, ...] = ()
    found = refusals(request, literature)
    if found and all(one.item == "scale" and "control" in one.change for one in found):
        # nobody asked for a control, and what the scale can show allows none
        request = dataclasses.replace(request, control=False)
        given_up, found = (f"no control, because {found[0].why}",), refusals(request, literature)
    if found:
        possible, met = nearest(request, literature)
        later = (dataclasses.replace(one, why=f"with that changed, {one.why}") for one in met)
        raise PlanRefused((*found, *later), possible)
    draft = fitting_draft(request, literature)
    rounds = plan_rounds(draft)
    if rounds is None:
        raise AssertionError("refusals() let pass a vessel that cannot bear its gas")
    seed = seed_of(request)
    placed = place_jars(draft.doses, draft.counts, seed)
    expected = expectations(draft, rounds)
    design, lent = design_of(draft), design_of(draft, borrowed=True)
    watch, assumed = advise(draft, rounds)
    return Plan(
        request=request,
        seed=seed,
        draft=draft,
        jars=tuple(sorted(placed, key=lambda j: _name_key(j.name))),
        amounts=_amounts(draft),
        rounds=rounds,
        expected=expected,
        detectable_difference=None if design is None else detectable_difference(design),
        detectable_borrowed=None if lent is None else detectable_difference(lent),
        just_significant=None if design is None else just_significant(design),
        watch=watch,
        assumed=(*given_up, *assumed),
        cautions=cautions_for(hazards_of(draft)),
    )


def _name_key(name: str) -> tuple[str, int]:
    letters = name.rstrip("0123456789")
    return letters, int(name[len(letters) :])


def seed_of(request: PlanRequest) -> str:
    """Return twelve hexadecimal digits that the content of the request alone decides."""
    content = json.dumps(dataclasses.asdict(request), sort_keys=True, default=str)
    return hashlib.sha256(content.encode()).hexdigest()[:12]


def _amounts(draft: Draft) -> tuple[Amount, ...]:
    water = sum(d.water_g * n for d, n in zip(draft.doses, draft.counts, strict=True))
    dosed = {**needed_g(draft), "water": water}
    return tuple(
        Amount(m, round(g, 2), _two_digits_up(g * (1 + RESERVE))) for m, g in dosed.items()
    )


def _two_digits_up(mass_g: float) -> float:
    if mass_g <= 0:
        return 0.0
    step = 10.0 ** (math.floor(math.log10(mass_g)) - 1)
    return round(math.ceil(mass_g / step - 1e-9) * step, 6)


def hazards_of(draft: Draft) -> set[str]:
    """Return what of `bmp.cautions.HAZARDS` the planned trial brings."""
    request = draft.request
    hazards = {"jar", "manure or meat"}
    if request.outlet == "closed":
        hazards.add("closed glass")
    else:
        hazards |= {"open outlet", "gas store"}
    if request.vessel == "household jar":
        hazards.add("household jar")
    if request.measured == "methane volume" or request.methane_known_by == "syringe":
        hazards.add("caustic")
    if not all(s.solids.measured for s in draft.samples) or not draft.inoculum_solids.measured:
        hazards.add("crucibles")
    if request.place == "school":
        hazards.add("school")
    return hazards


def dosing_lines(plan: Plan) -> list[str]:
    """Return the dosing table as lines of text: what goes into the jars of each material."""
    names: dict[Dose, list[str]] = {}
    for jar in plan.jars:
        names.setdefault(jar.dose, []).append(jar.name)
    units = plan.request.units
    masses = (f"{name} [{units.mass}]" for name in ("inoculum", "sample", "water"))
    header = ("jars", "material", *masses)
    rows = [header]
    for dose, jars in names.items():
        span = jars[0] if len(jars) == 1 else f"{jars[0]} to {jars[-1]}"
        material = "blank (inoculum alone)" if dose.role == "blank" else dose.material
        inoculum, sample, water = (f"{mass:g}" for mass in in_own_unit(units, dose))
        rows.append((span, material, inoculum, sample, water))
    widths = [max(len(row[column]) for row in rows) for column in range(len(header))]
    return [
        "  ".join(
            text.ljust(width) if column < 2 else text.rjust(width)
            for column, (text, width) in enumerate(zip(row, widths, strict=True))
        ).rstrip()
        for row in rows
    ]


def to_dict(plan: Plan) -> dict[str, Any]:
    """Return the plan as `plan.json` holds it; what is not known is `None`."""
    found = plan.detectable_difference
    significant = plan.just_significant
    return {
        "format": FORMAT,
        "title": plan.request.title,
        "seed": plan.seed,
        "started": None if plan.request.started is None else plan.request.started.isoformat(),
        "jars": [_jar_dict(jar) for jar in plan.jars],
        "fetch": [dataclasses.asdict(a) for a in plan.amounts],
        "rounds": [
            {
                "round": r.number,
                "time_d": r.time_d,
                "hours_since_last": 24 * r.since_d,
                "at": None if r.at is None else r.at.isoformat(),
            }
            for r in plan.rounds
        ],
        "expected": [_expected_dict(e) for e in plan.expected],
        "detectable_difference_percent": None if found is None else 100 * found,
        "detectable_difference_borrowed_percent": None
        if plan.detectable_borrowed is None
        else 100 * plan.detectable_borrowed,
        "just_significant_percent": None if significant is None else 100 * significant,
        "watch": list(plan.watch),
        "assumed": list(plan.assumed),
        "cautions": [c.to_dict() for c in plan.cautions],
    }


def _jar_dict(jar: PlannedJar) -> dict[str, Any]:
    dose = jar.dose
    return {
        "jar": jar.name,
        "position": jar.position,
        "material": dose.material,
        "role": dose.role,
        "inoculum_g": dose.inoculum_g,
        "sample_g": dose.sample_g,
        "water_g": dose.water_g,
        "headspace_mL": dose.headspace_mL,
        "sample_VS_g": dose.sample_VS_g,
        "inoculum_to_substrate": dose.ratio,
        "inoculum_to_substrate_low": dose.ratio_low,
        "inoculum_to_substrate_high": dose.ratio_high,
    }


def _expected_dict(one: Expectation) -> dict[str, Any]:
    def three(values: tuple[float, float, float] | None) -> dict[str, float] | None:
        return None if values is None else dict(zip(("low", "middle", "high"), values, strict=True))

    return {
        "material": one.material,
        "time_d": one.time_d,
        "hours": 24 * one.since_d,
        "biogas_NmL": three(one.biogas_NmL),
        "gauge_kPa": three(one.gauge_kPa),
        "volume_mL": three(one.volume_mL),
        "lost_g": three(one.lost_g),
    }
