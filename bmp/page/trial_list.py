"""The first pages: the trials of the folder, a new one, an upload."""

from __future__ import annotations

import io
from pathlib import Path
from typing import Any
from urllib.parse import quote, unquote

from flask import (
    Blueprint,
    abort,
    current_app,
    make_response,
    redirect,
    render_template,
    request,
    send_file,
    url_for,
)

from bmp.page.demo import lay_demo
from bmp.page.entrance import same_code
from bmp.page.folder_state import site
from bmp.page.guard import Access
from bmp.page.own_units import CHOICES, COOKIE, as_cookie, chosen
from bmp.page.readings_table import times, waiting
from bmp.page.reasons import reason
from bmp.page.trial_care import away, bring_back
from bmp.page.trial_folders import Place, keep_upload, lay_files
from bmp.page.trial_setup import setting
from bmp.problem import UnusableInput

pages = Blueprint("front", __name__)
LOGBOOKS = ("volume", "methane volume", "pressure", "mass")
"""Ways of measuring that there is an empty logbook for."""
HALF_A_YEAR_S = 15_552_000


@pages.get("/")
def trials() -> str:
    """Show the trials."""
    found = site().places()
    names = [place.name for place in found if not place.is_workbook]
    put_away = [] if site().only else away(site().root)
    return render_template(
        "trials.html", trials=[_card(p) for p in found], names=names, away=put_away, ways=LOGBOOKS
    )


def _card(place: Place) -> dict[str, Any]:
    """Return what the list says of a trial; one that cannot be opened is one line there."""
    card: dict[str, Any] = {"place": place, "title": place.name, "problem": ""}
    if place.refused:
        return card | {"problem": place.refused}
    if place.is_workbook:
        return card
    try:
        trial = site().open(place)
        return card | {
            "title": setting(place.path).setup.title or place.name,
            "times": times(trial.sheet),
            "jars": len(trial.shelf()),
            "waiting": waiting(trial.sheet)[:1],
        }
    except UnusableInput as unusable:
        return card | {"problem": str(unusable.problems[0])}
    except Exception as error:
        # whatever a stranger's folder holds, the other trials are shown
        current_app.logger.exception("a trial cannot be opened")
        return card | {"problem": f"it cannot be opened: {reason(error)}"}


@pages.route("/enter", methods=["GET", "POST"])
def enter() -> Any:
    """Let a browser in that shows the code."""
    access: Access = current_app.extensions["bmp-access"]
    shown = request.values.get("code", "")
    if not same_code(shown, access.code):
        words = "This is not the code that bmp page printed." if shown else ""
        return render_template("code.html", words=words), 401
    # a page, not a redirect: where it leads is the first request that is this page's own
    response = make_response(render_template("enter.html"))
    response.set_cookie(
        access.cookie, access.code, max_age=HALF_A_YEAR_S, httponly=True, samesite="Strict"
    )
    return response


@pages.route("/units", methods=["GET", "POST"])
def units() -> Any:
    """Let a person choose the units of their instruments; this browser keeps them."""
    known = chosen(unquote(request.cookies.get(COOKIE, "")))
    if request.method == "GET":
        return render_template("units.html", choices=CHOICES, known=known)
    typed = {kind: request.form.get(kind, "") for kind in CHOICES}
    picked = {kind: unit for kind, unit in typed.items() if unit in CHOICES[kind]}
    then = "front.new" if request.args.get("then") == "new" else "front.trials"
    response = redirect(url_for(then), 303)
    response.set_cookie(
        COOKIE, quote(as_cookie(picked)), max_age=HALF_A_YEAR_S * 4, samesite="Strict"
    )
    return response


@pages.post("/logbook")
def logbook() -> Any:
    """Send an empty logbook for a way of measuring, in the units of this browser."""
    from bmp.page.planning import empty_logbook

    way = request.form.get("way", "")
    if way not in LOGBOOKS:
        abort(422, "Choose how you measure first.")
    content = site().run(empty_logbook, way, chosen(unquote(request.cookies.get(COOKIE, ""))))
    name = f"logbook {way}.xlsx"
    return send_file(io.BytesIO(content), as_attachment=True, download_name=name)


@pages.post("/demo")
def demo() -> Any:
    """Lay an invented trial into the folder, to look at."""
    place = lay_demo(site().root)
    site().show(place.name)
    return redirect(url_for("trial.page", name=place.name), 303)


@pages.post("/back")
def back() -> Any:
    """Bring a trial back that was put away."""
    wanted = request.form.get("name", "")
    place = next((one for one in away(site().root) if one.name == wanted), None)
    if place is None:
        abort(404, "There is no trial of this name among those put away.")
    return redirect(url_for("trial.page", name=bring_back(place, site().root).name), 303)


@pages.route("/new", methods=["GET", "POST"])
def new() -> Any:
    """Ask what is to be tried, and plan it."""
    from bmp.page.planning import Impossible, new_trial
    from bmp.page.questions import answered, crucibles, place_problems, plan_form, questions_in
    from bmp.plan.literature import read_literature

    asked = request.method == "POST"
    own = chosen(unquote(request.cookies.get(COOKIE, "")))
    form = plan_form(request.form if asked else None, read_literature(), own)
    left: list[str] = []
    nearest = ""
    if asked:
        items, materials = answered(form)
        try:
            take = request.form.get("do") == "nearest"
            place = new_trial(site().root, items, materials, take, crucibles(form))
            site().show(place.name)
            return redirect(url_for("trial.plan", name=place.name), 303)
        except Impossible as impossible:
            left, nearest = place_problems(form, impossible.problems), impossible.nearest
    page = render_template(
        "new.html",
        form=form,
        questions=questions_in(own),
        problems=left,
        nearest=nearest,
        asked=asked,
    )
    return page, 422 if asked else 200


@pages.post("/upload")
def upload() -> Any:
    """Keep what was uploaded as it is: a workbook, a sheet of one's own, or a trial's tables."""
    files = {}
    for file in request.files.getlist("workbook"):
        with file.stream as stream:
            files[Path((file.filename or "").replace("\\", "/")).name] = stream.read()
    files.pop("", None)
    if not files:
        abort(422, "Choose a workbook (.xlsx) first.")
    if any(name.lower() == "trial.csv" for name in files):
        try:
            place = lay_files(site().root, files)
        except UnusableInput as unusable:
            abort(422, f"{unusable.problems[0]}. Nothing was kept.")
        site().show(place.name)
        return _then(url_for("trial.page", name=place.name))
    if len(files) > 1:
        words = "Several files are a trial only if they are its tables: trial.csv and the others. "
        abort(422, f"{words}Nothing was kept. Or upload one sheet at a time.")
    ((name, content),) = files.items()
    is_text = name.lower().endswith((".csv", ".txt", ".tsv"))
    own = is_text or request.form.get("own") == "yes"
    if is_text:
        from bmp.page.own_sheet import as_workbook

        name, content = f"{Path(name).stem}.xlsx", as_workbook(name, content, site().root)
    if not name.lower().endswith(".xlsx") or not content.startswith(b"PK"):
        abort(422, f"“{name[:60]}” is no .xlsx workbook, and was not kept. Save it as .xlsx.")
    path = keep_upload(site().root, name, content)
    site().show(path.name)
    return _then(url_for("own.ask" if own else "trial.page", name=path.name))


def _then(where: str) -> Any:
    """Lead to a page, or tell a script where it is."""
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
