"""Three more sheets as people make them, of other shapes, with known right answers (invented).

A keeper's workbook with a tab a bottle (gauge in psi, barometer in inHg, °F, ounces, a jar size in
cubic feet); a class's tubes with a column a day (running totals in cm, emptied in words); a Polish
workbook of two manures (two lines of headers, before and after venting, decimal commas as text).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime, timedelta
from math import exp
from pathlib import Path

from openpyxl import Workbook

from tests.own_sheets import T0_K, Feed, OZ_g, P0_kPa, feed_NmL, own_NmL, vapour_kPa


def true_yield(feed: Feed, day: float) -> float:
    """Return the yield of a feed on a day [NmL per g VS]."""
    return feed.B0_mL_per_gVS * (1.0 - exp(-feed.k_per_d * day))


# ---------------------------------------------------------------- a keeper: a tab a bottle

KEEPER: Mapping[str, Feed] = {
    "cellulose powder": Feed(365.0, 0.24, 0.95, 0.52),
    "old bread": Feed(395.0, 0.26, 0.60, 0.54),
    "rabbit litter": Feed(215.0, 0.10, 0.40, 0.57),
}
KEEPER_BOTTLES: Sequence[tuple[str, float, float]] = (
    ("sludge only", 14.0, 0.0), ("sludge only", 14.2, 0.0),
    ("cellulose powder", 14.0, 0.11), ("cellulose powder", 14.1, 0.12),
    ("old bread", 14.0, 0.20), ("old bread", 13.9, 0.21),
    ("rabbit litter", 14.0, 0.35), ("rabbit litter", 14.1, 0.36),
)  # fmt: skip
KEEPER_DAYS = (0, 1, 2, 3, 5, 7, 9, 12, 16, 20, 25, 31)
BOTTLE_cuft, KEEPER_WARM_F, KEEPER_AIR_inHg = 0.04, 97.0, 29.4
CUFT_mL, INHG_kPa, PSI_kPa = 28_316.85, 3.386389, 6.894757


def keeper_share(what: str) -> float:
    """Return the methane share of a bottle's gas."""
    return KEEPER[what].methane if what in KEEPER else 0.60


def keeper_psi(bottle: int, start_d: float, end_d: float) -> float:
    """Return what a bottle's gauge shows of the gas since it was last let out."""
    what, sludge, fed = KEEPER_BOTTLES[bottle]

    def made(t_d: float) -> float:
        of_feed = feed_NmL(KEEPER[what], fed * OZ_g, t_d) if fed else 0.0
        return (own_NmL(sludge * OZ_g, t_d) + of_feed) / keeper_share(what)

    headspace_mL = BOTTLE_cuft * CUFT_mL - (sludge + fed) * OZ_g
    warm_K = T0_K + (KEEPER_WARM_F - 32.0) / 1.8
    return (made(end_d) - made(start_d)) * P0_kPa / T0_K * warm_K / headspace_mL / PSI_kPa


def write_keeper(path: Path) -> Path:
    """Write the keeper's workbook: one tab a bottle, what went in above its readings."""
    book = Workbook()
    sheet = book.worksheets[0]
    sheet.title = "READ ME"
    for row in (
        ["Bottles in the warm box, spring (invented)"],
        ["each bottle holds", "0.04 cu ft"],
        ["box temp", "97 °F"],
        [],
        ["stuff", "dry matter %", "VS % of dry", "methane %"],
        ["sludge", 4.0, 68, 60],
        ["cellulose powder", 96, 100 * 0.95 / 0.96, 52],
        ["old bread", 62, 100 * 0.60 / 0.62, 54],
        ["rabbit litter", 47, 100 * 0.40 / 0.47, 57],
    ):
        sheet.append(row)
    for number, (what, sludge, fed) in enumerate(KEEPER_BOTTLES):
        tab = book.create_sheet(f"Bottle {number + 1}")
        tab.append([f"Bottle {number + 1}"])
        tab.append(["feed", what if fed else "none, sludge only"])
        tab.append(["sludge (oz)", sludge])
        tab.append(["amount fed (oz)", fed if fed else "-"])
        tab.append([])
        tab.append(["Date", "Time", "Gauge psi", "Barometer inHg", "remarks"])
        last = 0.0
        for day in KEEPER_DAYS:
            at = datetime(2026, 3, 9, 19, 15) + timedelta(days=day)
            tab.append([
                f"{at.month}/{at.day}/{at:%y}", f"{at:%I:%M %p}".lstrip("0"),
                round(keeper_psi(number, last, day), 3), KEEPER_AIR_inHg,
                "let all out" if day == 1 else None,
            ])  # fmt: skip
            last = day
        tab.append([])
        tab.append(["sum", None, 99.9])
    book.save(path)
    return path


