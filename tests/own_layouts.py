"""Sheets in each layout that people use, all of one invented trial with a known right answer.

Eight jars: two of sludge alone, two of filter paper, two of beet pulp, two of duck manure. Methane
follows from a yield, a rate and the gas law, as in `tests/own_sheets.py`, apart from the tool.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from datetime import datetime, timedelta
from math import exp
from pathlib import Path

from openpyxl import Workbook
from openpyxl.utils import get_column_letter

from tests.own_sheets import T0_K, Feed, P0_kPa, feed_NmL, own_NmL, vapour_kPa

FEEDS: Mapping[str, Feed] = {
    "filter paper": Feed(370.0, 0.25, 0.90, 0.52),
    "beet pulp": Feed(340.0, 0.20, 0.20, 0.55),
    "duck manure": Feed(260.0, 0.12, 0.17, 0.63),
}
JARS: Mapping[str, tuple[str, float, float]] = {
    "1": ("sludge", 400.0, 0.0), "2": ("sludge", 404.0, 0.0),
    "3": ("filter paper", 400.0, 4.0), "4": ("filter paper", 401.0, 4.1),
    "5": ("beet pulp", 398.0, 18.0), "6": ("beet pulp", 400.0, 18.5),
    "7": ("duck manure", 402.0, 25.0), "8": ("duck manure", 400.0, 24.0),
}  # fmt: skip
"""Jar -> (what is in it, sludge, feed), both in grams."""
SHARES: Mapping[str, float] = {
    "1": 0.60, "2": 0.59, "3": 0.515, "4": 0.525, "5": 0.545, "6": 0.56, "7": 0.62, "8": 0.645,
}  # fmt: skip
"""Methane in the dry gas of each jar, all days alike."""
BOTTLE_mL, ROOM_C, JARS_C, AIR_kPa = 1000.0, 20.0, 37.0, 99.5
DAYS = (0, 1, 2, 4, 6, 9, 13, 17, 22, 28, 35)
START = datetime(2026, 2, 27, 9, 30)
Rows = Sequence[Sequence[object]]


def methane_NmL(jar: str, t_d: float) -> float:
    """Return all methane that a jar has made up to a day."""
    what, sludge_g, fed_g = JARS[jar]
    return own_NmL(sludge_g, t_d) + (feed_NmL(FEEDS[what], fed_g, t_d) if fed_g else 0.0)


def made_NmL(jar: str, start_d: float, end_d: float, share: float | None = None) -> float:
    """Return the dry gas that a jar makes between two days."""
    of = SHARES[jar] if share is None else share
    return (methane_NmL(jar, end_d) - methane_NmL(jar, start_d)) / of


def wet_mL(jar: str, start_d: float, end_d: float, share: float | None = None) -> float:
    """Return that gas as it is collected over water in the room."""
    dry_kPa = AIR_kPa - vapour_kPa(ROOM_C)
    dry_NmL = made_NmL(jar, start_d, end_d, share)
    return dry_NmL * P0_kPa / dry_kPa * (T0_K + ROOM_C) / T0_K


def headspace_mL(jar: str) -> float:
    """Return the gas space of a jar, its contents at 1 g/mL."""
    return BOTTLE_mL - JARS[jar][1] - JARS[jar][2]


def rise_kPa(jar: str, start_d: float, end_d: float) -> float:
    """Return what the pressure of a closed jar rises by between two days."""
    moles = made_NmL(jar, start_d, end_d) * P0_kPa / T0_K
    return moles * (T0_K + JARS_C) / headspace_mL(jar)


def true_yield(what: str) -> float:
    """Return the yield of a feed on the last day [NmL per g VS]."""
    feed = FEEDS[what]
    return feed.B0_mL_per_gVS * (1.0 - exp(-feed.k_per_d * DAYS[-1]))


def setup_rows() -> Rows:
    """Return the tables of jars and materials as people type them."""
    rows: list[Sequence[object]] = [
        ["Jar", "Contents", "Sludge (g)", "Feed (g)", "Bottle volume (ml)"]
    ]
    rows += [[j, what, s, f or None, BOTTLE_mL] for j, (what, s, f) in JARS.items()]
    rows += [[], ["Material", "TS (%)", "VS (% of TS)"], ["sludge", 3.5, 66.0]]
    rows += [[n, 100.0 * one.VS / 0.8, 80.0] for n, one in FEEDS.items() if n != "filter paper"]
    rows += [["filter paper", 95.0, 100.0 * 0.90 / 0.95]]
    return rows


def at(day: float) -> datetime:
    """Return the moment of a reading."""
    return START + timedelta(days=day)


def save(path: Path, sheets: Mapping[str, Rows], merged: Sequence[str] = ()) -> Path:
    """Write a workbook of these sheets; `merged` ranges are of the last of them."""
    book = Workbook()
    book.remove(book.worksheets[0])
    for title, rows in sheets.items():
        sheet = book.create_sheet(title)
        for row in rows:
            sheet.append(list(row))
    for one in merged:
        book.worksheets[-1].merge_cells(one)
    book.save(path)
    return path


def between(day_index: int) -> tuple[float, float]:
    """Return the days since which and at which a reading counts."""
    return (DAYS[day_index - 1] if day_index else 0.0, DAYS[day_index])


def _log(header: Rows, cells: Callable[[int], Sequence[object]]) -> Rows:
    rows = [list(one) for one in header]
    for index, day in enumerate(DAYS):
        if index == 6:
            rows.append([])  # people leave a line empty when a month is over
        rows.append([at(day), *cells(index)])
    return rows


def percent(jar: str) -> float:
    """Return a jar's methane share as a meter shows it."""
    return round(100.0 * SHARES[jar], 2)


