"""What each column of a found table may be: proposed with its reason, for a person to confirm."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, replace
from datetime import date, datetime, time

from bmp.read.cells import Unreadable
from bmp.read.columns import JARS, MATERIALS, READINGS
from bmp.read.tables import Cell
from bmp.read.takeover.figures import (
    DIGITS,
    ORDERS,
    as_moment,
    decimal_comma,
    figure,
    orders_possible,
    says_percent,
    time_of_day,
)
from bmp.read.takeover.find import FoundColumn, FoundTable, title_of
from bmp.read.takeover.jar_columns import (
    AFTER,
    METHANE,
    OTHER,
    TEMPERATURE,
    OneColumn,
    bare,
    known_as,
    names_a_jar,
    own_name,
    own_quantity,
)
from bmp.read.takeover.vocabulary import (
    TOTALS,
    is_missing,
    meanings,
    name_and_unit,
    unit_words,
)
from bmp.units import UnknownUnit, conversion

UNKNOWN = "?"
"""Stands where only a person can say."""
NOT_USED = "not used"

UNITS: Mapping[str, str | None] = {
    **{known.name: known.unit for known in (*MATERIALS, *JARS, *READINGS)},
    "jar volume": "mL",
    "VS of inoculum": "dimensionless",
}
"""The project's unit of everything that a column can be; `None`: text, or a date."""


def shown_unit(name: str) -> str:
    """Return an example of the unit that a column of this name may have."""
    of = " of fresh mass" if name in ("TS", *MUST_SAY_OF) else ""
    return {"dimensionless": "%", "degC": "°C"}.get(str(UNITS[name]), str(UNITS[name])) + of


MUST_SAY_OF = {"VS", "VS of inoculum", "VS uncertainty"}

# What a table can hold, by its kind; the first that fits is proposed.
KINDS: Mapping[str, tuple[str, ...]] = {
    "readings": (
        "jar", "date", "time of day", "time", "volume", "gauge before", "gauge after",
        "absolute before", "absolute after", "mass before", "mass after", "mass", "temperature",
        "ambient", "methane", "emptied", "note", "trial of",
    ),
    "readings, a column a jar": (
        "date", "time of day", "time", "temperature", "ambient", "methane", "note", "trial of",
    ),
    "readings, a column a day": ("jar", "note", "material", "group"),
    "jars": (
        "jar", "material", "group", "inoculum", "sample", "water", "headspace", "jar volume", "TS",
        "VS", "VS of inoculum", "methane", "note", "trial of",
    ),
    "materials": ("material", "role", "TS", "VS", "methane", "volatile acids", "note", "trial of"),
    "methane shares": ("jar", "material", "date", "time of day", "time", "methane", "trial of"),
    NOT_USED: (),
}  # fmt: skip

QUANTITIES = (
    "volume", "gauge before", "gauge after", "absolute before", "absolute after", "mass",
    "mass before", "mass after",
)  # fmt: skip
"""What gas is measured by."""
OF_A_JAR = (*QUANTITIES, "methane", "temperature")
"""What a column of a jar can hold where every jar has a column."""
_TEXTS = ("jar", "material", "group", "role", "note", "emptied", "trial of")


@dataclass(frozen=True)
class Proposal:
    """What one column may be."""

    column: FoundColumn
    meaning: str
    """A name of `KINDS`, `NOT_USED`, or `a jar`, `a material`: a column of its own."""
    unit: str = ""
    """As it is to be written; `UNKNOWN` where the sheet does not say."""
    jar: str = ""
    """The jar whose column it is, or the material."""
    quantity: str = ""
    """What the jar's own column holds: empty for what the columns of jars hold."""
    why: str = ""


@dataclass(frozen=True)
class TableProposal:
    """What one table may be."""

    table: FoundTable
    kind: str
    columns: tuple[Proposal, ...]
    jar_columns_hold: str = ""
    """With a column a jar: quantity and unit of them all, as a header would have it."""
    why: str = ""

    def of(self, meaning: str) -> Proposal | None:
        """Return the column of that meaning; `None` where there is none."""
        return next((one for one in self.columns if one.meaning == meaning), None)


