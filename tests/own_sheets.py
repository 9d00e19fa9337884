"""Sheets as people make them, written by script: invented data with known right answers.

A keeper's workbook (title lines, merged cells, units in round brackets, psi gauge wide, °F, inHg,
ounces, percent cells, totals, notes), a school's tubes read in cm as running totals, a German CSV
of two manures. Every figure follows from a yield, a rate and the gas law, so that the right answer
is known without this tool: methane = B0 · VS · (1 - exp(-k t)) plus the inoculum's own.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from math import exp
from pathlib import Path

T0_K, P0_kPa = 273.15, 101.325


@dataclass(frozen=True)
class Feed:
    """A feed of the invented trials."""

    B0_mL_per_gVS: float
    k_per_d: float
    VS: float
    methane: float


def feed_NmL(feed: Feed, sample_g: float, t_d: float) -> float:
    """Return the methane of a dose up to a day."""
    return feed.B0_mL_per_gVS * feed.VS * sample_g * (1.0 - exp(-feed.k_per_d * t_d))


def own_NmL(inoculum_g: float, t_d: float) -> float:
    """Return the methane of the inoculum itself up to a day: 1.5 mL/g at last."""
    return 1.5 * inoculum_g * (1.0 - exp(-0.1 * t_d))


def vapour_kPa(t_C: float) -> float:
    """Return the pressure of water vapour (Magnus, constants of Alduchov and Eskridge 1996)."""
    return 0.61094 * exp(17.625 * t_C / (t_C + 243.04))


# ---------------------------------------------------------------- a keeper's workbook

KEEPER: Mapping[str, Feed] = {
    "horse manure": Feed(190.0, 0.09, 0.21, 0.58),
    "kitchen scraps": Feed(410.0, 0.22, 0.19, 0.62),
    "filter paper": Feed(370.0, 0.25, 0.92, 0.53),
}
KEEPER_JARS: Sequence[tuple[str, str, float, float]] = (
    ("1", "sludge only", 16.0, 0.0), ("2", "sludge only", 16.1, 0.0),
    ("3", "sludge only", 15.9, 0.0),
    ("4", "filter paper", 16.0, 0.10), ("5", "filter paper", 16.0, 0.11),
    ("6", "filter paper", 15.9, 0.10),
    ("7", "horse manure", 16.0, 0.80), ("8", "horse manure", 16.1, 0.82),
    ("9", "horse manure", 16.0, 0.79),
    ("10", "kitchen scraps", 15.9, 0.40), ("11", "kitchen scraps", 16.0, 0.42),
    ("12", "kitchen scraps", 16.0, 0.41),
)  # fmt: skip
"""Jar, what is in it, sludge and feed in ounces."""
OZ_g, BOTTLE_mL, BATH_C = 28.349523, 1000.0, (98.0 - 32.0) / 1.8
KEEPER_DAYS = (0, 1, 2, 3, 5, 7, 10, 14, 18, 23, 28, 34, 40)
PSI_kPa, INHG_kPa = 6.894757, 3.386389


def keeper_methane(jar: int, t_d: float) -> float:
    """Return the methane of one of the keeper's jars up to a day [NmL]."""
    _, what, sludge, fed = KEEPER_JARS[jar]
    own = own_NmL(sludge * OZ_g, t_d)
    return own + (feed_NmL(KEEPER[what], fed * OZ_g, t_d) if fed else 0.0)


def keeper_psi(jar: int, start_d: float, end_d: float) -> float:
    """Return what a gauge shows of the gas since the last venting."""
    _, what, sludge, fed = KEEPER_JARS[jar]
    share = KEEPER[what].methane if fed else 0.60
    gas_NmL = (keeper_methane(jar, end_d) - keeper_methane(jar, start_d)) / share
    headspace_mL = BOTTLE_mL - (sludge + fed) * OZ_g
    rise_kPa = gas_NmL * P0_kPa / T0_K * (T0_K + BATH_C) / headspace_mL
    return rise_kPa / PSI_kPa


