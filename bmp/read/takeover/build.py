"""From the cells of a sheet and what a person says of them to the four tables of a trial."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta

from bmp.problem import Problem, shown
from bmp.read.cells import Unreadable
from bmp.read.columns import parse_header
from bmp.read.tables import Cell, CellTable
from bmp.read.takeover.answers import UNKNOWN, Answers, quoted
from bmp.read.takeover.columns import QUANTITIES, UNITS
from bmp.read.takeover.figures import (
    as_moment,
    decimal_comma,
    figure,
    says_emptied,
    time_of_day,
)
from bmp.read.takeover.find import FoundColumn
from bmp.read.takeover.jar_columns import AFTER, bare
from bmp.read.takeover.mapping import Mapped, Meaning, as_words
from bmp.read.takeover.vocabulary import unit_words
from bmp.units import UnknownUnit, conversion

TRIAL, MATERIALS, JARS = "trial", "materials", "jars"
NOT_KNOWN = ("not known", "")
FALLS, CENTIMETRE, INCH = (
    "a fall of the running total means",
    "one cm of the tube",
    "one inch of the tube",
)
GAPS, LEFT_OUT, LATER = (
    "where a reading has no figure", "the jar is left out", "the gas is in the next reading",
)  # fmt: skip
OWN_ITEMS = (FALLS, CENTIMETRE, INCH, GAPS)
WAYS: Mapping[str, tuple[str, ...]] = {
    "pressure": ("gauge before", "absolute before"),
    "volume": ("volume",),
    "methane volume": ("volume",),
    "mass": ("mass", "mass before"),
}
"""What a reading must hold, by way of measuring."""

# Units of volume that are no volumes: read off a tube, or weighed as water at 20 °C (0.9982 g/mL,
# IAPWS-95).
_WATER_G_PER_ML = 0.9982
_WEIGHED = {"oz of water": 28.349523 / _WATER_G_PER_ML, "g of water": 1.0 / _WATER_G_PER_ML,
            "kg of water": 1000.0 / _WATER_G_PER_ML}  # fmt: skip
_ON_TUBE = {"cm on the tube": (CENTIMETRE, 1.0), "mm on the tube": (CENTIMETRE, 0.1),
            "in on the tube": (INCH, 1.0)}  # fmt: skip


@dataclass
class Build:
    """What is being built, with the problems met on the way."""

    answers: Answers
    file: str
    problems: list[Problem]
    drafting: bool = False
    """Units that nobody has named yet count as the project's own: for what is to be asked only."""
    unreadable: dict[tuple[str, str], str] = field(default_factory=dict)
    """(section, question) -> what would be right, of cells that do not hold what they should."""
    headers: dict[tuple[str, str], str] = field(default_factory=dict)
    """(table, header of ours) -> the owner's header, for messages."""


@dataclass(frozen=True)
class Reading:
    """One reading of one jar: when, and its figures in the project's units."""

    jar: str
    at: datetime | float
    row: int
    table: str
    values: Mapping[str, Cell]


def build_tables(mapped: Sequence[Mapped], answers: Answers, file: str) -> tuple[
    dict[str, CellTable], list[Problem], dict[tuple[str, str], str]
]:  # fmt: skip
    """Return the four tables that the reader takes, the problems, and the owner's own headers.

    Parameters
    ----------
    mapped
        The tables of the sheet with what their columns are.
    answers
        A person's, also on what no column says.
    file
        Name of the file of answers, for messages.
    """
    sheet = Build(answers, file, [])
    jars = jars_of(mapped, sheet)
    materials = materials_of(mapped, jars, sheet)
    for jar in jars.values():
        material = materials.get(as_words(jar["material"][0]) if "material" in jar else "", {})
        blank = as_words(material["role"][0]) == "inoculum" if "role" in material else False
        if blank and "sample [g]" in jar and jar["sample [g]"][2] == file:
            # said of every jar, and a blank has no sample
            del jar["sample [g]"]
    readings = _without_gaps(readings_of(mapped, jars, sheet), jars, sheet)
    # jars that nobody knows anything of are not part of the trial
    jars = {name: jar for name, jar in jars.items() if jar and not _idle(jar, materials, sheet)}
    readings = [reading for reading in readings if reading.jar in jars]
    tables = {
        "trial": _trial_table(sheet),
        "materials": _table(file, materials, "material", _MATERIALS, sheet, MATERIALS),
        "jars": _table(file, jars, "jar", _JARS, sheet, JARS),
        "readings": _readings_table(readings, file),
    }
    return tables, sheet.problems, sheet.headers


