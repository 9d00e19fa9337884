"""One thing that was found about a trial: what, where, against which limit, and what to do."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import Any, Literal, TypeAlias

Outcome: TypeAlias = Literal["pass", "caution", "fail", "not judged"]


@dataclass(frozen=True)
class Finding:
    """The outcome of one check.

    `pass`: looked at and in order. `caution`: think before you rely on it. `fail`: cannot be
    relied upon. `not judged`: what it takes to look was not given, which is not a pass.
    """

    check: str
    outcome: Outcome
    value: float | str | None
    """What was found, in the unit that `limit` names."""
    limit: str
    source: str
    meaning: str
    """Plain words: what was seen and why it matters."""
    advice: str = ""
    where: str = ""
    """Jars, material or readings concerned; empty: the whole trial."""

    def to_dict(self) -> dict[str, Any]:
        """Return the plain dictionary that `results.json` holds."""
        return asdict(self)


def worst(findings: tuple[Finding, ...] | list[Finding]) -> Outcome:
    """Return the gravest outcome among `findings`; `pass` where there are none."""
    order: tuple[Outcome, ...] = ("fail", "caution", "not judged", "pass")
    seen = {finding.outcome for finding in findings}
    return next((outcome for outcome in order if outcome in seen), "pass")
