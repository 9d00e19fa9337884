"""An item of a request that cannot be met, said so that it can be changed."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from bmp.plan.plan_request import PlanRequest


@dataclass(frozen=True)
class Refusal:
    """One item of a request that cannot be met."""

    item: str
    """The item, as the table of the request calls it."""
    why: str
    """What was asked, and the reason against it."""
    instead: str
    """The smallest change that would do; empty where only the person can say."""
    change: Mapping[str, Any] = field(default_factory=dict)
    """Fields of `PlanRequest` to replace."""
    meanwhile: Mapping[str, Any] = field(default_factory=dict)
    """Fields that stand in for what only the person can say, so that the rest is looked at too."""

    def line(self) -> str:
        """Return the refusal as one line."""
        return f"{self.item}: {self.why}" + (f"; possible: {self.instead}" if self.instead else "")


class PlanRefused(ValueError):
    """The request is impossible. `nearest` holds a possible one, where there is any."""

    def __init__(self, refusals: tuple[Refusal, ...], nearest: PlanRequest | None) -> None:
        super().__init__("\n".join(r.line() for r in refusals))
        self.refusals = refusals
        self.nearest = nearest
