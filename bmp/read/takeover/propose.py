"""The list of everything that is asked of a person about a sheet, with what is proposed."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from itertools import pairwise
from math import pi

from bmp.problem import Problem
from bmp.read.cells import Unreadable
from bmp.read.setup import CHOICES, flush_gas
from bmp.read.takeover.answers import (
    UNKNOWN,
    Answers,
    AnswerSection,
    Line,
    answers_of,
    canonical,
    quoted,
)
from bmp.read.takeover.build import (
    CENTIMETRE,
    FALLS,
    GAPS,
    INCH,
    JARS,
    LATER,
    LEFT_OUT,
    MATERIALS,
    TRIAL,
    WAYS,
    WHOLE,
    Build,
    Reading,
    Record,
    gaps_of,
    jars_of,
    materials_of,
    order_of,
    readings_of,
)
from bmp.read.takeover.columns import QUANTITIES, TableProposal, propose_table, texts_above
from bmp.read.takeover.figures import as_moment, orders_possible
from bmp.read.takeover.find import Fact, FoundTable, find_facts, find_tables, title_of
from bmp.read.takeover.grid import Grid
from bmp.read.takeover.jar_columns import names_a_jar, only_a_jar
from bmp.read.takeover.mapping import (
    Mapped,
    as_words,
    map_tables,
    section_title,
    sheet_section,
    table_section,
)
from bmp.read.takeover.vocabulary import is_missing, name_and_unit
from bmp.shown_units import US, shown_units
from bmp.trial import WAYS_OF_MEASURING
from bmp.units import UnknownUnit, conversion

ROLES = ("inoculum", "substrate", "control", "weight check")


@dataclass(frozen=True)
class SheetQuestions:
    """Everything that is asked about a sheet, with proposals or a person's answers."""

    sections: tuple[AnswerSection, ...]
    answers: Answers
    """The answers as far as there are any, under the names of this version of the sheet."""
    mapped: tuple[Mapped, ...]
    problems: tuple[Problem, ...]
    new: tuple[tuple[str, Line], ...] = ()
    """Questions, with their section, that the given answers do not know: the sheet has changed, or
    an answer has led to them."""
    taken_from: str = ""
    """File of the answers that are proposed, where they are of a sheet with the same headers."""

    @property
    def open_lines(self) -> list[tuple[str, Line]]:
        """Return the questions that wait for an answer, with their section."""
        return [(s.title, line) for s in self.sections for line in s.lines if line.open]


def draft(grids: Sequence[Grid], title: str, given: Answers | None, file: str) -> SheetQuestions:
    """Return what is asked about a sheet.

    Parameters
    ----------
    grids
        The sheets of a workbook, or the files of a folder.
    title
        What the trial is called where the sheet has no title line.
    given
        What a person answered before, perhaps about an earlier version of the sheet.
    file
        Name of the file of answers, for messages.
    """
    found = {grid.name: find_tables(grid) for grid in grids}
    tables = [table for one in found.values() for table in one]
    facts = [fact for grid in grids for fact in find_facts(grid, found[grid.name])]
    proposals = _proposals(tables)
    old = None if given is None else _renamed(given, proposals)
    sections = [_with_answers(sheet_section(proposals), old)]
    sections += [_with_answers(_table_section(one, proposals), old) for one in proposals]
    problems: list[Problem] = []
    answers = _together(sections, old)
    mapped = map_tables(proposals, answers, file, problems)
    sections = _with_unreadable(sections, mapped, answers, file, old)
    about: list[AnswerSection] = []
    for ask in (_jar_lines, _material_lines, _trial_lines):
        sheet = Build(_together([*sections, *about], old), file, [], drafting=True)
        asked = _with_answers(ask(mapped, facts, sheet, title, grids), old)
        about.insert(0, _with_said(asked, old))
    sections += about
    kept = tuple(section for section in sections if section.lines)
    new = tuple(
        (section.title, line)
        for section in kept
        for line in section.lines
        if old is not None and old.get(section.title, line.key) is None
    )
    return SheetQuestions(kept, _together(sections, old), mapped, tuple(problems), new)