def _idle(jar: Record, materials: Mapping[str, Record], sheet: Build) -> bool:
    """Tell whether a jar only checks the balance in a trial whose masses do not count."""
    material = materials.get(as_words(jar["material"][0]) if "material" in jar else "", {})
    role = as_words(material["role"][0]) if "role" in material else ""
    return role == "weight check" and sheet.answers.get(TRIAL, "measured") != "mass"


# ---------------------------------------------------------------- cells


def _conversion(meaning: str, unit: str, sheet: Build) -> tuple[float, float]:
    """Return factor and offset from a written unit to the project's own.

    Raises
    ------
    UnknownUnit
        It is no unit of this kind.
    """
    target = UNITS[meaning]
    assert target is not None
    if target == "mL" and unit in _WEIGHED:
        return _WEIGHED[unit], 0.0
    if target == "mL" and unit in _ON_TUBE:
        item, factor = _ON_TUBE[unit]
        held = sheet.answers.get(TRIAL, f"{item} [mL]")
        # an inner area in cm² is the same figure
        held = re.sub(r"\s*cm(?:²|2|\^2)$", "", held or UNKNOWN)
        return factor * (1.0 if UNKNOWN in held else figure(held) or 0.0), 0.0
    header = parse_header(f"{meaning} [{unit}]")
    rule = conversion(header.unit or unit, target)
    return rule.factor, rule.offset


def _figures(
    one: Mapped, column: FoundColumn, meaning: str, unit: str, sheet: Build
) -> dict[int, float]:
    """Return a column's figures in the project's unit by row."""
    if UNKNOWN in unit and not sheet.drafting:
        return {}
    try:
        factor, offset = (1.0, 0.0) if UNKNOWN in unit else _conversion(meaning, unit, sheet)
    except (UnknownUnit, Unreadable) as error:
        key = f"column {column.letter} {quoted(column.key)}"
        line = sheet.answers.line(one.section, key)
        sheet.problems.append(Problem(sheet.file, str(error), "write another unit", line, key))
        return {}
    cells = [one.cell(row, column) for row in one.table.rows]
    comma = decimal_comma(cells, one.table.grid.semicolons)
    found = {}
    for row in one.rows():
        cell = _cell(one, row, column, sheet)
        try:
            value = figure(cell, comma)
        except Unreadable as error:
            _wrong(one, row, column, cell, str(error), sheet)
            continue
        if value is None:
            continue
        percent = isinstance(cell, str) and cell.rstrip().endswith("%")
        if percent and UNITS[meaning] == "dimensionless":
            found[row] = value / 100.0
        else:
            found[row] = value * factor + offset
    return found


def _question(row: int, column: FoundColumn, cell: Cell) -> str:
    """Return what a cell that cannot be read is called among the questions."""
    return f"cell {column.letter}{row + 1} {quoted(as_words(cell)[:40])}"


def _cell(one: Mapped, row: int, column: FoundColumn, sheet: Build) -> Cell:
    """Return a cell, or what a person says stands there instead."""
    cell = one.cell(row, column)
    if not isinstance(cell, str):
        return cell
    said = sheet.answers.get(one.section, _question(row, column, cell))
    if said is None or UNKNOWN in said:
        return cell
    return None if said in NOT_KNOWN else said


def _wrong(
    one: Mapped, row: int, column: FoundColumn, cell: Cell, wanted: str, sheet: Build
) -> None:
    sheet.unreadable[one.section, _question(row, column, cell)] = wanted
    what = f"{shown(cell)} is not what the column holds"
    sheet.problems.append(Problem(one.table.grid.name, what, wanted, row + 1, column.header))