# ---------------------------------------------------------------- a class: a column a day

CLASS: Mapping[str, Feed] = {
    "potato peel": Feed(380.0, 0.28, 0.17, 0.54),
    "grass": Feed(310.0, 0.14, 0.20, 0.56),
}
CLASS_TUBES: Sequence[tuple[str, str, str, float]] = (
    ("red 1", "Team Red", "potato peel", 1.00), ("red 2", "Team Red", "potato peel", 1.02),
    ("red 3", "Team Red", "potato peel", 0.97), ("blue 1", "Team Blue", "grass", 1.01),
    ("blue 2", "Team Blue", "grass", 0.96), ("blue 3", "Team Blue", "grass", 1.03),
)  # fmt: skip
"""Tube, team, what is in it, what it gives of the feed's yield."""
CLASS_DAYS = (0, 1, 2, 3, 4, 7, 8, 9, 11, 14, 17, 21)
CLASS_FED_g, CLASS_SLUDGE_g, CLASS_ROOM_C, CLASS_AIR_kPa = 8.0, 250.0, 22.0, 99.0
TUBE_cm2, TUBE_FULL_cm, TUBE_FIRST_cm = 15.9, 60.0, 1.5


def class_methane(tube: int, t_d: float) -> float:
    """Return the methane of a tube up to a day [NmL], the inoculum's own too."""
    _, _, what, factor = CLASS_TUBES[tube]
    return own_NmL(CLASS_SLUDGE_g, t_d) + factor * feed_NmL(CLASS[what], CLASS_FED_g, t_d)


def class_cm(tube: int, t_d: float) -> float:
    """Return the length of all gas of a tube up to a day."""
    share = CLASS[CLASS_TUBES[tube][2]].methane
    dry_kPa = CLASS_AIR_kPa - vapour_kPa(CLASS_ROOM_C)
    wet = class_methane(tube, t_d) / share * P0_kPa / dry_kPa * (T0_K + CLASS_ROOM_C) / T0_K
    return wet / TUBE_cm2


def write_class(path: Path) -> Path:
    """Write the class's workbook: marks on the tube in cm, which begin at 1.5 cm."""
    book = Workbook()
    sheet = book.worksheets[0]
    sheet.title = "Gas race 8c"
    sheet.append(["GAS RACE of class 8c (invented)"])
    sheet.append(["mark on the tube in cm, running total; area of a tube 15.9 cm2"])
    sheet.append(["classroom 22 °C", None, "barometer 99.0 kPa"])
    sheet.append([])
    start = datetime(2026, 5, 4)
    sheet.append(["Tube", "Team", "In it", *(start + timedelta(days=day) for day in CLASS_DAYS),
                  "comments"])  # fmt: skip
    for number, (tube, team, what, _) in enumerate(CLASS_TUBES):
        base, cells = -TUBE_FIRST_cm, []
        for day in CLASS_DAYS:
            mark = class_cm(number, day) - base
            if mark > TUBE_FULL_cm:
                cells.append(f"{mark:.2f} emptied")
                base = class_cm(number, day)
            else:
                cells.append(round(mark, 2))
        first = number % 3 == 0
        sheet.append(
            [tube, team if first else None, what, *cells, "leak?" if number == 1 else None]
        )
    sheet.append(["mean", None, None, *[12.3] * len(CLASS_DAYS)])
    book.save(path)
    return path


# ---------------------------------------------------------------- two manures, in Polish

