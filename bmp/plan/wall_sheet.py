"""The sheet for the wall: one self-contained page to print on A4 and tick off."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path

from bmp.plan.logbook import WEIGH_WHEN_CLOSED, by_position, expected_at, read_words, when
from bmp.plan.plan import Plan


def wall_sheet_html(plan: Plan) -> str:
    """Return the wall sheet as one HTML page; everything a person wrote is escaped."""
    from jinja2 import Environment, FileSystemLoader, StrictUndefined

    environment = Environment(
        loader=FileSystemLoader(Path(__file__).parent),
        autoescape=True,
        undefined=StrictUndefined,
        keep_trailing_newline=True,
    )
    closed = plan.wishes.outlet == "closed"
    template = environment.get_template("wall_sheet.html.j2")
    return template.render(
        plan=plan,
        jars=by_position(plan),
        headspace=plan.draft.doses[0].headspace_mL,
        closed=closed,
        read=read_words(plan),
        weigh=WEIGH_WHEN_CLOSED if plan.weighed_when_closed else "",
        rounds=[(one, _words(when(one)), *expected_at(plan, one)) for one in plan.rounds],
        facts=_facts(plan),
        grams=grams,
    )


def grams(mass_g: float) -> str:
    """Return a mass with the digits and the unit in which it is fetched."""
    return f"{mass_g / 1000:.3g} kg" if mass_g >= 1000 else f"{mass_g:.3g} g"


def _words(at: str | datetime) -> str:
    return at if isinstance(at, str) else at.strftime("%a %Y-%m-%d %H:%M")


def _facts(plan: Plan) -> list[tuple[str, str]]:
    wishes = plan.wishes
    warm = wishes.units.shown("temperature", wishes.incubation_temperature_C)
    start = "on the day the jars are closed" if wishes.started is None else _words(wishes.started)
    outlet = "open outlet"
    if wishes.outlet == "closed":
        rated = wishes.units.shown("gauge", wishes.vessel_rating_kPa or 0.0)
        outlet = f"closed, rated {rated:.3g} {wishes.units.gauge} gauge"
    vessel = f"{wishes.vessel} of {wishes.jar_volume_mL:g} mL, {outlet}"
    return [
        ("start", start),
        ("days", f"{wishes.days:g}"),
        ("jars at", f"{warm:.3g} {wishes.units.temperature}"),
        ("vessel", vessel),
        ("measured", f"by {wishes.measured}"),
    ]
