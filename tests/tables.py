"""Small trials as tables, written as a folder of CSV files or as a workbook."""

from __future__ import annotations

import csv
from pathlib import Path
from typing import Any

import openpyxl

Rows = list[list[Any]]

TRIAL: Rows = [
    ["item", "value"],
    ["title", "Two jars of oats"],
    ["started", "2027-03-01T08:00:00"],
    ["measured", "volume"],
    ["readings are", "interval"],
    ["gas temperature [°C]", 20],
    ["ambient [kPa]", 100],
    ["methane [%]", 60],
    ["methane uncertainty [%]", 2],
    ["incubation temperature [°C]", 37],
]
MATERIALS: Rows = [
    ["material", "role", "TS [% of fresh mass]", "VS [% of fresh mass]"],
    ["digestate", "inoculum", 3, 2],
    ["oats", "substrate", 90, 80],
]
JARS: Rows = [
    ["jar", "material", "inoculum [g]", "sample [g]", "headspace [mL]"],
    ["N1", None, 400, None, 500],
    ["N2", None, 410, None, 500],
    ["A1", "oats", 400, 5, 500],
    ["A2", "oats", 405, 5.1, 500],
]
LONG: Rows = [
    ["jar", "time [d]", "volume [mL]"],
    *[
        [jar, day, volume]
        for jar, volumes in {
            "N1": (50, 40, 30, 20),
            "N2": (52, 42, 31, 20),
            "A1": (500, 700, 400, 200),
            "A2": (520, 720, 410, 190),
        }.items()
        for day, volume in zip((1, 3, 7, 14), volumes, strict=True)
    ],
]


def tables(**changed: Rows) -> dict[str, Rows]:
    """Return the four tables of a small sound trial, some of them replaced."""
    whole = {"trial": TRIAL, "materials": MATERIALS, "jars": JARS, "readings": LONG} | changed
    return {name: [list(row) for row in rows] for name, rows in whole.items()}


def with_item(item: str, value: Any, rows: Rows = TRIAL) -> Rows:
    """Return a table of items with one more, or one replaced; `None` takes it out."""
    kept = [list(row) for row in rows if row[0].split(" [")[0] != item.split(" [")[0]]
    return kept if value is None else [*kept, [item, value]]


def archive_of(trials: dict[str, dict[str, Rows]]) -> dict[str, Rows]:
    """Return tables with a first column `trial` that hold several trials."""
    whole: dict[str, Rows] = {}
    for kind in dict.fromkeys(kind for tables in trials.values() for kind in tables):
        columns = dict.fromkeys(c for t in trials.values() if kind in t for c in t[kind][0])
        rows: Rows = [["trial", *columns]]
        for name, tables in trials.items():
            for row in tables.get(kind, [])[1:]:
                cells = dict(zip(tables[kind][0], row, strict=False))
                rows.append([name, *(cells.get(column) for column in columns)])
        whole[kind] = rows
    return whole


def write_csv(folder: Path, content: dict[str, Rows], separator: str = ",") -> Path:
    """Write a folder of CSV files and return it."""
    folder.mkdir(parents=True, exist_ok=True)
    for name, rows in content.items():
        with (folder / f"{name}.csv").open("w", encoding="utf-8", newline="") as file:
            writer = csv.writer(file, delimiter=separator)
            writer.writerows([["" if cell is None else cell for cell in row] for row in rows])
    return folder


def write_xlsx(path: Path, content: dict[str, Rows]) -> Path:
    """Write a workbook and return its path."""
    book = openpyxl.Workbook()
    book.remove(book.active)
    for name, rows in content.items():
        sheet = book.create_sheet(name)
        for row in rows:
            sheet.append(row)
    book.save(path)
    return path
