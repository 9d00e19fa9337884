"""The published limits that a trial is held against: data in `criteria.csv`, one row a criterion.

A laboratory brings its own by handing in rows of the same columns: `read_criteria(path)`.
"""

from __future__ import annotations

import csv
import math
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from difflib import get_close_matches
from functools import cache
from importlib.resources import files
from pathlib import Path
from typing import Final, Literal

import numpy as np

from bmp.constants import STOP_RATE_PERCENT_PER_DAY
from bmp.finding import Finding
from bmp.problem import Problem, UnusableInput, shown
from bmp.read.cells import Unreadable, words
from bmp.read.cells import number as read_number
from bmp.read.tables import Cell, CellTable, read_csv
from bmp.trial import BoolArray, FloatArray, IntArray

CURRENT = "current"
CAUTIONS = "cautions"
COLUMNS = (
    "rule set", "check", "of", "value", "low", "high", "edges", "if broken", "unit", "source",
    "meaning", "advice",
)  # fmt: skip
NAMES = {CURRENT: "Standard BMP Methods, document 100 v1.9 (2021)"}


@dataclass(frozen=True)
class Criterion:
    """One limit: what is looked at, of whom, between which edges, and what it means."""

    rule_set: str
    check: str
    of: str
    """`trial`, or the role of the materials it holds for."""
    value: str
    """Name of the fact that is held against the limit (`FACTS`)."""
    low: float | None
    high: float | None
    inclusive: bool
    """The limit itself still holds."""
    if_broken: Literal["fail", "caution"]
    unit: str
    source: str
    meaning: str
    advice: str

    def holds(self, value: FloatArray) -> BoolArray:
        """Tell which values keep the limit; NaN does not."""
        held = ~np.isnan(value)
        if self.low is not None:
            held &= value >= self.low if self.inclusive else value > self.low
        if self.high is not None:
            held &= value <= self.high if self.inclusive else value < self.high
        return held

    @property
    def limit(self) -> str:
        """Return the limit in words, with its unit."""
        less, more = ("at most", "at least") if self.inclusive else ("below", "above")
        if self.low is not None and self.high is not None:
            return f"{self.low:g} to {self.high:g} {self.unit}"
        if self.high is not None:
            return f"{less} {self.high:g} {self.unit}"
        return f"{more} {self.low:g} {self.unit}"


FACTS: Final[Mapping[str, str]] = {
    "jars": "jars that count",
    "mean_yield": "mean net yield, NmL CH4 per g VS",
    "any_yield": "mean net yield, NmL CH4 per g of VS or fresh mass, as the trial gives it",
    "rsd_percent": "relative standard deviation of the yield, blanks, jars and VS in it",
    "rsd_jars_percent": "relative standard deviation between the jars alone",
    "percent_of_theoretical": "yield in percent of what the feed's own composition allows",
    "three_day_rate_percent": "lowest three-day rate of the slowest jar so far",
    "blank_shorter_d": "by how much the blank ends before the series; 0 where it does not",
    "blank_share_percent": "the inoculum's share of the methane of the jars",
    "inoculum_to_substrate": "by VS",
    "sample_gVS": "VS of the sample, g a jar",
    "headspace_mL_per_gVS": "closed jars only",
    "pH": "of the inoculum",
    "ammonium_N_g_per_kg": "ammonium nitrogen per kg of fresh inoculum",
    "volatile_acids_g_per_kg": "volatile fatty acids as acetic acid, per kg of fresh inoculum",
    "TS_percent": "dry matter of the inoculum in percent of fresh mass",
    "incubation_temperature_C": "of the jars",
    "cellulose_controls": "number of controls that are cellulose",
    "blank_jars": "blanks that count, of all inocula that the feeds are on",
}
"""What criteria can be held against. Means and standard deviations are those of document 200."""


@dataclass(frozen=True, eq=False)
class Facts:
    """What is known of all things of one role: a series of jars, an inoculum, the trial itself."""

    role: str
    """`blank`, `control`, `substrate`, `inoculum` or `trial`."""
    names: Sequence[str]
    """As a finding names them; empty for a trial, unless it speaks of one of several inocula."""
    values: Mapping[str, FloatArray]
    """By name (`FACTS`), an entry a thing. NaN, or a name that is missing: not known, so that the
    criterion is not judged."""
    trial: IntArray | None = None
    """Index of the trial that each belongs to; `None`: there is only one."""

    def value(self, name: str) -> FloatArray:
        """Return one fact of all things; NaN where it is not known."""
        found = self.values.get(name)
        return np.full(len(self.names), np.nan) if found is None else found


