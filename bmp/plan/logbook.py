"""The logbook: a workbook in the layout of a trial, ready for readings.

The first four sheets are the trial that `bmp analyze` reads; the others are for people. Cells on a
yellow ground hold what was planned and are written over by what was weighed or read.
"""

from __future__ import annotations

import math
from dataclasses import replace
from datetime import datetime
from io import BytesIO
from pathlib import Path
from typing import TYPE_CHECKING, Any

from bmp.plan.dosing import DosingSolids, PlannedJar, in_own_unit
from bmp.plan.draft import assumed_shares
from bmp.plan.entry_cells import CellRule, allow, new_sheet, number, put, span
from bmp.plan.literature import LiteratureRange
from bmp.plan.plan import Plan
from bmp.plan.plan_request import OUTLETS
from bmp.plan.reading_columns import METHANE, ambient, possible, reading_columns, temperature
from bmp.plan.reading_rounds import Round
from bmp.plan.request_checks import PLANNED_MEASURES
from bmp.plan.shown_units import ShownUnits
from bmp.read.columns import CRUCIBLES
from bmp.solids import ADVISED_REPLICATES
from bmp.trial import Material

if TYPE_CHECKING:
    from openpyxl import Workbook
    from openpyxl.worksheet.worksheet import Worksheet

# Rows below the last planned reading that still have drop-downs and limits.
SPARE_ROWS = 100

SHARE = number(0, 100, "percent")
MATERIAL_COLUMNS: tuple[tuple[str, str, float, CellRule | None], ...] = (
    ("TS [% of fresh mass]", "TS", 100, SHARE),
    ("TS uncertainty [% of fresh mass]", "TS_u", 100, SHARE),
    ("VS [% of fresh mass]", "VS", 100, SHARE),
    ("VS uncertainty [% of fresh mass]", "VS_u", 100, SHARE),
    ("COD [g/g VS]", "COD_g_per_gVS", 1, None),
    ("carbohydrate [% of VS]", "carbohydrate", 100, SHARE),
    ("protein [% of VS]", "protein", 100, SHARE),
    ("lipid [% of VS]", "lipid", 100, SHARE),
    ("formula", "formula", 1, None),
    ("carbon [% of TS]", "carbon", 100, SHARE),
    ("nitrogen [% of TS]", "nitrogen", 100, SHARE),
    ("ammonium N [g/kg]", "ammonium_N_g_per_kg", 1, None),
    ("methane [%]", "methane_share", 100, SHARE),
    ("methane uncertainty [%]", "methane_share_half_width", 100, SHARE),
)


def write_logbook(plan: Plan, path: Path) -> None:
    """Write the logbook of a plan.

    Parameters
    ----------
    path
        The `.xlsx` to write; it is written over.
    """
    from openpyxl import Workbook

    book = Workbook()
    book.remove(book.worksheets[0])
    _trial_sheet(book, plan)
    _materials_sheet(book, plan)
    _jars_sheet(book, plan)
    _readings_sheet(book, plan)
    _crucibles_sheet(book, plan)
    _dates_sheet(book, plan)
    _dosing_sheet(book, plan)
    _cautions_sheet(book, plan)
    book.active = book.sheetnames.index("readings")
    # packed in memory: a full disk leaves no half workbook, and is told as such
    made = BytesIO()
    book.save(made)
    path.write_bytes(made.getvalue())


# ---------------------------------------------------------------- the four tables of the trial


