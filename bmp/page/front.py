"""The first pages: the trials of the folder, a new one, an upload."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from flask import (
    Blueprint,
    abort,
    current_app,
    make_response,
    redirect,
    render_template,
    request,
    url_for,
)

from bmp.page.guard import COOKIE
from bmp.page.places import Place, keep_upload
from bmp.page.setting import setting
from bmp.page.sheet import times, waiting
from bmp.page.site import site
from bmp.problem import UnusableInput

pages = Blueprint("front", __name__)


@pages.get("/")
def trials() -> str:
    """Show the trials."""
    return render_template("trials.html", trials=[_card(p) for p in site().places()])


def _card(place: Place) -> dict[str, Any]:
    card: dict[str, Any] = {"place": place, "title": place.name, "times": [], "jars": 0}
    if place.is_workbook:
        return card
    try:
        trial = site().open(place)
    except UnusableInput as unusable:
        return card | {"problem": str(unusable.problems[0])}
    return card | {
        "title": setting(place.path).setup.title,
        "times": times(trial.sheet),
        "jars": len(trial.shelf()),
        "waiting": waiting(trial.sheet)[:1],
    }


@pages.get("/enter")
def enter() -> Any:
    """Let a browser in that came by the link with the token."""
    import hmac

    token = str(current_app.config.get("TOKEN", ""))
    shown = request.args.get("token", "")
    if not token or not hmac.compare_digest(shown.encode(), token.encode()):
        abort(401, "this link is not the one that bmp page printed")
    # a page, not a redirect: its link is the first request that is this page's own
    response = make_response(render_template("enter.html"))
    response.set_cookie(COOKIE, token, httponly=True, samesite="Strict")
    return response


@pages.route("/new", methods=["GET", "POST"])
def new() -> Any:
    """Ask what is to be tried, and plan it."""
    from bmp.page.planning import Impossible, new_trial
    from bmp.page.questions import QUESTIONS, answered, place_problems, plan_form
    from bmp.plan.literature import read_literature

    asked = request.method == "POST"
    form = plan_form(request.form if asked else None, read_literature())
    left: list[str] = []
    nearest = ""
    if asked:
        items, materials = answered(form)
        try:
            take = request.form.get("do") == "nearest"
            place = new_trial(site().root, items, materials, take)
            return redirect(url_for("trial.plan", name=place.name), 303)
        except Impossible as impossible:
            left, nearest = place_problems(form, impossible.problems), impossible.nearest
    page = render_template(
        "new.html", form=form, questions=QUESTIONS, problems=left, nearest=nearest, asked=asked
    )
    return page, 422 if asked else 200


@pages.post("/upload")
def upload() -> Any:
    """Keep a workbook as it was handed in, and show what it says."""
    file = request.files.get("workbook")
    if file is None or not file.filename:
        abort(422, "choose a workbook (.xlsx) first")
    with file.stream as stream:
        content = stream.read()
    name = Path(file.filename.replace("\\", "/")).name
    if not name.lower().endswith(".xlsx") or not content.startswith(b"PK"):
        abort(422, f"“{name[:60]}” is no .xlsx workbook, and was not kept: save it as .xlsx")
    path = keep_upload(site().root, name, content)
    where = url_for("trial.page", name=path.name)
    if request.accept_mimetypes.best == "application/json":
        return {"where": where}
    return redirect(where, 303)


@pages.get("/favicon.ico")
def icon() -> Any:
    """Send the page's icon to browsers that ask for it by its old name."""
    return redirect(url_for("static", filename="jar.svg"))


@pages.get("/report.css")
def report_style() -> Any:
    """Send the report's style sheet: the page has the same looks."""
    from importlib.resources import files

    text = (files("bmp.report") / "templates" / "style.css").read_text(encoding="utf-8")
    return current_app.response_class(text, mimetype="text/css")
