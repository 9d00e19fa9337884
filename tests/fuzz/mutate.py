"""Broken inputs from sound ones: cells, rows, headers, bytes, and the XML inside of a workbook."""

from __future__ import annotations

import csv
import io
import random
import zipfile
from collections.abc import Callable
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import openpyxl

from tests.tables import JARS, LONG, MATERIALS, TRIAL, Rows, with_item

Tables = dict[str, Rows]

DAYS = (1, 3, 7, 14)
NASTY: tuple[Any, ...] = (
    None, "", " ", "0", "-0", "-1", "1e308", "1e-308", "-1e12", "9" * 400, "1e999", "nan", "inf",
    "-inf", "NaN", "1,5", "1.500", "1,500", "1.234,5", "1 000", "½", "٣", "１２", "0x10", "1_000",
    "=1+1", "=cmd|' /C calc'!A0", "+1", "-", "@SUM(A1)", "'", '"', "\x00", "\x07", "\ud7ff",
    "<script>alert(1)</script>", "a" * 300, "../../etc/passwd", "%s%n{0}", "TRUE", "true", "N1",
    "A1", "oats", "digestate", "inoculum", "2027-03-01", "2027-13-45", "01/02/2027", "31.12.9999",
    "0001-01-01T00:00", "9999-12-31T23:59:59+14:00", "pressure", "mass", "net yield", "none",
    "methane volume", "cumulative", "dry", "sea level", "70 % N2 + 30 % CO2", "100 % CO2",
    "0 % He",
    "yes", "not vented", "emptied", "C6H10O5", "H", "C999999999", 0, -1, 1e300, 1e-300, 3.5,
    40, 101,
    "1e12", "-1e-12", "0.0000001", "3650", "3651", "79.9", "-9.9", "114", "\u202e", "é",
    "\n", "\r\n",
)  # fmt: skip
HEADERS: tuple[str, ...] = (
    "", "jar", "JAR ", "time [d]", "time", "time [h]", "time [min]", "taken", "volume [mL]",
    "volume", "volume [NmL]", "volume [9^9^9^9]", "volume [m^999999]", "volume [mL/0]",
    "volume [[]]",
    "volume []", "volume [mL", "mass [g]", "mass before [g]", "mass after [g]",
    "net yield [mL/g VS]",
    "gauge before [kPa]", "gauge after [psi]", "absolute before [bar]", "temperature [°F]",
    "temperature [K]", "temperature [%]", "ambient [inHg]", "ambient [kPa]", "methane [%]",
    "methane [fraction]", "syringe gas [mL]", "syringe gas left [mL]", "water head [cm]", "emptied",
    "note", "N1 [mL]", "A1 [mL]", "A1 [g]", "material", "role", "TS [% of fresh mass]",
    "VS [% of TS]", "VS [% of fresh mass]", "VS [%]", "VS uncertainty [% of TS]", "COD [g/g VS]",
    "formula", "pH", "inoculum [g]", "inoculum [kg]", "sample [g]", "headspace [mL]",
    "headspace [L]",
    "inoculum material", "group", "measured", "leave out", "item", "value",
    "volume [" + "m" * 40 + "]",
    "x" * 500, "=1", "protein [% of VS]", "lipid [% of VS]", "carbohydrate [% of VS]",
    "nitrogen [% of TS]", "carbon [% of TS]", "ammonium N [g/kg]", "volatile acids [g/kg]",
)  # fmt: skip
ITEMS: tuple[str, ...] = (
    "measured", "basis", "readings are", "collected gas", "outlet", "gas", "gas temperature [°C]",
    "gas temperature [K]", "ambient [kPa]", "ambient [mbar]", "ambient is", "altitude [m]",
    "methane [%]", "methane uncertainty [%]", "methane before absorber [%]", "composition basis",
    "flush gas", "blank", "incubation temperature [°C]", "closing temperature [°C]",
    "closing pressure [kPa]", "balance uncertainty [g]", "started", "title", "unheard of",
)  # fmt: skip


