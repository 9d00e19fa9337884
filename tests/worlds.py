"""Trials without any error, as people keep them, for counting false alarms and planting errors.

Jars are read one after the other in a random order, some rounds are skipped for some jars, feeds
are slow, poor, late, inhibited at first or come in two parts, and figures are rounded.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from bmp.trial import FloatArray, Trial
from tests.planted import WAYS, options, with_column
from tests.simulate_trials import CELLULOSE, Feed, Simulated, simulate_trial

MINUTES_APART = (0.0, 0.1, 2.0, 10.0)


@dataclass(frozen=True)
class TwoParts(Feed):
    """A feed of which a part is digested much later."""

    later_d: float = 12.0
    later_share: float = 0.4

    def yield_at(self, t: FloatArray) -> FloatArray:
        early = super().yield_at(t)
        late = super().yield_at(np.maximum(t - self.later_d, 0.0))
        return (1 - self.later_share) * early + self.later_share * late


def _feed(rng, number: int) -> Feed:
    kind = rng.choice(["plain", "gompertz", "poor", "late", "two parts"])
    B0 = float(rng.uniform(40, 120) if kind == "poor" else rng.uniform(180, 600))
    solids = float(rng.uniform(0.08, 0.9))
    same = {"B0": B0, "TS": solids, "VS": solids * rng.uniform(0.7, 0.97),
            "methane_share": rng.uniform(0.5, 0.7)}  # fmt: skip
    name = f"feed {number}"
    if kind in ("plain", "poor"):
        return Feed(name, k=rng.uniform(0.06, 0.5), **same)
    if kind == "two parts":
        return TwoParts(name, k=rng.uniform(0.2, 0.5), later_d=rng.uniform(8, 18), **same)
    lag = rng.uniform(7, 14) if kind == "late" else rng.uniform(0.0, 5.0)
    return Feed(name, k=None, Rm=B0 * rng.uniform(0.06, 0.15), lag=lag, **same)


def _times(rng) -> tuple[float, ...]:
    kind = rng.choice(["daily", "sparse", "weekdays", "holiday", "six-hourly"])
    if kind == "six-hourly":
        return tuple(np.arange(1, 4 * 30 + 1) / 4.0)
    if kind == "sparse":
        return (1.0, 2.0, 3.0, 5.0, 7.0, 9.0, 12.0, 15.0, 18.0, 22.0, 26.0, 30.0, 35.0, 40.0, 45.0)
    days = np.arange(1, 41)
    if kind == "weekdays":
        first = rng.integers(5)
        days = days[(days + first) % 7 < 5]
    if kind == "holiday":
        start = rng.integers(10, 25)
        days = days[(days < start) | (days >= start + 9)]
    return tuple(float(d) for d in days)


def world(
    rng, minutes_apart: float | None = None, way: str | None = None, skips: bool = True, **changes
) -> Simulated:
    """Draw a trial without any error."""
    way = way or str(rng.choice(WAYS))
    chosen = options(rng, way)
    minutes = float(rng.choice(MINUTES_APART)) if minutes_apart is None else minutes_apart
    feeds = tuple(_feed(rng, n + 1) for n in range(rng.integers(1, 4)))
    chosen |= {
        "feeds": (replace(CELLULOSE, B0=rng.uniform(350, 385), k=rng.uniform(0.18, 0.35)), *feeds),
        "time_d": _times(rng),
        "jars_per_material": int(rng.integers(2, 6)),
        "blanks": int(rng.integers(2, 6)),
        "minutes_apart": minutes,
        "between_lags_d": float(rng.choice([0.0, 0.1, 0.3])),
        "shares": way != "methane volume",
    }
    chosen |= changes
    if len(chosen["time_d"]) > 60:
        chosen["minutes_apart"] = min(minutes, 0.1)  # nobody walks round four times a day
    if way == "mass":
        chosen["drift_g"] = rng.normal(0, 0.05, len(chosen["time_d"]))
    made = simulate_trial(rng, **chosen)
    trial = made.trial
    if skips and rng.random() < 0.6:
        trial = skipped(rng, trial)
    step = float(rng.choice([0.0, 0.1, 1.0, 5.0, 10.0]))
    if step and "volume_mL" in trial.readings.columns:
        values = trial.readings.columns["volume_mL"]
        trial = with_column(trial, "volume_mL", np.round(values / step) * step)
    for name, digits in (("gauge_before_kPa", 1), ("absolute_before_kPa", 1),
                         ("mass_before_g", 2), ("mass_after_g", 2)):  # fmt: skip
        if name in trial.readings.columns and rng.random() < 0.5:
            trial = with_column(trial, name, np.round(trial.readings.columns[name], digits))
    return replace(made, trial=trial)


def skipped(rng, trial: Trial, part: float = 0.03) -> Trial:
    """Leave some readings out; what they would have held is in the jar's next reading."""
    r = trial.readings
    columns = {name: values.copy() for name, values in r.columns.items()}
    keep = np.ones(r.time_d.shape, bool)
    partly = any(name.endswith("after_kPa") for name in columns)
    for j, jar in enumerate(trial.jars):
        own = np.flatnonzero(r.jar == j)
        last = -2
        for k in range(1, len(own) - 1):
            if partly or k - last < 2 or rng.random() > part:
                continue
            last, i, after = k, own[k], own[k + 1]
            keep[i] = False
            way = trial.setup.measured
            if way in ("volume", "methane volume") and not trial.setup.cumulative:
                columns["volume_mL"][after] += columns["volume_mL"][i]
            elif way == "pressure" and not r.not_vented[i]:
                for name in ("gauge_before_kPa", "absolute_before_kPa"):
                    if name in columns:
                        less = columns["ambient_kPa"][i] if name.startswith("abs") else 0.0
                        columns[name][after] += columns[name][i] - less
            elif way == "mass" and jar.role != "weight check":
                vented = columns["mass_before_g"][i] - columns["mass_after_g"][i]
                columns["mass_before_g"][after] += vented
                if "volume_mL" in columns:
                    columns["volume_mL"][after] += columns["volume_mL"][i]
    return replace(trial, readings=replace(r, columns=columns).where(keep))