def share_beside_each_jar(path: Path) -> Path:
    """Gas and methane of each jar in two columns: `Jar 1 (ml)`, `Jar 1 CH4 (%)`."""
    header = ["Date"]
    for jar in JARS:
        header += [f"Jar {jar} (ml)", f"Jar {jar} CH4 (%)"]

    def cells(index: int) -> Sequence[object]:
        row: list[object] = []
        for jar in JARS:
            row += [round(wet_mL(jar, *between(index)), 1), percent(jar) if index % 3 else None]
        return row

    return save(path, {"Setup": setup_rows(), "Gas": _log([["gas since last time"], [], header],
                                                          cells)})  # fmt: skip


def share_below_each_jars_name(path: Path) -> Path:
    """Two lines of headers: the jar above three merged cells, gas and its parts below."""
    upper, lower = ["", "room °C"], ["Date", ""]
    for jar in JARS:
        upper += [f"Bottle {jar}", None, None]
        lower += ["gas ml", "% CH4", "% CO2"]

    def cells(index: int) -> Sequence[object]:
        row: list[object] = [ROOM_C]
        for jar in JARS:
            row.append(round(wet_mL(jar, *between(index)), 1))
            row += [percent(jar), 99.0 - percent(jar)] if index else [None, None]
        return row

    merged = [f"{get_column_letter(3 + 3 * i)}3:{get_column_letter(5 + 3 * i)}3" for i in range(8)]
    header: Rows = [["our biogas"], [], upper, lower]
    return save(path, {"Setup": setup_rows(), "Gas": _log(header, cells)}, merged)


def share_in_a_block_to_the_right(path: Path) -> Path:
    """Two blocks under merged titles: gas of all jars, then methane of all jars."""
    upper: list[object] = ["", "Gas (ml)", *[None] * 7, "CH4 (%)", *[None] * 7]
    lower = ["Date", *(f"J{jar}" for jar in JARS), *(f"J{jar}" for jar in JARS)]

    def cells(index: int) -> Sequence[object]:
        gas = [round(wet_mL(jar, *between(index)), 1) for jar in JARS]
        return [*gas, *(percent(jar) if index in (2, 5, 9) else None for jar in JARS)]

    setup = [[f"J{row[0]}", *row[1:]] if row and row[0] in JARS else row for row in setup_rows()]
    merged = ["B2:I2", "J2:Q2"]
    return save(path, {"Setup": setup, "Gas": _log([["readings"], upper, lower], cells)}, merged)


def share_on_a_sheet_of_its_own(path: Path) -> Path:
    """Gas on one sheet, methane on another with the same columns, once a week."""
    header = ["Date", *(f"Jar {jar}" for jar in JARS)]
    gas = _log([["Gas in ml since last reading"], header],
               lambda i: [round(wet_mL(jar, *between(i)), 1) for jar in JARS])  # fmt: skip
    methane: Rows = [["Methane in %, from the meter"], header, *(
        [at(day) + timedelta(hours=1), *(percent(jar) for jar in JARS)] for day in (2, 9, 17, 28)
    )]  # fmt: skip
    return save(path, {"Setup": setup_rows(), "Gas": gas, "Methane": methane})