@dataclass(frozen=True)
class _Look:
    """A column with what can be told from its cells alone."""

    column: FoundColumn
    name: str
    unit: str
    meanings: tuple[str, ...]
    numeric: bool
    dated: bool
    empty: bool


def propose_table(
    table: FoundTable, known_jars: Sequence[str], known_materials: Sequence[str] = ()
) -> TableProposal:
    """Return what a table and its columns may be.

    Parameters
    ----------
    known_jars, known_materials
        Names of the jars and materials as other tables have them.
    """
    looks = [_look(table, column) for column in table.columns]
    looks = _with_names(table, looks, known_jars)
    jar_columns = _jar_columns(table, looks, known_jars, known_materials)
    kind = _kind(looks, jar_columns)
    if kind == "readings, a column a day":
        return _days_across(table, looks, kind)
    columns = _columns(table, looks, kind, jar_columns if kind.endswith("a jar") else {})
    if {one.quantity for one in columns if one.jar} == {METHANE}:
        # a table of nothing but methane shares holds them
        columns = tuple(replace(one, quantity="", unit="") if one.jar else one for one in columns)
    held, why = _held(table, columns) if kind.endswith("a column a jar") else ("", "")
    return TableProposal(table, kind, columns, held, why)


def _look(table: FoundTable, column: FoundColumn) -> _Look:
    name, unit = name_and_unit(column.header)
    unit = column.unit or unit
    if unit_words(column.header):
        name, unit = _named_by_unit(table, column.header), column.header.strip("()[] ")
    cells = [cell for cell in table.cells(column) if not is_missing(cell)]
    dated = bool(cells) and all(isinstance(c, date | datetime | time) or _is_date(c) for c in cells)
    found = meanings(name)
    if unit.lower() in ("hhmm", "hh:mm"):
        found = ("time of day",)
    elif unit.lower().replace(".", "").replace("-", "").replace("/", "") in DIGITS:
        found = ("date",)
    if cells and all(isinstance(c, time) or _is_clock(c) for c in cells):
        found, dated = ("time of day",), True
    elif dated and not {"date", "time of day"} & set(found):
        found = ("date",)
    elif not found and _numeric(table, column):
        found = _by_unit(name, unit)
    elif not dated and "date" in found and unit.lower() not in DIGITS and _numeric(table, column):
        found = (*(one for one in found if one != "date"), "time")
    return _Look(column, name, unit, found, _numeric(table, column), dated, not cells)


def _by_unit(name: str, unit: str) -> tuple[str, ...]:
    """Return what a column of figures may be of which the unit alone is known."""
    plain = _PLAIN_UNITS.get(unit.lower(), unit)
    if not plain or plain == "%":
        return ()
    if _converts(plain, "degC"):
        return ("temperature",)
    quantity = _quantity(unit, name.lower())
    return () if quantity in (UNKNOWN, "methane") else (quantity,)


def _with_names(
    table: FoundTable, looks: Sequence[_Look], known_jars: Sequence[str]
) -> list[_Look]:
    """Return columns of which those of words are named by their place where no word is known.

    A table of masses or solids is known by its figures, whatever its owner calls his jars and
    feeds: its first column of words names the rows, the next says what is in them. A column that
    holds the names of known jars is the jars'.
    """
    told = {name for look in looks if look.numeric for name in look.meanings}
    dated = any(look.dated for look in looks)
    days = sum(bool(_A_DAY.fullmatch(look.name)) for look in looks) > 1
    known = {bare(name) for name in known_jars}
    wanted: list[str] = []
    if {"inoculum", "sample"} & told and not dated:
        wanted = ["jar", "material"]
    elif ({"TS", "VS"} & told and not dated) or days:
        wanted = ["material"]
    elif dated or "time" in told:
        return _with_jars(table, looks)
    found = {name for look in looks if not look.numeric for name in look.meanings}
    wanted = [name for name in wanted if name not in found]
    if wanted == ["material"] and "jar" in found and not (days or "material" not in found):
        wanted = []
    named = []
    for look in looks:
        cells = [bare(_as_name(cell)) for cell in table.cells(look.column) if not is_missing(cell)]
        words = not (look.numeric or look.dated or look.empty)
        if not look.meanings and known and cells and all(cell in known for cell in cells):
            named.append(replace(look, meanings=("jar",)))
        elif words and not look.meanings and wanted:
            named.append(replace(look, meanings=(wanted.pop(0),)))
        else:
            named.append(look)
    return named