def _texts(one: Mapped, name: str, down: bool = False) -> dict[int, str]:
    """Return a column of words by row; with `down` an empty cell says what the one above says."""
    column = one.column(name)
    if column is None:
        return {}
    texts: dict[int, str] = {}
    last = ""
    for row in one.table.rows:
        text = as_words(one.cell(row, column))
        last = text or last
        texts[row] = last if down else text
    return {row: texts[row] for row in one.rows()}


def _times(one: Mapped, sheet: Build) -> dict[int, datetime | float]:
    """Return when each row was read: a date with its time of day, or days since closing."""
    day, clock, time = one.column("date"), one.column("time of day"), one.column("time")
    if day is None or (time is not None and clock is None and not _has_hours(one, day)):
        meaning = one.meaning("time")
        if time is None or meaning is None:
            return {}
        return {**_figures(one, time, "time", meaning.unit, sheet)}
    about = one.meaning("date")
    order = about.unit if about else ""
    if UNKNOWN in order:
        return {}
    times: dict[int, datetime | float] = {}
    last: datetime | None = None
    for row in one.table.rows:
        cell = _cell(one, row, day, sheet)
        try:
            at = as_moment(cell, order or "year first")
            last = at = at or (last if one.cell(row, day) is None else None)
            if at is not None and clock is not None:
                since = time_of_day(_cell(one, row, clock, sheet))
                at = at if since is None else datetime(at.year, at.month, at.day) + since
        except Unreadable as error:
            _wrong(one, row, day, cell, str(error), sheet)
            continue
        if at is not None:
            times[row] = at
    return {row: times[row] for row in one.rows() if row in times}


def _has_hours(one: Mapped, column: FoundColumn) -> bool:
    cells = [one.cell(row, column) for row in one.table.rows]
    return any(isinstance(cell, datetime) and (cell.hour or cell.minute) for cell in cells)


# ---------------------------------------------------------------- jars and materials

Record = dict[str, tuple[Cell, int, str]]
"""Of one jar or material: header of ours -> (cell, row, table)."""

_JARS = (
    "material",
    "group",
    "inoculum [g]",
    "sample [g]",
    "water [g]",
    "headspace [mL]",
    "leave out",
)
_MATERIALS = ("role", "TS [fraction of fresh mass]", "VS [fraction of fresh mass]")
_OF_JAR = ("inoculum", "sample", "water", "headspace", "jar volume")


def jars_of(mapped: Sequence[Mapped], sheet: Build) -> dict[str, Record]:
    """Return what is known of each jar, from the sheet and from the answers."""
    jars: dict[str, Record] = {}
    for one in mapped:
        if one.kind == "jars":
            for row, name in _texts(one, "jar").items():
                if name:
                    _jar_row(one, row, jars.setdefault(name, {}), sheet)
    for one in mapped:
        if one.kind == "readings, a column a day":
            told = {what: _texts(one, what, down=True) for what in ("material", "group")}
            for row, name in _texts(one, "jar").items():
                for what, texts in told.items():
                    if name and texts.get(row):
                        place = (texts[row], row + 1, one.table.grid.name)
                        jars.setdefault(_same(name, jars) or name, {}).setdefault(what, place)
    for one in mapped:
        if one.kind.startswith("readings"):
            for name in _jars_read(one, sheet):
                if _same(name, jars) is None:
                    jars[name] = {}
    for key, (value, line) in _said(sheet, JARS).items():
        _say(jars, key, value, line, sheet)
    for jar in jars.values():
        _headspace(jar)
    return jars


def _jar_row(one: Mapped, row: int, jar: Record, sheet: Build) -> None:
    place = (row + 1, one.table.grid.name)
    material = _texts(one, "material", down=True).get(row, "")
    if material:
        jar["material"] = (material, *place)
    group = _texts(one, "group", down=True).get(row, "")
    if group:
        jar["group"] = (group, *place)
    for name in (*_OF_JAR, "TS", "VS", "VS of inoculum"):
        value = _cell_of(one, row, name, sheet)
        if value is not None:
            unit = {"dimensionless": "fraction"}.get(str(UNITS[name]), UNITS[name])
            jar[f"{name} [{unit}]"] = (value, *place)


def _cell_of(one: Mapped, row: int, name: str, sheet: Build) -> float | None:
    column, meaning = one.column(name), one.meaning(name)
    if column is None or meaning is None:
        return None
    sheet.headers[one.table.grid.name, name] = column.header
    single = replace(one, table=replace(one.table, rows=(row,)))
    return _figures(single, column, name, meaning.unit, sheet).get(row)