def write_keeper(path: Path) -> None:
    """Write the keeper's workbook."""
    from openpyxl import Workbook

    book = Workbook()
    sheet = book.worksheets[0]
    sheet.title = "Setup"
    sheet["A1"] = "Jar test winter 2026 (invented)"
    sheet.merge_cells("A1:F1")
    sheet["A2"] = "bottles hold 1000 ml, rated for pressure"
    sheet["A3"], sheet["B3"] = "Bath (°F)", 98
    sheet["A4"], sheet["B4"] = "set up on", datetime(2026, 1, 4, 9, 0)
    sheet["A5"], sheet["B5"] = "flushed with", "nitrogen"
    sheet["A7"] = "What went in"
    for i, text in enumerate(("Jar #", "What is in it", "Sludge (oz)", "Feed (oz)", "Notes"), 1):
        sheet.cell(8, i, text)
    row = 9
    for name, what, sludge, fed in KEEPER_JARS:
        sheet.cell(row, 1, int(name))
        if int(name) % 3 == 1:
            sheet.cell(row, 2, what)
            sheet.merge_cells(start_row=row, end_row=row + 2, start_column=2, end_column=2)
        sheet.cell(row, 3, sludge)
        sheet.cell(row, 4, fed or None)
        row += 1
    sheet.cell(row, 1, "Total")
    sheet.cell(row, 3, sum(jar[2] for jar in KEEPER_JARS))
    sheet.cell(row, 4, sum(jar[3] for jar in KEEPER_JARS))
    row += 3
    for i, text in enumerate(("Material", "dry (%)", "VS (% of dry)", "CH4"), 1):
        sheet.cell(row, i, text)
    solids = {"sludge only": (0.04, 0.70, 0.60)}
    solids |= {name: (one.VS / 0.95, 0.95, one.methane) for name, one in KEEPER.items()}
    for name, values in solids.items():
        row += 1
        sheet.cell(row, 1, name)
        for i, value in enumerate(values, 2):
            sheet.cell(row, i, value).number_format = "0.0%"
    _keeper_readings(book)
    book.save(path)


def _keeper_readings(book: object) -> None:
    sheet = book.create_sheet("Pressure log")  # type: ignore[attr-defined]
    sheet["A1"] = "Gauge pressure before venting, all vented each time"
    sheet.merge_cells("A1:N1")
    sheet["A3"], sheet["B3"] = "Date", "Barometer (inHg)"
    for i in range(len(KEEPER_JARS)):
        sheet.cell(3, 3 + i, f"Jar {i + 1} (psi)")
    sheet.cell(3, 15, "Total")
    sheet.cell(3, 16, "Remarks")
    row, last = 4, 0.0
    for number, day in enumerate(KEEPER_DAYS):
        if number == 7:
            row += 1  # an empty row between two months
        sheet.cell(row, 1, datetime(2026, 1, 4, 9, 0) + timedelta(days=day))
        sheet.cell(row, 2, 29.9)
        for i in range(len(KEEPER_JARS)):
            sheet.cell(row, 3 + i, round(keeper_psi(i, last, day), 3))
        sheet.cell(row, 15, round(sum(keeper_psi(i, last, day) for i in range(12)), 2))
        if day == 5:
            sheet.cell(row, 16, "cold night, heater was off for an hour")
        row, last = row + 1, day
    sheet.cell(row + 1, 1, "Average")
    for i in range(len(KEEPER_JARS)):
        sheet.cell(row + 1, 3 + i, 1.2)
    sheet.cell(row + 3, 1, "Jar 7 smelled of ammonia on opening.")


# ---------------------------------------------------------------- a school's tubes

