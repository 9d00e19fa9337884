"""A trial: how it stands, its report, its files, what was changed."""

from __future__ import annotations

import io
import itertools
import mimetypes
import re
import zipfile
from collections.abc import Sequence
from pathlib import Path
from typing import Any, Final
from urllib.parse import unquote

from flask import Blueprint, Response, abort, redirect, render_template, request, send_file, url_for
from markupsafe import Markup

from bmp.page import planning
from bmp.page.conflict import Conflict
from bmp.page.folder_state import folder_or_404, place_or_404, site
from bmp.page.own_units import COOKIE, chosen, of_results
from bmp.page.pictures import FIGURE, served_page
from bmp.page.readings_table import keys_in_order, rows_named, waiting
from bmp.page.readings_view import asked_about
from bmp.page.results_to_date import SoFar, series_to_date
from bmp.page.trial_care import copy, put_away, rename
from bmp.page.trial_folders import PLAN, Place
from bmp.page.trial_setup import setting
from bmp.problem import UnusableInput
from bmp.report.page_beside import page_beside

pages = Blueprint("trial", __name__)

DOWNLOADS: Final = {
    "results.xlsx": "results as a workbook",
    "report.html": "the report as one page",
    "pictures.zip": "all pictures (PNG and SVG)",
    "curves.csv": "curves as a table",
    "results.json": "results for programs",
}
SCROLLING: Final = '<div class="wide" tabindex="0" role="region" aria-label="Table %d">'
PLANNED: Final = {"logbook.xlsx": "logbook", "wall-sheet.html": "wall sheet"}


def _flushed(place: Place) -> None:
    if not place.is_workbook:
        site().open(place).flush()


@pages.get("/")
def page(name: str) -> str:
    """Show how a trial stands; what takes a while to compute is fetched by the page."""
    place = place_or_404(name)
    trial = None if place.is_workbook else site().open(place)
    return render_template(
        "trial.html",
        place=place,
        title=(setting(place.path).setup.title if trial else "") or place.name,
        trial=trial,
        waiting=waiting(trial.sheet)[:1] if trial else [],
        asked=asked_about(trial) if trial else [],
        planned=not place.is_workbook and planning.planned(place.path) is not None,
    )


@pages.post("/keep/<what>")
def keep(name: str, what: str) -> Any:
    """Rename a trial, copy it, or put it away."""
    place = place_or_404(name)
    one = site()
    if what == "away":
        if not place.is_workbook:
            one.open(place).flush()
        put_away(place, one.root)
        one.forget(place.path)
        return redirect(url_for("front.trials"), 303)
    title = " ".join(request.form.get("title", "").split())[:100]
    if what not in ("name", "copy") or place.is_workbook:
        abort(404, "There is nothing to do here.")
    if not title:
        abort(422, "Type a title first.")
    trial = one.open(place)
    new = rename(trial, one.root, title) if what == "name" else copy(trial, one.root, title)
    if what == "name":
        one.forget(place.path)
    one.show(new.name)
    return redirect(url_for("trial.page", name=new.name), 303)


@pages.get("/so-far")
def so_far(name: str) -> str:
    """Analyse the trial and show curves, verdict, forecast or every problem at its cell."""
    from bmp.page.chart import net_charts
    from bmp.report import sections
    from bmp.report.class_page import has_class_page
    from bmp.report.groups import has_groups

    place = place_or_404(name)
    _flushed(place)
    found = site().analyses.of(place)
    units = wanted_units([found.results])
    if found.results is None:
        page = render_template("problems.html", place=place, found=found, seen=_seen(place, found))
        return page_beside(page, units)
    results = found.results
    page = render_template(
        "so_far.html",
        place=place,
        results=results,
        series=series_to_date(results),
        answer=_part("answer", sections.answer(results), {}),
        checks=_part("checks", sections.checks(results), {}),
        charts=net_charts(results, units),
        downloads=DOWNLOADS,
        for_class=has_class_page(results),
        grouped=has_groups(results),
        seen=_seen(place, found),
    )
    return page_beside(page, units)


def _seen(place: Place, found: SoFar) -> list[dict[str, Any]]:
    """Return what was found, each with the rounds of the readings it names."""
    keys = []
    if not place.is_workbook:
        trial = site().open(place)
        keys = keys_in_order(trial.sheet, trial.shelf())
    seen = []
    for one in found.seen:
        rows = rows_named(f"{one.where} {one.meaning}")
        at = dict.fromkeys(keys[row - 2][1] for row in rows if 2 <= row < len(keys) + 2)
        seen.append({"finding": one, "rounds": list(at)[:8]})
    return seen


@pages.get("/groups")
def groups(name: str) -> str:
    """Show the groups, for a projector: the page loads the latest by itself."""
    place = place_or_404(name)
    return render_template("groups.html", place=place)


@pages.get("/groups-so-far")
def groups_so_far(name: str) -> str:
    """Show each group's gas and answer beside those of all together."""
    place = place_or_404(name)
    _flushed(place)
    found = site().analyses.of(place)
    content = site().analyses.groups(place) if found.results is not None else None
    part = Markup("") if content is None else _part("groups", content, {})
    page = render_template("groups_so_far.html", place=place, found=found, part=part)
    return page_beside(page, wanted_units([found.results]))


@pages.get("/tank")
def tank(name: str) -> str:
    """Show what the jars mean for the main tank."""
    from bmp.report import sections

    place = place_or_404(name)
    _flushed(place)
    found = site().analyses.of(place)
    content = sections.tank(found.results) if found.results else None
    units = wanted_units([found.results])
    pictures = site().analyses.tank_pictures(place, units) if content is not None else {}
    part = _part("tank", content, pictures)
    return page_beside(render_template("tank.html", place=place, found=found, part=part), units)