def _with_unreadable(
    sections: Sequence[AnswerSection],
    mapped: Sequence[Mapped],
    answers: Answers,
    file: str,
    old: Answers | None,
) -> list[AnswerSection]:
    """Ask about every cell that does not hold what its column does."""
    sheet = Build(answers_of(sections, False), file, [], drafting=True)
    readings_of(mapped, jars_of(mapped, sheet), sheet)
    materials_of(mapped, {}, sheet)
    asked: dict[str, list[Line]] = {}
    for (section, key), wanted in sheet.unreadable.items():
        remark = f"cannot be read: {wanted}; “not known” counts as empty"
        asked.setdefault(section, []).append(Line(key, UNKNOWN, remark))
    return [
        _with_answers(replace(one, lines=(*one.lines, *asked.get(one.title, ()))), old)
        for one in sections
    ]


def _proposals(tables: Sequence[FoundTable]) -> list[TableProposal]:
    """Return a proposal a table; columns of jars are known once a table names the jars."""
    first = [propose_table(table, ()) for table in tables]
    jars = _named_in(first, "jars", "jar")
    materials = _named_in(first, "jars", "material") + _named_in(first, "materials", "material")
    if not jars and not materials:
        return first
    return [propose_table(table, jars, materials) for table in tables]


def _named_in(proposals: Sequence[TableProposal], kind: str, meaning: str) -> list[str]:
    """Return the names in the columns of that meaning of all tables of a kind."""
    return [
        as_words(cell)
        for one in proposals
        if one.kind == kind and (column := one.of(meaning)) is not None
        for cell in one.table.cells(column.column)
        if not is_missing(cell)
    ]


def _table_section(proposal: TableProposal, others: Sequence[TableProposal]) -> AnswerSection:
    section = table_section(proposal)
    if _of_one_jar(proposal):
        line = Line(WHOLE, _jar_of(proposal, others) or UNKNOWN, "no column names the jar")
        section = replace(section, lines=(*section.lines, line))
    return section


def _of_one_jar(proposal: TableProposal) -> bool:
    return proposal.kind == "readings" and proposal.of("jar") is None


def _jar_of(proposal: TableProposal, others: Sequence[TableProposal]) -> str:
    """Return the jar whose readings a table without a column of jars holds.

    It stands over the table, in the line above it, or is the sheet's name where a sheet has one
    table; empty: several tables on a sheet, and nothing names their jars.
    """
    table = proposal.table
    for text in (table.above, *texts_above(table)[:1]):
        head = text.partition(":")[0].strip()
        if head and names_a_jar(head):
            return head
    alike = [one for one in others if _of_one_jar(one) and one.table.grid is table.grid]
    return table.grid.title if len(alike) == 1 else ""


# ---------------------------------------------------------------- answers of before


def _renamed(given: Answers, proposals: Sequence[TableProposal]) -> Answers:
    """Return answers under the names of this version's tables: rows may have moved."""
    sections = dict(given.sections)
    lines = dict(given.line_numbers)
    renamed: dict[str, Mapping[str, str]] = {}
    tables = {t: keys for t, keys in sections.items() if t.startswith("table in ")}
    for one in proposals:
        title = section_title(one.table)
        own = {f"column {quoted(p.column.key)}" for p in one.columns}
        best = max(tables, key=lambda t: _alike(t, tables[t], title, own), default=None)
        if best is not None and _alike(best, tables[best], title, own) > 0:
            renamed[title] = tables.pop(best)
            for key in renamed[title]:
                if (best, key) in lines:
                    lines[title, key] = lines[best, key]
    others = {t: keys for t, keys in sections.items() if not t.startswith("table in ")}
    return Answers(given.confirmed, {**others, **renamed}, lines)


def _alike(old: str, keys: Iterable[str], new: str, own: set[str]) -> float:
    """Return how much an earlier table is this one: shared columns, the same sheet before all."""
    columns = {key for key in keys if key.startswith("column ")}
    shared = len(columns & own)
    if 2 * shared < len(own):
        return 0.0
    return shared + (0.5 if old.rpartition(", row")[0] == new.rpartition(", row")[0] else 0.0)