def bases() -> list[Tables]:
    """Return small sound trials of every way of measuring and both layouts."""
    plain = {"trial": TRIAL, "materials": MATERIALS, "jars": JARS, "readings": LONG}
    kept = with_item("methane [%]", None)
    wide = [["time [d]", *(f"{row[0]} [mL]" for row in JARS[1:])]]
    wide += [[day, 50 - day, 52 - day, 500 + day, 510 + day] for day in DAYS]
    gauge = [["jar", "time [d]", "gauge before [kPa]", "gauge after [kPa]", "temperature [°C]"]]
    gauge += [[row[0], row[1], row[2] / 10, None, 37] for row in LONG[1:]]
    mass = [["jar", "time [d]", "mass before [g]", "mass after [g]", "volume [mL]"]]
    mass += [[r[0], r[1], 900 - r[1] / 10, 899.8 - r[1] / 10, r[2]] for r in LONG[1:]]
    start = datetime(2027, 3, 1, 8)
    dated = [["jar", "taken", "volume [mL]", "methane [%]", "ambient [kPa]", "temperature [°C]"]]
    dated += [
        [row[0], (start + timedelta(days=row[1])).isoformat(), row[2], 55 + row[1] / 5, 99, 21]
        for row in LONG[1:]
    ]
    own = [["jar", "time [d]", "net yield [mL/g VS]"]]
    own += [["A1", day, 300 * day / (day + 4)] for day in range(1, 12)]
    return [
        plain,
        plain | {"readings": wide},
        plain | {"readings": gauge, "trial": with_item("measured", "pressure")},
        plain | {"readings": mass, "trial": with_item("measured", "mass")},
        plain | {"readings": LONG, "trial": with_item("measured", "methane volume", kept)},
        plain | {"readings": dated, "trial": with_item("readings are", "cumulative", kept)},
        {
            "trial": [["item", "value"], ["measured", "net yield"]],
            "materials": [["material", "role"], ["oats", "substrate"]],
            "jars": [["jar", "material"], ["A1", "oats"]],
            "readings": own,
        },
    ]


# --- cells ---------------------------------------------------------------------------------------


def change_cells(tables: Tables, rng: random.Random) -> Tables:
    """Return tables with a few things wrong: cells, headers, rows, columns, whole tables."""
    new = {name: [list(row) for row in rows] for name, rows in tables.items()}
    for _ in range(rng.choice((1, 1, 1, 2, 3, 6))):
        name = rng.choice(list(new) or ["trial"])
        if new.get(name):
            rng.choice(CHANGES)(new, name, rng)
    return new


def _cell(new: Tables, name: str, rng: random.Random) -> None:
    row = rng.choice(new[name])
    if row:
        row[rng.randrange(len(row))] = rng.choice(NASTY)


def _near(new: Tables, name: str, rng: random.Random) -> None:
    row = rng.choice(new[name])
    for at, cell in enumerate(row):
        if isinstance(cell, int | float):
            row[at] = cell * rng.choice((0, -1, 1e-9, 1e-3, 0.5, 2, 10, 1e3, 1e9))


def _header(new: Tables, name: str, rng: random.Random) -> None:
    if name == "trial" and len(new[name]) > 1 and rng.random() < 0.8:
        rng.choice(new[name][1:])[:1] = [rng.choice(ITEMS)]
    elif new[name][0]:
        new[name][0][rng.randrange(len(new[name][0]))] = rng.choice(HEADERS)


def _more(new: Tables, name: str, rng: random.Random) -> None:
    if name == "trial":
        new[name].append([rng.choice(ITEMS), rng.choice(NASTY)])
        return
    for number, row in enumerate(new[name]):
        row.append(rng.choice(HEADERS) if number == 0 else rng.choice((None, 1, 20, 50, *NASTY)))


def _row(new: Tables, name: str, rng: random.Random) -> None:
    rows, at = new[name], rng.randrange(len(new[name]))
    kind = rng.randrange(4)
    if kind == 0:
        del rows[at]
    elif kind == 1:
        rows.insert(at, list(rng.choice(rows)))
    elif kind == 2:
        rng.shuffle(rows)
    else:
        rows[at] = rows[at][: rng.randrange(len(rows[at]) + 1)]


def _column(new: Tables, name: str, rng: random.Random) -> None:
    at = rng.randrange(max(len(new[name][0]), 1))
    for row in new[name]:
        del row[at : at + 1]


def _table(new: Tables, name: str, rng: random.Random) -> None:
    kind = rng.randrange(3)
    if kind == 0:
        del new[name]
    elif kind == 1:
        new[name] = new[name][:1]
    else:
        new[name] = [list(row) for row in new[rng.choice(list(new))]]


CHANGES: tuple[Callable[[Tables, str, random.Random], None], ...] = (
    _cell, _cell, _cell, _cell, _near, _near, _header, _header, _more, _row, _row, _column, _table,
)  # fmt: skip


# --- bytes ---------------------------------------------------------------------------------------