def _with_jars(table: FoundTable, looks: Sequence[_Look]) -> list[_Look]:
    """Return the columns of readings, the first of names that come back being that of the jars."""
    named = any("jar" in look.meanings for look in looks)
    for place, look in enumerate(looks):
        cells = [cell for cell in table.cells(look.column) if not is_missing(cell)]
        words = not (look.numeric or look.dated or look.empty or "note" in look.meanings)
        again = 2 <= len({*map(str, cells)}) <= len(table.rows) // 2
        if words and again and not named and len(cells) == len(table.rows):
            return [*looks[:place], replace(look, meanings=("jar",)), *looks[place + 1 :]]
    return list(looks)


def _as_name(cell: Cell) -> str:
    return str(int(cell)) if isinstance(cell, float) and cell.is_integer() else str(cell)


def _is_date(cell: object) -> bool:
    if not isinstance(cell, str) or len(cell) < 6:
        return False
    for order in orders_possible([cell]):
        with suppress(Unreadable):
            return as_moment(cell, order) is not None
    return False


def _is_clock(cell: object) -> bool:
    """Tell whether a text is a time of day: `8:30 AM`."""
    if not isinstance(cell, str) or ":" not in cell:
        return False
    with suppress(Unreadable):
        return time_of_day(cell) is not None
    return False


def _named_by_unit(table: FoundTable, unit: str) -> str:
    """Return what a column whose header is a unit alone may be called."""
    plain = _PLAIN_UNITS.get(unit.lower(), unit)
    for name in ("time", "temperature"):
        target = UNITS[name]
        if target is not None and plain != "%" and _converts(plain, target):
            return name
    quantity = _quantity(unit, f"{table.grid.title} {_above(table)}".lower())
    return "" if quantity == UNKNOWN else quantity


def _numeric(table: FoundTable, column: FoundColumn) -> bool:
    """Tell whether most cells of a column can be read as numbers."""
    cells = [cell for cell in table.cells(column) if not is_missing(cell)]
    comma = decimal_comma(cells, table.grid.semicolons)
    good = 0
    for cell in cells:
        with suppress(Unreadable):
            good += figure(cell, comma) is not None
    return bool(cells) and 2 * good > len(cells)


_A_DAY = re.compile(r"(?:day|tag|jour|d|week|d[ií]a|dzień)\s*\d+(?:[.,]\d+)?", re.IGNORECASE)
# What the header of a jar's column may seem to be: jars are called by what is in them.
_OF_A_JAR = {"jar", "material", "inoculum", "sample", "water", "TS", "VS", "role", "gauge before"}


def _jar_columns(
    table: FoundTable, looks: Sequence[_Look], jars: Sequence[str], materials: Sequence[str]
) -> dict[FoundColumn, OneColumn]:
    """Return the columns that are named for a jar, or for a material, with what they hold."""
    known = {bare(name): name for name in jars}
    kinds = {name.lower(): name for name in materials}
    shared = _words_before(looks, known)
    named: dict[FoundColumn, OneColumn] = {}
    for look in looks:
        own = own_name(look.name)
        if look.dated or not own or TOTALS.search(own) or _A_DAY.fullmatch(own):
            continue
        if not (look.numeric or look.empty):
            continue
        if own.rpartition(" ")[0] in shared:
            own = own.rpartition(" ")[2]
        values = _values(table.cells(look.column), table.grid.semicolons)
        quantity = own_quantity(look.column.header, look.unit, values)
        found = known_as(own, known, kinds)
        if found is None and look.numeric and (not known or not set(look.meanings) - {"jar"}):
            found = OneColumn(own) if names_a_jar(own) else None
        if found is not None and found.of_material and quantity not in ("", METHANE):
            continue
        if found is not None:
            named[look.column] = found if found.of_material else OneColumn(found.name, quantity)
    if len(named) < 2 and not known:
        named |= _named_otherwise(looks, named)
    return named


def _words_before(looks: Sequence[_Look], known: Mapping[str, str]) -> set[str]:
    """Return what stands before the names of two known jars or more: `cyl.` of `cyl. 1`."""
    parted = [own_name(look.name).rpartition(" ") for look in looks if look.numeric]
    before = [words for words, _, last in parted if words and bare(last) in known]
    return {words for words in before if before.count(words) > 1}