def _part(section: str, content: Any, drawings: Any) -> Markup:
    """Return a section of the report as the report's own template shows it."""
    from bmp.report.page import environment

    if content is None:
        return Markup("")
    html = environment().get_template(f"{section}.html").render(c=content, figures=drawings)
    number = itertools.count(1)
    html = html.replace("<figure>", FIGURE)
    html = re.sub('<div class="wide">', lambda _: SCROLLING % next(number), html)
    return Markup(html)  # escaped by its template


def wanted_units(results: Sequence[Any]) -> tuple[str, ...]:
    """Return the units beside those of the results: the trials', else this browser's."""
    own = [unit for one in results if one is not None for unit in one.trial.setup.show_units]
    return tuple(dict.fromkeys(own)) or of_results(chosen(unquote(request.cookies.get(COOKIE, ""))))


@pages.get("/report")
def report(name: str) -> Any:
    """Show the whole report, as `bmp analyze` writes it."""
    return _whole_page(place_or_404(name), "report.html")


@pages.get("/class")
def for_class(name: str) -> Any:
    """Show the page for a class, as `bmp analyze` writes it."""
    return _whole_page(place_or_404(name), "class.html")


def _whole_page(place: Place, what: str) -> Response:
    """Return a page of the results folder, with a way back and the person's units."""
    path = _written(place) / what
    if not path.is_file():
        abort(404, "No feed of this trial gave gas yet, so there is nothing to show.")
    results = site().analyses.of(place).results
    units = wanted_units([results])
    if units == results.trial.setup.show_units:
        html = path.read_text(encoding="utf-8")
    else:
        html = site().analyses.page_in(place, what, units)
    return _served(html, (url_for("trial.page", name=place.name), "Back to the trial"))


def _served(html: str, back: tuple[str, str]) -> Response:
    text, policy = served_page(html, back)
    return Response(text, mimetype="text/html", headers={"Content-Security-Policy": policy})


def _written(place: Place) -> Path:
    """Write the results folder, or show the trial's page, which says why it cannot be."""
    _flushed(place)
    try:
        folder = site().analyses.write_report(place)
    except UnusableInput as unusable:
        abort(409, str(unusable.problems[0]))
    if folder is None:
        abort(409, "The trial has problems, or no readings yet. Its page says which.")
    return folder


@pages.get("/download/<what>")
def download(name: str, what: str) -> Any:
    """Send one of the results, a planned file, or the trial as a workbook."""
    place = place_or_404(name)
    stem = place.path.stem if place.is_workbook else place.name
    if what == "trial.xlsx":
        _flushed(place)
        content = (
            place.path.read_bytes()
            if place.is_workbook
            else site().run(planning.as_workbook, place.path)
        )
        return _send(content, f"{stem}.xlsx")
    if what in PLANNED and not place.is_workbook:
        path = place.path / PLAN / what
        if not path.is_file():
            abort(404, "Nothing was planned for this trial here.")
        return _send(path.read_bytes(), f"{stem}-{what}")
    if what not in DOWNLOADS:
        abort(404, "There is no such file.")
    folder = _written(place)
    if what == "pictures.zip":
        return _send(_zipped(folder), f"{stem}-pictures.zip")
    return _send((folder / what).read_bytes(), f"{stem}-{what}")


def _send(content: bytes, name: str) -> Any:
    kind = mimetypes.guess_type(name)[0] or "application/octet-stream"
    return send_file(io.BytesIO(content), kind, as_attachment=True, download_name=name)


def _zipped(folder: Path) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        for path in sorted((folder / "figures").glob("*.*")):
            archive.write(path, path.name)
    return out.getvalue()


@pages.get("/plan")
def plan(name: str) -> str:
    """Show what was planned: doses, what to fetch, what to watch."""
    place = place_or_404(name)
    found = planning.planned(place.path)
    if found is None:
        abort(404, "This trial was not planned here.")
    jars = sorted(found["jars"], key=lambda jar: jar["position"])
    page = render_template("plan.html", place=place, plan=found, jars=jars, files=PLANNED)
    return page_beside(page, setting(place.path).setup.show_units or wanted_units([]))


@pages.get("/wall-sheet")
def wall_sheet(name: str) -> Any:
    """Show the sheet for the wall, to print."""
    path = place_or_404(name).path / PLAN / "wall-sheet.html"
    if not path.is_file():
        abort(404, "This trial was not planned here.")
    html = path.read_text(encoding="utf-8")
    return _served(html, (url_for("trial.plan", name=name), "Back to the plan"))


@pages.get("/changes")
def changes(name: str) -> str:
    """Show every change with its time."""
    trial = folder_or_404(name)
    return render_template("changes.html", name=name, trial=trial, said=request.args.get("said"))


@pages.post("/undo")
def undo(name: str) -> Any:
    """Take a change back."""
    trial = folder_or_404(name)
    number = request.form.get("number", "")
    try:
        trial.undo(int(number) if number.isdecimal() else 0)
        said = f"Change {number} was taken back."
    except Conflict as conflict:
        said = f"Nothing was changed: {conflict.words}."
    except LookupError as error:
        said = f"Nothing was changed: {error}."
    return redirect(url_for("trial.changes", name=name, said=said), 303)


@pages.post("/as-tables")
def as_tables(name: str) -> Any:
    """Lay a workbook's tables into a folder, so that readings can be typed; it stays as it is."""
    place = place_or_404(name)
    if not place.is_workbook:
        abort(404, "this is a folder of tables already")
    target = site().run(planning.trial_of_workbook, site().root, place.path)
    site().show(target.name)
    return redirect(url_for("trial.page", name=target.name), 303)
