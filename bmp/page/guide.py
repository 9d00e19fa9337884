"""The guide as it was rendered when the tool was installed."""

from __future__ import annotations

from pathlib import Path
from typing import Final

from flask import Blueprint, Response, abort, send_from_directory

pages = Blueprint("guide", __name__)

RENDERED: Final = Path(__file__).parents[1] / "guide" / "rendered"
NOT_RENDERED: Final = "The guide is not rendered here. Type: python -m bmp.guide.render"


@pages.get("/guide/")
def contents() -> Response:
    """Show the guide's first page."""
    return part("index.html")


@pages.get("/guide/<path:name>")
def part(name: str) -> Response:
    """Show one page of the guide, or a file that it needs."""
    if not (RENDERED / "index.html").is_file():
        abort(404, NOT_RENDERED)
    return send_from_directory(RENDERED, name)


def page_of(check: str) -> str:
    """Return the page of the guide that speaks of a check of the readings."""
    from bmp.judge.reading_errors import READING_ERRORS

    pages_of_errors = {one.name: f"reading_errors/{one.page}.html" for one in READING_ERRORS}
    return pages_of_errors.get(check, "validity.html")
