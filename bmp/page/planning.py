"""From the answers of a person to a new trial in the folder: plan, logbook, wall sheet, tables."""

from __future__ import annotations

import csv
import io
import json
import os
import shutil
from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import replace
from datetime import date, datetime
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

from bmp.page.trial_folders import PLAN, free_place, new_folder, safe_name
from bmp.plan.literature import read_literature
from bmp.plan.plan import Plan, plan_trial
from bmp.plan.read_request import changed_words, read_request, refused_problems
from bmp.plan.refusal import PlanRefused
from bmp.plan.write import write_plan
from bmp.problem import Problem, UnusableInput
from bmp.read.cells import words
from bmp.read.tables import Cell, CellTable, read_tables
from bmp.report.page_beside import page_beside
from bmp.report.shown_units import beside

LOGBOOK_TABLES = ("trial", "materials", "jars", "readings", "crucibles")


class Impossible(Exception):
    """The request cannot be planned.

    `problems` stand where they were written; `nearest` says in words what could be done instead.
    """

    def __init__(self, problems: Sequence[Problem], nearest: str = "") -> None:
        super().__init__("\n".join(map(str, problems)))
        self.problems = tuple(problems)
        self.nearest = nearest


def new_trial(
    root: Path,
    items: Iterable[tuple[str, str]],
    materials: Sequence[Sequence[str]],
    take_nearest: bool = False,
    crucibles: Sequence[Sequence[str]] = (),
) -> Path:
    """Plan a trial and lay it into the folder, whole or not at all.

    Parameters
    ----------
    items
        Rows of the table `plan`.
    materials
        The table `materials` with its header.
    crucibles
        The table `crucibles` with its header, where solids were weighed.
    take_nearest
        Where the request is impossible, plan the nearest possible one.

    Returns
    -------
    Path
        The new trial.

    Raises
    ------
    Impossible
    """
    with _laid_in(root) as folder:
        (folder / PLAN).mkdir()
        _write(folder / PLAN / "plan.csv", [("item", "value"), *items])
        _write(folder / PLAN / "materials.csv", materials)
        if len(crucibles) > 1:
            _write(folder / PLAN / "crucibles.csv", crucibles)
            _write(folder / "crucibles.csv", crucibles)
        plan = _plan(folder / PLAN, take_nearest)
        units = plan.request.units.beside
        write_plan(plan, folder / PLAN, lambda page: page_beside(page, units))
        lay_tables(folder / PLAN / "logbook.xlsx", folder, [jar.name for jar in _by_place(plan)])
        place = free_place(root, safe_name(plan.request.title))
        os.rename(folder, place)
        return place


@contextmanager
def _laid_in(root: Path) -> Iterator[Path]:
    """Give a new folder to fill and rename; what is not renamed is removed."""
    folder = new_folder(root)
    try:
        yield folder
    finally:
        shutil.rmtree(folder, ignore_errors=True)


def _plan(folder: Path, take_nearest: bool) -> Plan:
    try:
        written = read_request(folder)
    except UnusableInput as unusable:
        raise Impossible(unusable.problems) from None
    literature = read_literature()
    try:
        return plan_trial(written.request, literature)
    except PlanRefused as refused:
        if take_nearest and refused.nearest is not None:
            return plan_trial(refused.nearest, literature)
        nearest = ""
        if refused.nearest is not None:
            nearest = changed_words(written.request, refused.nearest, written.units)
        problems = [
            replace(
                one,
                what=beside(one.what, written.beside),
                wanted=beside(one.wanted, written.beside),
            )
            for one in refused_problems(written, refused)
        ]
        raise Impossible(problems, beside(nearest, written.beside)) from None


def _by_place(plan: Plan) -> list[Any]:
    return sorted(plan.jars, key=lambda jar: jar.position)


def trial_of_workbook(root: Path, workbook: Path) -> Path:
    """Lay the tables of a workbook into a new trial beside it, and return that.

    Raises
    ------
    UnusableInput
        The workbook cannot be opened.
    """
    with _laid_in(root) as folder:
        lay_tables(workbook, folder)
        place = free_place(root, safe_name(workbook.stem))
        os.rename(folder, place)
        return place