def _jars_read(one: Mapped, sheet: Build) -> Iterator[str]:
    for _, meaning in one.columns:
        if meaning.name == "a jar":
            yield meaning.jar
    yield from dict.fromkeys(name for name in _jar_texts(one, sheet).values() if name)


def _jar_texts(one: Mapped, sheet: Build) -> dict[int, str]:
    """Return the jar of each row: from its column, or the one that the whole table is of."""
    if one.column("jar") is not None:
        return _texts(one, "jar", down=True)
    whole = sheet.answers.get(one.section, WHOLE)
    return dict.fromkeys(one.rows(), whole) if whole else {}


WHOLE = "every row is of jar"


def _same(name: str, names: Mapping[str, object]) -> str | None:
    """Return the name under which a jar is known already: `Jar 1` is `1`."""
    if name in names:
        return name
    return next((other for other in names if bare(other) == bare(name) and bare(name)), None)


def _said(sheet: Build, section: str) -> dict[str, tuple[str, int | None]]:
    """Return the answers of a section that say something."""
    return {
        key: (value, sheet.answers.line(section, key))
        for key, value in sheet.answers.sections.get(section, {}).items()
        if value not in NOT_KNOWN and UNKNOWN not in value
    }


def _say(records: dict[str, Record], key: str, value: str, line: int | None, sheet: Build) -> None:
    """Put an answer such as `inoculum of every jar [g] = 300` into the records that it is about."""
    header = parse_header(key)
    name, _, whom = header.name.partition(" of ")
    if name == "VS" and whom.startswith("inoculum of "):
        name, whom = "VS of inoculum", whom.removeprefix("inoculum of ")
    target = UNITS.get(name)
    cell: Cell = value
    unit = target
    if target is not None:
        try:
            written = key[key.rindex("[") + 1 : -1] if "[" in key else value.split()[-1]
            number = figure(value)
            factor, offset = _conversion(name, written, sheet)
        except (Unreadable, UnknownUnit, ValueError, IndexError) as error:
            sheet.problems.append(
                Problem(sheet.file, f"{shown(value)} stands for {key}", str(error), line)
            )
            return
        cell = None if number is None else number * factor + offset
        per_TS = parse_header(f"{name} [{written}]").of == "TS"
        unit = {"dimensionless": "fraction" + (" of TS" if per_TS else "")}.get(target, target)
    place = f"{name} [{unit}]" if unit else name
    about = records if whom.startswith("every") else {_whom(whom, records): None}
    for one in about:
        if one in records:
            records[one].setdefault(place, (cell, line or 0, sheet.file))


def _whom(text: str, records: Mapping[str, Record]) -> str:
    name = text.strip().strip('"')
    return next((one for one in records if quoted(one).strip('"') == name), name)


def _headspace(jar: Record) -> None:
    """Work out a headspace from the volume of the jar, its contents at 1 g/mL."""
    if "headspace [mL]" in jar or "jar volume [mL]" not in jar:
        return
    volume, row, table = jar["jar volume [mL]"]
    held = sum(_amount(jar, f"{name} [g]") for name in ("inoculum", "sample", "water"))
    if isinstance(volume, float):
        jar["headspace [mL]"] = (volume - held, row, table)


def _amount(record: Record, header: str) -> float:
    value = record[header][0] if header in record else None
    return value if isinstance(value, float) else 0.0


