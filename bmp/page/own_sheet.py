"""A sheet of a person's own making: what each column is, asked and answered in the page."""

from __future__ import annotations

import io
import os
import shutil
from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import datetime
from pathlib import Path
from typing import Any

from flask import Blueprint, abort, redirect, render_template, request, url_for

from bmp.page.folder_state import place_or_404, site
from bmp.page.journal import write_whole
from bmp.page.planning import lay_down
from bmp.page.trial_folders import Place, free_place, new_folder, safe_name
from bmp.problem import Problem, UnusableInput
from bmp.read.tables import Cell
from bmp.read.takeover.answers import UNKNOWN, AnswerSection, answers_path, as_text
from bmp.read.takeover.grid import read_grids
from bmp.read.takeover.take import answer_words, column_words, look_through, take_over

pages = Blueprint("own", __name__)
HOW_READ = "how the sheet was read.txt"


@pages.route("/own-sheet", methods=["GET", "POST"])
def ask(name: str) -> Any:
    """Ask what the sheet holds; once all is answered, lay its tables into a trial."""
    place = place_or_404(name)
    if not place.is_workbook:
        abort(404, "This is a folder of tables already.")
    run = site().run
    problems: Sequence[Problem] = ()
    try:
        if request.method == "POST":
            given = {key: value for key, value in request.form.items() if key.startswith("a-")}
            problems = run(answered, place, given)
            if not problems:
                new = run(laid_out, place, site().root)
                site().show(new.name)
                return redirect(url_for("trial.page", name=new.name), 303)
        sections, previews = run(asked, place)
    except UnusableInput as unusable:
        abort(422, str(unusable.problems[0]))
    page = render_template(
        "own_sheet.html",
        place=place,
        sections=sections,
        previews=previews,
        kinds=column_words(),
        problems=problems,
        unknown=UNKNOWN,
    )
    return page, 422 if problems else 200


ROWS_SHOWN = 6


def asked(place: Place) -> tuple[tuple[AnswerSection, ...], dict[str, list[list[str]]]]:
    """Return all questions about a sheet with what is proposed or was answered.

    Beside them the first rows of each table as its owner knows it, under the letters of its
    columns, by the title of its section.
    """
    found, _ = look_through(place.path)
    previews = {
        one.section: [
            [column.letter for column in one.table.columns],
            [column.header for column in one.table.columns],
            *(
                [shown_cell(one.table.grid.rows[row][column.index]) for column in one.table.columns]
                for row in one.table.rows[:ROWS_SHOWN]
            ),
        ]
        for one in found.mapped
    }
    return tuple(section for section in found.sections if section.lines), previews


def shown_cell(cell: Cell) -> str:
    """Return a cell as its owner knows it, at most 30 characters."""
    if isinstance(cell, datetime):
        return f"{cell:%Y-%m-%d %H:%M}"
    if isinstance(cell, float):
        return f"{cell:.6g}"
    return "" if cell is None else str(cell)[:30]


def answered(place: Place, given: Mapping[str, str]) -> Sequence[Problem]:
    """Write what a person answered beside the sheet, and return what is still open or wrong."""
    found, path = look_through(place.path)
    sections = [
        replace(
            section,
            lines=tuple(
                replace(line, value=_plain(given.get(f"a-{section.title}-{line.key}", line.value)))
                for line in section.lines
            ),
        )
        for section in found.sections
    ]
    if path.is_symlink():
        return [Problem(path.name, "this is a link to another place", "put the file itself there")]
    write_whole(path, "\ufeff" + as_text(sections, place.name, True, answer_words()))
    try:
        take_over(place.path)
    except UnusableInput as unusable:
        return unusable.problems
    return ()


def _plain(text: str) -> str:
    return " ".join(text.replace("#", " ").split())[:200] or UNKNOWN


def laid_out(place: Place, root: Path) -> Path:
    """Lay the tables of a sheet that was answered for into a new trial."""
    taken = take_over(place.path)
    folder = new_folder(root)
    try:
        lay_down(taken.tables, folder)
        shutil.copyfile(answers_path(place.path), folder / HOW_READ)
        new = free_place(root, safe_name(place.path.stem))
        os.rename(folder, new)
    finally:
        shutil.rmtree(folder, ignore_errors=True)
    return new


def as_workbook(name: str, content: bytes, root: Path) -> bytes:
    """Return a .csv file as a workbook with one sheet: the page keeps workbooks.

    Raises
    ------
    UnusableInput
        It cannot be read.
    """
    import xlsxwriter

    folder = new_folder(root)
    try:
        path = folder / f"{safe_name(Path(name).stem)}.csv"
        path.write_bytes(content)
        grids = read_grids(path)
    finally:
        shutil.rmtree(folder, ignore_errors=True)
    out = io.BytesIO()
    book = xlsxwriter.Workbook(out, {"in_memory": True, "strings_to_formulas": False})
    for grid in grids:
        sheet = book.add_worksheet(grid.title[:31])
        for r, row in enumerate(grid.rows):
            for c, cell in enumerate(row):
                if isinstance(cell, int | float) and not isinstance(cell, bool):
                    sheet.write_number(r, c, cell)
                elif cell is not None:
                    text = str(cell)
                    # a decimal comma between semicolons stays what it means
                    sheet.write_string(r, c, _number(text) if grid.semicolons else text)
    book.close()
    return out.getvalue()


def _number(text: str) -> str:
    digits = text.strip().lstrip("+-")
    whole, comma, part = digits.partition(",")
    return text.replace(",", ".") if comma and whole.isdigit() and part.isdigit() else text