def share_of_each_material_beside(path: Path) -> Path:
    """Gas of each jar, then a column of methane for each material: `CH4 beet pulp (%)`."""
    header = ["Date", *(f"Jar {jar} (ml)" for jar in JARS), "CH4 sludge (%)",
              *(f"CH4 {name} (%)" for name in FEEDS)]  # fmt: skip
    shares = {"sludge": 0.60, **{name: one.methane for name, one in FEEDS.items()}}

    def cells(index: int) -> Sequence[object]:
        gas = [round(wet_mL(j, *between(index), shares[JARS[j][0]]), 1) for j in JARS]
        return [*gas, *(100.0 * one if index else None for one in shares.values())]

    return save(path, {"Setup": setup_rows(), "Gas": _log([header], cells)})


def absolute_pressure_before(path: Path) -> Path:
    """Absolute pressure of each jar before it is vented, in mbar; the barometer in mmHg."""
    header = ["date/time", "barometer mmHg", *(f"Bottle {jar}" for jar in JARS)]

    def cells(index: int) -> Sequence[object]:
        shown = [round(10.0 * (AIR_kPa + rise_kPa(jar, *between(index))), 1) for jar in JARS]
        return [round(AIR_kPa / 0.1333224, 1), *shown]

    title = [["Absolute pressure in mbar, all vented to the air after reading"]]
    rows = _log([*title, header], cells)
    # a spreadsheet in which dates are texts, the month first; one of them tells it
    told = [[f"{c:%m/%d/%Y %I:%M %p}" if isinstance(c, datetime) else c for c in r] for r in rows]
    return save(path, {"Log": told, "Setup": setup_rows(), "CH4": share_rows()})


def share_rows() -> Rows:
    """Return a small table of methane shares, one a jar."""
    return [["jar", "CH4 %"], *([jar, percent(jar)] for jar in JARS)]


def gauge_before_and_after(path: Path) -> Path:
    """Gauge pressure before and after venting in psi; something is always left in the jar."""
    header: list[object] = ["Day"]
    for jar in JARS:
        header += [f"#{jar} before (psi)", f"#{jar} after (psi)"]
    left_psi = 0.4

    def cells(index: int) -> Sequence[object]:
        row: list[object] = []
        for jar in JARS:
            rise = rise_kPa(jar, *between(index)) / 6.894757
            row += [round(rise + left_psi, 3), left_psi] if index else [0, 0]
            if index == 1:
                row[-2] = round(rise, 3)
        return row

    rows = [[*header], *([day, *cells(index)] for index, day in enumerate(DAYS)),
            ["Average", *[1.0] * 16]]  # fmt: skip
    return save(path, {"Sheet1": [["psi gauge"], [], *rows], "Sheet2": setup_rows(),
                       "Sheet3": share_rows()})  # fmt: skip


def weighed_before_and_after(path: Path) -> Path:
    """Each bottle weighed before and after its gas is let out, two columns a bottle."""
    header: list[object] = ["Datum"]
    for jar in JARS:
        header += [f"Flasche {jar} vor (g)", f"Flasche {jar} nach (g)"]
    mass = {jar: 1400.0 + s + f for jar, (_, s, f) in JARS.items()}
    flush = {jar: _dry_NmL(jar) for jar in JARS}
    made = dict.fromkeys(JARS, 0.0)

    def cells(index: int) -> Sequence[object]:
        row: list[object] = []
        for jar in JARS:
            new = made_NmL(jar, *between(index))
            lost, flush[jar], made[jar] = _vented(jar, flush[jar], made[jar] + new)
            row += [round(mass[jar], 2), round(mass[jar] - lost, 2)]
            mass[jar] -= lost
        return row

    return save(path, {"Anlage": setup_rows(), "Wägung": _log([[], header], cells),
                       "Methan": share_rows()})  # fmt: skip


def _dry_NmL(jar: str) -> float:
    dry_kPa = AIR_kPa - vapour_kPa(JARS_C)
    return headspace_mL(jar) * dry_kPa / P0_kPa * T0_K / (T0_K + JARS_C)


