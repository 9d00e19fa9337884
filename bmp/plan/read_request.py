"""Read the request: a workbook or folder with the tables `materials` and `plan`."""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from bmp.atmosphere import standard_atmosphere_kPa
from bmp.plan.items import CHOICES, ITEM_NAMES, ITEMS, NUMBERS, REQUEST_MATERIALS
from bmp.plan.literature import read_literature
from bmp.plan.plan_request import MaterialRequest, PlanRequest
from bmp.plan.possible import nearest, refusals
from bmp.plan.refusal import PlanRefused, Refusal
from bmp.plan.request_checks import USUAL_JAR_ML, senseless, unusable_materials
from bmp.plan.shown_units import shown_units, units_beside
from bmp.problem import Problem, UnusableInput, shown
from bmp.read.cells import ERROR_WANTED, Unreadable, is_error, moment, number, words
from bmp.read.columns import KnownColumn, ignored_words, parse_header
from bmp.read.crucibles import read_crucibles, with_crucibles
from bmp.read.records import materials_of, read_rows
from bmp.read.setup import item_quantity
from bmp.read.tables import CellTable, missing_tables, read_tables
from bmp.units import UnknownUnit, conversion

TABLES = ("materials", "plan")


@dataclass(frozen=True)
class WrittenWishes:
    """The plan request as it was handed in, and where each item stands."""

    request: PlanRequest
    table: str
    """Name of the table `plan`, for messages."""
    rows: dict[str, int]
    """Row of each item that was given, by its field in `PlanRequest`."""
    assumed: tuple[str, ...]
    ignored: tuple[str, ...]
    materials: str = "materials"
    """Name of the table `materials`, for messages."""
    units: Mapping[str, str] = field(default_factory=dict)
    """Unit of each item as it is written, by its field; `available_g` of the materials."""

    @property
    def beside(self) -> tuple[str, ...]:
        """Units that stand beside the SI ones in messages about it."""
        written = units_beside(self.units.values())
        return tuple(dict.fromkeys((*written, *self.request.units.beside)))


def read_request(place: Path) -> WrittenWishes:
    """Read what a plan is made from.

    Parameters
    ----------
    place
        A workbook (`.xlsx`) with the sheets `materials` and `plan`, or a folder with `.csv` files
        of these names; a third, `crucibles`, may give TS and VS.

    Raises
    ------
    UnusableInput
        With every problem found, each with its table, row and column.
    """
    tables = read_tables(place, (*TABLES, "crucibles"))
    problems = missing_tables(place, TABLES, tables)
    if problems:
        raise UnusableInput(problems)
    ignored: list[str] = []
    assumed: list[str] = []
    values, rows = _items(tables["plan"], problems, ignored)
    units = _units(tables["plan"], rows) | _units_of_materials(tables["materials"])
    materials = _materials(tables, problems, ignored, assumed)
    if "jar_volume_mL" not in values and not any(p.table == tables["plan"].name for p in problems):
        wanted = "add an item “jar volume [mL]”: the inner volume of an empty jar"
        problems.append(Problem(tables["plan"].name, "there is no jar volume", wanted))
    if problems:
        # what else is told of this request is told in the same run
        problems += _told_besides(tables, values, rows, materials, problems)
        raise UnusableInput(problems)
    altitude_m = values.pop("altitude_m", None)
    if altitude_m is not None and "ambient_kPa" not in values:
        values["ambient_kPa"] = standard_atmosphere_kPa(altitude_m)
        assumed.append(
            f"air pressure {values['ambient_kPa']:.1f} kPa, "
            f"standard atmosphere at {altitude_m:.0f} m"
        )
    request = PlanRequest(
        materials,
        units=shown_units(units),
        **({"title": place.resolve().stem} | values),
    )
    names = [tables[name].name for name in ("plan", "materials")]
    said = (tuple(assumed), tuple(ignored))
    return WrittenWishes(request, names[0], rows, *said, names[1], units)


_CLOSING = ("outlet", "vessel", "vessel rating", "measured", "methane known by")
"""Items without which nobody can say what else is impossible."""


