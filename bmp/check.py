"""A trial looked at before or while it runs: reading errors, and what is still to do."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import timedelta

import numpy as np

from bmp.constants import STOP_RATE_PERCENT_PER_DAY
from bmp.finding import Finding, Outcome, worst
from bmp.jar_columns import jar_columns
from bmp.judge.criteria import CAUTIONS, CURRENT, NOT_YET, judge, read_criteria
from bmp.judge.diagnosis import composition_hints
from bmp.judge.facts import Measured, facts_of
from bmp.judge.jar_handling import handling_findings
from bmp.judge.leak import leak_findings
from bmp.judge.reading_errors import find_reading_errors, is_answered
from bmp.judge.silage import acid_feed
from bmp.net import blank_means, net_curves, series_yields
from bmp.normalise import normalise
from bmp.normalise.gas_problems import impossible_falls, unknown_gas
from bmp.normalise.raw_gas import RawGas, raw_gas, raw_gas_words
from bmp.problem import Problem
from bmp.theory import highest_yield_NmL_per_gVS
from bmp.trial import Trial


@dataclass(frozen=True)
class Check:
    """What was found."""

    findings: tuple[Finding, ...]
    """Reading errors seen and cautions; what passed is left out, but for what the log answers."""
    looked_for: int
    """Number of kinds of reading error that were looked for and could be judged."""
    title: str
    days: float | None
    """Day of the last reading; `None`: no reading yet."""
    first_due: str = ""
    """When the first row of a logbook without any reading waits, such as `2027-03-01 22:00`."""
    whole: bool = True
    """Whether all of the trial could be read."""
    problems: tuple[Problem, ...] = ()
    """Readings from which no gas can be told: an analysis refuses them."""
    not_yet: tuple[str, ...] = ()
    """What cannot be said while the trial runs, a sentence each."""
    raw: tuple[RawGas, ...] = ()
    """Gas of the jars whose methane nothing tells."""

    @property
    def worst(self) -> Outcome:
        """Return the gravest outcome."""
        return worst(self.findings)

    @property
    def lines(self) -> tuple[str, ...]:
        """Return what a person reads, a line each."""
        lines = [f"{self.title}: {self._days_words()}", *raw_gas_words(self.raw)]
        lines += [_line(f) for f in self.findings]
        lines += [f"not yet: {sentence}" for sentence in self.not_yet]
        if not self.whole:
            lines.append("What could be read was looked at; correct the rest and check again.")
        elif self.worst == "pass" and not self.problems and self.days is not None:
            kinds = f"{self.looked_for} kinds of reading error were looked for"
            lines.append(f"Nothing found; {kinds}. Small ones cannot be seen.")
        return tuple(lines)

    def _days_words(self) -> str:
        if self.days is not None:
            return f"readings to day {self.days:.3g}"
        if not self.whole:
            return "no reading could be used"
        return "no reading yet" + (f"; the first is due {self.first_due}" * bool(self.first_due))


def check(trial: Trial, whole: bool = True) -> Check:
    """Look for reading errors and for what the tables warn of; say what an analysis would say.

    Parameters
    ----------
    trial : Trial
    whole : bool
        Whether all of it could be read, so that silence means that nothing was found.
    """
    # a trial of which hardly anything could be read is not looked at
    some = bool(trial.jars and trial.readings.jar.size)
    errors = find_reading_errors(trial) if some else ()
    problems, judged, not_yet = _judged(trial) if whole and some else ((), (), ())
    pH = next((m.pH for m in trial.materials if m.role == "inoculum"), None)
    figures = [
        finding
        for material in trial.materials
        for finding in (
            *composition_hints(material, trial.setup.incubation_temperature_C, pH),
            *acid_feed(material),
        )
    ]
    # a jar that could not be read is there all the same
    jars = _jars(trial) if whole else []
    seen = [
        f
        for f in (*errors, *judged, *jars, *figures)
        if f.outcome in ("caution", "fail") or is_answered(f)
    ]
    times = trial.readings.time_d
    return Check(
        findings=tuple(seen),
        looked_for=len({f.check for f in errors if f.outcome != "not judged"}),
        title=trial.setup.title,
        days=float(times.max()) if times.size else None,
        first_due=_first_due(trial),
        whole=whole,
        problems=problems,
        not_yet=not_yet,
        raw=raw_gas(trial),
    )


def _judged(
    trial: Trial,
) -> tuple[tuple[Problem, ...], tuple[Finding, ...], tuple[str, ...]]:
    """Return what an analysis would refuse, what it calls broken, and what is not yet known."""
    gas = normalise(trial)
    problems = (*impossible_falls(trial, gas), *unknown_gas(trial, gas))
    if problems:
        return problems, (), ()
    jars = jar_columns(trial)
    blanks = blank_means(gas, jars)
    curves = net_curves(gas, jars, blanks)
    highest = [highest_yield_NmL_per_gVS(material) for material in jars.material_of]
    theory = np.array([np.nan if one is None else one for one in highest], dtype=np.float64)
    columns = series_yields(gas, jars, curves, blanks)
    criteria = [c for c in read_criteria() if c.rule_set in (CURRENT, CAUTIONS)]
    found = judge(
        facts_of(Measured(jars, gas, blanks, curves, columns, theory), criteria), criteria
    )
    not_yet = tuple(
        f"{f.check} ({f.where}): {f.meaning}"
        for f in found
        if f.outcome == "not judged" and f.meaning.startswith(NOT_YET)
    )
    if np.any(columns.three_day_rate_percent >= STOP_RATE_PERCENT_PER_DAY):
        late = [f for f in found if _below_zero(f)]
        not_yet += tuple(
            f"{f.check} ({f.where}): {NOT_YET} So far it is {f.value:.3g}." for f in late
        )
        found = tuple(f for f in found if f not in late)
    yields = tuple(_yields(found))
    return (), (*yields, *leak_findings(trial, gas), *handling_findings(trial, gas)), not_yet


def _below_zero(finding: Finding) -> bool:
    """Tell of a feed that made less than the inoculum alone, as a late one does at first."""
    return finding.outcome == "fail" and finding.check == "yield of the substrate above zero"


def _yields(found: tuple[Finding, ...]) -> Iterator[Finding]:
    """Return the yields that cannot be; the control's is a caution before the verdict."""
    for finding in found:
        if finding.outcome == "fail" and finding.check.startswith("yield of"):
            control = finding.check == "yield of the control"
            yield replace(finding, outcome="caution") if control else finding