POLISH: Mapping[str, Feed] = {
    "celuloza": Feed(372.0, 0.25, 0.94, 0.52),
    "gnojowica bydlęca": Feed(205.0, 0.09, 0.070, 0.58),
    "obornik kurzy": Feed(270.0, 0.15, 0.33, 0.61),
}
POLISH_BOTTLES: Sequence[tuple[str, float, float]] = (
    ("osad", 350.0, 0.0), ("osad", 352.5, 0.0),
    ("celuloza", 350.0, 2.5), ("celuloza", 349.0, 2.4),
    ("gnojowica bydlęca", 350.0, 40.0), ("gnojowica bydlęca", 351.0, 41.5),
    ("obornik kurzy", 350.0, 7.5), ("obornik kurzy", 348.5, 7.8),
)  # fmt: skip
POLISH_DAYS = (0, 1, 2, 4, 6, 9, 13, 18, 24, 31, 39)
POLISH_BOTTLE_mL, POLISH_AIR_hPa, POLISH_WARM_C, POLISH_LEFT_mbar = 1000.0, 990.0, 38.0, 15.0


def polish_mbar(bottle: int, start_d: float, end_d: float) -> float:
    """Return what the pressure of a bottle rises by between two days."""
    what, sludge, fed = POLISH_BOTTLES[bottle]

    def made(t_d: float) -> float:
        of_feed = feed_NmL(POLISH[what], fed, t_d) if fed else 0.0
        share = POLISH[what].methane if fed else 0.60
        return (own_NmL(sludge, t_d) + of_feed) / share

    headspace_mL = POLISH_BOTTLE_mL - sludge - fed
    rise_kPa = (made(end_d) - made(start_d)) * P0_kPa / T0_K * (T0_K + POLISH_WARM_C) / headspace_mL
    return 10.0 * rise_kPa


def _comma(value: float, digits: int = 1) -> str:
    return f"{value:.{digits}f}".replace(".", ",")


def write_polish(path: Path) -> Path:
    """Write the Polish workbook: figures as text with commas, dates with points."""
    book = Workbook()
    sheet = book.worksheets[0]
    sheet.title = "wsad"
    sheet.append(["Próba fermentacji – dwa nawozy (zmyślona)"])
    sheet.append([])
    sheet.append(["Butelka", "Zawartość", "Osad (g)", "Próbka (g)", "Pojemność butelki (ml)"])
    for number, (what, sludge, fed) in enumerate(POLISH_BOTTLES):
        sheet.append([number + 1, what, _comma(sludge), _comma(fed) if fed else "–", "1000"])
    sheet.append(["Suma", None, "2801,0"])
    sheet.append([])
    sheet.append(["Materiał", "s.m. (%)", "s.m.o. (% s.m.)", "Metan (%)"])
    part = {"celuloza": 0.98, "gnojowica bydlęca": 0.80, "obornik kurzy": 0.75}
    sheet.append(["osad", "3,2", "64,0", "60,0"])
    for name, feed in POLISH.items():
        dry = _comma(100 * feed.VS / part[name], 3)
        sheet.append([name, dry, _comma(100 * part[name]), _comma(100 * feed.methane)])
    _polish_log(book)
    book.save(path)
    return path


def _polish_log(book: Workbook) -> None:
    sheet = book.create_sheet("pomiary")
    sheet.append(["Nadciśnienie w mbar, przed i po spuszczeniu gazu"])
    upper: list[object] = ["Data", "Godz.", "Ciśn. atm. (hPa)"]
    lower: list[object] = [None, None, None]
    for number in range(len(POLISH_BOTTLES)):
        upper += [f"Butelka {number + 1}", None]
        lower += ["przed", "po"]
    sheet.append([*upper, "Uwagi"])
    sheet.append(lower)
    for number in range(len(POLISH_BOTTLES)):
        sheet.merge_cells(start_row=2, end_row=2, start_column=4 + 2 * number,
                          end_column=5 + 2 * number)  # fmt: skip
    last = 0.0
    for index, day in enumerate(POLISH_DAYS):
        at = datetime(2026, 2, 3, 8, 30) + timedelta(days=day)
        row: list[object] = [f"{at:%d.%m.%Y}", f"{at:%H:%M}", _comma(POLISH_AIR_hPa)]
        for number in range(len(POLISH_BOTTLES)):
            left = POLISH_LEFT_mbar if index > 1 else 0.0
            before = polish_mbar(number, last, day) + left
            row += [_comma(before, 2), _comma(POLISH_LEFT_mbar if index else 0.0)]
        sheet.append([*row, "brak prądu" if day == 9 else None])
        last = day
    sheet.append(["średnia", None, None, *["111,1"] * 16])
