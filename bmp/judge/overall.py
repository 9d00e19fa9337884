"""All that is judged about a trial, in the order in which the report says it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from bmp.finding import Finding
from bmp.judge.conditions import condition_findings
from bmp.judge.criteria import (
    CAUTIONS,
    CURRENT,
    Criterion,
    Verdict,
    judge,
    name_of,
    read_criteria,
    verdict,
)
from bmp.judge.diagnosis import DoseSeries, FeedCurve, composition_hints, diagnose, dose_series
from bmp.judge.facts import Measured, facts_of, feed_curve
from bmp.judge.jar_handling import handling_findings
from bmp.judge.leak import leak_findings
from bmp.judge.reading_errors import find_reading_errors, is_answered
from bmp.judge.silage import acid_feed
from bmp.judge.yield_use import Reliance, reliance
from bmp.net import MaterialYield
from bmp.trial import Trial, no_gas_read


@dataclass(frozen=True)
class Judgement:
    """What is judged about a trial."""

    checks: tuple[Finding, ...]
    """Validity criteria, cautions, reading errors seen, diagnosis; passed errors are left out."""
    verdict: Verdict
    older: Mapping[str, Verdict]
    """By the name of an older rule set; shown beside, never deciding."""
    feed_verdicts: Mapping[str, str]
    """By series."""
    unusable: Mapping[str, str]
    """By series with which nothing may be planned: why, a clause."""
    doses: tuple[DoseSeries, ...]


def judge_trial(
    measured: Measured,
    yields: Sequence[MaterialYield],
    criteria: Sequence[Criterion] | None = None,
) -> Judgement:
    """Judge a trial by the published criteria, its readings and its curves.

    Parameters
    ----------
    measured : Measured
        Of this trial alone.
    yields : sequence of MaterialYield
        Its series, as records.
    criteria : sequence of Criterion, optional
        A laboratory's own; the published ones by default. The first rule set of the table decides,
        `cautions` never do, others stand beside.
    """
    criteria = read_criteria() if criteria is None else criteria
    trial, gas, curves = measured.jars.of, measured.gas, measured.curves
    facts = facts_of(measured, criteria)
    by_set = {
        name: judge(facts, [c for c in criteria if c.rule_set == name])
        for name in dict.fromkeys(c.rule_set for c in criteria)
    }
    first = next((name for name in by_set if name != CAUTIONS), CURRENT)
    deciding, cautions = by_set.get(first, ()), by_set.get(CAUTIONS, ())
    told = tuple(finding for finding in cautions if finding.outcome != "not judged")
    found = find_reading_errors(trial)
    errors = tuple(f for f in found if f.outcome in ("caution", "fail"))
    drawn = [(one, feed_curve(one, trial, curves)) for one in yields]
    diagnosis = _diagnosis(trial, drawn)
    doses = _doses([(one, curve) for one, curve in drawn if curve is not None and one.per == "VS"])
    harmed = {name for series in doses for name in series.harmed}
    relied = {
        one.series: _harmed(one.series)
        if one.series in harmed
        else _reliance(one, trial, (*deciding, *told, *diagnosis), errors, yields)
        for one in yields
    }
    return Judgement(
        checks=(
            *deciding,
            *told,
            *(errors or (_no_errors(found),)),
            *(finding for finding in found if is_answered(finding)),
            *leak_findings(trial, gas),
            *handling_findings(trial, gas),
            *condition_findings(trial, gas, yields),
            *diagnosis,
            *(finding for series in doses for finding in series.findings()),
            *(finding for material in trial.materials for finding in acid_feed(material)),
        ),
        verdict=verdict(deciding, name_of(first, criteria)),
        older={
            name: verdict(found, name_of(name, criteria))
            for name, found in by_set.items()
            if name not in (first, CAUTIONS)
        },
        feed_verdicts={series: one.words for series, one in relied.items()},
        unusable={series: one.unusable for series, one in relied.items() if one.unusable},
        doses=tuple(doses),
    )


def _no_errors(found: Sequence[Finding]) -> Finding:
    """Say that no reading error was seen, and which could not be looked for."""
    judged = [finding.check for finding in found if finding.outcome != "not judged"]
    unsure = [finding.check for finding in found if finding.outcome == "not judged"]
    rest = f" Could not be judged: {', '.join(unsure)}." if unsure else ""
    return Finding(
        check="reading errors",
        outcome="pass",
        value=0,
        limit="none",
        source="each error's page says when it is named",
        meaning=f"{len(judged)} kinds of reading error were looked for, none was seen.{rest}",
    )


def _reliance(
    one: MaterialYield,
    trial: Trial,
    findings: Sequence[Finding],
    errors: Sequence[Finding],
    yields: Sequence[MaterialYield],
) -> Reliance:
    """Return what one series' yield is good for: its own findings and those that all share."""
    feeds = {other.series for other in yields if other.role == "substrate"}
    own = [finding for finding in findings if finding.where == one.series]
    beside = feeds | {one.series} | _other_inocula(one, trial)
    shared = [f for f in findings if f.where not in beside and f.outcome != "caution"]
    own_errors = touching(errors, one.series, one.material, trial)
    if no_gas_read(trial):
        why = "no gas was read in any jar"
        return Reliance(f"Do not use the yield of {one.series}: {why}.", why)
    control = one.role == "control"
    return reliance(one.series, own, shared, own_errors, trial.setup.gross, control)


def _harmed(series: str) -> Reliance:
    why = "this dose slowed or harmed its jars; a smaller dose did not"
    return Reliance(f"Do not plan a tank with {series}: {why}.", why)


def _other_inocula(one: MaterialYield, trial: Trial) -> set[str]:
    """Return the inocula that a series does not hold, and the names of their blanks."""
    own = {trial.jars[j].inoculum for j in one.jars}
    others = {jar.inoculum for jar in trial.jars} - own
    return others | {f"blank of {name}" for name in others}


def touching(errors: Sequence[Finding], series: str, material: str, trial: Trial) -> list[Finding]:
    """Return the errors that touch a series: those of its own or of no named jars of another."""
    others = {jar.name for jar in trial.jars if jar.series != series and jar.role == "substrate"}
    other_materials = {
        m.name for m in trial.materials if m.role == "substrate" and m.name != material
    }
    out = []
    for finding in errors:
        names = {part.split(" day ")[0].strip() for part in finding.where.split(",")}
        if not names <= (others | other_materials):
            out.append(finding)
    return out


def _doses(drawn: Sequence[tuple[MaterialYield, FeedCurve]]) -> list[DoseSeries]:
    substrates = [(one, curve) for one, curve in drawn if one.role == "substrate"]
    return dose_series([c for _, c in substrates], [one.material for one, _ in substrates])


def _diagnosis(
    trial: Trial, drawn: Sequence[tuple[MaterialYield, FeedCurve | None]]
) -> tuple[Finding, ...]:
    control = next((c for one, c in drawn if one.role == "control" and c is not None), None)
    inoculum = next((m for m in trial.materials if m.role == "inoculum"), None)
    pH = None if inoculum is None else inoculum.pH
    from_curves = [
        finding
        for one, curve in drawn
        if one.role == "substrate" and curve is not None
        for finding in diagnose(curve, control, trial.setup)
    ]
    from_figures = [
        finding
        for material in trial.materials
        if material.role != "control"
        for finding in composition_hints(material, trial.setup.incubation_temperature_C, pH)
    ]
    return (*from_curves, *from_figures)