def _trial_sheet(book: Workbook, plan: Plan) -> None:
    from openpyxl.styles import Alignment

    request, units = plan.request, plan.request.units
    warm = f"incubation temperature [{units.temperature}]"
    rows: list[tuple[str, Any, CellRule | None]] = [
        ("title", request.title, None),
        ("started", request.started, CellRule("when the jars were closed: date and time")),
        ("measured", request.measured, CellRule("how gas is measured", choices=PLANNED_MEASURES)),
        (
            "readings are",
            "interval",
            CellRule(
                "since the last reading, or running totals", choices=("interval", "cumulative")
            ),
        ),
        ("outlet", request.outlet, CellRule("of the jars between readings", choices=OUTLETS)),
        ("gas", "wet", CellRule("wet: read over water or warm", choices=("wet", "dry"))),
        (f"gas temperature [{units.temperature}]", None, temperature(units)),
        (f"ambient [{units.ambient}]", _in(units, "ambient", request.ambient_kPa), ambient(units)),
        ("methane [%]", None, METHANE),
        (
            "composition basis",
            "flush gas excluded",
            CellRule(
                "whether methane and carbon dioxide make 100 %",
                choices=("flush gas excluded", "as measured"),
            ),
        ),
        (
            "flush gas",
            None,
            CellRule("nitrogen, air, none, or a mixture such as 70 % N2 + 30 % CO2"),
        ),
        ("blank", "measured", CellRule("blanks are in the trial", choices=("measured", "none"))),
        (
            warm,
            _in(units, "temperature", request.incubation_temperature_C),
            possible("incubation_temperature_C", "temperature of the jars", units, "temperature"),
        ),
    ]
    if units.beside:
        rows.append(("show units", ", ".join(units.beside), None))
    sheet = new_sheet(book, "trial", ["item", "value"], [30, 44])
    for i, (item, value, entry) in enumerate(rows, start=2):
        put(sheet, i, 1, item)
        put(sheet, i, 2, value)
        sheet.cell(i, 2).alignment = Alignment(horizontal="left")
        if entry is not None:
            allow(sheet, entry, f"B{i}")


def _in(units: ShownUnits, kind: str, value: float | None) -> float | None:
    return None if value is None else round(units.shown(kind, value), 2)


def _materials_sheet(book: Workbook, plan: Plan) -> None:
    draft = plan.draft
    shares = assumed_shares(draft)
    rows = [(draft.inoculum.material, draft.inoculum_solids)]
    rows += [(s.asked.material, s.solids) for s in draft.samples]
    rows = [(_with_share(material, shares.get(material.name)), one) for material, one in rows]
    always = ("TS", "TS_u", "VS", "VS_u")
    columns = [
        c
        for c in MATERIAL_COLUMNS
        if c[1] in always or any(getattr(m, c[1]) is not None for m, _ in rows)
    ]
    names = ["material", "role", *(c[0] for c in columns), "solids from"]
    sheet = new_sheet(book, "materials", names, [34, 12, *(18 for _ in columns), 44])
    for row, (material, solids) in enumerate(rows, start=2):
        put(sheet, row, 1, material.name)
        put(sheet, row, 2, material.role)
        for column, (_, name, per, _) in enumerate(columns, start=3):
            value = getattr(material, name)
            if isinstance(value, float):
                value = float(f"{value * per:.6g}")
            put(sheet, row, column, value)
        put(sheet, row, len(names), _solids_from(material, solids))
        if not solids.measured:
            _put_range(sheet, row, 3 + [c[1] for c in columns].index("VS"), solids.low, solids.high)
    last = len(rows) + 1 + SPARE_ROWS
    roles = CellRule("role", choices=("inoculum", "substrate", "control"))
    allow(sheet, roles, f"B2:B{last}")
    for column, (_, _, _, entry) in enumerate(columns, start=3):
        if entry is not None:
            allow(sheet, entry, span(column, 2, last))


def _with_share(material: Material, share: LiteratureRange | None) -> Material:
    """Return the material with the assumed methane share of its kind, where there is one."""
    if share is None:
        return material
    half = (share.high - share.low) / 2
    return replace(material, methane_share=share.middle, methane_share_half_width=half)


def _solids_from(material: Material, solids: DosingSolids) -> str:
    return material.solids_from or ("measured" if solids.measured else solids.source)


def _put_range(sheet: Worksheet, row: int, column: int, low: float, high: float) -> None:
    """Write the middle of a literature range and its standard uncertainty, marked as planned."""
    half = 100 * (high - low) / 2
    put(sheet, row, column, round(100 * low + half, 3), planned=True)
    put(sheet, row, column + 1, round(half / 3**0.5, 3), planned=True)


def _masses(units: ShownUnits) -> list[str]:
    return [f"{name} [{units.mass}]" for name in ("inoculum", "sample", "water")]