def _with_answers(section: AnswerSection, given: Answers | None) -> AnswerSection:
    if given is None:
        return section
    lines = tuple(
        line if (value := given.get(section.title, line.key)) is None
        else replace(line, value=value)
        for line in section.lines
    )  # fmt: skip
    return replace(section, lines=lines)


def _with_said(section: AnswerSection, given: Answers | None) -> AnswerSection:
    """Return a section with what a person has said on its subject and is not asked any more."""
    if given is None:
        return section
    keys = {canonical(line.key) for line in section.lines}
    said = tuple(
        Line(key, value, choices=ROLES if key.startswith("role of ") else ())
        for key, value in given.sections.get(section.title, {}).items()
        if key not in keys and UNKNOWN not in value
    )
    return replace(section, lines=(*section.lines, *said))


def _together(sections: Sequence[AnswerSection], given: Answers | None) -> Answers:
    """Return proposals and answers as one, what a person wrote of his own accord included."""
    own = answers_of(sections, given is not None and given.confirmed)
    if given is None:
        return own
    merged = {
        title: {**own.sections.get(title, {}), **given.sections.get(title, {})}
        for title in {**own.sections, **given.sections}
    }
    return Answers(given.confirmed, merged, given.line_numbers)


# ---------------------------------------------------------------- the jars


def _jar_lines(
    mapped: Sequence[Mapped], facts: Sequence[Fact], sheet: Build, title: str, grids: Sequence[Grid]
) -> AnswerSection:
    jars = jars_of(mapped, sheet)
    lines: list[Line] = []
    tabs = _facts_of_jars(mapped, facts, sheet)
    kinds = {*materials_of(mapped, jars, sheet)}
    # a mass that no sheet of a jar tells is asked of all jars at once
    by_jar = [
        mass for mass in _MASSES if any(_fact(own, _MASSES[mass], "g") for own in tabs.values())
    ]
    for name, jar in jars.items():
        if name in tabs:
            lines += _lines_of_tab(name, jar, tabs[name], kinds, by_jar)
        elif "material" not in jar:
            lines.append(Line(f"material of {quoted(name)}", _by_name(name), "what was weighed in; "
                              "for a jar with inoculum alone: the inoculum's name"))  # fmt: skip
    for mass, remark in _OF_EVERY_JAR.items():
        told = mass in by_jar or any(f"{mass} [g]" in jar for jar in jars.values())
        if jars and not told:
            lines.append(_mass_line("every jar", mass, facts, remark))
    pressure = _quantities(mapped) & {"gauge before", "absolute before"}
    if jars and not any("headspace [mL]" in jar for jar in jars.values()):
        volume = _fact(facts, r"(bottle|jar|flask|vessel).*(vol|size|hold|capac)|flaschenvol", "mL")
        remark = "inner volume of an empty jar: its contents are subtracted at 1 g/mL"
        if volume is None and not pressure:
            volume = "not known"
            remark += "; without it no flush gas is balanced"
        key = "jar volume of every jar [mL]"
        lines.append(Line(key, volume or UNKNOWN, remark))
    return AnswerSection(JARS, tuple(lines), "what no column says of the jars")


_MASSES = {
    "inoculum": r"inoc|sludge|seed|impf|osad|zaszczep|lodo|boue",
    "sample": r"sample|feed|\bfed\b|amount|einwaage|próbk|muestra|wsad",
}
_OF_EVERY_JAR = {
    "inoculum": "the inoculum in each jar",
    "sample": "fresh feed in each jar; a blank has none",
}
_IN_THE_JAR = re.compile(
    r"(?:feed|fed with|material|contents?|what\b.*|in it|substrate?|inhalt|füllung|stoff|"
    r"zawartość|contenido|contenu|wsad)\s*",
    re.IGNORECASE,
)


def _mass_line(whose: str, name: str, facts: Sequence[Fact], remark: str) -> Line:
    return Line(f"{name} of {whose} [g]", _fact(facts, _MASSES[name], "g") or UNKNOWN, remark)


def _by_name(jar: str) -> str:
    """Return what may be in a jar by its name: `straw 2` holds straw."""
    proposed = re.sub(r"[\s\-_#.]*\d+[a-z]?$", "", jar, flags=re.IGNORECASE)
    return proposed if len(proposed) > 1 and not only_a_jar(proposed) else UNKNOWN


