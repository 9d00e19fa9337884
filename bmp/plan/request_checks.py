"""What in a request makes no sense or is impossible before a single jar is drafted."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Mapping
from dataclasses import fields
from typing import Any

from bmp.limits import POSSIBLE
from bmp.plan.dosing import D304, LARGEST_FILL
from bmp.plan.draft import missing_materials
from bmp.plan.literature import LiteratureFeed
from bmp.plan.plan_request import OUTLETS, PLACES, VESSELS, MaterialRequest, PlanRequest
from bmp.plan.refusal import Refusal
from bmp.trial import Material

# Above this even an open jar foams into its tube: common practice, no source.
LARGEST_OPEN_FILL = 0.8
# Standard BMP Methods document 100 v1.9: jars of each kind when the data are analysed.
LEAST_JARS = 3
PLANNED_MEASURES = ("volume", "methane volume", "pressure", "mass")


def most_fill(request: PlanRequest) -> float:
    """Return the largest share of a jar that may be filled."""
    return LARGEST_FILL if request.outlet == "closed" else LARGEST_OPEN_FILL


def _possible(field: str, item: str) -> tuple[str, str, float, float, str]:
    """Return the row of a quantity that a trial has too."""
    one = POSSIBLE[field]
    return field, item, one.low, one.high, f"{one.unit}, {one.low:g} to {one.high:g}"


_LIMITS: tuple[tuple[str, str, float, float, str], ...] = (
    ("jar_volume_mL", "jar volume", 10, 1e5, "mL, 10 to 100 000"),
    ("fill", "fill", 0.0001, 0.99, "a share of the jar, up to 99 %"),
    ("inoculum_to_substrate", "inoculum to substrate", 0.05, 20, "a ratio by VS, 0.05 to 20"),
    ("substrate_VS_g", "substrate VS", 0.01, 1e4, "g, 0.01 to 10 000"),
    ("least_feed_g", "least feed", 0, 1e4, "g, 0 to 10 000"),
    ("jars_per_material", "jars per material", 1, 100, "a count, 1 to 100"),
    ("blanks", "blanks", 1, 100, "a count, 1 to 100"),
    ("jars_available", "jars available", 1, 10000, "a count, 1 to 10 000"),
    ("scale_g", "scale", 0.0001, 100, "g, 0.0001 to 100"),
    ("days", "days", 1, 400, "1 to 400"),
    ("vessel_rating_kPa", "vessel rating", 1, 5000, "kPa gauge, 1 to 5 000"),
    ("collector_mL", "collector", 10, 1e6, "mL, 10 to 1 000 000"),
    _possible("ambient_kPa", "ambient"),
    _possible("incubation_temperature_C", "incubation temperature"),
    ("room_temperature_C", "room temperature", 0, 50, "°C, 0 to 50"),
    ("expected_rsd", "expected scatter", 0.001, 1, "a relative SD, 0.1 to 100 %"),
)
_CHOICES: tuple[tuple[str, str, tuple[str, ...]], ...] = (
    ("vessel", "vessel", VESSELS),
    ("outlet", "outlet", OUTLETS),
    ("place", "place", PLACES),
    ("measured", "measured", PLANNED_MEASURES),
)


def senseless(request: PlanRequest) -> tuple[Refusal, ...]:
    """Return a refusal for every value outside what it can be."""
    lines = []
    for name, item, low, high, words in _LIMITS:
        value = getattr(request, name)
        if value is not None and not low <= value <= high:
            why = f"{value:g} stands there, right would be {words}"
            lines.append(Refusal(item, why, "", meanwhile=_usual(name)))
    for name, item, allowed in _CHOICES:
        value = getattr(request, name)
        if value not in allowed:
            why = f"{value!r} stands there, right would be {' or '.join(allowed)}"
            lines.append(Refusal(item, why, "", meanwhile=_usual(name)))
    return tuple(lines)


USUAL_JAR_ML = 1000.0
"""Of a jar whose size nobody can make sense of, while the rest of a request is looked at."""


def _usual(name: str) -> Mapping[str, Any]:
    """Return what a field is where nothing is given."""
    if name == "jar_volume_mL":
        return {name: USUAL_JAR_ML}
    return {f.name: f.default for f in fields(PlanRequest) if f.name == name}


def unusable_materials(
    request: PlanRequest, literature: Mapping[str, LiteratureFeed]
) -> tuple[Refusal, ...]:
    """Return a refusal for every material that cannot be dosed as it stands."""
    lines = list(missing_materials(request, literature))
    names = Counter(w.material.name.strip().casefold() for w in request.materials)
    repeated = [f"material {name}: stands there {n} times" for name, n in names.items() if n > 1]
    lines += repeated
    for asked in request.materials:
        VS, TS, name = asked.material.VS, asked.material.TS, asked.material.name
        if VS is not None and not 0 < VS <= 1:
            lines.append(f"material {name}: VS of {100 * VS:g} % of fresh mass cannot be")
        elif VS is not None and TS is not None and VS > TS:
            lines.append(f"material {name}: VS of {100 * VS:g} % is more than TS of {100 * TS:g} %")
        if TS is not None and not 0 < TS <= 1:
            lines.append(f"material {name}: TS of {100 * TS:g} % of fresh mass cannot be")
        ratio = asked.inoculum_to_substrate
        if ratio is not None and not 0.05 <= ratio <= 20:
            lines.append(f"material {name}: a ratio of {ratio:g}; 0.05 to 20 is right")
    bad = {w.material.name for w in request.materials
           if any(line.startswith(f"material {w.material.name}:") for line in lines)}  # fmt: skip
    whole = all(line.startswith("material ") for line in lines)
    stand_in = tuple(_usual_feed(w) if w.material.name in bad else w for w in request.materials)
    meanwhile = {"materials": stand_in} if whole and not repeated else {}
    return tuple(Refusal("materials", line, "", meanwhile=meanwhile) for line in lines)


def _usual_feed(asked: MaterialRequest) -> MaterialRequest:
    """Return a material of which all is as usual, so that the rest of a request is looked at."""
    role, name = asked.material.role, asked.material.name
    return MaterialRequest(Material(name, role, VS=0.02 if role == "inoculum" else 0.2))


def _never_closed(request: PlanRequest) -> Refusal | None:
    """Refuse to close a jar not made for pressure, without a rating, or near pupils."""
    if request.outlet != "closed":
        return None
    measured = "volume" if request.measured == "pressure" else request.measured
    change = {"outlet": "open", "measured": measured}
    instead = "an open outlet into a cylinder or bag" + (
        ", measured by volume" if request.measured == "pressure" else ""
    )
    if request.vessel != "rated bottle":
        why = f"a {request.vessel} is not made for pressure and is never closed"
    elif request.vessel_rating_kPa is None:
        why = "closed, but no vessel rating is stated: without one only an open outlet is planned"
    elif request.place == "school":
        why = "closed glass under pressure is not planned where pupils take part"
    else:
        return None
    return Refusal("outlet", why, instead, change)


def _pressure_needs_closing(request: PlanRequest) -> Refusal | None:
    if request.outlet == "closed" or request.measured != "pressure":
        return None
    why = "by pressure, but an open outlet holds none"
    return Refusal("measured", why, "by volume", {"measured": "volume"})


def _absorber_gives_methane(request: PlanRequest) -> Refusal | None:
    """Refuse an absorber whose gas would be taken for biogas, or that nothing passes."""
    if request.methane_known_by != "absorber" or request.measured == "methane volume":
        return None
    if request.measured == "volume":
        why = "by volume, but behind an absorber the volume is methane alone"
        return Refusal("measured", why, "methane volume", {"measured": "methane volume"})
    why = f"by an absorber, but gas measured by {request.measured} does not pass one"
    return Refusal("methane known by", why, "syringe", {"methane_known_by": "syringe"})


def _fill_leaves_room(request: PlanRequest) -> Refusal | None:
    closed = request.outlet == "closed"
    most = most_fill(request)
    if request.fill is None or request.fill <= most:
        return None
    reason = f"{D304}: closed jars at most half full" if closed else "above it jars foam over"
    why = f"{100 * request.fill:g} % is too full ({reason})"
    return Refusal("fill", why, f"{100 * most:g} %", {"fill": most})


def _enough_jars(request: PlanRequest) -> Refusal | None:
    """Refuse more materials than there are jars for."""
    feeds = [w for w in request.materials if w.material.role == "substrate"]
    have, need = request.jars_available, request.jars_needed
    if have is None or need <= have:
        return None
    why = f"{have} jars are too few for {len(feeds)} feeds and the blanks: {need} are needed"
    best = request.best_that_fits()
    if best is not None:
        jars, blanks, control = best
        change: dict[str, Any] = {"jars_per_material": jars, "blanks": blanks, "control": control}
        words = f"jars per material {jars}, blanks {blanks}, control {'yes' if control else 'no'}"
        return Refusal("jars available", why, words, change)
    kept = have - 1
    if kept < 1:
        return Refusal("jars available", why, f"{need} jars", {"jars_available": need})
    dropped = {w.material.name for w in feeds[kept:]}
    materials = tuple(w for w in request.materials if w.material.name not in dropped)
    change = {"materials": materials, "jars_per_material": 1, "blanks": 1, "control": False}
    words = (
        f"jars per material 1, blanks 1, control no, without {', '.join(sorted(dropped))} in the "
        "table materials"
    )
    return Refusal("jars available", why, words, change)


REQUEST_CHECKS: tuple[Callable[[PlanRequest], Refusal | None], ...] = (
    _never_closed,
    _pressure_needs_closing,
    _absorber_gives_methane,
    _fill_leaves_room,
    _enough_jars,
)