def _told_besides(
    tables: Mapping[str, CellTable],
    values: Mapping[str, Any],
    rows: dict[str, int],
    materials: tuple[MaterialRequest, ...],
    problems: Sequence[Problem],
) -> list[Problem]:
    """Return what is refused of the items that could be read, the others being as usual."""
    read = {name: value for name, value in values.items() if name != "altitude_m"}
    request = PlanRequest(materials, **({"jar_volume_mL": USUAL_JAR_ML} | read))
    plan, of_materials = tables["plan"].name, tables["materials"].name
    unread = [known.name for known in ITEMS if any(f"“{known.name}”" in p.what for p in problems)]
    literature = read_literature()
    if any(one.table == of_materials for one in problems):
        found = senseless(request)
    elif "jar_volume_mL" not in values:
        found = (*senseless(request), *unusable_materials(request, literature))
    else:
        found = refusals(request, literature)
        found = (*found, *nearest(request, literature)[1])
    doubted = {*unread, *(_CLOSING if {*unread} & {*_CLOSING} else ())}
    told = tuple(one for one in found if one.item not in doubted)
    written = WrittenWishes(request, plan, rows, (), (), of_materials)
    return refused_problems(written, PlanRefused(told, None))


def _items(
    table: CellTable, problems: list[Problem], ignored: list[str]
) -> tuple[dict[str, Any], dict[str, int]]:
    if [text.lower() for text in table.header[:2]] != ["item", "value"]:
        wanted = "the first row must read: item, value"
        what = f"the header is {shown(', '.join(table.header))}"
        problems.append(Problem(table.name, what, wanted, 1))
        return {}, {}
    by_name = {known.name.lower(): known for known in ITEMS}
    values: dict[str, Any] = {}
    rows: dict[str, int] = {}
    for row, line in zip(table.row_numbers, table.rows, strict=True):
        text, cell = words(line[0]), line[1] if len(line) > 1 else None
        known = by_name.get(parse_header(text).name.lower())
        if known is None:
            ignored.append(ignored_words(table.name, "item", text, by_name))
        elif known.field in values:
            what = f"the item “{known.name}” stands twice"
            problems.append(Problem(table.name, what, "keep one", row))
        elif cell is not None:
            value = _value(known, cell, text, table, row, problems)
            if value is not None:
                values[known.field], rows[known.field] = value, row
    return values, rows


def _units(table: CellTable, rows: Mapping[str, int]) -> dict[str, str]:
    """Return the unit written on each item that was given."""
    fields = {row: field for field, row in rows.items()}
    written = {}
    for row, line in zip(table.row_numbers, table.rows, strict=True):
        unit = parse_header(words(line[0])).unit
        if row in fields and unit:
            written[fields[row]] = unit
    return written


def _units_of_materials(table: CellTable) -> dict[str, str]:
    """Return the unit in which what is at hand is written."""
    headers = [parse_header(text) for text in table.header]
    unit = next((h.unit for h in headers if h.name.lower() == "available"), None)
    return {"available_g": unit} if unit else {}


def _value(
    known: KnownColumn, cell: Any, text: str, table: CellTable, row: int, problems: list[Problem]
) -> Any:
    """Return an item's value in the project's unit; `None` with a problem told."""
    wanted = ""
    try:
        if known.unit is not None:
            return item_quantity(known, parse_header(text), cell, table, row, problems)
        if is_error(cell):
            raise Unreadable(ERROR_WANTED)
        if known.field == "started":
            return moment(cell)
        if known.field in NUMBERS:
            value = number(cell, table.semicolons)
            if not NUMBERS[known.field]:
                return value
            if value.is_integer():
                return int(value)
            wanted = "write a whole number"
        elif known.field in CHOICES:
            choices = CHOICES[known.field]
            if words(cell).lower() in choices:
                return choices[words(cell).lower()]
            wanted = f"write one of: {', '.join(choices)}"
        else:
            return words(cell)
    except Unreadable as error:
        wanted = str(error)
    problems.append(Problem(table.name, f"{shown(cell)} stands for “{known.name}”", wanted, row))
    return None