def _facts_of_jars(
    mapped: Sequence[Mapped], facts: Sequence[Fact], sheet: Build
) -> dict[str, list[Fact]]:
    """Return what stands above the readings of jars that have a sheet each, by jar."""
    tabs = {}
    for one in mapped:
        jar = sheet.answers.get(one.section, WHOLE)
        if one.kind == "readings" and jar and one.column("jar") is None:
            tabs[jar] = _facts_above(one.table, mapped, facts)
        elif one.kind.endswith("a column a jar"):
            for jar, own in _facts_over_columns(one).items():
                tabs.setdefault(jar, []).extend(own)
    return tabs if len(tabs) > 1 else {}


def _facts_over_columns(one: Mapped) -> dict[str, list[Fact]]:
    """Return what stands in lines above the columns of jars, by jar: masses, what is in them."""
    columns = [(c.index, m.jar) for c, m in one.columns if m.name == "a jar" and not m.quantity]
    found: dict[str, list[Fact]] = {}
    for number, row in enumerate(one.table.grid.rows[: one.table.top_row - 1], 1):
        label = next((as_words(cell) for cell in row[: columns[0][0]] if cell is not None), "")
        filled = [index for index, _ in columns if row[index] is not None]
        if not label or len(filled) < 2:
            continue
        for index, jar in columns:
            cell = "-" if row[index] is None else row[index]
            place = f"{one.table.grid.name}, row {number}"
            found.setdefault(jar, []).append(Fact(label, cell, place))
    return found


def _facts_above(table: FoundTable, mapped: Sequence[Mapped], facts: Sequence[Fact]) -> list[Fact]:
    """Return what is said on the sheet of a table, or between the table before it and its own."""
    place = f"{table.grid.name}, row "
    own = [(int(f.place.removeprefix(place)), f) for f in facts if f.place.startswith(place)]
    ends = [
        other.table.rows[-1] + 1 for other in mapped
        if other.table.grid is table.grid and other.table.rows[-1] < table.header_row - 1
    ]  # fmt: skip
    alone = sum(other.table.grid is table.grid for other in mapped) == 1
    first = max(ends, default=0)
    return [fact for row, fact in own if alone or first < row <= table.header_row]


def _lines_of_tab(
    name: str,
    jar: Record,
    facts: Sequence[Fact],
    materials: Iterable[str],
    masses: Sequence[str],
) -> Iterable[Line]:
    """Yield what is asked of a jar with a sheet of its own, with what stands on it."""
    whose = quoted(name)
    if "material" not in jar:
        told = [f for f in facts if f.label == name or _IN_THE_JAR.fullmatch(f.label)]
        said = as_words(told[0].value) if told else ""
        words = said.lower()
        alike = [m for m in materials if m.lower() == words] or [
            m for m in materials if m.lower() in words or m.lower().split()[0] in words.split()
        ]
        known = alike[0] if len(alike) == 1 else said if said and not materials else UNKNOWN
        known = known if said else _by_name(name)
        remark = f"the sheet says “{said}”" if said else "what was weighed in"
        yield Line(f"material of {whose}", known, f"{remark}; with inoculum alone: its name")
    for mass in masses:
        if f"{mass} [g]" not in jar:
            line = _mass_line(whose, mass, facts, "")
            none = any(
                is_missing(f.value) and re.search(_MASSES[mass], f.label, re.IGNORECASE)
                for f in facts
            )
            yield replace(line, value="not known") if none and line.open else line


def _quantities(mapped: Sequence[Mapped]) -> set[str]:
    """Return which quantities the readings of a sheet hold."""
    names = set()
    for one in mapped:
        if one.kind.startswith("readings"):
            names |= {meaning.quantity or meaning.name for _, meaning in one.columns}
            names |= {one.held.name} if one.held is not None else set()
    # masses of a table of readings, never of the jars
    return names & set(QUANTITIES)


# ---------------------------------------------------------------- the materials