def _named_otherwise(
    looks: Sequence[_Look], named: Mapping[FoundColumn, OneColumn]
) -> dict[FoundColumn, OneColumn]:
    """Return columns of figures of one unit that are called by nothing that is measured."""
    alike = [
        look for look in looks
        if look.numeric and look.column not in named and not set(look.meanings) - _OF_A_JAR
        and own_name(look.name) and not TOTALS.search(look.name)
        and not _A_DAY.fullmatch(look.name)
    ]  # fmt: skip
    if len(alike) < 3 or len({look.unit for look in alike}) > 1:
        return {}
    return {look.column: OneColumn(own_name(look.name)) for look in alike}


def _kind(looks: Sequence[_Look], jar_columns: Mapping[FoundColumn, OneColumn]) -> str:
    def has(*names: str, numeric: bool | None = None) -> bool:
        return any(
            names_of & set(names) and (numeric is None or look.numeric == numeric)
            for look in looks
            for names_of in (set(look.meanings),)
            if look.column not in jar_columns
        )

    timed = any(look.dated for look in looks) or has("date", "time", "time of day")
    jar = has("jar")
    if timed and not jar and len(jar_columns) >= 2:
        return "readings, a column a jar"
    days = [look for look in looks if _A_DAY.fullmatch(look.name) or _header_date(look.column)]
    if jar and len(days) >= 2 and not has(*QUANTITIES, numeric=True):
        return "readings, a column a day"
    if timed and has(*QUANTITIES, numeric=True):
        # without a jar's name all rows are of one: a sheet for each jar
        return "readings"
    if jar and not timed and (has("inoculum", "sample", "headspace") or has("material")):
        return "jars"
    if has("methane", numeric=True) and (jar or has("material", numeric=False)):
        others = ("TS", "VS", "role")
        return "methane shares" if timed or not has(*others) else "materials"
    if has("material", numeric=False) and has("TS", "VS", "role") and not timed:
        return "materials"
    return NOT_USED


def _header_date(column: FoundColumn) -> bool:
    return _is_date(column.header)


def _columns(
    table: FoundTable,
    looks: Sequence[_Look],
    kind: str,
    jar_columns: Mapping[FoundColumn, OneColumn],
) -> tuple[Proposal, ...]:
    """Return a proposal a column; what is named exactly comes before what only holds the word."""
    allowed = KINDS[kind]
    taken: dict[str, FoundColumn] = {}
    for whole in (True, False):
        for look in looks:
            if look.column in taken.values() or look.column in jar_columns or look.empty:
                continue
            if (len(look.meanings) > 0 and _whole(look)) is whole:
                meaning = next(
                    (m for m in look.meanings if m in allowed and m not in taken
                     and _suits(m, look)), None,
                )  # fmt: skip
                if meaning is not None:
                    taken[meaning] = look.column
    _swap_before_for_single(taken)
    of = {column: meaning for meaning, column in taken.items()}
    proposals = []
    for look in looks:
        if look.column in jar_columns:
            proposals.append(_one_column(table, look, jar_columns[look.column]))
        else:
            volume = "volume" in taken and "ambient" not in taken
            proposals.append(_proposal(table, look, of.get(look.column, NOT_USED), volume))
    return tuple(proposals)


def _one_column(table: FoundTable, look: _Look, one: OneColumn) -> Proposal:
    """Return what a column of one jar or material may be."""
    if one.quantity == OTHER:
        return Proposal(look.column, NOT_USED)
    meaning = "a material" if one.of_material else "a jar"
    unit, why = "", ""
    if one.quantity in (METHANE, TEMPERATURE):
        written = "%" if look.unit.startswith("%") else look.unit
        cells = table.cells(look.column)
        unit, why = unit_proposed(one.quantity, written, cells, table.grid.semicolons)
    return Proposal(look.column, meaning, unit, one.name, one.quantity, why)


def _whole(look: _Look) -> bool:
    """Tell whether the header is the name itself, not a longer text that holds it."""
    return len(look.name.split()) <= 3 and bool(look.meanings)


