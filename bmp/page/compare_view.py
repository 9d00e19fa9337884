"""Which feed is better, inside a trial and across trials, chosen in the page."""

from __future__ import annotations

from importlib.util import find_spec
from typing import Any

from flask import Blueprint, Response, abort, render_template, request

from bmp.page.pictures import served_page
from bmp.page.places import Place
from bmp.page.site import place_or_404, site

pages = Blueprint("compare", __name__)


def is_there() -> bool:
    """Tell whether this installation compares feeds."""
    return find_spec("bmp.compare") is not None


@pages.get("/compare")
def choose() -> Any:
    """Ask which trials, or show the comparison of those chosen."""
    if not is_there():
        abort(404, "comparison is not installed")
    chosen = request.args.getlist("trial")
    places = [place_or_404(name) for name in chosen]
    problems = [f"{p.name}: {words}" for p in places if (words := _why_not(p))]
    return render_template("compare.html", trials=site().places(), chosen=chosen, problems=problems)


def _why_not(place: Place) -> str:
    found = site().analyses.of(place)
    if found.empty:
        return "no reading was taken yet"
    return str(found.problems[0]) if found.problems else ""


@pages.get("/comparison")
def comparison() -> Response:
    """Show the comparison of the chosen trials."""
    if not is_there():
        abort(404, "comparison is not installed")
    places = [place_or_404(name) for name in request.args.getlist("trial")]
    if not places:
        abort(422, "choose at least one trial")
    html, policy = served_page(_compared(places))
    return Response(html, mimetype="text/html", headers={"Content-Security-Policy": policy})


def _compared(places: list[Place]) -> str:
    raise NotImplementedError
