"""Sizes of errors that a trial may carry, each with its source: data in `published_errors.csv`."""

from __future__ import annotations

import csv
from dataclasses import dataclass
from functools import cache
from importlib.resources import files


@dataclass(frozen=True)
class PublishedError:
    """One kind of error: its usual span."""

    name: str
    low: float
    typical: float
    high: float
    unit: str
    meaning: str
    source: str


@cache
def published_error(name: str) -> PublishedError:
    """Return the error of that name; KeyError where there is none."""
    return {row.name: row for row in _rows()}[name]


@cache
def _rows() -> tuple[PublishedError, ...]:
    with files("bmp").joinpath("published_errors.csv").open(encoding="utf-8") as table:
        return tuple(
            PublishedError(
                row["name"],
                float(row["low"]),
                float(row["typical"]),
                float(row["high"]),
                row["unit"],
                row["meaning"],
                row["source"],
            )
            for row in csv.DictReader(table)
        )


BARRIER_LIQUIDS = ("water", "acid water", "salt water", "none")
"""What gas may be collected over; `none`: a counter, a syringe or a bag."""
METHANE_METERS = ("gas chromatograph", "infrared meter")
