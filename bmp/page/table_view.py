"""The other tables of a trial as grids of fields: what was weighed, materials, the tank."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Final

from flask import Blueprint, abort, redirect, render_template, request, url_for

from bmp.page.conflict import Conflict
from bmp.page.marked import MarkedTable, marked
from bmp.page.open_trial import OpenTrial, digest
from bmp.page.planning import csv_text
from bmp.page.setting import setting
from bmp.page.site import folder_or_404
from bmp.problem import UnusableInput
from bmp.read import read_with_problems
from bmp.read.cells import words
from bmp.read.columns import ITEMS, JARS, MATERIALS, Known, example_header
from bmp.read.tables import read_tables
from bmp.read.tank import NUMBERS, TEXTS

pages = Blueprint("table", __name__)

SPARE_ROWS: Final = 2
MOST_CELLS: Final = 4_000
ABOUT: Final = {
    "jars": "What stands in each jar. Write the masses that were weighed over the planned ones.",
    "materials": "Inoculum, feeds and control, with dry matter (TS) and volatile solids (VS).",
    "trial": "What holds for the whole trial. Items are named on the left.",
    "tank": "The main tank, for what the jars mean there.",
    "tank feeds": "What goes into the tank each day, today and as planned.",
}


@dataclass(frozen=True)
class Grid:
    """A table as fields."""

    header: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    semicolons: bool
    as_seen: str
    """Digest of the file that the fields were made from."""


@pages.route("/tables/<table>", methods=["GET", "POST"])
def edit(name: str, table: str) -> Any:
    """Show a table as fields, or write it."""
    if table not in ABOUT:
        abort(404, "there is no such table")
    trial = folder_or_404(name)
    try:
        grid = _grid(trial, table)
    except UnusableInput as unusable:
        abort(422, str(unusable.problems[0]))
    said = ""
    if request.method == "POST":
        typed = _typed()
        try:
            text = csv_text(typed, ";" if grid.semicolons else ",")
            trial.change_table(table, text, request.form.get("as_seen", ""))
            return redirect(url_for("table.edit", name=name, table=table, said="kept"), 303)
        except Conflict as conflict:
            said = f"Nothing was changed: {conflict.words}. What stands there now is shown below."
    elif request.args.get("said") == "kept":
        said = "Kept."
    return render_template(
        "table.html",
        name=name,
        table=table,
        about=ABOUT[table],
        grid=grid,
        tables=list(ABOUT),
        said=said,
        problems=_problems(trial, table),
        known=_unused(table, grid),
        spare=range(SPARE_ROWS),
    )


def _grid(trial: OpenTrial, table: str) -> Grid:
    text = trial.table_text(table)
    if not text:
        return Grid(*_template(trial, table), False, digest(""))
    found = read_tables(trial.folder, (table,))[table]
    rows = tuple(tuple(words(cell) for cell in row) for row in found.rows)
    return Grid(found.header, rows, found.semicolons, digest(text))


def _template(trial: OpenTrial, table: str) -> tuple[tuple[str, ...], tuple[tuple[str, ...], ...]]:
    """Return the empty table, with what is asked for."""
    if table == "tank":
        return ("item", "value"), tuple((header, "") for header in _tank_items())
    if table == "tank feeds":
        feeds = [j.material for j in setting(trial.folder).jars if j.role == "substrate"]
        header = ("material", "amount today [kg/d]", "amount planned [kg/d]")
        return header, tuple((feed, "", "") for feed in dict.fromkeys([*feeds, "water"]))
    return tuple(_plain(known) for known in KNOWN[table][:6]), ()


def _tank_items() -> list[str]:
    known = [*(item.known for item in NUMBERS), *TEXTS]
    return [_plain(one) for one in known if not one.name.startswith("air temperature ")]


def _plain(known: Known) -> str:
    return example_header(known).strip("“”")


KNOWN: Final = {"jars": JARS, "materials": MATERIALS, "trial": ITEMS}


def _unused(table: str, grid: Grid) -> list[str]:
    """Return columns or items that could be added."""
    has = {text.partition("[")[0].strip().lower() for text in grid.header}
    if table in ("trial", "tank"):
        has |= {row[0].partition("[")[0].strip().lower() for row in grid.rows if row}
    return [_plain(known) for known in KNOWN.get(table, ()) if known.name.lower() not in has]


def _typed() -> list[list[str]]:
    """Return the table that the fields hold, without empty rows and columns that have no name."""
    width, height = (request.form.get(name, type=int) or 0 for name in ("width", "height"))
    if not (0 < width <= 100 and height >= 0 and width * height <= MOST_CELLS):
        abort(422, "this table is larger than one page takes")
    header = [_cell(f"h-{c}") for c in range(width)]
    kept = [c for c in range(width) if header[c]]
    rows = [[_cell(f"c-{r}-{c}") for c in kept] for r in range(height)]
    return [[header[c] for c in kept], *(row for row in rows if any(row))]


def _cell(name: str) -> str:
    return " ".join(request.form.get(name, "").split())[:1000]


def _problems(trial: OpenTrial, table: str) -> list[MarkedTable]:
    try:
        problems = read_with_problems(trial.folder, unfinished=True)[1]
    except UnusableInput as unusable:
        problems = unusable.problems
    mine = [p for p in problems if p.table.lower() in (table, f"{table}.csv")]
    return marked(trial.folder, mine)
