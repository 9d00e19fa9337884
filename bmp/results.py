"""Everything that comes out of a trial, in one frozen record that the reports are made from."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Final

from bmp.compare.within_trial import TrialComparisons
from bmp.finding import Finding
from bmp.fit.results import MaterialFits
from bmp.judge.criteria import Verdict
from bmp.judge.diagnosis import DoseSeries
from bmp.net import Blanks, MaterialYield, NetCurves
from bmp.normalise import JarGas
from bmp.tank.result import TankResult
from bmp.trial import Trial


@dataclass(frozen=True)
class CorrectionSize:
    """What one correction did to the yields."""

    name: str
    meaning: str
    percent: Mapping[str, float | None]
    """By series: change of the yield by the correction, in percent of the yield without it; `None`
    where the yield without it is not above zero."""


@dataclass(frozen=True, eq=False, repr=False)
class Results:
    """A trial read, normalised, net of the blank, fitted and judged."""

    trial: Trial
    gas: JarGas
    blanks: Blanks
    curves: NetCurves
    yields: tuple[MaterialYield, ...]
    fits: Mapping[str, MaterialFits]
    """By series."""
    corrections: tuple[CorrectionSize, ...]
    assumed: tuple[str, ...]
    """Plain sentences: what was taken for granted."""
    ignored: tuple[str, ...]
    """Plain sentences: what was handed in and not used."""
    comparisons: TrialComparisons = field(default_factory=TrialComparisons)
    checks: tuple[Finding, ...] = ()
    verdict: Verdict | None = None
    older_verdicts: Mapping[str, Verdict] = field(default_factory=dict)
    """By the name of an older rule set; shown beside, never deciding."""
    feed_verdicts: Mapping[str, str] = field(default_factory=dict)
    """By series: whether its yield can be relied upon, and for what, in plain words."""
    doses: tuple[DoseSeries, ...] = ()
    """Feeds that were given at several ratios to the inoculum."""

    tank: TankResult | None = None
    """`None`: the trial has no table `tank`."""

    def __repr__(self) -> str:
        """Return a few lines: the trial, its verdict, a line a series up to `MOST_LINES`."""
        verdict = "not judged" if self.verdict is None else self.verdict.words
        lines = [f"Results of “{self.trial.setup.title}”. {verdict}"]
        lines += [_line(one) for one in self.yields[:MOST_LINES]]
        more = len(self.yields) - MOST_LINES
        return "\n".join([*lines, f"  and {more} more"] if more > 0 else lines)

    @property
    def gross(self) -> bool:
        """Whether the yields still hold the inoculum's own gas."""
        return self.trial.setup.gross

    def left_out(self, series: str) -> tuple[tuple[str, str], ...]:
        """Return the jars of a series that do not count, each with the reason."""
        return tuple(
            (jar.name, jar.left_out)
            for jar in self.trial.jars
            if jar.series == series and jar.left_out is not None
        )


MOST_LINES: Final = 12
_FINISHED: Final = {True: "finished", False: "still running", None: "not known whether finished"}


def _line(one: MaterialYield) -> str:
    interval = "" if one.ci95 is None else f" ({one.ci95[0]:.4g} to {one.ci95[1]:.4g})"
    jars = "1 jar" if len(one.jars) == 1 else f"{len(one.jars)} jars"
    return (
        f"  {one.series}: {one.value:.4g}{interval} {one.unit}, {jars}, {_FINISHED[one.finished]}"
    )
