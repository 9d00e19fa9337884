"""The published limits that a trial is held against: data in `criteria.csv`, one row a criterion.

A laboratory brings its own by handing in rows of the same columns: `read_criteria(path)`.
"""

from __future__ import annotations

import csv
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from importlib.resources import files
from pathlib import Path
from typing import Literal

from bmp.finding import Finding

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
    """Name of the fact that is held against the limit: a field of `Facts`."""
    low: float | None
    high: float | None
    inclusive: bool
    """The limit itself still holds."""
    if_broken: Literal["fail", "caution"]
    unit: str
    source: str
    meaning: str
    advice: str

    def holds(self, value: float) -> bool:
        """Tell whether `value` keeps the limit."""
        if self.low is not None and (
            value < self.low or (value == self.low and not self.inclusive)
        ):
            return False
        return not (
            self.high is not None
            and (value > self.high or (value == self.high and not self.inclusive))
        )

    @property
    def limit(self) -> str:
        """Return the limit in words, with its unit."""
        less, more = ("at most", "at least") if self.inclusive else ("below", "above")
        if self.low is not None and self.high is not None:
            return f"{self.low:g} to {self.high:g} {self.unit}"
        if self.high is not None:
            return f"{less} {self.high:g} {self.unit}"
        return f"{more} {self.low:g} {self.unit}"


@dataclass(frozen=True)
class Facts:
    """What is known of one series of jars (or of the trial: `role` = `trial`).

    `None` is not known: the criterion is then not judged. Means and standard deviations are those
    of the net yield, as document 200 computes them.
    """

    name: str
    """Of the series; `trial`, or the inoculum that the facts of a trial with several speak of."""
    role: str
    """`blank`, `control`, `substrate`, `inoculum` or `trial`."""
    jars: int | None = None
    """Jars that count."""
    mean_yield: float | None = None
    """NmL CH4 per g VS."""
    any_yield: float | None = None
    """NmL CH4 per g of whatever the yield is counted per: no gram is more than its VS."""
    rsd_percent: float | None = None
    """Relative standard deviation of the yield, blanks, jars and VS in it."""
    rsd_jars_percent: float | None = None
    """Relative standard deviation between the jars alone."""
    percent_of_theoretical: float | None = None
    """Of what the feed's own composition allows."""
    three_day_rate_percent: float | None = None
    """Lowest three-day rate reached so far, of the slowest jar (`bmp.stop_rule`)."""
    blank_shorter_d: float | None = None
    """By how much the blank ends before the series; 0 where it does not."""
    blank_share_percent: float | None = None
    """The inoculum's share of the methane of the jar."""
    inoculum_to_substrate: float | None = None
    """By VS."""
    sample_gVS: float | None = None
    """Of the sample, per jar."""
    headspace_mL_per_gVS: float | None = None
    """Closed jars only."""
    pH: float | None = None
    """Of the inoculum."""
    ammonium_N_g_per_kg: float | None = None
    """Ammonium nitrogen per kg of fresh inoculum."""
    volatile_acids_g_per_kg: float | None = None
    """Volatile fatty acids as acetic acid, per kg of fresh inoculum."""
    TS_percent: float | None = None
    """Of fresh mass."""
    incubation_temperature_C: float | None = None
    """Of the jars."""
    cellulose_controls: int | None = None
    """Number of controls that are cellulose."""
    blank_jars: int | None = None
    """Blanks that count, of all inocula."""


@dataclass(frozen=True)
class Verdict:
    """Whether the trial is validated, and by whose criteria."""

    validated: bool
    because: tuple[str, ...]
    """Why not; empty where it is."""
    criteria: str

    @property
    def words(self) -> str:
        """Return the verdict as one sentence."""
        if self.validated:
            return f"Validated by {self.criteria}."
        return f"Not validated by {self.criteria}, because {'; '.join(_grouped(self.because))}."


def read_criteria(path: Path | None = None) -> tuple[Criterion, ...]:
    """Return the criteria in a CSV file; the published ones where no file is given.

    Raises
    ------
    ValueError
        A row names an unknown fact, has no limit, or holds something that is not a number.
    """
    source = files("bmp.judge").joinpath("criteria.csv") if path is None else path
    with source.open(encoding="utf-8") as table:
        rows = csv.DictReader(table)
        return tuple(_criterion(row, number) for number, row in enumerate(rows, start=2))


def _criterion(row: Mapping[str, str], number: int) -> Criterion:
    missing = [name for name in COLUMNS if row.get(name) is None]
    if missing:
        raise ValueError(f"criteria, row {number}: no {', '.join(missing)}")
    known = Facts.__dataclass_fields__
    if row["value"] not in known:
        raise ValueError(f"criteria, row {number}: unknown value {row['value']!r}")
    edges = {name: _edge(row[name], number) for name in ("low", "high")}
    if edges["low"] is None and edges["high"] is None:
        raise ValueError(f"criteria, row {number}: neither low nor high is given")
    if row["edges"] not in ("inclusive", "exclusive"):
        raise ValueError(f"criteria, row {number}: edges is inclusive or exclusive")
    return Criterion(
        rule_set=row["rule set"],
        check=row["check"],
        of=row["of"],
        value=row["value"],
        low=edges["low"],
        high=edges["high"],
        inclusive=row["edges"] == "inclusive",
        if_broken="fail" if row["if broken"] == "fail" else "caution",
        unit=row["unit"],
        source=row["source"],
        meaning=row["meaning"],
        advice=row["advice"],
    )


def _edge(text: str, number: int) -> float | None:
    try:
        return float(text) if text.strip() else None
    except ValueError:
        raise ValueError(f"criteria, row {number}: {text!r} is not a number") from None


def judge(facts: Iterable[Facts], criteria: Iterable[Criterion]) -> tuple[Finding, ...]:
    """Hold every fact against every criterion that speaks of its role."""
    facts = tuple(facts)
    return tuple(
        _finding(fact, criterion)
        for criterion in criteria
        for fact in facts
        if fact.role == criterion.of
    )


def _finding(fact: Facts, criterion: Criterion) -> Finding:
    value: float | None = getattr(fact, criterion.value)
    where = "" if fact.role == fact.name == "trial" else fact.name
    if value is None:
        meaning = "Not judged: what it takes was not given or cannot be known yet."
        return Finding(
            criterion.check, "not judged", None, criterion.limit, criterion.source, meaning,
            criterion.advice, where,
        )  # fmt: skip
    held = criterion.holds(value)
    # the table's words are about what a broken limit means
    meaning = "The limit is kept." if held else criterion.meaning
    return Finding(
        check=criterion.check,
        outcome="pass" if held else criterion.if_broken,
        value=float(value),
        limit=criterion.limit,
        source=criterion.source,
        meaning=meaning,
        advice="" if held else criterion.advice,
        where=where,
    )


def verdict(findings: Sequence[Finding], criteria: str = NAMES[CURRENT]) -> Verdict:
    """Return the verdict of one rule set's findings: validated only if every one passed.

    What could not be judged does not validate a trial either.
    """
    because = tuple(reason(finding) for finding in findings if finding.outcome != "pass")
    return Verdict(not because and bool(findings), because, criteria)


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
