"""A trial looked at before or while it runs: slips in the readings, and what is still to do."""

from __future__ import annotations

from dataclasses import dataclass

from bmp.finding import Finding, Outcome, worst
from bmp.judge.diagnosis import composition_hints
from bmp.judge.silage import acid_feed
from bmp.judge.traps import find_traps
from bmp.trial import Trial


@dataclass(frozen=True)
class Check:
    """What was found."""

    findings: tuple[Finding, ...]
    """Slips seen and cautions; what passed is left out."""
    looked_for: int
    """Number of slips that were looked for and could be judged."""
    title: str
    days: float
    """Day of the last reading."""

    @property
    def worst(self) -> Outcome:
        """Return the gravest outcome."""
        return worst(self.findings)

    @property
    def lines(self) -> tuple[str, ...]:
        """Return what a person reads, a line each."""
        head = f"{self.title}: readings to day {self.days:.3g}"
        if not self.findings:
            return (head, f"Nothing found; {self.looked_for} kinds of slip were looked for.")
        return (head, *(_line(finding) for finding in self.findings))


def check(trial: Trial) -> Check:
    """Look for slips in the readings and for what the tables warn of."""
    # a trial of which hardly anything could be read is not looked at
    traps = find_traps(trial) if trial.jars and trial.readings.jar.size else ()
    pH = next((m.pH for m in trial.materials if m.role == "inoculum"), None)
    figures = [
        finding
        for material in trial.materials
        for finding in (
            *composition_hints(material, trial.setup.incubation_temperature_C, pH),
            *acid_feed(material),
        )
    ]
    seen = [f for f in (*traps, *_jars(trial), *figures) if f.outcome in ("caution", "fail")]
    times = trial.readings.time_d
    return Check(
        findings=tuple(seen),
        looked_for=len({f.check for f in traps if f.outcome != "not judged"}),
        title=trial.setup.title,
        days=float(times.max()) if times.size else 0.0,
    )


def _jars(trial: Trial) -> list[Finding]:
    """Say which series have too few jars, while more can still be set up."""
    if trial.setup.measured == "net yield":
        return []
    count: dict[str, int] = {}
    for jar in trial.jars:
        if jar.role != "weight check":
            name = f"blank of {jar.inoculum}" if jar.role == "blank" else jar.series
            count[name] = count.get(name, 0) + (jar.left_out is None)
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
    return f"{finding.outcome}: {finding.check}{place}: {finding.meaning}{advice}"