def _suits(meaning: str, look: _Look) -> bool:
    """Tell whether the cells and the unit of a column fit a meaning."""
    if meaning in ("date", "time of day"):
        return look.dated or look.unit.lower() in (*DIGITS, "hhmm", "hh:mm") or not look.empty
    if meaning in _TEXTS:
        return meaning in ("jar", "trial of", "note") or not look.numeric
    if not look.numeric:
        return False
    unit = UNITS.get(meaning)
    if unit is None or not look.unit:
        return True
    weighed = meaning == "volume" and _PLAIN_UNITS.get(look.unit, look.unit) in _WATER_WEIGHED
    return weighed or _written(meaning, look.unit) != UNKNOWN or _converts(look.unit, unit)


# Units of mass in which displaced water is weighed: what they measure only a person knows.
_WATER_WEIGHED = ("oz", "g", "kg")


def _swap_before_for_single(taken: dict[str, FoundColumn]) -> None:
    """Weighed before and after is two columns; one of them alone is the jar's mass."""
    if "mass" in taken and "mass after" in taken and "mass before" not in taken:
        taken["mass before"] = taken.pop("mass")


def _converts(unit: str, target: str) -> bool:
    try:
        conversion(unit, target)
    except UnknownUnit:
        return False
    return True


def _is_air(unit: str, values: Sequence[float]) -> bool:
    """Tell whether pressures are those of the air: near to each other, none far from 1 bar."""
    if unit == UNKNOWN or not values:
        return False
    factor = conversion(unit, "kPa").factor
    low, high = factor * min(values), factor * max(values)
    return low >= 70.0 and high <= 108.0 and high < 1.06 * low


def _proposal(
    table: FoundTable, look: _Look, meaning: str, beside_volume: bool = False
) -> Proposal:
    if meaning == "date":
        unit, why = _order(table, look)
        return Proposal(look.column, meaning, unit, why=why)
    if UNITS.get(meaning) is None:
        return Proposal(look.column, meaning)
    cells = table.cells(look.column)
    written = look.unit or (_TIME_WORDS.get(look.name.lower(), "") if meaning == "time" else "")
    unit, why = unit_proposed(meaning, written, cells, table.grid.semicolons)
    values = _values(cells, table.grid.semicolons)
    if meaning == "gauge before" and _is_air(unit, values) and beside_volume:
        return Proposal(look.column, "ambient", unit=unit, why="figures of the air outside")
    if meaning.startswith("gauge"):
        about = f"{look.column.header} {look.unit}"
        meaning, said = _counted_from(meaning, about, unit, _values(cells, table.grid.semicolons))
        why = "; ".join(filter(None, (why, said)))
    return Proposal(look.column, meaning, unit=unit, why=why)


_TIME_WORDS: Mapping[str, str] = {
    **dict.fromkeys(("day", "days", "d", "tag", "tage", "jour", "jours", "día", "dia", "días",
                     "giorni", "dzień", "doba", "dni", "dagen", "day of trial", "versuchstag"),
                    "d"),
    **dict.fromkeys(("hour", "hours", "stunde", "stunden", "heures", "h"), "h"),
}  # fmt: skip


def _order(table: FoundTable, look: _Look) -> tuple[str, str]:
    digits = re.sub(r"\W", "", look.unit.lower())
    cells = table.cells(look.column)
    if digits in DIGITS:
        parted = any(isinstance(cell, str) and re.search(r"\d[-/.]\d", cell) for cell in cells)
        return (dict(zip(DIGITS, ORDERS, strict=True))[digits] if parted else digits), ""
    if all(isinstance(cell, date | datetime) for cell in cells if not is_missing(cell)):
        return "", ""
    orders = orders_possible(cells)
    if len(orders) == 1:
        told = any(isinstance(cell, str) for cell in cells)
        return orders[0], "the whole column fits no other order" if told else ""
    return UNKNOWN, "3/4 can be March or April: " + _both_ways(cells)


def _both_ways(cells: Sequence[Cell]) -> str:
    texts = [cell for cell in cells if isinstance(cell, str) and not is_missing(cell)]
    said = []
    for order in ("day first", "month first"):
        ends = [as_moment(cell, order) for cell in (texts[0], texts[-1])]
        said.append(f"{order} gives {ends[0]:%d %b %Y} to {ends[1]:%d %b %Y}")
    return "; ".join(said)