ROLES = ("trial", "inoculum", "blank", "control", "substrate")
MOST_CRITERIA = 2_000


@dataclass(frozen=True)
class Verdict:
    """Whether the trial is validated, and by whose criteria."""

    validated: bool
    because: tuple[str, ...]
    """Why not; empty where it is."""
    criteria: str
    not_as_recommended: tuple[str, ...] = ()
    """Recommended limits that are not kept; they do not decide."""

    @property
    def reasons(self) -> tuple[str, ...]:
        """Return why not, what could not be judged of several feeds put together."""
        return tuple(_grouped(self.because))

    @property
    def words(self) -> str:
        """Return the verdict as one sentence, recommended limits in a second."""
        if not self.validated:
            head = f"Does not meet the criteria of {self.criteria}: {'; '.join(self.reasons)}."
        else:
            head = f"Meets all criteria of {self.criteria}, as computed here."
        if not self.not_as_recommended:
            return head
        return f"{head} Recommended limits not kept: {'; '.join(self.not_as_recommended)}."


def read_criteria(path: Path | None = None) -> tuple[Criterion, ...]:
    """Return the criteria in a CSV file; the published ones where no file is given.

    The file may separate cells by commas, semicolons or tabs; with semicolons decimal commas are
    read.

    Raises
    ------
    UnusableInput
        With every row that names an unknown role, fact, outcome or edge, or a rule set that looks
        misspelt; has no limit, no number, or low above high; or stands twice. Also where no row
        decides.
    """
    return _published() if path is None else _own(path)


@cache
def _published() -> tuple[Criterion, ...]:
    source = files("bmp.judge").joinpath("criteria.csv")
    problems: list[Problem] = []
    with source.open(encoding="utf-8") as table:
        rows = list(enumerate(csv.DictReader(table), start=2))
    return tuple(_criterion(row, number, "criteria.csv", False, problems) for number, row in rows)


def _own(path: Path) -> tuple[Criterion, ...]:
    problems: list[Problem] = []
    table = read_csv(path, problems, MOST_CRITERIA)
    header = [name.strip().lower() for name in table.header]
    for name in COLUMNS:
        if name not in header:
            what = f"there is no column “{name}”"
            problems.append(Problem(table.name, what, "add it; the guide lists all columns", 1))
    unknown = [name for name in header if name and name not in COLUMNS]
    problems += [
        Problem(table.name, f"the column “{name}” is not known", _one_of(COLUMNS, name), 1)
        for name in unknown
    ]
    if problems:
        raise UnusableInput(problems)
    if not table.rows:
        what = "the table holds no criterion"
        raise UnusableInput([Problem(table.name, what, "add a row, or leave --criteria out")])
    found = tuple(
        _criterion(
            dict(zip(header, row, strict=False)), number, table.name, table.semicolons, problems
        )
        for row, number in zip(table.rows, table.row_numbers, strict=True)
    )
    problems += _odd_rule_sets(found, table)
    problems += _twice(found, table)
    if all(row.rule_set == CAUTIONS for row in found):
        what = "only cautions stand here, and they never decide"
        problems.append(Problem(table.name, what, "add the rows of a rule set that decides"))
    if problems:
        raise UnusableInput(sorted(problems, key=lambda problem: problem.row or 0))
    return found


