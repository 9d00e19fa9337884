"""The sheet for the wall: one self-contained page to print on A4 and tick off."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path

from bmp.plan.logbook import by_position, expected_at, when
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
        unit="gauge [kPa]" if closed else "volume [mL]",
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
    start = "on the day the jars are closed" if wishes.started is None else _words(wishes.started)
    outlet = "open outlet"
    if wishes.outlet == "closed":
        outlet = f"closed, rated {wishes.vessel_rating_kPa:g} kPa gauge"
    vessel = f"{wishes.vessel} of {wishes.jar_volume_mL:g} mL, {outlet}"
    return [
        ("start", start),
        ("days", f"{wishes.days:g}"),
        ("jars at", f"{wishes.incubation_temperature_C:g} °C"),
        ("vessel", vessel),
        ("measured", f"by {wishes.measured}"),
    ]