def lay_tables(workbook: Path, folder: Path, shelf: Sequence[str] = ()) -> None:
    """Write the tables of a workbook as CSV files into a folder.

    Parameters
    ----------
    shelf
        Names of jars: rows of the table jars are put into this order.
    """
    lay_down(read_tables(workbook, LOGBOOK_TABLES), folder, shelf)


def lay_down(tables: Mapping[str, CellTable], folder: Path, shelf: Sequence[str] = ()) -> None:
    """Write tables as CSV files into a folder, the jars in the order of the shelf."""
    for name, table in tables.items():
        rows = list(table.rows)
        if name == "jars" and shelf:
            place = {jar: at for at, jar in enumerate(shelf)}
            rows.sort(key=lambda row: place.get(words(row[0]), len(place)))
        if rows or name != "crucibles":
            _write(folder / f"{name}.csv", [table.header, *([_text(c) for c in r] for r in rows)])


def _text(cell: Cell) -> str:
    if isinstance(cell, datetime):
        return cell.isoformat(timespec="seconds" if cell.second else "minutes")
    if isinstance(cell, date):
        return cell.isoformat()
    if isinstance(cell, float):
        return f"{cell:.15g}"
    return "" if cell is None else str(cell)


def _write(path: Path, rows: Iterable[Sequence[str]]) -> None:
    path.write_text(csv_text(rows), encoding="utf-8")


def csv_text(rows: Iterable[Sequence[str]], separator: str = ",") -> str:
    """Return rows as CSV text."""
    text = io.StringIO()
    csv.writer(text, delimiter=separator, lineterminator="\n").writerows(rows)
    return text.getvalue()


def planned(folder: Path) -> Mapping[str, Any] | None:
    """Return what was planned for a trial, as `plan.json` has it; `None` where nothing was."""
    try:
        plan = json.loads((folder / PLAN / "plan.json").read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return None
    return plan if isinstance(plan, dict) and "jars" in plan else None


def as_workbook(folder: Path) -> bytes:
    """Return the tables of a trial as one workbook that `bmp analyze` reads."""
    import xlsxwriter

    tables = read_tables(folder, (*LOGBOOK_TABLES, "tank", "tank feeds"))
    out = io.BytesIO()
    book = xlsxwriter.Workbook(out, {"in_memory": True, "default_date_format": "yyyy-mm-dd hh:mm"})
    bold = book.add_format({"bold": True, "bg_color": "#E3E8E4", "text_wrap": True})
    for name, table in tables.items():
        _sheet(book.add_worksheet(name), table, bold)
    book.close()
    return out.getvalue()


def _sheet(sheet: Any, table: CellTable, bold: Any) -> None:
    from bmp.page.typed_numbers import as_moment
    from bmp.read.cells import Unreadable, number

    sheet.freeze_panes(1, 1)
    sheet.set_column(0, max(len(table.header) - 1, 0), 17)
    for column, header in enumerate(table.header):
        sheet.write_string(0, column, header, bold)
    for row, cells in enumerate(table.rows, start=1):
        for column, cell in enumerate(cells):
            if cell is None:
                continue
            try:
                sheet.write_number(row, column, number(cell, table.semicolons))
            except Unreadable:
                at = as_moment(str(cell))
                if at is None:
                    sheet.write_string(row, column, str(cell))
                else:
                    sheet.write_datetime(row, column, at)


def empty_logbook(way: str, units: Mapping[str, str]) -> bytes:
    """Return an empty logbook for a way of measuring, in units by the kinds of `own_units`."""
    from bmp.page.own_units import LOGBOOK_KINDS
    from bmp.plan.empty_logbook import write_empty_logbook
    from bmp.plan.shown_units import ShownUnits

    written = {LOGBOOK_KINDS[kind]: unit for kind, unit in units.items() if kind in LOGBOOK_KINDS}
    with TemporaryDirectory() as folder:
        path = Path(folder) / "logbook.xlsx"
        write_empty_logbook(path, way, ShownUnits(**written))
        return path.read_bytes()
