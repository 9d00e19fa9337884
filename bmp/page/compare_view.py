"""Which feed is better, inside a trial and across trials, chosen in the page."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from flask import Blueprint, Response, abort, render_template, request, url_for

from bmp.page.folder_state import place_or_404, site
from bmp.page.pictures import served_page
from bmp.page.trial_folders import Place
from bmp.page.trial_view import wanted_units

pages = Blueprint("compare", __name__)


@pages.get("/compare")
def choose() -> Any:
    """Ask which trials, and say in sentences what comes out for those chosen."""
    chosen = request.args.getlist("trial")
    places = [place_or_404(name) for name in chosen]
    problems = [f"{p.name}: {words}" for p in places if (words := _why_not(p))]
    ready = bool(places) and not problems
    sentences = site().analyses.comparison(places, _units(places))[1] if ready else []
    return render_template(
        "compare.html",
        trials=site().places(),
        chosen=chosen,
        problems=problems,
        sentences=sentences,
    )


def _why_not(place: Place) -> str:
    found = site().analyses.of(place)
    if found.empty:
        return "no reading was taken yet"
    return str(found.problems[0]) if found.problems else ""


def _units(places: Sequence[Place]) -> tuple[str, ...]:
    return wanted_units([site().analyses.of(place).results for place in places])


@pages.get("/comparison")
def comparison() -> Response:
    """Show the whole comparison of the chosen trials, as `bmp compare` writes it."""
    places = [place_or_404(name) for name in request.args.getlist("trial")]
    if not places:
        abort(422, "Choose at least one trial.")
    if any(_why_not(place) for place in places):
        abort(409, "One of these trials cannot be compared yet.")
    page, _ = site().analyses.comparison(places, _units(places))
    html, policy = served_page(page, (url_for("compare.choose"), "Back to the choice"))
    return Response(html, mimetype="text/html", headers={"Content-Security-Policy": policy})