def _counted_from(meaning: str, about: str, unit: str, values: Sequence[float]) -> tuple[str, str]:
    """Return whether a pressure counts from the air outside or from nothing, and why."""
    if re.search(r"\babs|psia|psi a\b|bar ?a\b", about.lower()):
        return meaning.replace("gauge", "absolute"), ""
    if re.search(r"gauge|psig|psi g\b|bar ?g\b|über|overpress", about.lower()) or not values:
        return meaning, ""
    low, high = min(values), max(values)
    in_kPa = low * conversion(unit, "kPa").factor if unit != UNKNOWN else 101.0
    if in_kPa < 60.0 or low < 0.2 * high:
        return meaning, "an absolute pressure is never that low, so it seems to be gauge"
    return f"gauge or absolute?{meaning.removeprefix('gauge')}", "write gauge … or absolute …"


_PLAIN_UNITS: Mapping[str, str] = {
    "ozs": "oz", "ounce": "oz", "ounces": "oz", "lbs": "lb", "gr": "g", "ccm": "cm³", "cc": "cm³",
    "cm3": "cm³", "tage": "d", "days": "d", "day": "d", "hours": "h", "hrs": "h", "hr": "h",
    "psig": "psi", "psi g": "psi", "psi gauge": "psi", "psia": "psi", "psi a": "psi",
    "psi abs": "psi", "deg f": "°F", "deg c": "°C", "° f": "°F", "° c": "°C", "f": "°F", "c": "°C",
    "cmws": "cmH2O", "cm h2o": "cmH2O", "in h2o": "inH2O", "mole fraction": "fraction",
    "bar g": "bar", "bar a": "bar", "mbar g": "mbar", "mbar a": "mbar", "ml": "mL",
    "inch": "in", "inches": "in", "hpa": "hPa", "kpa": "kPa", "fl oz": "fl oz",
}  # fmt: skip
_OF = re.compile(
    r"(?P<unit>%|g/kg|fraction|g/g)\W*(?:of|der|des|de|i\.? ?d\.?|d\.?|in)?\W*(?P<of>.*)",
    re.IGNORECASE,
)
_FRESH = ("fresh", "fresh mass", "fm", "fresh matter", "wet", "wet mass", "frischmasse", "as is")
_DRY = ("ts", "dm", "tm", "tr", "dry matter", "dry", "total solids", "trockenmasse", "trs", "ms",
        "s.m", "sm", "suchej masy", "m.s", "st", "s.t", "materia seca", "sostanza secca", "ds",
        "droge stof")  # fmt: skip


def _written(meaning: str, unit: str) -> str:
    """Return a unit as the tool writes it, `UNKNOWN` where it does not say all."""
    plain = " ".join(unit.lower().strip("()[] .").split())
    plain = _PLAIN_UNITS.get(plain, _PLAIN_UNITS.get(plain.split(",")[0], unit.strip("()[] ")))
    target = UNITS[meaning]
    if meaning in ("TS", "VS", "VS of inoculum"):
        return _share_unit(meaning, plain)
    if target == "mL" and plain in ("cm", "mm", "in"):
        return f"{plain} on the tube"
    if target == "mL" and plain.removesuffix(" of water") in _WATER_WEIGHED:
        # water that was weighed, or fluid ounces: only a person knows which
        return plain if plain.endswith(" of water") else UNKNOWN
    if meaning == "methane" and plain.startswith("%"):
        return "%"
    known = target is not None and _converts(plain, target)
    return plain if known or plain.endswith("on the tube") else UNKNOWN


def _share_unit(meaning: str, unit: str) -> str:
    match = _OF.fullmatch(unit.replace("percent", "%"))
    if match is None:
        return UNKNOWN
    of = match["of"].lower().strip(" .")
    if of in _FRESH or (meaning == "TS" and not of):
        return f"{match['unit']} of fresh mass"
    if of in _DRY and meaning != "TS":
        return f"{match['unit']} of TS"
    return UNKNOWN