def _material_lines(
    mapped: Sequence[Mapped], facts: Sequence[Fact], sheet: Build, title: str, grids: Sequence[Grid]
) -> AnswerSection:
    jars = jars_of(mapped, sheet)
    materials = materials_of(mapped, jars, sheet)
    roles = {name: _role(name, record, jars) for name, record in materials.items()}
    if materials and "inoculum" not in roles.values():
        materials["inoculum"], roles["inoculum"] = {}, "inoculum"
    lines = []
    for name, record in materials.items():
        if "role" not in record or roles[name] != as_words(record["role"][0]):
            lines.append(Line(f"role of {quoted(name)}", roles[name], choices=ROLES))
    for name, record in materials.items():
        if "VS [fraction of fresh mass]" not in record and roles[name] != "weight check":
            if "VS [fraction of TS]" in record:
                key = f"TS of {quoted(name)} [% of fresh mass]"
                lines.append(Line(key, UNKNOWN, "dry matter; its VS is given per dry matter"))
            elif not (roles[name] == "inoculum" and _inoculum_VS_known(jars)):
                key = f"VS of {quoted(name)} [% of fresh mass]"
                remark = "volatile solids; where not known, yields are per gram of fresh feed"
                lines.append(Line(key, "not known", remark))
    return AnswerSection(MATERIALS, tuple(lines), "what no column says of the materials")


def _inoculum_VS_known(jars: Mapping[str, Record]) -> bool:
    return any("VS of inoculum [fraction]" in jar for jar in jars.values())


_CELLULOSE = re.compile(
    r"cell?ulo[sz]|zell?ulos|control|kontroll|filter ?paper|starch|stärke", re.IGNORECASE
)
_INOCULUM = re.compile(
    r"inoc|inók|inok|seed|sludge|impf|blank|blind|faul|digestate|gärrest|starter|témoin|osad|"
    r"zaszczep|inóculo|blanco|fango",
    re.IGNORECASE,
)


def _role(name: str, record: Record, jars: Mapping[str, Record]) -> str:
    if "role" in record and as_words(record["role"][0]).lower() in ROLES:
        return as_words(record["role"][0]).lower()
    if re.fullmatch(r"water|wasser|dummy|eau|agua", name.strip(), re.IGNORECASE):
        return "weight check"
    own = [j for j in jars.values() if as_words(j.get("material", (None,))[0]) == name]
    unfed = own and all(not j.get("sample [g]", (None,))[0] for j in own)
    fed = any(j.get("sample [g]", (None,))[0] for j in jars.values())
    if _INOCULUM.search(name) or (unfed and fed):
        return "inoculum"
    return "control" if _CELLULOSE.search(name) else "substrate"


# ---------------------------------------------------------------- the trial


def _trial_lines(
    mapped: Sequence[Mapped], facts: Sequence[Fact], sheet: Build, title: str, grids: Sequence[Grid]
) -> AnswerSection:
    jars = jars_of(mapped, sheet)
    materials = materials_of(mapped, jars, sheet)
    readings = readings_of(mapped, jars, sheet)
    held = _quantities(mapped)
    lines = [Line("title", next(filter(None, map(title_of, grids)), title))]
    lines += _measured_lines(held)
    if any(isinstance(reading.at, datetime) for reading in readings):
        lines.append(_started_line(readings, facts))
    if "volume" in held:
        lines += _volume_lines(mapped, readings, facts, grids)
    lines += _gap_lines(readings, held, sheet)
    lines += _air_lines(mapped, readings, facts, held)
    lines += _share_lines(mapped, readings, facts)
    own = [
        record for name, record in materials.items()
        if as_words(record.get("role", ("",))[0]) == "inoculum"
        and any(as_words(j.get("material", ("",))[0]) == name for j in jars.values())
    ]  # fmt: skip
    said = "measured" if own else "none"
    lines.append(Line("blank", said, "measured: jars with inoculum alone", ("measured", "none")))
    if _american(mapped):
        lines.append(Line("show units", "US customary", "next to the SI ones; or: SI"))
    return AnswerSection(TRIAL, tuple(lines), "what holds for the whole trial")