def _materials(
    tables: dict[str, CellTable], problems: list[Problem], ignored: list[str], assumed: list[str]
) -> tuple[MaterialRequest, ...]:
    rows = read_rows(tables["materials"], REQUEST_MATERIALS, problems, ignored)
    materials = materials_of(rows, problems)
    places = {material.name: index for material, index in materials}
    known = tuple(material for material, _ in materials)
    if "crucibles" in tables:
        solids = read_crucibles(tables["crucibles"], known, problems, ignored)
        known = with_crucibles(known, solids, assumed)
    request = []
    for material in known:
        index = places[material.name]
        ratio = rows.text("ratio", index)
        try:
            wanted_ratio = number(ratio, tables["materials"].semicolons) if ratio else None
        except Unreadable as error:
            what = f"{shown(ratio)} is not a number that can be read"
            problems.append(rows.problem(index, "ratio", what, str(error)))
            continue
        like = rows.text("like", index) or None
        available = rows.number("available_g", index)
        request.append(MaterialRequest(material, like, wanted_ratio, available))
    return tuple(request)


def refused_problems(written: WrittenWishes, refused: PlanRefused) -> list[Problem]:
    """Return the refusals as problems, each at the row of its item where it was given.

    What would do is named by the items to write.
    """
    rows = {ITEM_NAMES[field]: row for field, row in written.rows.items()}

    def problem(one: Refusal) -> Problem:
        wanted = f"possible: {one.instead}" if one.instead else "change it"
        changed = dataclasses.replace(written.request, **one.change)
        items = changed_words(written.request, changed, written.units)
        if items and items != one.instead:
            wanted += f" (write: {items})"
        if one.item == "materials":
            what, _, right = one.why.partition("; ")
            return Problem(written.materials, what, right or wanted)
        return Problem(written.table, f"{one.item}: {one.why}", wanted, rows.get(one.item))

    return [problem(one) for one in refused.refusals]


def changed_words(
    request: PlanRequest, nearest: PlanRequest, units: Mapping[str, str] | None = None
) -> str:
    """Return what differs between request and the nearest possible ones, in words.

    Parameters
    ----------
    units
        In which each item is written, by its field; default: the project's own.
    """
    written = units or {}
    said = []
    for known in ITEMS:
        if known.field == "altitude_m":
            continue
        old, new = getattr(request, known.field), getattr(nearest, known.field)
        if old != new:
            said.append(f"{known.name} {_shown_value(known, new, written.get(known.field))}")
    kept = {asked.material.name for asked in nearest.materials}
    dropped = [w.material.name for w in request.materials if w.material.name not in kept]
    if dropped:
        said.append(f"without {', '.join(dropped)}")
    had = {asked.material.name: asked.available_g for asked in request.materials}
    for asked in nearest.materials:
        if asked.available_g != had[asked.material.name]:
            mass = _in_unit(asked.available_g or 0.0, written.get("available_g", "g"), "g")
            said.append(f"{mass} of {asked.material.name}")
    return ", ".join(said)


def _in_unit(value: float, unit: str, own: str) -> str:
    """Return a quantity in the unit that a person writes it in.

    In the project's own where there is none, or where the figure is much shorter in it.
    """
    plain = f"{value:g} {own.replace('degC', '°C')}"
    try:
        rule = conversion(unit, own)
    except UnknownUnit:
        return plain
    written = f"{(value - rule.offset) / rule.factor:.5g} {unit}"
    return plain if len(plain) + 2 < len(written) else written


def _shown_value(known: KnownColumn, value: Any, written: str | None) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    if not isinstance(value, int | float):
        return str(value)
    if written is not None and known.unit is not None:
        return _in_unit(value, written, known.unit)
    unit = {"dimensionless": "%", "degC": "°C", None: ""}.get(known.unit, known.unit or "")
    scale = 100 if known.unit == "dimensionless" else 1
    return f"{value * scale:g} {unit}".strip()