def change_bytes(raw: bytes, rng: random.Random) -> bytes:
    """Return a file with a few of its bytes changed, cut, doubled or put elsewhere."""
    for _ in range(rng.choice((1, 1, 2, 5))):
        at = rng.randrange(len(raw) + 1)
        end = min(len(raw), at + rng.choice((1, 2, 8, 64, 1000)))
        raw = rng.choice(
            (
                raw[:at] + bytes([rng.randrange(256)]) + raw[at + 1 :],
                raw[:at] + raw[end:],
                raw[:at] + raw[at:end] * rng.choice((2, 3, 50)) + raw[end:],
                raw[:at],
                raw[:at] + rng.choice(SNIPPETS) + raw[at:],
            )
        )
    return raw


SNIPPETS: tuple[bytes, ...] = (
    b"\x00", b"\xff\xfe", b"\xef\xbb\xbf", b'"', b'""', b";", b",", b"\t", b"\n", b"\r",
    b"\r\n\r\n",
    b"<", b"</c>", b"<row>", b'<c r="XFD1048576"><v>1</v></c>', b'r="ZZZZ99999999999"', b"&amp;",
    b"&#0;", b"<!DOCTYPE x [<!ENTITY a 'a'>]>", b"&a;", b'<c r="A1" t="s"><v>99999999</v></c>',
    b'<c r="B2"><f>1+1</f></c>', b't="e"', b't="b"', b't="d"', b"<v>1e999</v>", b"<v>-</v>",
    b"]]>", b"<a>" * 2000, b"9" * 400,
)  # fmt: skip


def csv_files(tables: Tables, rng: random.Random) -> dict[str, bytes]:
    """Return the tables as CSV files in some dialect."""
    separator = rng.choice((",", ",", ",", ";", "\t"))
    encoding = rng.choice(("utf-8", "utf-8", "utf-8-sig", "cp1252", "utf-16"))
    files = {}
    for name, rows in tables.items():
        text = io.StringIO(newline="")
        writer = csv.writer(text, delimiter=separator, lineterminator=rng.choice(("\n", "\r\n")))
        writer.writerows([["" if cell is None else cell for cell in row] for row in rows])
        raw = text.getvalue().encode(encoding, errors="replace")
        files[f"{name}.csv"] = raw
    return files


def write_folder(place: Path, files: dict[str, bytes]) -> Path:
    """Write a folder of files and return it."""
    place.mkdir()
    for name, raw in files.items():
        (place / name).write_bytes(raw)
    return place


def workbook(tables: Tables) -> bytes:
    """Return the tables as a workbook; what a cell cannot hold is left out."""
    book = openpyxl.Workbook()
    book.remove(book.active)
    for name, rows in tables.items():
        sheet = book.create_sheet(name)
        for row in rows:
            sheet.append([_storable(cell) for cell in row])
    if not book.sheetnames:
        book.create_sheet("empty")
    whole = io.BytesIO()
    book.save(whole)
    return whole.getvalue()


def _storable(cell: Any) -> Any:
    if not isinstance(cell, str):
        return cell
    return "".join(letter for letter in cell if letter.isprintable() or letter in "\n\t")


def change_parts(raw: bytes, rng: random.Random) -> bytes:
    """Return a workbook with bytes of one of its parts changed, and packed again."""
    with zipfile.ZipFile(io.BytesIO(raw)) as archive:
        parts = {name: archive.read(name) for name in archive.namelist()}
    sheets = [name for name in parts if "sheet" in name]
    chosen = rng.choice(sheets if sheets and rng.random() < 0.7 else list(parts))
    parts[chosen] = change_bytes(parts[chosen], rng)
    whole = io.BytesIO()
    with zipfile.ZipFile(whole, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, content in parts.items():
            archive.writestr(name, content)
    return whole.getvalue()


def broken_input(rng: random.Random, place: Path) -> Path:
    """Write a broken input into a folder and return where it is."""
    tables = rng.choice(BASES)
    if rng.random() < 0.85:
        tables = change_cells(tables, rng)
    kind = rng.random()
    if kind < 0.55:
        files = csv_files(tables, rng)
        if files and rng.random() < 0.35:
            name = rng.choice(list(files))
            files[name] = change_bytes(files[name], rng)
        return write_folder(place / "trial", files)
    raw = workbook(tables)
    if kind < 0.72:
        raw = change_parts(raw, rng)
    elif kind < 0.82:
        raw = change_bytes(raw, rng)
    path = place / "trial.xlsx"
    path.write_bytes(raw)
    return path


BASES = bases()