def _american(mapped: Sequence[Mapped]) -> bool:
    """Tell whether the sheet was written by who reads a gauge in psi or a balance in ounces."""
    units = {meaning.unit for one in mapped for _, meaning in one.columns}
    units |= {one.held.unit for one in mapped if one.held is not None}
    return bool(set(US) & {one for unit in units for one in shown_units(unit) or ()})


def _ways(held: set[str]) -> list[str]:
    """Return the ways of measuring that the readings of a sheet allow."""
    return [way for way, names in WAYS.items() if held & set(names) and way != "methane volume"]


def _gap_lines(readings: Sequence[Reading], held: set[str], sheet: Build) -> Iterable[Line]:
    """Ask about rows in which a jar was handled and not read: whether its gas was let out."""
    said = sheet.answers.get(TRIAL, "measured") or UNKNOWN
    ways = [said] if said in WAYS else _ways(held)
    found = {
        f"row {row} no {way}": None
        for way in ways for rows in gaps_of(readings, way).values() for row in rows
    }  # fmt: skip
    if found:
        more = f" and {len(found) - 5} more" if len(found) > 5 else ""
        shown = ", ".join(list(found)[:5]) + more
        yield Line(GAPS, UNKNOWN, f"{shown}: was that gas lost", (LEFT_OUT, LATER))


def _measured_lines(held: set[str]) -> list[Line]:
    ways = _ways(held)
    if len(ways) == 1:
        choices = WAYS_OF_MEASURING[:2] if ways == ["volume"] else ()
        remark = "methane volume: behind lye or lime that takes the carbon dioxide"
        return [Line("measured", ways[0], remark if choices else "", tuple(choices))]
    remark = f"the sheet has {', '.join(ways)}: which is to count" if ways else ""
    return [Line("measured", UNKNOWN, remark, tuple(ways) or WAYS_OF_MEASURING[:4])]


_STARTED = re.compile(r"start|set ?up|clos|begin|began|ansatz|ansetzen|début|inicio", re.IGNORECASE)


def _started_line(readings: Sequence[Reading], facts: Sequence[Fact]) -> Line:
    times = [reading.at for reading in readings if isinstance(reading.at, datetime)]
    first = min(times)
    begin = [r for r in readings if r.at == first]
    nothing = all(
        not value for r in begin for name, value in r.values.items()
        if name in ("volume", "gauge before")
    )  # fmt: skip
    for fact in facts:
        at = _moment(fact, first) if _STARTED.search(fact.label) else None
        if at is not None:
            remark = f"when the jars were closed; {fact.place}"
            return Line("started", f"{at:%Y-%m-%d %H:%M}", remark)
    if nothing:
        return Line(
            "started", f"{first:%Y-%m-%d %H:%M}", "when the jars were closed: first reading"
        )
    remark = (
        f"when the jars were closed, such as {first:%Y-%m-%d} 10:00: before the first reading, or "
        f"its own time {first:%Y-%m-%d %H:%M} where it is the beginning"
    )
    return Line("started", UNKNOWN, remark)


def _moment(fact: Fact, before: datetime) -> datetime | None:
    """Return a fact as a date on or before the first reading, where it can mean one only."""
    text = fact.value
    orders = orders_possible([text])
    found = set()
    for order in orders:
        try:
            at = as_moment(text, order)
        except Unreadable:
            continue
        if at is not None and at <= before and (before - at).days < 60:
            found.add(at)
    return found.pop() if len(found) == 1 else None


