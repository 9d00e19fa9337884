"""Which feed is better, inside a trial and across trials, chosen in the page."""

from __future__ import annotations

from typing import Any

from flask import Blueprint, Response, abort, render_template, request, url_for

from bmp.page.pictures import served_page
from bmp.page.places import Place
from bmp.page.site import place_or_404, site
from bmp.page.so_far import alone

pages = Blueprint("compare", __name__)


@pages.get("/compare")
def choose() -> Any:
    """Ask which trials, and say in sentences what comes out for those chosen."""
    chosen = request.args.getlist("trial")
    places = [place_or_404(name) for name in chosen]
    problems = [f"{p.name}: {words}" for p in places if (words := _why_not(p))]
    sentences = [] if problems else _sentences(places)
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


@pages.get("/comparison")
def comparison() -> Response:
    """Show the whole comparison of the chosen trials, as `bmp compare` writes it."""
    from bmp.report.compare_page import comparison_page

    places = [place_or_404(name) for name in request.args.getlist("trial")]
    if not places:
        abort(422, "choose at least one trial")
    if any(_why_not(place) for place in places):
        abort(409, "one of these trials cannot be compared yet")
    found, across = _compared(places)
    with alone():
        page = comparison_page(found, [place.name for place in places], across)
    html, policy = served_page(page, (url_for("compare.choose"), "Back to the choice"))
    return Response(html, mimetype="text/html", headers={"Content-Security-Policy": policy})


def _compared(places: list[Place]) -> tuple[list[Any], Any]:
    """Return the comparison inside each trial, and across them where there are several."""
    from bmp.compare.whole import compare_across, compare_trial

    found = []
    for place in places:
        done = site().analyses.of(place).results
        found.append(
            compare_trial(
                done.trial, done.gas, done.curves, done.yields, done.fits, name=place.name
            )
        )
    return found, compare_across(found) if len(found) > 1 else None


def _sentences(places: list[Place]) -> list[str]:
    from bmp.compare import sentence

    if not places:
        return []
    found, across = _compared(places)
    heads = [f"In {place.name}: " if across else "" for place in places]
    said = [
        head + sentence(one)
        for head, trial in zip(heads, found, strict=True)
        if trial.first
        for one in trial.first.comparisons
    ]
    said += [sentence(one) for one in across.family.comparisons] if across else []
    none = [
        f"{p.name}: nothing is compared: {one.why_none}."
        for p, one in zip(places, found, strict=True)
        if one.why_none
    ]
    return [*said, *none]