def materials_of(
    mapped: Sequence[Mapped], jars: Mapping[str, Record], sheet: Build
) -> dict[str, Record]:
    """Return what is known of each material, from the sheet and from the answers."""
    materials: dict[str, Record] = {}
    for one in mapped:
        if one.kind == "materials":
            for row, name in _texts(one, "material").items():
                if name:
                    _material_row(one, row, materials.setdefault(name, {}), sheet)
    for jar in jars.values():
        name = as_words(jar["material"][0]) if "material" in jar else ""
        if name:
            record = materials.setdefault(name, {})
            for share in ("TS", "VS"):
                if f"{share} [fraction]" in jar:
                    record.setdefault(
                        f"{share} [fraction of fresh mass]", jar[f"{share} [fraction]"]
                    )
    said = _said(sheet, MATERIALS)
    for key in said:
        whom = parse_header(key).name.partition(" of ")[2].strip('"')
        if key.startswith("role of "):
            materials.setdefault(_whom(whom, materials), {})
    for key, (value, line) in said.items():
        _say(materials, key, value, line, sheet)
    for name, record in materials.items():
        _per_fresh(record)
        if record.get("role", ("",))[0] == "inoculum":
            _inoculum_VS(name, record, jars)
    used = {as_words(jar["material"][0]) for jar in jars.values() if "material" in jar}
    return {
        name: record for name, record in materials.items()
        if name in used or as_words(record.get("role", ("",))[0]) == "inoculum" or not used
    }  # fmt: skip


def _per_fresh(record: Record) -> None:
    """Bring shares to the fresh mass and under the headers of the table `materials`."""
    for share in ("TS", "VS"):
        if f"{share} [fraction]" in record:
            record.setdefault(f"{share} [fraction of fresh mass]", record[f"{share} [fraction]"])
    dry, solids = record.get("VS [fraction of TS]"), record.get("TS [fraction of fresh mass]")
    if dry is not None and solids is not None:
        value = float(dry[0]) * float(solids[0])  # type: ignore[arg-type]
        record.setdefault("VS [fraction of fresh mass]", (value, *dry[1:]))


def _inoculum_VS(name: str, record: Record, jars: Mapping[str, Record]) -> None:
    for jar in jars.values():
        if "VS of inoculum [fraction]" in jar:
            record.setdefault("VS [fraction of fresh mass]", jar["VS of inoculum [fraction]"])
            return


def _material_row(one: Mapped, row: int, record: Record, sheet: Build) -> None:
    place = (row + 1, one.table.grid.name)
    role = _texts(one, "role").get(row, "")
    if role:
        record["role"] = (_ROLES.get(role.lower(), role), *place)
    for name in ("TS", "VS"):
        value = _cell_of(one, row, name, sheet)
        meaning = one.meaning(name)
        if value is not None and meaning is not None:
            of = parse_header(f"{name} [{meaning.unit}]").of or "fresh mass"
            record[f"{name} [fraction of {of}]"] = (value, *place)


_ROLES: Mapping[str, str] = {
    "seed": "inoculum", "sludge": "inoculum", "blank": "inoculum", "impfschlamm": "inoculum",
    "inokulum": "inoculum", "feed": "substrate", "sample": "substrate", "substrat": "substrate",
    "probe": "substrate", "test": "substrate", "kontrolle": "control", "reference": "control",
    "referenz": "control", "positive control": "control",
}  # fmt: skip


# ---------------------------------------------------------------- readings


def readings_of(
    mapped: Sequence[Mapped], jars: Mapping[str, Record], sheet: Build
) -> list[Reading]:
    """Return all readings, with methane shares that stand in tables of their own beside them."""
    readings: list[Reading] = []
    apart: list[Reading] = []
    for one in mapped:
        if one.kind == "readings":
            readings += _long(one, jars, sheet)
        elif one.kind.startswith("readings, "):
            across = _wide if one.kind.endswith("a jar") else _across
            for reading in across(one, jars, sheet):
                gas = set(reading.values) & set(QUANTITIES)
                (readings if gas else apart).append(reading)
    readings = _with_apart(readings, apart)
    for one in mapped:
        if one.kind in ("methane shares", "materials", "jars") and one.column("methane"):
            readings = _with_shares(readings, one, jars, sheet)
    return _with_falls(readings, sheet)


_VALUES = (*QUANTITIES, "temperature", "ambient", "methane")