def _volume_lines(
    mapped: Sequence[Mapped],
    readings: Sequence[Reading],
    facts: Sequence[Fact],
    grids: Sequence[Grid],
) -> list[Line]:
    kind, why, falls = _running(readings)
    said = _said_to_run(mapped)
    if said is not None:
        kind, why = said
    lines = [Line("readings are", kind, why, tuple(CHOICES["cumulative"]))]
    if falls and kind != "interval":
        shown = ", ".join(f"row {r.row} jar {r.jar}" for r in falls[:4])
        more = f" and {len(falls) - 4} more" if len(falls) > 4 else ""
        remark = f"the figure is lower than the one before: {shown}{more}"
        lines.append(Line(FALLS, UNKNOWN, remark, ("emptied", "an error")))
    volumes = [m for one in mapped for _, m in one.columns if "volume" in (m.name, m.quantity)]
    units = {m.unit for m in volumes}
    units |= {one.held.unit for one in mapped if one.held is not None}
    if any("cm on" in unit or "mm on" in unit for unit in units):
        known = _fact(facts, r"tube|cm|column|rohr|area", "mL") or _bore(facts, grids)
        remark = "gas that one cm of the tube holds; its inner area in cm² is the same"
        lines.append(Line(f"{CENTIMETRE} [mL]", known or UNKNOWN, remark))
    if any("in on" in unit for unit in units):
        lines.append(Line(f"{INCH} [mL]", UNKNOWN, "gas that one inch of the tube holds"))
    lines.append(Line("gas", UNKNOWN, "wet: collected over water", tuple(CHOICES["gas_is_wet"])))
    if not any("temperature" in reading.values for reading in readings):
        known = _fact(facts, r"room|gas|raum|air temp|lab", "degC")
        remark = "where the volume is read; write 68 °F if that is your unit"
        lines.append(Line("gas temperature [°C]", known or UNKNOWN, remark))
    return lines


_RUNS = re.compile(
    r"cumul|running|kumul|fortlaufend|so far|since (?:the )?start|acumulad|narastaj|skumul",
    re.IGNORECASE,
)
_STEPS = re.compile(
    r"since (?:the )?(?:last|previous)|each time|interval|seit der letzten|desde la (?:última|"
    r"anterior)|depuis (?:la|le) dern|od ostatni|od poprzedni",
    re.IGNORECASE,
)


def _said_to_run(mapped: Sequence[Mapped]) -> tuple[str, str] | None:
    """Return whether volumes are running totals where a line of the sheet says so."""
    for one in mapped:
        if not one.kind.startswith("readings") or not _quantities([one]) & {"volume"}:
            continue
        headers = [column.header for column, _ in one.columns]
        for text in (*texts_above(one.table), one.table.grid.title, *headers):
            for kind, words in (("cumulative", _RUNS), ("interval", _STEPS)):
                if words.search(text):
                    return kind, f"“{text}”"
    return None


_BORE = re.compile(r"diam|bore|inside|inner|ø|innen|interior|średnic|wewn", re.IGNORECASE)
_AREA = re.compile(r"area|section|quer|cross|fläche|przekr|secci", re.IGNORECASE)


_ONE_CM = re.compile(
    r"\b1 ?cm\W{0,3}(?:=|≙|is|are|holds|entspr\w*|sind|es|son|to)\W{0,3}([\d.,]+) ?ml",
    re.IGNORECASE,
)


def _bore(facts: Sequence[Fact], grids: Sequence[Grid]) -> str | None:
    """Return what one cm of a tube holds [mL]: as a line says, or from its area or diameter."""
    texts = (cell for grid in grids for row in grid.rows for cell in row if isinstance(cell, str))
    said = next(filter(None, map(_ONE_CM.search, texts)), None)
    if said is not None:
        return said[1].replace(",", ".")
    for words, area in ((_AREA, True), (_BORE, False)):
        for fact in facts:
            match = re.fullmatch(r"~?\s*([\d.,]+)\s*([cm]m)([²2]?)", as_words(fact.value))
            if match is None or not words.search(fact.label) or bool(match[3]) is not area:
                continue
            cm = {"cm": 1.0, "mm": 0.1}[match[2]]
            value = float(match[1].replace(",", "."))
            return f"{value * cm**2 if area else pi / 4.0 * (value * cm) ** 2:.4g}"
    return None


def _running(readings: Sequence[Reading]) -> tuple[str, str, list[Reading]]:
    """Return what volumes seem to be, why, and the falls of what may be running totals."""
    series: dict[str, list[tuple[float, Reading]]] = {}
    for reading in sorted(readings, key=lambda one: order_of(one.at)):
        value = reading.values.get("volume")
        if isinstance(value, float):
            series.setdefault(reading.jar, []).append((value, reading))
    steps = [pair for own in series.values() for pair in pairwise(own)]
    falls = [
        later for (before, at), (value, later) in steps
        if value < before and not at.values.get("emptied")
    ]  # fmt: skip
    if len(steps) >= 4 and not falls:
        return "cumulative", "no figure is lower than the one before it", falls
    if len(steps) >= 4 and 4 * len(falls) > len(steps):
        return "interval", "figures go up and down: gas since the last reading", falls
    return UNKNOWN, "interval: gas since the last reading; cumulative: a running total", falls


