"""The methane share of every reading's gas: typed in, by syringe, from replicates, or assumed."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from bmp.runs import interpolate
from bmp.trial import (
    ASSUMED_SHARE_HALF_WIDTH,
    BoolArray,
    FloatArray,
    IntArray,
    Jar,
    Readings,
    Setup,
    Trial,
)

# Below this share of the jar's own gas under the lid, a syringe tells more of the flush gas than
# of it (common practice, no source).
LEAST_OWN_SHARE = 0.2


@dataclass(frozen=True, eq=False)
class Shares:
    """Methane share at each reading, in the sense of the trial's composition basis."""

    share: FloatArray
    """NaN where nothing tells it."""
    measured: BoolArray
    """Stands at this very reading."""
    outside: BoolArray
    """Before the first or after the last measured share of its jar: the nearest one is held."""
    from_replicates: BoolArray
    """Taken from the other jars of its series."""
    assumed: BoolArray
    """Taken from the trial's assumed share."""


def shares(
    readings: Readings,
    jars: tuple[Jar, ...],
    setup: Setup,
    flush_share: FloatArray,
    assumed_share: FloatArray,
) -> Shares:
    """Return the methane share at every reading.

    Parameters
    ----------
    assumed_share : ndarray, shape (jars,)
        Share that stands in for a jar where nothing tells it, as `assumed_shares` has it.
    flush_share : ndarray, shape (readings,)
        Share of flush gas in the gas under the lid, for the syringe; NaN counts as none.
    """
    run, time_d = readings.jar, readings.time_d
    point = readings.column("methane_share")
    if "syringe_gas_left_mL" in readings.columns:
        point = np.where(np.isnan(point), syringe_share(readings, setup, flush_share), point)
    known = ~np.isnan(point)
    at_closing = not setup.flush_excluded
    share, outside = point.copy(), np.zeros_like(known)
    gaps = ~known
    if gaps.any():
        share[gaps], outside[gaps] = _interpolated(
            run[gaps], time_d[gaps], run[known], time_d[known], point[known], at_closing
        )
    from_replicates = np.isnan(share)
    if from_replicates.any():
        series = _series(jars)[run]
        others = _mean_curve(series, time_d, known, point, at_closing)
        share = np.where(from_replicates, others, share)
    assumed = np.isnan(share)
    constant = assumed_share[run]
    return Shares(
        np.where(assumed, constant, share), known, outside & ~assumed, from_replicates & ~assumed,
        assumed,
    )  # fmt: skip


def assumed_shares(trial: Trial) -> tuple[FloatArray, FloatArray]:
    """Return the assumed methane share of each jar and half the width of its 95 % interval.

    That of its material, else the trial's; NaN without either. Shape (jars,) each.
    """
    setup, by_name = trial.setup, {m.name: m for m in trial.materials}
    trials = (setup.methane_share, setup.methane_share_half_width)
    found = []
    for jar in trial.jars:
        material = by_name.get(jar.material)
        if material is None or material.methane_share is None:
            found.append(trials)
            continue
        half = material.methane_share_half_width
        found.append((material.methane_share, ASSUMED_SHARE_HALF_WIDTH if half is None else half))
    share, half_width = np.array(found or [trials], dtype=float).T
    return share, half_width


def _series(jars: tuple[Jar, ...]) -> IntArray:
    number = {name: index for index, name in enumerate(sorted({jar.series for jar in jars}))}
    return np.array([number[jar.series] for jar in jars], dtype=np.int64)


def _interpolated(
    run: IntArray,
    at: FloatArray,
    runs: IntArray,
    times: FloatArray,
    known: FloatArray,
    closing: bool,
) -> tuple[FloatArray, BoolArray]:
    """Interpolate in each run; with `closing`, from nought at time 0 (no methane is flushed in)."""
    if closing and runs.size:
        own = np.unique(runs)
        missing = own[~np.isin(own, runs[times == 0.0])]
        runs = np.concatenate([runs, missing])
        times = np.concatenate([times, np.zeros(missing.size)])
        known = np.concatenate([known, np.zeros(missing.size)])
        order = np.lexsort((times, runs))
        runs, times, known = runs[order], times[order], known[order]
    return interpolate(run, at, runs, times, known)


def _mean_curve(
    series: IntArray, time_d: FloatArray, known: BoolArray, point: FloatArray, closing: bool
) -> FloatArray:
    """Return, at every reading, the mean share that jars of its series showed at that time."""
    keys, place = np.unique(
        np.stack([series[known].astype(float), time_d[known]]), axis=1, return_inverse=True
    )
    if not keys.size:
        return np.full(time_d.shape, np.nan)
    mean = np.bincount(place.ravel(), point[known]) / np.bincount(place.ravel())
    return _interpolated(series, time_d, keys[0].astype(np.int64), keys[1], mean, closing)[0]


def syringe_share(readings: Readings, setup: Setup, flush_share: FloatArray) -> FloatArray:
    """Return the share told by a syringe shaken with an alkaline solution; NaN where none does.

    What the solution does not take is methane and flush gas: gas left / gas drawn = x + f, with f
    the flush gas's share under the lid. On the basis CH4 + CO2 = 100 % the share is
    (left/drawn - f)/(1 - f). Hydrogen sulphide goes with the carbon dioxide.
    """
    left_over = readings.column("syringe_gas_left_mL") / readings.column("syringe_gas_mL")
    inert = 1.0 - setup.flush_gas.get("CO2", 0.0)
    flush = np.nan_to_num(np.clip(flush_share, 0.0, 1.0)) * inert
    if not setup.flush_excluded:
        return np.clip(left_over - flush, 0.0, 1.0)
    own = 1.0 - flush
    share = np.clip((left_over - flush) / np.maximum(own, LEAST_OWN_SHARE), 0.0, 1.0)
    return np.where(own >= LEAST_OWN_SHARE, share, np.nan)