# Figures that a quantity has in jars; outside of them the unit in the header is doubted.
_USUAL: Mapping[str, tuple[float, float, str]] = {
    "gauge before": (3.0, 400.0, "kPa"), "absolute before": (40.0, 500.0, "kPa"),
    "ambient": (50.0, 110.0, "kPa"), "temperature": (-5.0, 70.0, "°C"),
    "methane": (15.0, 100.0, "%"),
    "headspace": (5.0, 50_000.0, "mL"), "jar volume": (20.0, 100_000.0, "mL"),
}  # fmt: skip
_OTHER_UNITS: Mapping[str, tuple[str, ...]] = {
    "kPa": ("kPa", "bar", "mbar", "psi", "inHg", "mmHg"), "°C": ("°C", "°F"), "mL": ("mL", "L"),
    "%": ("%", "fraction"),
}  # fmt: skip


def unit_proposed(
    meaning: str, unit: str, cells: Sequence[Cell], semicolons: bool = False
) -> tuple[str, str]:
    """Return the unit that a column may have, and why; `UNKNOWN` where only a person knows.

    A header is doubted where its figures cannot be: pressures that reach 2.2 under `kPa`.
    """
    values = sorted(abs(value) for value in _values(cells, semicolons))
    written = _written(meaning, unit) if unit else UNKNOWN
    if says_percent(cells):
        written = _written(meaning, unit or "%")
        if written != UNKNOWN:
            return written, "the cells say %"
    span = f"the figures go from {values[0]:.4g} to {values[-1]:.4g}" if values else "no figures"
    fitting = _fitting(meaning, values)
    fits = f"; {' or '.join(fitting)} would fit" if fitting else ""
    if written != UNKNOWN and meaning in _USUAL and _out_of_range(meaning, written, values):
        return UNKNOWN, f"the header says {unit}, yet {span}{fits}"
    if written != UNKNOWN:
        return written, ""
    if unit and meaning in MUST_SAY_OF:
        return UNKNOWN, f"“{unit}” of what? write % of fresh mass, or % of TS"
    if unit and UNITS[meaning] == "mL" and not _converts(unit, "mL"):
        return UNKNOWN, _VOLUME_WORDS.format(unit=unit)
    return UNKNOWN, f"{span}{fits}"


_VOLUME_WORDS = (
    "“{unit}” is no volume: write fl oz, oz of water, g of water, cm on the tube or in on the tube"
)


def _own(meaning: str) -> str:
    return {"°C": "degC", "%": "%"}.get(_USUAL[meaning][2], _USUAL[meaning][2])


def _values(cells: Sequence[Cell], semicolons: bool) -> list[float]:
    comma = decimal_comma(cells, semicolons)
    values = []
    for cell in cells:
        try:
            value = figure(cell, comma)
        except Unreadable:
            continue
        if value is not None:
            values.append(value)
    return values


def _out_of_range(meaning: str, unit: str, values: Sequence[float]) -> bool:
    low, high, _ = _USUAL[meaning]
    if not values or not values[-1]:
        return False
    rule = conversion(unit, _own(meaning))
    top = values[-1] * rule.factor + rule.offset
    return not low <= top <= high


def _fitting(meaning: str, values: Sequence[float]) -> list[str]:
    """Return the units in which the figures would be usual ones."""
    if meaning not in _USUAL or not values:
        return []
    units = _OTHER_UNITS[_USUAL[meaning][2]]
    return [unit for unit in units if not _out_of_range(meaning, unit, values)]


def _held(table: FoundTable, columns: Sequence[Proposal]) -> tuple[str, str]:
    """Return what the columns of jars hold, as a header would have it, and why."""
    own = [one for one in columns if one.jar and one.quantity in ("", AFTER)]
    headers = " ".join(one.column.header for one in own[:2])
    title = title_of(table.grid)
    units = [one.column.unit or name_and_unit(one.column.header)[1] for one in own]
    lines = [*texts_above(table), table.grid.title, title]
    unit = next(filter(None, [*units, *map(_unit_in, lines)]), "")
    about = f"{headers} {table.grid.title} {_above(table) or title}"
    quantity = _quantity(unit, about.lower())
    cells = [cell for one in own if one.quantity != AFTER for cell in table.cells(one.column)]
    if quantity == UNKNOWN:
        return UNKNOWN, "write volume, gauge before, absolute before or mass, with its unit: " + (
            "volume [mL]"
        )
    written, why = unit_proposed(quantity, unit, cells, table.grid.semicolons)
    if quantity.startswith("gauge"):
        values = _values(cells, table.grid.semicolons)
        quantity, said = _counted_from(quantity, f"{about} {unit}", written, values)
        why = "; ".join(filter(None, (why, said)))
    return f"{quantity} [{written}]", why