_INCUBATED = (
    r"incub|inkub|bath|warm|\bbox|cabinet|thermostat|termostat|brut|jars? (?:at|temp)|étuve|estufa"
)
_FLUSHED = re.compile(r"flush|purge|gespült|spülgas", re.IGNORECASE)


def _air_lines(
    mapped: Sequence[Mapped], readings: Sequence[Reading], facts: Sequence[Fact], held: set[str]
) -> list[Line]:
    lines = []
    if not any("ambient" in reading.values for reading in readings):
        known = _fact(facts, r"barom|ambient|air ?press|atmos|luftdruck|outside press", "kPa")
        height = _fact(facts, r"altitude|elevation|höhe|above sea", "m")
        remark = "air pressure where the jars stand; at 0 m about 101.3, at 500 m 95.5"
        if known is None and height is not None:
            lines.append(Line("altitude [m]", height, "stands in for a barometer"))
        else:
            lines.append(Line("ambient [kPa]", known or UNKNOWN, remark))
    known = _fact(facts, _INCUBATED, "degC")
    remark = "temperature of the jars"
    lines.append(Line("incubation temperature [°C]", known or UNKNOWN, remark))
    told = (as_words(fact.value) for fact in facts if _FLUSHED.search(fact.label))
    flush = next(told, "")
    said = flush if flush_gas(flush) is not None else UNKNOWN
    remark = "what was under the lid at the start: nitrogen, air, or 70 % N2 + 30 % CO2"
    lines.append(Line("flush gas", said, remark))
    return lines


def _share_lines(
    mapped: Sequence[Mapped], readings: Sequence[Reading], facts: Sequence[Fact]
) -> list[Line]:
    lines = []
    columns = [
        column for one in mapped for column, meaning in one.columns
        if "methane" in (meaning.name, meaning.quantity)
        or (meaning.jar and one.held is not None and one.held.name == "methane")
    ]  # fmt: skip
    if not any("methane" in reading.values for reading in readings):
        known = _fact(facts, r"ch4|methan|méthane|metano", "dimensionless")
        remark = "methane in the dry gas, such as 60; not known: 60 ± 10 is assumed and said"
        lines.append(Line("methane [%]", known or UNKNOWN, remark))
    basis, why = UNKNOWN, "flush gas excluded: methane and carbon dioxide make 100 %"
    both = [c for c in columns if re.search(r"ch4 ?\+ ?co2", c.header, re.IGNORECASE)]
    if both:
        basis, why = "flush gas excluded", f"“{both[0].header}”"
    if not columns:
        basis = "flush gas excluded"
    lines.append(Line("composition basis", basis, why, tuple(CHOICES["flush_excluded"])))
    return lines


def _fact(facts: Sequence[Fact], label: str, target: str) -> str | None:
    """Return what the sheet says once, in the unit of the question; `None` without a unit."""
    for fact in facts:
        if not re.search(label, fact.label, re.IGNORECASE):
            continue
        _, unit = name_and_unit(fact.label)
        text = as_words(fact.value)
        match = re.fullmatch(r"~?\s*([\d.,]+)(\s*)(\D.{0,8})?", text)
        if match is None:
            continue
        written = (match[3] or unit).strip()
        if match[3] in ("c", "f", "C", "F") and not match[2]:
            # class 8c is no temperature, 98.6F is one
            least = {"C": 15.0, "F": 50.0}.get(match[3])
            if least is None or float(match[1].replace(",", ".")) < least:
                continue
        try:
            rule = conversion(written or "?", target)
            value = float(match[1].replace(",", ".")) * rule.factor + rule.offset
        except (UnknownUnit, ValueError):
            continue
        return f"{100 * value:.4g}" if target == "dimensionless" else f"{value:.4g}"
    return None