def _criterion(
    row: Mapping[str, Cell], number: int, table: str, semicolons: bool, problems: list[Problem]
) -> Criterion:
    """Return one row; what is wrong with it is added to `problems`."""

    def told(column: str, what: str, wanted: str) -> None:
        problems.append(Problem(table, what, wanted, number, column))

    def text(column: str) -> str:
        return words(row.get(column))

    def choice(column: str, allowed: Sequence[str]) -> str:
        found = text(column)
        if found not in allowed:
            told(column, f"{shown(found or None)} is not known", _one_of(allowed, found))
        return found

    def edge(column: str) -> float | None:
        cell = row.get(column)
        try:
            return None if cell is None or cell == "" else read_number(cell, semicolons)
        except Unreadable as error:
            told(column, f"{shown(cell)} is not a number", str(error))
            return None

    count = len(problems)
    low, high = edge("low"), edge("high")
    for column in ("rule set", "check"):
        if not text(column):
            told(column, "the cell is empty", "give it a name")
    inclusive = choice("edges", ("inclusive", "exclusive")) == "inclusive"
    of, value = choice("of", ROLES), choice("value", tuple(FACTS))
    if_broken = choice("if broken", ("fail", "caution"))
    if low is None and high is None and len(problems) == count:
        told("low", "neither low nor high is given", "give one of them, or both")
    if low is not None and high is not None and (low > high or (low == high and not inclusive)):
        told("low", f"low {low:g} and high {high:g} leave nothing between", "swap or correct them")
    return Criterion(
        rule_set=text("rule set"),
        check=text("check"),
        of=of,
        value=value,
        low=low,
        high=high,
        inclusive=inclusive,
        if_broken="fail" if if_broken == "fail" else "caution",
        unit=text("unit"),
        source=text("source"),
        meaning=text("meaning"),
        advice=text("advice"),
    )


def _one_of(allowed: Sequence[str], text: str) -> str:
    near = get_close_matches(text, allowed, 1)
    if near:
        return f"did you mean “{near[0]}”?"
    return f"write one of: {', '.join(allowed)}"


def _odd_rule_sets(found: Sequence[Criterion], table: CellTable) -> Iterator[Problem]:
    """Find rule sets that look like a misspelt published one, or a rarer one of the table."""
    counts = Counter(row.rule_set for row in found)
    published = {row.rule_set for row in _published()}
    for row, number in zip(found, table.row_numbers, strict=True):
        name = row.rule_set
        if not name or name in published:
            continue
        others = [*published, *(o for o in counts if o != name and counts[o] > counts[name])]
        near = get_close_matches(name, others, 1, 0.8)
        if near:
            what = f"the rule set {shown(name)} looks like “{near[0]}”"
            yield Problem(
                table.name, what, "spell both alike, or further apart", number, "rule set"
            )


def _twice(found: Sequence[Criterion], table: CellTable) -> Iterator[Problem]:
    """Find criteria that stand twice: one of them would never be seen to decide."""
    first: dict[tuple[str, str, str], int] = {}
    for row, number in zip(found, table.row_numbers, strict=True):
        key = (row.rule_set, row.check, row.of)
        if first.setdefault(key, number) != number and row.check:
            what = f"{shown(row.check)} of {row.of} stands in row {first[key]} too"
            yield Problem(table.name, what, "keep one row", number, "check")


def _of_set(criteria: Iterable[Criterion], rule_set: str) -> list[Criterion]:
    return [row for row in criteria if row.rule_set == rule_set]


def name_of(rule_set: str, criteria: Iterable[Criterion]) -> str:
    """Return what a verdict calls a rule set: the published name only for the published limits."""
    own, theirs = (
        {replace(row, unit="", source="", meaning="", advice="") for row in rows}
        for rows in (_of_set(criteria, rule_set), _of_set(_published(), rule_set))
    )
    if not theirs:
        return rule_set
    if own == theirs:
        return NAMES.get(rule_set, rule_set)
    return f"criteria of your own (rule set “{rule_set}” with limits other than the published)"


def judge(facts: Iterable[Facts], criteria: Iterable[Criterion]) -> tuple[Finding, ...]:
    """Hold every fact against every criterion that speaks of its role."""
    facts = tuple(facts)
    return tuple(
        _finding(criterion, name, value, held, waits)
        for criterion in criteria
        for fact in facts
        if fact.role == criterion.of
        for name, value, held, waits in _held(fact, criterion)
    )


def _held(fact: Facts, criterion: Criterion) -> Iterator[tuple[str, float, bool, bool]]:
    value = fact.value(criterion.value)
    columns = (value, criterion.holds(value), _waits(fact, criterion))
    return zip(fact.names, *(column.tolist() for column in columns), strict=True)


YIELDS: Final = ("mean_yield", "percent_of_theoretical")
NOT_YET: Final = "Not yet known: the jars still make gas."


def _waits(fact: Facts, criterion: Criterion) -> BoolArray:
    """Tell which controls give too little so far while their jars still make gas."""
    value, rates = fact.value(criterion.value), fact.values.get("three_day_rate_percent")
    if fact.role != "control" or criterion.value not in YIELDS or rates is None:
        return np.zeros(value.shape, dtype=bool)
    # a rate that cannot be told yet is not below the limit
    low: BoolArray = ~(rates < STOP_RATE_PERCENT_PER_DAY) & (value < (criterion.low or 0.0))
    return low