def _jars_sheet(book: Workbook, plan: Plan) -> None:
    units = plan.request.units
    names = ["jar", "material", *_masses(units), "headspace [mL]", "leave out"]
    sheet = new_sheet(book, "jars", names, [8, 34, 14, 14, 14, 16, 36])
    for row, jar in enumerate(plan.jars, start=2):
        dose = jar.dose
        put(sheet, row, 1, jar.name)
        put(sheet, row, 2, dose.material)
        masses = (*in_own_unit(units, dose), dose.headspace_mL)
        for column, value in enumerate(masses, start=3):
            put(sheet, row, column, value, planned=True)
    last = len(plan.jars) + 1
    materials = _material_cells(plan)
    allow(
        sheet, CellRule("material, or the inoculum for a blank", formula=materials), f"B2:B{last}"
    )
    masses_end = round(units.shown("mass", 2 * plan.request.jar_volume_mL), 1)
    allow(sheet, number(0, masses_end, "what was weighed in"), f"C2:E{last}")
    allow(sheet, number(0, plan.request.jar_volume_mL, "gas space above the liquid"), f"F2:F{last}")


def _readings_sheet(book: Workbook, plan: Plan) -> None:
    dated, columns = plan.request.started is not None, reading_columns(plan.request)
    names = ["jar", *(name for name, _ in columns), "note"]
    sheet = new_sheet(book, "readings", names, [8, 18, *(16 for _ in columns[1:]), 40], freeze="C2")
    row = 1
    times: list[Any] = [one.at if dated else round(one.time_d, 4) for one in plan.rounds]
    if plan.weighed_when_closed:
        times.insert(0, plan.request.started if dated else 0)
    for time in times:
        for jar in by_position(plan):
            row += 1
            put(sheet, row, 1, jar.name)
            put(sheet, row, 2, time, planned=True)
    last = row + SPARE_ROWS
    names_of_jars = f"jars!$A$2:$A${len(plan.jars) + 1}"
    allow(sheet, CellRule("jar", formula=names_of_jars), f"A2:A{last}")
    for column, (_, entry) in enumerate(columns, start=2):
        allow(sheet, entry, span(column, 2, last))


def _crucibles_sheet(book: Workbook, plan: Plan) -> None:
    """Three crucibles of every material whose solids nobody has measured yet."""
    draft = plan.draft
    solids = [(draft.inoculum.material.name, draft.inoculum_solids)]
    solids += [(sample.name, sample.solids) for sample in draft.samples]
    open_names = [name for name, one in solids if not one.measured]
    names = ["material", *(f"{known.name} [g]" for known in CRUCIBLES[1:5])]
    sheet = new_sheet(book, "crucibles", names, [34, 16, 16, 18, 18])
    for row, name in enumerate(sorted(open_names * ADVISED_REPLICATES), start=2):
        put(sheet, row, 1, name)
    last = len(open_names) * ADVISED_REPLICATES + 1 + SPARE_ROWS
    allow(sheet, CellRule("material", formula=_material_cells(plan)), f"A2:A{last}")
    allow(sheet, number(0, 10_000, "always with the crucible"), f"B2:E{last}")


def _material_cells(plan: Plan) -> str:
    return f"materials!$A$2:$A${len(plan.draft.samples) + 2}"


# ---------------------------------------------------------------- sheets for people


def by_position(plan: Plan) -> list[PlannedJar]:
    """Return the jars in the order in which they stand on the shelf."""
    return sorted(plan.jars, key=lambda jar: jar.position)


def when(one: Round) -> str | datetime:
    """Return the date and time of a round, or its day where no start is known."""
    if one.at is not None:
        return one.at
    day, hours = divmod(round(24 * one.time_d, 2), 24)
    return f"day {day:.0f}" if hours == 0 else f"day {day:.0f} + {hours:g} h"