def _long(one: Mapped, jars: Mapping[str, Record], sheet: Build) -> Iterator[Reading]:
    times = _times(one, sheet)
    names = _jar_texts(one, sheet)
    notes, emptied = _texts(one, "note"), _texts(one, "emptied")
    figures = {}
    for name in _VALUES:
        column, meaning = one.column(name), one.meaning(name)
        if column is not None and meaning is not None:
            sheet.headers[one.table.grid.name, name] = column.header
            figures[name] = _figures(one, column, name, meaning.unit, sheet)
    for row in one.rows():
        if not names.get(row) or row not in times:
            continue
        values: dict[str, Cell] = {name: by[row] for name, by in figures.items() if row in by}
        after = one.column("gauge after") or one.column("absolute after")
        if after is not None and as_words(one.cell(row, after)).lower() in ("not vented", "closed"):
            values[(one.column("gauge after") and "gauge after") or "absolute after"] = "not vented"
        values |= {k: v for k, v in (("note", notes.get(row)), ("emptied", emptied.get(row))) if v}
        jar = _same(names[row], jars) or names[row]
        yield Reading(jar, times[row], row + 1, one.table.grid.name, values)


def _wide(one: Mapped, jars: Mapping[str, Record], sheet: Build) -> Iterator[Reading]:
    times = _times(one, sheet)
    shared = {}
    for name in ("temperature", "ambient", "methane"):
        column, meaning = one.column(name), one.meaning(name)
        if column is not None and meaning is not None:
            shared[name] = _figures(one, column, name, meaning.unit, sheet)
    by_jar: dict[str, dict[str, dict[int, float]]] = {}
    emptied: dict[str, set[int]] = {}
    for column, meaning in one.columns:
        held = _held_by(meaning, one.held)
        if not meaning.jar or held is None:
            continue
        quantity, unit = held
        values = _figures(one, column, quantity, unit, sheet)
        if meaning.name == "a jar":
            jar = _same(meaning.jar, jars) or meaning.jar
            by_jar.setdefault(jar, {})[quantity] = values
            told = [row for row in one.rows() if says_emptied(one.cell(row, column))]
            emptied.setdefault(jar, set()).update(told)
        else:
            for jar in _jars_named(meaning.jar, jars):
                by_jar.setdefault(jar, {}).setdefault(quantity, values)
    for jar, quantities in by_jar.items():
        if "mass before" in quantities and "mass after" not in quantities:
            quantities["mass"] = quantities.pop("mass before")
        for row in one.rows():
            own: dict[str, Cell] = {
                name: values[row] for name, values in quantities.items() if row in values
            }
            own |= {"emptied": "yes"} if row in emptied.get(jar, ()) else {}
            if own and row in times:
                common = {name: by[row] for name, by in shared.items() if row in by}
                yield Reading(jar, times[row], row + 1, one.table.grid.name, {**common, **own})


def _held_by(meaning: Meaning, held: Meaning | None) -> tuple[str, str] | None:
    """Return the quantity and unit of a jar's or material's column; `None` where nobody says."""
    if meaning.quantity and meaning.quantity != AFTER:
        return meaning.quantity, meaning.unit
    if held is None:
        return None
    return _part(held.name, meaning.quantity == AFTER), held.unit


def _part(quantity: str, after: bool) -> str:
    """Return what a jar's column holds: `gauge before`, or `gauge after` where it says so."""
    if quantity == "mass":
        quantity = "mass before"
    return quantity.replace("before", "after") if after else quantity


def _across(one: Mapped, jars: Mapping[str, Record], sheet: Build) -> Iterator[Reading]:
    if one.held is None:
        return
    names = _texts(one, "jar")
    for column, meaning in one.columns:
        at: datetime | float | None = None
        if meaning.name == "a day":
            at = float(meaning.unit)
        elif meaning.name == "date" and UNKNOWN not in meaning.unit:
            at = as_moment(column.header, meaning.unit)
        if at is None:
            continue
        values = _figures(one, column, one.held.name, one.held.unit, sheet)
        for row, value in values.items():
            if names.get(row):
                jar = _same(names[row], jars) or names[row]
                own: dict[str, Cell] = {one.held.name: value}
                own |= {"emptied": "yes"} if says_emptied(one.cell(row, column)) else {}
                yield Reading(jar, at, row + 1, one.table.grid.name, own)


