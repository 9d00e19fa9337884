"""A trial looked at before or while it runs: slips in the readings, and what is still to do."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta

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
    days: float | None
    """Day of the last reading; `None`: no reading yet."""
    first_due: str = ""
    """When the first row of a logbook without any reading waits, such as `2027-03-01 22:00`."""
    whole: bool = True
    """Whether all of the trial could be read."""

    @property
    def worst(self) -> Outcome:
        """Return the gravest outcome."""
        return worst(self.findings)

    @property
    def lines(self) -> tuple[str, ...]:
        """Return what a person reads, a line each."""
        lines = [f"{self.title}: {self._days_words()}", *(_line(f) for f in self.findings)]
        if not self.whole:
            lines.append("What could be read was looked at; mend the rest and check again.")
        elif not self.findings and self.days is not None:
            lines.append(f"Nothing found; {self.looked_for} kinds of slip were looked for.")
        return tuple(lines)

    def _days_words(self) -> str:
        if self.days is not None:
            return f"readings to day {self.days:.3g}"
        if not self.whole:
            return "no reading could be used"
        return "no reading yet" + (f"; the first is due {self.first_due}" * bool(self.first_due))


def check(trial: Trial, whole: bool = True) -> Check:
    """Look for slips in the readings and for what the tables warn of.

    Parameters
    ----------
    trial : Trial
    whole : bool
        Whether all of it could be read, so that silence means that nothing was found.
    """
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
    # a jar that could not be read is there all the same
    jars = _jars(trial) if whole else []
    seen = [f for f in (*traps, *jars, *figures) if f.outcome in ("caution", "fail")]
    times = trial.readings.time_d
    return Check(
        findings=tuple(seen),
        looked_for=len({f.check for f in traps if f.outcome != "not judged"}),
        title=trial.setup.title,
        days=float(times.max()) if times.size else None,
        first_due=_first_due(trial),
        whole=whole,
    )


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