def reasons_by_trial(
    facts: Iterable[Facts], criteria: Iterable[Criterion], trials: int
) -> list[tuple[str, ...]]:
    """Return why each of many trials is not validated; an empty tuple where it is."""
    because: list[list[str]] = [[] for _ in range(trials)]
    facts = tuple(facts)
    for criterion in criteria:
        for fact in facts:
            if fact.role != criterion.of:
                continue
            value, waits = fact.value(criterion.value), _waits(fact, criterion)
            for row in np.flatnonzero(~criterion.holds(value)).tolist():
                name, found = fact.names[row], float(value[row])
                finding = _finding(criterion, name, found, False, bool(waits[row]))
                because[0 if fact.trial is None else fact.trial[row]].append(reason(finding))
    return [tuple(reasons) for reasons in because]


def _finding(
    criterion: Criterion, where: str, value: float, held: bool, waits: bool = False
) -> Finding:
    if math.isnan(value) or waits:
        meaning = "Not judged: what it takes was not given or cannot be known yet."
        if waits:
            meaning = f"{NOT_YET} So far it is {value:.3g}."
        return Finding(
            criterion.check, "not judged", None, criterion.limit, criterion.source, meaning,
            "" if waits else criterion.advice, where,
        )  # fmt: skip
    # the table's words are about what a broken limit means
    meaning = "The limit is kept." if held else criterion.meaning
    return Finding(
        check=criterion.check,
        outcome="pass" if held else criterion.if_broken,
        value=value,
        limit=criterion.limit,
        source=criterion.source,
        meaning=meaning,
        advice="" if held else criterion.advice,
        where=where,
    )


def verdict(findings: Sequence[Finding], criteria: str = NAMES[CURRENT]) -> Verdict:
    """Return the verdict of one rule set's findings: validated only if no requirement is broken.

    What could not be judged does not validate a trial either. A recommended limit (`if broken`:
    caution) is told and does not decide.
    """
    because = tuple(reason(f) for f in findings if f.outcome in ("fail", "not judged"))
    recommended = tuple(reason(f) for f in findings if f.outcome == "caution")
    return Verdict(not because and bool(findings), because, criteria, recommended)


OPEN = " could not be judged"
CLAUSES = {
    "duration": "{where} still made {value} % of its net methane a day, where {limit} is asked",
    "jars": "{where} has {value} jar{s}, where {limit} are asked",
    "control present": "there is no cellulose control{on}",
    "blank measured": "no blank was measured{on}",
}
"""By the check up to its ` of `: why a trial is not validated, as a person would say it."""


def reason(finding: Finding) -> str:
    """Return why a criterion does not hold, as a clause."""
    place = f" ({finding.where})" if finding.where else ""
    if finding.value is None:
        return f"{finding.check}{OPEN}{place}"
    shown = _shown(finding.value, finding.limit)
    clause = CLAUSES.get(finding.check.partition(" of ")[0])
    if clause is None or not (finding.where or "{on}" in clause):
        return f"{finding.check}{place}: {shown} where {finding.limit} is asked"
    return clause.format(
        where=finding.where.replace("blank of", "the blank of", 1),
        value=shown,
        limit=finding.limit.partition(" of ")[0].removesuffix(" a day").removesuffix(" jars"),
        s="" if shown == "1" else "s",
        on=f" on {finding.where}" if finding.where else "",
    )


def _grouped(because: Sequence[str]) -> list[str]:
    """Put together what could not be judged of several series, in the order of the first."""
    open_of: dict[str, list[str]] = {}
    words: dict[str, None] = {}
    for reason in because:
        check, judged, where = reason.partition(OPEN)
        if judged and where:
            open_of.setdefault(check, []).append(where.strip(" ()"))
            words[check] = None
        else:
            words[reason] = None
    return [f"{one}{OPEN} ({', '.join(open_of[one])})" if one in open_of else one for one in words]


def _shown(value: float | str, limit: str) -> str:
    """Return a value to three digits, to more where these would make it the limit itself."""
    if isinstance(value, str):
        return value
    edges = limit.split()
    return next(
        text
        for digits in (3, 4, 6, 15)
        if (text := f"{value:.{digits}g}") not in edges or digits == 15
    )