SCHOOL: Mapping[str, Feed] = {
    "apple pulp": Feed(360.0, 0.30, 0.16, 0.55),
    "lawn cuttings": Feed(300.0, 0.15, 0.18, 0.57),
}
SCHOOL_JARS = (
    ("A1", "apple pulp"), ("A2", "apple pulp"), ("A3", "apple pulp"),
    ("G1", "lawn cuttings"), ("G2", "lawn cuttings"), ("G3", "lawn cuttings"),
)  # fmt: skip
SCHOOL_DAYS = (0, 1, 2, 4, 7, 9, 11, 14, 18, 21)
SCHOOL_SAMPLE_g, SCHOOL_SLUDGE_g, TUBE_mL_per_cm = 10.0, 300.0, 19.6
SCHOOL_ROOM_C, SCHOOL_AIR_kPa = 21.0, 100.8
_SCATTER = {"A1": 1.00, "A2": 1.03, "A3": 0.98, "G1": 1.02, "G2": 0.97, "G3": 1.00}


def school_methane(jar: str, t_d: float) -> float:
    """Return the methane of one of the school's tubes up to a day [NmL], the inoculum's own too."""
    what = dict(SCHOOL_JARS)[jar]
    fed = feed_NmL(SCHOOL[what], SCHOOL_SAMPLE_g, t_d)
    return own_NmL(SCHOOL_SLUDGE_g, t_d) + fed * _SCATTER[jar]


def school_cm(jar: str, t_d: float) -> float:
    """Return the length of gas in the tube, had it never been set back."""
    dry_NmL = school_methane(jar, t_d) / SCHOOL[dict(SCHOOL_JARS)[jar]].methane
    wet = dry_NmL * P0_kPa / (SCHOOL_AIR_kPa - vapour_kPa(SCHOOL_ROOM_C))
    return wet * (T0_K + SCHOOL_ROOM_C) / T0_K / TUBE_mL_per_cm


def write_school(path: Path) -> None:
    """Write the school's CSV: running totals in cm, set back to 0 when a tube is full (50 cm)."""
    lines = ["Biogas project class 9b (invented),,,,,,,", "Room: 21 °C,,,,,,,", ",,,,,,,",
             "Date,,Tube A1,Tube A2,Tube A3,Tube G1,Tube G2,Tube G3",
             "dd/mm/yyyy,who,(cm),(cm),(cm),(cm),(cm),(cm)"]  # fmt: skip
    start = datetime(2026, 5, 4, 10, 0)
    base = dict.fromkeys((jar for jar, _ in SCHOOL_JARS), 0.0)
    for day in SCHOOL_DAYS:
        at = start + timedelta(days=day)
        cells = []
        emptied = []
        for jar, _ in SCHOOL_JARS:
            length = school_cm(jar, day) - base[jar]
            if length > 50.0:
                # read full, then emptied: the next line of that day is the new beginning
                emptied.append(jar)
            cells.append(f"{length:.2f}")
        lines.append(f"{at:%d/%m/%Y %H:%M},Mia," + ",".join(cells))
        if emptied:
            again = []
            for (jar, _), cell in zip(SCHOOL_JARS, cells, strict=True):
                if jar in emptied:
                    base[jar] = school_cm(jar, day)
                again.append("0" if jar in emptied else cell)
            lines.append(f"{at + timedelta(minutes=10):%d/%m/%Y %H:%M},Ben," + ",".join(again))
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")


# ---------------------------------------------------------------- a German sheet of two manures

GERMAN: Mapping[str, Feed] = {
    "Zellulose": Feed(375.0, 0.25, 0.95, 0.52),
    "Rindergülle": Feed(210.0, 0.08, 0.068, 0.58),
    "Schweinegülle": Feed(330.0, 0.14, 0.045, 0.64),
}
GERMAN_JARS: Sequence[tuple[str, str, float, float]] = tuple(
    (f"F{3 * i + j + 1}", what, 400.0 + j, fed)
    for i, (what, fed) in enumerate(
        (("Impfschlamm", 0.0), ("Zellulose", 3.0), ("Rindergülle", 45.0), ("Schweinegülle", 60.0))
    )
    for j in range(3)
)
GERMAN_DAYS = (0, 1, 2, 3, 5, 8, 12, 17, 23, 30, 38)
GERMAN_ROOM_C, GERMAN_AIR_hPa = 22.0, 985.0


