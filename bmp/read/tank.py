"""The tables `tank` and `tank feeds`: the main tank and what goes into it, read strictly."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from bmp.limits import POSSIBLE
from bmp.problem import Problem, shown
from bmp.read.cells import Unreadable, quantity, words
from bmp.read.columns import TANK, TANK_FEEDS, KnownColumn, ignored_words, match_unit, parse_header
from bmp.read.records import Rows, read_rows
from bmp.read.tables import Cell, CellTable
from bmp.trial import MONTHS, Jar, Material
from bmp.wall import parse_layers

TANK_TABLES = ("tank", "tank feeds")


@dataclass(frozen=True)
class Spanned:
    """An item that is a number, with the span it must lie in, as people write it."""

    known: KnownColumn
    low: float
    high: float
    words: str


# Spans rule out slips of the unit, not unusual tanks.
_AMBIENT = POSSIBLE["ambient_kPa"]
_AIR = (-60.0, 60.0, "between -60 and 60 °C")
_SPANS: Mapping[str, tuple[float, float, str]] = {
    "liquid volume": (0.1, 1e8, "between 0.1 L and 100,000 m³"),
    "temperature": (0.0, 75.0, "between 0 and 75 °C"),
    "retention": (0.5, 1000.0, "between 0.5 and 1000 d"),
    "pH": (3.0, 11.0, "between 3 and 11"),
    "total ammonia N": (0.0, 30_000.0, "between 0 and 30,000 mg/L"),
    "alkalinity": (0.0, 60.0, "between 0 and 60 g CaCO3/L"),
    "volatile acids": (0.0, 100.0, "between 0 and 100 g/L"),
    "methane": (0.05, 1.0, "between 5 and 100 %"),
    "air temperature": _AIR,
    **{f"air temperature {month}": _AIR for month in MONTHS},
    "feed temperature": (0.0, 100.0, "between 0 and 100 °C"),
    "surface": (0.001, 1e6, "between 0.001 and 1,000,000 m²"),
    "U": (0.01, 100.0, "between 0.01 and 100 W/(m² K)"),
    "diameter": (0.01, 1000.0, "between 1 cm and 1 km"),
    "height": (0.01, 1000.0, "between 1 cm and 1 km"),
    "heater use": (1e-3, 1e6, "between 0.001 and 1e6 kWh/d"),
    "air temperature while heating": _AIR,
    "burner efficiency": (0.05, 1.0, "between 5 and 100 %"),
    "storage volume": (0.1, 1e9, "between 0.1 L and 1,000,000 m³"),
    "ambient": (_AMBIENT.low, _AMBIENT.high, _AMBIENT.words),
}
NUMBERS = tuple(Spanned(known, *_SPANS[known.name]) for known in TANK if known.name in _SPANS)
TEXTS = tuple(known for known in TANK if known.name not in _SPANS)
CHOICES: Mapping[str, tuple[str, ...]] = {
    "mixing": ("well mixed", "plug flow"),
    "wall stands in": ("wind", "still air"),
    "heating": ("heated", "unheated"),
}
NEEDED = ("liquid volume", "temperature")

FEEDS = TANK_FEEDS
_AMOUNTS = ("amount_today_kg_per_d", "amount_planned_kg_per_d")
WATER = "water"


def read_tank(
    table: CellTable, problems: list[Problem], ignored: list[str]
) -> dict[str, float | str]:
    """Return the items of the table `tank` by name with unit, such as `liquid_volume_L`.

    Problems and unused items are added to the lists.
    """
    if [text.lower() for text in table.header[:2]] != ["item", "value"]:
        what = f"the header is {shown(', '.join(table.header))}"
        problems.append(Problem(table.name, what, "the first row must read: item, value", 1))
        return {}
    count = len(problems)
    spans = {item.known.name.lower(): item for item in NUMBERS}
    texts = {known.name.lower(): known for known in TEXTS}
    found: dict[str, float | str] = {}
    for row, line in zip(table.row_numbers, table.rows, strict=True):
        text, cell = words(line[0]), line[1] if len(line) > 1 else None
        name = parse_header(text).name.lower()
        known = spans[name].known if name in spans else texts.get(name)
        if known is None:
            ignored.append(ignored_words(table.name, "item", text, [*spans, *texts]))
        elif known.field in found:
            problems.append(
                Problem(table.name, f"the item “{known.name}” stands twice", "keep one", row)
            )
        elif cell is not None:
            value = (
                _number(spans[name], cell, text, table, row, problems)
                if name in spans
                else _text(known, cell, table, row, problems)
            )
            if value is not None:
                found[known.field] = value
    if len(problems) == count:
        problems.extend(_missing(table, found))
    return found


def _number(
    item: Spanned, cell: Cell, text: str, table: CellTable, row: int, problems: list[Problem]
) -> float | None:
    rule = match_unit(item.known, parse_header(text), table.name, problems, row)
    if rule is None:
        return None
    what, wanted = f"{shown(cell)} stands for “{item.known.name}”", f"it must be {item.words}"
    try:
        value = quantity(cell, rule, str(item.known.unit), table.semicolons)
    except Unreadable as error:
        problems.append(Problem(table.name, what, str(error), row))
        return None
    if not item.low <= value <= item.high:
        problems.append(Problem(table.name, what, wanted, row))
        return None
    return value


def _text(
    known: KnownColumn, cell: Cell, table: CellTable, row: int, problems: list[Problem]
) -> str | None:
    text = words(cell)
    what = f"{shown(cell)} stands for “{known.name}”"
    if known.name in CHOICES and text.lower() not in CHOICES[known.name]:
        wanted = f"write one of: {', '.join(CHOICES[known.name])}"
        problems.append(Problem(table.name, what, wanted, row))
        return None
    if known.field == "layers":
        try:
            parse_layers(text)
        except ValueError as error:
            problems.append(Problem(table.name, what, str(error), row))
            return None
    return text.lower() if known.name in CHOICES else text


def _missing(table: CellTable, found: Mapping[str, float | str]) -> list[Problem]:
    """Return what the items together lack."""
    fields = {item.known.name: item.known.field for item in NUMBERS}
    missing = [name for name in NEEDED if fields[name] not in found]
    problems = [
        Problem(table.name, f"there is no item “{name}”", "add it with its unit")
        for name in missing
    ]
    months = [f"air temperature {month}" for month in MONTHS]
    lacking = [name for name in months if fields[name] not in found]
    if 0 < len(lacking) < len(months):
        what = f"{len(months) - len(lacking)} of the twelve months have an air temperature"
        problems.append(Problem(table.name, what, f"add “{lacking[0]}”, or leave all twelve out"))
    return problems


def read_tank_feeds(
    table: CellTable,
    materials: Sequence[Material],
    jars: Sequence[Jar],
    problems: list[Problem],
    ignored: list[str],
) -> tuple[dict[str, float | str], ...]:
    """Return the rows of the table `tank feeds`; an empty amount is nothing fed.

    A feed is named as in the table `materials`, as one of several groups of it (`whey (fresh)`),
    or `water`.
    """
    rows = read_rows(table, FEEDS, problems, ignored)
    lacking = [known for known in FEEDS if known.field not in rows.found]
    for known in lacking:
        if not any(problem.table == table.name for problem in problems):
            problems.append(
                Problem(table.name, f"there is no column “{known.name}”", "add it with its unit", 1)
            )
    if lacking:
        return ()
    names = _names(materials, jars)
    found: dict[str, dict[str, float | str]] = {}
    for index in range(len(table.rows)):
        name = _feed_name(rows, index, names, materials, problems)
        amounts = {field: _amount(rows, index, field, problems) for field in _AMOUNTS}
        if name is None:
            continue
        if name in found:
            what = f"{shown(name)} stands twice"
            problems.append(rows.problem(index, "material", what, "keep one row"))
        found[name] = {"material": name, **amounts}
    if not any(row[field] for row in found.values() for field in _AMOUNTS):
        problems.append(Problem(table.name, "nothing is fed", "give at least one daily amount"))
    return tuple(found.values())


def _names(materials: Sequence[Material], jars: Sequence[Jar]) -> dict[str, str]:
    """Return what a feed may be called, by its name in small letters."""
    names = [WATER, *(material.name for material in materials), *(jar.series for jar in jars)]
    return {name.lower(): name for name in names}


def _feed_name(
    rows: Rows,
    index: int,
    names: Mapping[str, str],
    materials: Sequence[Material],
    problems: list[Problem],
) -> str | None:
    text = rows.text("material", index)
    name = names.get(text.lower())
    if name is None:
        known = ", ".join([*(material.name for material in materials), WATER])
        what = f"{shown(text or None)} is not among the materials"
        problems.append(rows.problem(index, "material", what, f"write one of: {known}"))
        return None
    return name


def _amount(rows: Rows, index: int, field: str, problems: list[Problem]) -> float:
    value = rows.number(field, index) or 0.0
    if value == 0.0 or 1e-6 <= value < 1e7:
        return value
    what = f"{value:.4g} kg/d cannot be"
    problems.append(
        rows.problem(index, field, what, "a daily amount is nothing, or from 1 mg to 10,000 t")
    )
    return 0.0