def _with_shares(
    readings: list[Reading], one: Mapped, jars: Mapping[str, Record], sheet: Build
) -> list[Reading]:
    """Put methane shares of a table of their own to the jar's or material's readings.

    A share with a date goes to the reading nearest in time, one without to all of them.
    """
    column, meaning = one.column("methane"), one.meaning("methane")
    assert column is not None
    assert meaning is not None
    shares = _figures(one, column, "methane", meaning.unit, sheet)
    whose = _texts(one, "jar") or _texts(one, "material")
    times = _times(one, sheet)
    timed = one.column("date") is not None or one.column("time") is not None
    found = list(readings)
    of_jar: dict[str, list[int]] = {}
    for index, reading in enumerate(found):
        of_jar.setdefault(reading.jar, []).append(index)
    for row, share in shares.items():
        places = [i for jar in _jars_named(whose.get(row, ""), jars) for i in of_jar.get(jar, [])]
        if timed:
            places = _nearest(found, places, times[row]) if row in times else []
        for place in places:
            found[place] = replace(
                found[place], values={"methane": share} | dict(found[place].values)
            )
    return found


def _with_apart(readings: list[Reading], apart: Sequence[Reading]) -> list[Reading]:
    """Put what was read by itself, such as a methane share, to the reading nearest in time."""
    found = list(readings)
    of_jar: dict[str, list[int]] = {}
    for index, reading in enumerate(found):
        of_jar.setdefault(reading.jar, []).append(index)
    for one in apart:
        for place in _nearest(found, of_jar.get(one.jar, []), one.at):
            found[place] = replace(found[place], values={**one.values, **found[place].values})
    return found


def _jars_named(name: str, jars: Mapping[str, Record]) -> list[str]:
    """Return the jar of that name, or all jars of the material of that name."""
    own = _same(name, jars)
    if own is not None:
        return [own]
    return [
        jar for jar, record in jars.items()
        if "material" in record and as_words(record["material"][0]).lower() == name.lower()
    ]  # fmt: skip


def _nearest(readings: Sequence[Reading], places: Sequence[int], at: datetime | float) -> list[int]:
    """Return the reading of each jar that was taken nearest to a time."""
    best: dict[str, tuple[float, int]] = {}
    for place in places:
        when = readings[place].at
        if isinstance(when, datetime) and isinstance(at, datetime):
            # a sample without an hour is of that day
            aim = at + timedelta(hours=12) if at.hour == at.minute == 0 else at
            off = abs((when - aim).total_seconds())
        elif isinstance(when, float) and isinstance(at, float):
            off = abs(when - at)
        else:
            continue
        jar = readings[place].jar
        if jar not in best or off < best[jar][0]:
            best[jar] = off, place
    return [place for _, place in best.values()]


def _with_falls(readings: list[Reading], sheet: Build) -> list[Reading]:
    """Mark falls of running totals as emptied vessels, where a person says that they are."""
    if sheet.answers.get(TRIAL, FALLS) != "emptied":
        return readings
    found = list(readings)
    last: dict[str, float] = {}
    told: set[str] = set()
    for index in sorted(range(len(found)), key=lambda i: order_of(found[i].at)):
        reading = found[index]
        value = reading.values.get("volume")
        if isinstance(value, float):
            if value < last.get(reading.jar, value) and reading.jar not in told:
                found[index] = replace(reading, values={**reading.values, "emptied": "yes"})
            last[reading.jar] = value
            told.discard(reading.jar)
            if reading.values.get("emptied"):
                told.add(reading.jar)
    return found


def gaps_of(readings: Sequence[Reading], measured: str) -> dict[str, list[int]]:
    """Return the rows in which a jar was handled and not read, before its last reading."""
    wanted = WAYS.get(measured, ())
    gaps: dict[str, list[int]] = {}
    waiting: dict[str, list[int]] = {}
    for reading in sorted(readings, key=lambda r: order_of(r.at)):
        if any(name in reading.values for name in wanted):
            if reading.jar in waiting:
                gaps.setdefault(reading.jar, []).extend(waiting.pop(reading.jar))
        else:
            waiting.setdefault(reading.jar, []).append(reading.row)
    return gaps