def german_methane(jar: int, t_d: float) -> float:
    """Return the methane of one of the bottles up to a day [NmL]."""
    _, what, sludge, fed = GERMAN_JARS[jar]
    return own_NmL(sludge, t_d) + (feed_NmL(GERMAN[what], fed, t_d) if fed else 0.0)


def write_german(path: Path) -> None:
    """Write the German CSV: semicolons, decimal commas, the code page of old Windows."""
    lines = ["Gärversuch zwei Güllen (erfunden);;;;", ";;;;",
             "Flasche;Inhalt;Impfschlamm (g);Einwaage (g);Kopfraum (ml)"]  # fmt: skip
    for name, what, sludge, fed in GERMAN_JARS:
        lines.append(f"{name};{what};{_comma(sludge)};{_comma(fed) if fed else ''};"
                     f"{_comma(1000.0 - sludge - fed)}")  # fmt: skip
    lines += [";;;;", "Stoff;TS (%);oTS (% TS);Methan (%);"]
    solids = {"Impfschlamm": (3.0, 65.0, 60.0)}
    part = {"Zellulose": 0.99, "Rindergülle": 0.8, "Schweinegülle": 0.75}
    solids |= {n: (100 * f.VS / part[n], 100 * part[n], 100 * f.methane) for n, f in GERMAN.items()}
    lines += [f"{n};{_comma(a)};{_comma(b)};{_comma(c)};" for n, (a, b, c) in solids.items()]
    lines += [";;;;", "Gasvolumen seit der letzten Ablesung in ml;;;;",
              "Datum;Uhrzeit;Luftdruck (hPa);Raumtemp. (°C);"
              + ";".join(name for name, *_ in GERMAN_JARS) + ";Bemerkung"]  # fmt: skip
    last = 0.0
    for day in GERMAN_DAYS:
        at = datetime(2026, 3, 2, 8, 0) + timedelta(days=day)
        cells = [_comma(german_mL(i, last, day)) for i in range(len(GERMAN_JARS))]
        lines.append(f"{at:%d.%m.%Y};{at:%H:%M};{_comma(GERMAN_AIR_hPa)};{_comma(GERMAN_ROOM_C)};"
                     + ";".join(cells) + (";Strom kurz weg" if day == 5 else ";"))  # fmt: skip
        last = day
    lines.append("Summe;;;;" + ";".join(["1234,5"] * len(GERMAN_JARS)) + ";")
    path.write_bytes(("\r\n".join(lines) + "\r\n").encode("cp1252"))


def german_mL(jar: int, start_d: float, end_d: float) -> float:
    """Return the wet gas that a bottle gave between two days, at the room's state."""
    what = GERMAN_JARS[jar][1]
    share = GERMAN[what].methane if what in GERMAN else 0.60
    dry_NmL = (german_methane(jar, end_d) - german_methane(jar, start_d)) / share
    dry_kPa = GERMAN_AIR_hPa / 10.0 - vapour_kPa(GERMAN_ROOM_C)
    return dry_NmL * P0_kPa / dry_kPa * (T0_K + GERMAN_ROOM_C) / T0_K


def _comma(value: float) -> str:
    return f"{value:.2f}".rstrip("0").rstrip(".").replace(".", ",")


if __name__ == "__main__":
    import sys

    folder = Path(sys.argv[1])
    folder.mkdir(parents=True, exist_ok=True)
    write_keeper(folder / "keeper.xlsx")
    write_school(folder / "school.csv")
    write_german(folder / "guelle.csv")
