"""What a reading error is: what spoils a yield in the readings, and how it is said."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Literal, TypeAlias

import numpy as np

from bmp.finding import Finding
from bmp.judge.rough_gas import RoughGas
from bmp.trial import IntArray, Trial


@dataclass(frozen=True)
class Seen:
    """One place where a reading error was seen."""

    value: float | str
    where: str
    detail: str
    """What was seen, as a sentence."""
    outcome: Literal["caution", "fail"] | None = None
    """Where this place is less sure than the error usually is."""
    readings: tuple[int, ...] = ()
    """Indices of the readings, where it is about single ones."""


Detector: TypeAlias = Callable[[Trial, RoughGas], tuple[Seen, ...] | None]
"""Pure; an empty tuple: looked and found nothing; `None`: what it takes is not there."""


@dataclass(frozen=True)
class ReadingError:
    """One kind of error: its name, page, detector and what to do. Nothing is corrected silently."""

    name: str
    page: str
    """Name of its page under `bmp/guide/reading_errors/`."""
    detect: Detector
    limit: str
    """When it counts as seen."""
    advice: str
    source: str = "common practice, no source"
    outcome: Literal["caution", "fail"] = "caution"
    first: bool = False
    """Looked for in the readings as they stand, before causes are taken out of them."""
    whole_jars: bool = False
    """What is seen of whole jars then is told only if it is seen without the causes too."""

    def findings(self, found: tuple[Seen, ...] | None) -> tuple[Finding, ...]:
        """Return one finding per place; a single `pass` or `not judged` where there is none."""
        if found is None:
            meaning = "Not judged: the readings do not hold what it takes to see this."
            return (Finding(self.name, "not judged", None, self.limit, self.source, meaning),)
        if not found:
            return (Finding(self.name, "pass", None, self.limit, self.source, "Not seen."),)
        return tuple(
            Finding(
                self.name, one.outcome or self.outcome, one.value, self.limit, self.source,
                one.detail, self.advice, one.where,
            )
            for one in found
        )  # fmt: skip


def named(trial: Trial, readings: IntArray | Sequence[int], most: int = 4) -> str:
    """Name readings by jar, day and row of the table; the first few, and how many more."""
    r = trial.readings
    chosen = [int(i) for i in readings]
    texts = [
        f"{trial.jars[int(r.jar[i])].name} day {r.time_d[i]:g} (row {r.row[i]})"
        for i in chosen[:most]
    ]
    more = f" and {len(chosen) - most} more" if len(chosen) > most else ""
    return ", ".join(texts) + more


def jar_names(trial: Trial, jars: Sequence[int] | IntArray) -> str:
    """Name jars, the first few, and how many more."""
    names = [trial.jars[int(j)].name for j in jars]
    more = f" and {len(names) - 6} more" if len(names) > 6 else ""
    return ", ".join(names[:6]) + more


def has_gas(trial: Trial) -> bool:
    """Tell whether readings are of gas volumes (counters), not pressures, masses or yields."""
    return trial.setup.measured in ("volume", "methane volume")


def finite_max(values: np.ndarray) -> float:
    """Return the largest finite value; NaN where there is none."""
    finite = values[np.isfinite(values)]
    return float(finite.max()) if finite.size else float("nan")