def _vented(jar: str, flush: float, made: float) -> tuple[float, float, float]:
    """Return the mass of gas let out of a closed jar, and what stays of nitrogen and gas.

    The gas is well mixed and saturated with vapour; it is let out down to the air's pressure.
    """
    share, vapour = SHARES[jar], vapour_kPa(JARS_C)
    per_kPa = _dry_NmL(jar) / (AIR_kPa - vapour)
    pressure = (flush + made) / per_kPa + vapour
    part = (pressure - AIR_kPa) / pressure
    molar_g = 16.043 * share + 44.010 * (1.0 - share)
    grams = part * (made * molar_g + flush * 28.014 + vapour * per_kPa * 18.015)
    return grams / 22_413.97, flush * (1.0 - part), made * (1.0 - part)


def totals_set_back(path: Path) -> Path:
    """A running total a jar in ml, set back to nought when its 500 ml cylinder is full."""
    header = ["day of trial", *(f"cyl. {jar}" for jar in JARS)]
    base = dict.fromkeys(JARS, 0.0)
    rows: list[Sequence[object]] = [["Gas in the cylinders (ml, running total)"], header]
    for day in DAYS:
        now = {jar: wet_mL(jar, 0.0, day) - base[jar] for jar in JARS}
        rows.append([day, *(round(value, 0) for value in now.values())])
        full = [jar for jar, value in now.items() if value > 500.0]
        if full:
            base |= {jar: base[jar] + now[jar] for jar in full}
            rows.append([day + 0.01, *(0 if j in full else round(now[j], 0) for j in JARS)])
    return save(path, {"gas": rows, "jars": setup_rows(), "ch4": share_rows()})


AREA_cm2 = 12.57


def centimetres_on_a_tube(path: Path) -> Path:
    """Gas since the last reading, in cm on a tube whose inner area stands above the table."""
    rows = [["Our tubes have 40 mm inside", None], ["inner area of the tube", "12.57 cm²"], [],
            ["date", "jar", "gas (cm)", "who"]]  # fmt: skip
    for index, day in enumerate(DAYS):
        for jar in JARS:
            rows.append([f"{at(day):%d.%m.%y}" if jar == "1" else None, jar,
                         round(wet_mL(jar, *between(index)) / AREA_cm2, 2), "Ola"])  # fmt: skip
    return save(path, {"tubes": rows, "setup": setup_rows(), "meter": share_rows()})


def weighed_once(path: Path) -> Path:
    """One weighing a jar and round, after its gas was let out; days across the sheet."""
    rows: list[list[object]] = [
        ["Mass of the jars (g)"],
        ["jar", "in it", *(f"day {d}" for d in DAYS)],
    ]
    for jar, (what, sludge, fed) in JARS.items():
        mass, flush, made = 1400.0 + sludge + fed, _dry_NmL(jar), 0.0
        cells: list[object] = []
        for index in range(len(DAYS)):
            new = made_NmL(jar, *between(index))
            lost, flush, made = _vented(jar, flush, made + new)
            mass -= lost
            cells.append(round(mass, 2))
        rows.append([jar, what, *cells])
    return save(path, {"scale": rows, "setup": setup_rows(), "meter": share_rows()})


def jars_below_each_other(path: Path) -> Path:
    """A small table for each jar on one sheet, its name in a line above."""
    rows: list[Sequence[object]] = [["gas since last time, in ml"], []]
    for jar in JARS:
        rows += [[f"Jar {jar}"], ["Date", "Gas (ml)", "CH4 (%)"]]
        rows += [[at(day), round(wet_mL(jar, *between(i)), 1), percent(jar) if i else None]
                 for i, day in enumerate(DAYS)]  # fmt: skip
        rows += [["total", 9999], []]
    return save(path, {"log": rows, "setup": setup_rows()})


def jars_side_by_side(path: Path) -> Path:
    """A small table for each jar, all beside each other with an empty column between."""
    upper: list[object] = []
    lower: list[object] = []
    for jar in JARS:
        upper += [f"Jar {jar}", None, None, None]
        lower += ["Date", "Gas (ml)", "CH4 (%)", None]
    rows: list[Sequence[object]] = [["gas since last time"], upper, lower]
    for i, day in enumerate(DAYS):
        row: list[object] = []
        for jar in JARS:
            row += [at(day), round(wet_mL(jar, *between(i)), 1), percent(jar), None]
        rows.append(row)
    return save(path, {"log": rows, "setup": setup_rows()})