def _quantity(unit: str, about: str) -> str:
    """Return the quantity that a unit and the words about the table speak of."""
    plain = _PLAIN_UNITS.get(unit.lower(), unit)
    # a title such as “readings” says nothing of what was read
    words = meanings(" ".join(w for w in re.findall(r"[^\W\d_]+\d?", about) if w[:7] != "reading"))
    if plain and _converts(plain, "kPa"):
        return "absolute before" if re.search(r"abs|psia", f"{unit} {about}".lower()) else (
            "gauge before")  # fmt: skip
    if plain and (_converts(plain, "mL") or plain in ("cm", "mm", "in")):
        return "volume"
    if plain and _converts(plain, "g"):
        return "volume" if {"volume", "water"} & set(words) else "mass"
    if plain.startswith("%") or "fraction" in plain:
        return "methane" if "methane" in words else UNKNOWN
    for name in ("absolute before", "gauge before", "volume", "mass", "methane"):
        if name in words:
            return name
    return UNKNOWN


_UNIT_IN_A_LINE = re.compile(
    r"\b(ml|kpa|hpa|mbar|bar|psi[ag]?|inhg|in hg|mmhg|cm3|cm³|ounces|grams)\b|"
    r"\bin (l|cm|mm|g|kg|oz|inches)\b|(%)",
    re.IGNORECASE,
)


def _unit_in(text: str) -> str:
    """Return the unit that a line of text names: `Gas in ml since last week`."""
    unit = name_and_unit(text)[1]
    match = None if unit else _UNIT_IN_A_LINE.search(text)
    return unit if match is None else next(filter(None, match.groups()))


def texts_above(table: FoundTable) -> list[str]:
    """Return the texts that stand alone above a table, the nearest first, at most three."""
    texts: list[str] = []
    for row in reversed(table.grid.rows[: table.top_row - 1]):
        filled = [cell for cell in row if cell is not None]
        if len(filled) > 3 or len(texts) == 3:
            break
        texts += [str(cell) for cell in filled if len(filled) == 1]
    return texts


def _above(table: FoundTable) -> str:
    return " ".join(texts_above(table))


def _days_across(table: FoundTable, looks: Sequence[_Look], kind: str) -> TableProposal:
    columns = []
    jar = next(look for look in looks if "jar" in look.meanings)
    for look in looks:
        if look is jar:
            columns.append(Proposal(look.column, "jar"))
        elif match := re.fullmatch(r"\D*(\d+(?:[.,]\d+)?)", look.name):
            day = match[1].replace(",", ".")
            columns.append(Proposal(look.column, "a day", unit=f"day {day}"))
        elif _header_date(look.column):
            orders = orders_possible([one.column.header for one in looks if one.dated or
                                      _header_date(one.column)])  # fmt: skip
            columns.append(Proposal(look.column, "a day", unit=orders[0] if len(orders) == 1
                                    else UNKNOWN))  # fmt: skip
        elif not look.numeric and (words := {"group", "material", "note"} & set(look.meanings)):
            taken = {one.meaning for one in columns}
            own = next((m for m in ("material", "group", "note") if m in words - taken), NOT_USED)
            columns.append(Proposal(look.column, own))
        else:
            columns.append(Proposal(look.column, NOT_USED))
    cells = [c for one in columns if one.meaning == "a day" for c in table.cells(one.column)]
    about = f"{table.grid.title} {_above(table)}"
    unit = next(filter(None, map(_unit_in, [*texts_above(table), table.grid.title])), "")
    quantity = _quantity(unit, about.lower())
    if quantity == UNKNOWN:
        return TableProposal(table, kind, tuple(columns), UNKNOWN, "such as volume [mL]")
    written, why = unit_proposed(quantity, unit, cells, table.grid.semicolons)
    return TableProposal(table, kind, tuple(columns), f"{quantity} [{written}]", why)