def _first_due(trial: Trial) -> str:
    """Return when the first row that waits is due; nothing where no row does."""
    unread = trial.unread
    if unread is None or not unread.jar.size:
        return ""
    planned = [at for at in unread.taken or () if at is not None]
    if planned:
        return f"{min(planned):%Y-%m-%d %H:%M}"
    time_d = float(unread.time_d.min())
    if trial.setup.started is None:
        return f"on day {time_d:g}"
    return f"{trial.setup.started + timedelta(minutes=round(1440 * time_d)):%Y-%m-%d %H:%M}"


def _jars(trial: Trial) -> list[Finding]:
    """Say which series have too few jars, while more can still be set up."""
    if trial.setup.given_net:
        return []
    count: dict[str, int] = {}
    for jar in trial.jars:
        if jar.role != "weight check":
            name = f"blank of {jar.inoculum}" if jar.role == "blank" else jar.series
            count[name] = count.get(name, 0) + jar.counted
    out = [
        _too_few(f"jars of {name}", number, 3, name) for name, number in count.items() if number < 3
    ]
    if trial.setup.blank and not any(jar.role == "control" for jar in trial.jars):
        out.append(_too_few("control present", 0, 1, ""))
    return out


def _too_few(what: str, number: int, least: int, where: str) -> Finding:
    there = "There is 1" if number == 1 else f"There are {number}"
    return Finding(
        check=what,
        outcome="caution",
        value=number,
        limit=f"at least {least}",
        source="Standard BMP Methods, document 100 v1.9 (2021)",
        meaning=f"{there}; a yield is not validated with fewer than {least}.",
        advice="Set up more while there is still inoculum.",
        where=where,
    )


def _line(finding: Finding) -> str:
    place = f" ({finding.where})" if finding.where else ""
    advice = f" {finding.advice}" if finding.advice else ""
    outcome = "answered" if is_answered(finding) else finding.outcome
    return f"{outcome}: {finding.check}{place}: {finding.meaning}{advice}"