def _dates_sheet(book: Workbook, plan: Plan) -> None:
    closed, what = plan.request.outlet == "closed", read_words(plan)
    names = ["round", "when", "day", "hours since last", f"expected {what}", f"at most {what}"]
    names += ["do", "done by"]
    sheet = new_sheet(book, "plan by date", names, [8, 18, 8, 12, 18, 18, 30, 14])
    first = 3 if plan.weighed_when_closed else 2
    if plan.weighed_when_closed:
        start = plan.request.started or "day 0"
        values: list[Any] = [0, start, 0, None, None, None, WEIGH_WHEN_CLOSED]
        for column, value in enumerate(values, start=1):
            put(sheet, 2, column, value)
    for row, one in enumerate(plan.rounds, start=first):
        middle, high = expected_at(plan, one)
        values = [one.number, when(one), round(one.time_d, 2)]
        values += [round(24 * one.since_d, 1)]
        values += [middle, high]
        values += [f"read {'and vent ' if closed else ''}all {len(plan.jars)} jars", None]
        for column, value in enumerate(values, start=1):
            put(sheet, row, column, value)


WEIGH_WHEN_CLOSED = "weigh all jars as soon as they are closed"
# What is read by each way of measuring: its name on a header, its kind of unit, its digits.
_READ: dict[str, tuple[str, str, int]] = {
    "pressure": ("gauge", "gauge", 0),
    "mass": ("mass lost", "mass", 2),
    "volume": ("volume", "volume", 0),
    "methane volume": ("methane volume", "volume", 0),
}


def read_words(plan: Plan) -> str:
    """Return what a person reads, with its unit: “gauge [kPa]”."""
    name, kind, _ = _READ[plan.request.measured]
    return f"{name} [{plan.request.units.header_unit(kind)}]"


def expected_at(plan: Plan, one: Round) -> tuple[float, float]:
    """Return what the fullest jar is expected to show, and at most, in the unit of the plan."""
    _, kind, digits = _READ[plan.request.measured]
    units = plan.request.units
    loads = [e.as_read(plan.request.measured) for e in plan.expected if e.time_d == one.time_d]
    if units.header_unit(kind) not in ("kPa", "mL", "g"):
        digits = 1
    middle, high = (
        round(units.shown(kind, max(load[end] for load in loads)), digits) for end in (1, 2)
    )
    return (middle, high) if digits else (int(middle), int(high))


def _dosing_sheet(book: Workbook, plan: Plan) -> None:
    units = plan.request.units
    names = ["position", "jar", "material", *_masses(units), "inoculum to substrate", "done by"]
    sheet = new_sheet(book, "dosing", names, [10, 8, 34, 14, 14, 14, 14, 14])
    for row, jar in enumerate(by_position(plan), start=2):
        dose = jar.dose
        ratio = None if dose.ratio is None else round(dose.ratio, 2)
        values = [jar.position, jar.name, dose.material, *in_own_unit(units, dose), ratio, None]
        for column, value in enumerate(values, start=1):
            put(sheet, row, column, value)
    row = len(plan.jars) + 3
    put(sheet, row, 3, "positions drawn at random; the same plan gives the same ones")
    for amount in plan.amounts:
        row += 1
        put(sheet, row, 3, f"fetch of {amount.material}")
        put(sheet, row, 4, float(f"{units.shown('mass', amount.fetch_g):.3g}"))


def _cautions_sheet(book: Workbook, plan: Plan) -> None:
    from openpyxl.styles import Alignment

    widths: list[float] = [80, 40, 40]
    sheet = new_sheet(book, "cautions", ["caution", "figure", "source"], widths)
    rows: list[tuple[str, str, str]] = [(c.text, c.figure, c.source) for c in plan.cautions]
    rows += [(text, "", "") for text in plan.watch]
    rows += [(f"assumed: {text}", "", "") for text in plan.assumed]
    for row, values in enumerate(rows, start=2):
        for column, value in enumerate(values, start=1):
            put(sheet, row, column, value or None)
            sheet.cell(row, column).alignment = Alignment(wrap_text=True, vertical="top")
        # Some spreadsheet programs leave the height of wrapped rows as they find it.
        lines = max(math.ceil(len(t) / (0.9 * w)) for t, w in zip(values, widths, strict=True))
        sheet.row_dimensions[row].height = 15 * max(lines, 1)
