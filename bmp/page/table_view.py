"""The other tables of a trial as grids of fields: what was weighed, materials, the tank."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any, Final

from flask import Blueprint, abort, redirect, render_template, request, url_for

from bmp.page.conflict import Conflict
from bmp.page.folder_state import folder_or_404, now
from bmp.page.open_trial import OpenTrial, digest
from bmp.page.planning import csv_text
from bmp.page.trial_setup import TABLES, setting
from bmp.problem import Problem, UnusableInput
from bmp.read import read_with_problems
from bmp.read.cells import words
from bmp.read.columns import ITEMS, JARS, MATERIALS, KnownColumn, example_header
from bmp.read.tables import read_tables
from bmp.read.tank import NUMBERS, TEXTS

pages = Blueprint("table", __name__)

SPARE_ROWS: Final = 2
MOST_CELLS: Final = 4_000
ABOUT: Final = {
    "jars": "What stands in each jar. Write the masses that were weighed over the planned ones.",
    "materials": "Inoculum, feeds and control, with dry matter (TS) and volatile solids (VS).",
    "trial": "What holds for the whole trial. Items are named on the left.",
    "crucibles": "Masses of crucibles, for TS and VS. A crucible has a row.",
    "tank": "The main tank, for what the jars mean there.",
    "tank feeds": "What goes into the tank each day, today and as planned.",
}


@dataclass(frozen=True)
class FieldGrid:
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
        abort(404, "There is no such table.")
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
            said = f"Nothing was changed. {conflict.words}. What stands there now is shown below."
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


def _grid(trial: OpenTrial, table: str) -> FieldGrid:
    text = trial.table_text(table)
    if not text:
        return FieldGrid(*_template(trial, table), False, digest(""))
    found = read_tables(trial.folder, (table,))[table]
    rows = tuple(tuple(words(cell) for cell in row) for row in found.rows)
    return FieldGrid(found.header, rows, found.semicolons, digest(text))


def _template(trial: OpenTrial, table: str) -> tuple[tuple[str, ...], tuple[tuple[str, ...], ...]]:
    """Return the empty table, with what is asked for."""
    if table == "tank":
        return ("item", "value"), tuple((header, "") for header in _tank_items())
    if table == "crucibles":
        return ("material", *CRUCIBLE_HEADERS), ()
    if table == "tank feeds":
        feeds = [j.material for j in setting(trial.folder).jars if j.role == "substrate"]
        header = ("material", "amount today [kg/d]", "amount planned [kg/d]")
        return header, tuple((feed, "", "") for feed in dict.fromkeys([*feeds, "water"]))
    return tuple(_plain(known) for known in KNOWN[table][:6]), ()


def _tank_items() -> list[str]:
    known = [*(item.known for item in NUMBERS), *TEXTS]
    return [_plain(one) for one in known if not one.name.startswith("air temperature ")]


def _plain(known: KnownColumn) -> str:
    return example_header(known).strip("“”")


CRUCIBLE_HEADERS: Final = (
    "empty [g]",
    "with sample [g]",
    "after 105 °C [g]",
    "after 550 °C [g]",
)
KNOWN: Final = {"jars": JARS, "materials": MATERIALS, "trial": ITEMS}


def _unused(table: str, grid: FieldGrid) -> list[str]:
    """Return columns or items that could be added."""
    has = {text.partition("[")[0].strip().lower() for text in grid.header}
    if table in ("trial", "tank"):
        has |= {row[0].partition("[")[0].strip().lower() for row in grid.rows if row}
    return [_plain(known) for known in KNOWN.get(table, ()) if known.name.lower() not in has]


def _typed() -> list[list[str]]:
    """Return the table that the fields hold, without empty rows and columns that have no name."""
    width, height = (request.form.get(name, type=int) or 0 for name in ("width", "height"))
    if not (0 < width <= 100 and height >= 0 and width * height <= MOST_CELLS):
        abort(422, "This table is larger than one page takes.")
    header = [_cell(f"h-{c}") for c in range(width)]
    kept = [c for c in range(width) if header[c]]
    rows = [[_cell(f"c-{r}-{c}") for c in kept] for r in range(height)]
    return [[header[c] for c in kept], *(row for row in rows if any(row))]


def _cell(name: str) -> str:
    return _plain_text(request.form.get(name, ""))


def _problems(trial: OpenTrial, table: str) -> list[dict[str, Any]]:
    """Return what is wrong with a table, each with the row of the grid it stands in."""
    try:
        if table in TABLES:
            problems: tuple[Problem, ...] = setting(trial.folder).problems
        else:
            problems = read_with_problems(trial.folder, unfinished=True)[1]
    except UnusableInput as unusable:
        problems = unusable.problems
    mine = [p for p in problems if p.table.lower() in (table, f"{table}.csv")]
    try:
        found = read_tables(trial.folder, (table,))[table]
    except (UnusableInput, KeyError):
        return [{"row": -1, "column": "", "place": "", "words": _words(p)} for p in mine]
    index = {number: at for at, number in enumerate(found.row_numbers)}
    items = [h.lower() for h in found.header[:2]] == ["item", "value"]
    out = []
    for p in mine:
        at = index.get(p.row or 0, -1)
        name = words(found.rows[at][0]) if at >= 0 else ""
        column = found.header[1] if items and at >= 0 else p.column or ""
        place = ", ".join(filter(None, (name, "" if items else column)))
        said = {"row": at, "column": column, "words": _words(p)}
        out.append({**said, "place": f"{place}: " if place else ""})
    return out


def _words(problem: Problem) -> str:
    return f"{problem.what}; {problem.wanted}"


@pages.post("/tables/<table>/cell")
def cell(name: str, table: str) -> Any:
    """Keep one field. The answer comes only when the journal has it on the disk."""
    if table not in ABOUT:
        abort(404, "There is no such table.")
    trial = folder_or_404(name)
    asked = request.get_json()
    texts = ("name", "column", "before", "after", "request")
    if (
        not isinstance(asked, dict)
        or not all(isinstance(asked.get(one), str) for one in texts)
        or type(asked.get("row")) is not int
        or not _plain_text(asked["column"])
        or len(asked["request"]) > 80
    ):
        abort(422, "This is no field of a table.")
    with trial.lock:
        if trial.known(asked["request"]):
            return _kept_cell(trial, table, *_found_again(trial, table, asked))
        try:
            grid = _grid(trial, table)
            new, row = changed(
                grid,
                asked["row"],
                _plain_text(asked["name"]),
                _plain_text(asked["column"]),
                _plain_text(asked["before"]),
                _plain_text(asked["after"]),
            )
            lines = [new.header, *new.rows]
            text = csv_text(lines, ";" if grid.semicolons else ",")
            trial.change_table(table, text, grid.as_seen, request=asked["request"])
        except UnusableInput as unusable:
            abort(409, str(unusable.problems[0]))
        except Conflict as conflict:
            return {
                "conflict": conflict.words,
                "now": dict(conflict.now),
                "kind": conflict.kind,
            }, 409
    return _kept_cell(trial, table, row, new.rows[row][0] if row >= 0 else "")


def _found_again(trial: OpenTrial, table: str, asked: dict[str, Any]) -> tuple[int, str]:
    """Return the row that a request changed whose answer was lost, and its first field."""
    if asked["row"] >= 0:
        return asked["row"], asked["name"]
    grid = _grid(trial, table)
    for at, row in reversed(list(enumerate(grid.rows))):
        if dict(zip(grid.header, row, strict=False)).get(asked["column"]) == asked["after"]:
            return at, row[0]
    return -1, ""


def _kept_cell(trial: OpenTrial, table: str, row: int, name: str) -> dict[str, Any]:
    return {
        "row": row,
        "name": name,
        "at": now().strftime("%H:%M"),
        "problems": _problems(trial, table),
        "behind": trial.behind,
    }


def changed(
    grid: FieldGrid, row: int, name: str, column: str, before: str, after: str
) -> tuple[FieldGrid, int]:
    """Return a table with one field changed, and the row where it stands; -1: the row is gone.

    Parameters
    ----------
    row, name
        Number of the row and what its first field says, as the page saw them; -1: a new row.
    before
        What the field held as the page saw it.

    Raises
    ------
    Conflict
        The row is gone, or the field was changed since.
    """
    header = grid.header if column in grid.header else (*grid.header, column)
    rows = [[*one, *[""] * (len(header) - len(one))] for one in grid.rows]
    if row < 0:
        rows.append([""] * len(header))
        row = len(rows) - 1
    elif row >= len(rows) or rows[row][0] != name:
        same = [at for at, one in enumerate(rows) if one[0] == name]
        if len(same) != 1:
            raise Conflict(f"The row “{name}” is not there any more", {}, 0, "", "gone")
        row = same[0]
    at = header.index(column)
    if rows[row][at] not in (before, after):
        now_there = {column: rows[row][at]}
        raise Conflict("This field was changed meanwhile", now_there, 0, "")
    rows[row][at] = after
    if not any(rows[row]):
        del rows[row]
        row = -1
    return replace(grid, header=header, rows=tuple(map(tuple, rows))), row


def _plain_text(text: str) -> str:
    return " ".join(text.split())[:1000]
