"""A number with its 95 % interval and, where it has none, the reason in plain words."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any


@dataclass(frozen=True)
class Estimate:
    """One estimated quantity.

    A quantity that the data do not determine has no `value`; `why` then says so in words that a
    reader of the report can use, and `ci95` may still hold the bound that the data do give
    (`(lower, None)`: at least `lower`).
    """

    value: float | None
    unit: str
    ci95: tuple[float | None, float | None] | None = None
    interval_from: str = ""
    """What the interval is made of: `between jars`, `within the jar only`, `simulation` …"""
    why: str = ""
    """Why there is no value or no interval; empty where both are given."""

    def to_dict(self) -> dict[str, Any]:
        """Return the plain dictionary that `results.json` holds."""
        return {
            "value": self.value,
            "ci95": None if self.ci95 is None else list(self.ci95),
            "unit": self.unit,
            "interval_from": self.interval_from,
            "why": self.why,
        }
