"""An empty logbook for a way of measuring: the four tables, in the units of the person's own."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from io import BytesIO
from pathlib import Path
from typing import TYPE_CHECKING, Any

from bmp.plan.entry_cells import CellRule, allow, new_sheet, number, put, span
from bmp.plan.plan_request import PlanRequest
from bmp.plan.reading_columns import ambient, possible, reading_columns, temperature
from bmp.plan.shown_units import OWN_UNITS, ShownUnits
from bmp.problem import Problem, UnusableInput
from bmp.read.columns import ITEMS
from bmp.read.setup import CHOICES
from bmp.shown_units import US, shown_units
from bmp.units import UnknownUnit, conversion

if TYPE_CHECKING:
    from openpyxl import Workbook

JARS, READINGS = 60, 1500
_MATERIAL_HEADERS = ("material", "role", "TS [% of fresh mass]", "VS [% of fresh mass]")


def units_of(written: Sequence[str]) -> ShownUnits:
    """Return the units of a logbook from those that a person names, such as `psi °F inHg oz`.

    A unit of pressure is the gauge's; a barometer's (inHg, mmHg, hPa) is that of the air.

    Raises
    ------
    UnusableInput
        One of them is no unit that a logbook has.
    """
    units = ShownUnits()
    for unit in written:
        kind = next((kind for kind, own in OWN_UNITS.items() if _converts(unit, own)), None)
        if kind is None:
            wanted = "write units such as: psi °F inHg oz mL"
            raise UnusableInput([Problem("--units", f"“{unit}” is no unit of a logbook", wanted)])
        barometer = kind == "gauge" and unit.lower() in ("inhg", "mmhg", "hpa", "torr", "atm")
        units = replace(units, **{"ambient" if barometer else kind: unit})
    return units


def _converts(unit: str, own: str) -> bool:
    try:
        conversion(unit, own)
    except UnknownUnit:
        return False
    return True


def write_empty_logbook(path: Path, way: str, units: ShownUnits) -> None:
    """Write the workbook: four tables to fill in and one sheet that explains a filled row of each.

    Parameters
    ----------
    path
        The `.xlsx` to write; it is written over.
    way
        `volume`, `methane volume`, `pressure` or `mass`.
    """
    from openpyxl import Workbook

    book = Workbook()
    book.remove(book.worksheets[0])
    _trial(book, way, units)
    _materials(book)
    jars = _jars(book, way, units)
    request = PlanRequest((), 1000.0, measured=way, outlet=_outlet(way), units=units)
    columns = [("jar", CellRule("jar", formula="jars!$A$2:$A$61")), *_dated(request), _NOTE]
    sheet = new_sheet(
        book, "readings", [c[0] for c in columns], [10, 20, *(18 for _ in columns[2:])]
    )
    for column, (_, entry) in enumerate(columns, start=1):
        allow(sheet, entry, span(column, 2, READINGS))
    for row in range(2, READINGS):
        sheet.cell(row, 2).number_format = "yyyy-mm-dd hh:mm"
    _example(book, way, units, jars, [c[0] for c in columns])
    book.active = 0
    # packed in memory: a full disk leaves no half workbook, and is told as such
    made = BytesIO()
    book.save(made)
    path.write_bytes(made.getvalue())


_NOTE = ("note", CellRule("anything that happened: a leak, a cold night, a spilled jar"))


def _outlet(way: str) -> str:
    return "closed" if way in ("pressure", "mass") else "open"


def _dated(request: PlanRequest) -> list[tuple[str, CellRule]]:
    """Return the columns of the readings, with dates."""
    columns = reading_columns(request)
    return [
        ("taken", CellRule("date and time of the reading, such as 2027-03-31 14:30")),
        *columns[1:],
    ]


def _trial(book: Workbook, way: str, units: ShownUnits) -> None:
    known = {item.field: item for item in ITEMS}
    warm, air = units.temperature, units.ambient
    rows: list[tuple[str, str, Any, CellRule | None]] = [
        ("title", "title", None, None),
        ("started", "started", None, CellRule("date and time when the jars were closed")),
        ("measured", "measured", way, None),
        ("cumulative", "readings are", "interval", None),
        ("closed_between_readings", "outlet", _outlet(way), None),
        ("gas_is_wet", "gas", "wet", None),
        ("gas_temperature_C", f"gas temperature [{warm}]", None, temperature(units)),
        ("ambient_kPa", f"ambient [{air}]", None, ambient(units)),
        ("methane_share", "methane [%]", None, possible("methane_share", "methane in the dry gas")),
        ("flush_gas", "flush gas", None, None),
        ("blank", "blank", "measured", None),
        ("incubation_temperature_C", f"incubation temperature [{warm}]", None,
         possible("incubation_temperature_C", "temperature of the jars", units, "temperature")),
        ("show_units", "show units", _own_words(units), None),
    ]  # fmt: skip
    names = ["item", "value", "what it is", "if left empty"]
    sheet = new_sheet(book, "trial", names, [34, 26, 80, 40])
    for row, (field, header, value, entry) in enumerate(rows, start=2):
        item = known[field]
        put(sheet, row, 1, header)
        put(sheet, row, 2, value, planned=True)
        put(sheet, row, 3, item.means.replace("`", ""))
        put(sheet, row, 4, item.otherwise.replace("`", ""))
        choices = tuple(CHOICES.get(field, ()))
        allow(sheet, entry or CellRule(item.means.replace("`", ""), choices=choices), f"B{row}")


def _own_words(units: ShownUnits) -> str:
    """Return what the results are shown in beside SI units."""
    written = (units.gauge, units.ambient, units.temperature, units.mass, units.volume)
    return (
        "US customary" if {*US} & {one for u in written for one in shown_units(u) or ()} else "SI"
    )


def _materials(book: Workbook) -> None:
    sheet = new_sheet(book, "materials", list(_MATERIAL_HEADERS), [30, 16, 22, 22])
    roles = ("inoculum", "substrate", "control", "weight check")
    allow(sheet, CellRule("inoculum, or what was tested", choices=roles), span(2, 2, 40))
    for column in (3, 4):
        allow(sheet, number(0, 100, "percent of the fresh mass"), span(column, 2, 40))


def _jars(book: Workbook, way: str, units: ShownUnits) -> list[str]:
    mass = units.mass
    names = ["jar", "material", f"inoculum [{mass}]", f"sample [{mass}]", f"water [{mass}]",
             f"headspace [{units.volume}]", "leave out"]  # fmt: skip
    sheet = new_sheet(book, "jars", names, [10, 30, 18, 18, 18, 18, 40])
    prompts = {
        1: CellRule("name of the jar"),
        2: CellRule("what was tested; the inoculum for a blank", formula="materials!$A$2:$A$40"),
        6: CellRule("gas space above the liquid" + ("; needed" if way == "pressure" else "")),
        7: CellRule("why the jar does not count; else empty"),
    }
    for column, entry in prompts.items():
        allow(sheet, entry, span(column, 2, JARS + 1))
    for column, what in ((3, "inoculum"), (4, "fresh material"), (5, "water")):
        entry = possible("mass_g", f"mass of {what} in the jar", units, "mass")
        allow(sheet, entry, span(column, 2, JARS + 1))
    return names


def _example(
    book: Workbook, way: str, units: ShownUnits, jars: list[str], readings: list[str]
) -> None:
    """Write a filled row of each table with what it says; this sheet is not read."""
    sheet = new_sheet(book, "example", ["sheet", "column", "such as", "what it says"],
                      [14, 30, 24, 90])  # fmt: skip
    said = {
        "material": ("goat bedding", "as in the sheet materials"), "role": ("substrate", ""),
        "TS": (28, "28 g of 100 g are left after drying"),
        "VS": (22, "22 g of 100 g of the fresh material burn off"),
        "jar": ("A1", "name of the jar"),
        "inoculum": (_shown(units, "mass", 400), "sludge in this jar"),
        "sample": (_shown(units, "mass", 18), "fresh bedding in this jar; a blank has none"),
        "water": (0, "none was added"),
        "headspace": (_shown(units, "volume", 500), "gas space above the liquid"),
        "leave out": (None, "empty: the jar counts"),
        "taken": ("2027-03-03 09:10", "when this jar was read"),
        "volume": (_shown(units, "volume", 240), "gas since the last reading of this jar"),
        "gauge before": (_shown(units, "gauge", 42), "the gauge before venting"),
        "gauge after": (None, "empty: vented to the air; “not vented”: left closed"),
        "mass before": (_shown(units, "mass", 1021.4), "whole jar before venting"),
        "mass after": (_shown(units, "mass", 1020.9), "whole jar after venting"),
        "syringe gas": (100, "gas drawn before shaking with soda lye"),
        "syringe gas left": (58, "what was left: it is methane"),
        "temperature": (_shown(units, "temperature", 21), "where the gas is read"),
        "ambient": (_shown(units, "ambient", 98.6), "air pressure of the place"),
        "methane": (58, "only where a meter shows it"), "note": ("cold night", "free text"),
    }  # fmt: skip
    row = 1
    for table, names in (("materials", _MATERIAL_HEADERS), ("jars", jars), ("readings", readings)):
        for header in names:
            row += 1
            value, words = said[header.partition(" [")[0]]
            for column, cell in enumerate((table, header, value, words), start=1):
                put(sheet, row, column, cell)


def _shown(units: ShownUnits, kind: str, value: float) -> float:
    return float(f"{units.shown(kind, value):.4g}")