def _without_gaps(readings: list[Reading], jars: dict[str, Record], sheet: Build) -> list[Reading]:
    """Leave rows without a figure out, and their jars where a person says that gas was lost."""
    measured = sheet.answers.get(TRIAL, "measured") or ""
    wanted = WAYS.get(measured)
    if wanted is None:
        return readings
    if sheet.answers.get(TRIAL, GAPS) == LEFT_OUT:
        for jar, rows in gaps_of(readings, measured).items():
            words = f"no {measured} in row {', '.join(map(str, rows[:4]))}: that gas is lost"
            jars.setdefault(jar, {})["leave out"] = (words, rows[0], sheet.file)
    other = {name for way, names in WAYS.items() for name in names if name not in wanted}
    other |= set() if measured == "mass" else {"mass after"}
    if measured == "mass" and not any("methane" in r.values for r in readings):
        # the volume of gas that was weighed tells its density, and so its methane
        other.discard("volume")
    return [
        replace(r, values={name: v for name, v in r.values.items() if name not in other})
        for r in readings
        if any(name in r.values for name in wanted)
    ]


def order_of(at: datetime | float) -> float:
    """Return a time as a number that rises with it."""
    return at.timestamp() if isinstance(at, datetime) else at


# ---------------------------------------------------------------- tables


def _trial_table(sheet: Build) -> CellTable:
    rows, numbers = [], []
    for key, (value, line) in _said(sheet, TRIAL).items():
        if parse_header(key).name not in OWN_ITEMS:
            rows.append(_in_own_unit(key, value))
            numbers.append(line or 1)
    if share_assumed(sheet.answers):
        rows += [("methane [%]", str(ASSUMED_SHARE)), ("methane uncertainty [%]", "10")]
        numbers += [1, 1]
    return CellTable(sheet.file, ("item", "value"), tuple(rows), tuple(numbers))


ASSUMED_SHARE = 60
"""Percent of methane in dry biogas where nobody measured it (common practice, no source)."""
ASSUMED_SHARE_WORDS = (
    f"Nobody measured the methane: {ASSUMED_SHARE} ± 10 % of the dry gas is assumed (common "
    "practice, no source)."
)


def share_assumed(answers: Answers) -> bool:
    """Tell whether a person was asked for the methane share and does not know it."""
    return answers.get(TRIAL, "methane [%]") == NOT_KNOWN[0]


def _in_own_unit(key: str, value: str) -> tuple[str, str]:
    """Return an item with the unit that stands behind its figure: `68 °F` for a question in °C."""
    header = parse_header(key)
    match = re.fullmatch(r"([+-]?[\d.,]+)\s*([^\d\s.,].{0,12})", value)
    if header.unit is None or match is None or not unit_words(match[2]):
        return key, value
    return f"{header.name} [{match[2]}]", match[1]


def _table(
    name: str,
    records: Mapping[str, Record],
    first: str,
    headers: Sequence[str],
    sheet: Build,
    section: str,
) -> CellTable:
    """Return records as a table; its rows are those of the file where the first of them stands."""
    used = [h for h in headers if any(h in record for record in records.values())]
    used = [h for h in headers if h in used or h in ("material", "role")]
    rows, numbers = [], []
    tables = {place[2] for record in records.values() for place in record.values()} - {sheet.file}
    for key, record in records.items():
        rows.append((key, *(record[h][0] if h in record else None for h in used)))
        own = [place[1] for place in record.values() if place[2] != sheet.file]
        numbers.append(own[0] if len(tables) == 1 and own else 1)
    title = tables.pop() if len(tables) == 1 else f"{name} [{section}]"
    return CellTable(title, (first, *used), tuple(rows), tuple(numbers))


def _readings_table(readings: Sequence[Reading], file: str) -> CellTable:
    names = [n for n in _VALUES if any(n in reading.values for reading in readings)]
    units = {"degC": "°C", "dimensionless": "fraction"}
    headers = [f"{n} [{units.get(str(UNITS[n]), UNITS[n])}]" for n in names]
    words = [n for n in ("emptied", "note") if any(n in reading.values for reading in readings)]
    dated = any(isinstance(reading.at, datetime) for reading in readings)
    rows = tuple(
        (reading.jar, reading.at, *(reading.values.get(name) for name in (*names, *words)))
        for reading in readings
    )
    tables = {reading.table for reading in readings}
    header = ("jar", "taken" if dated else "time [d]", *headers, *words)
    return CellTable(tables.pop() if len(tables) == 1 else file, header, rows,
                 tuple(reading.row for reading in readings))  # fmt: skip
