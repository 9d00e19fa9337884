"""Where the ways of measuring meet: readings of any kind become one kind of methane curve.

Adding a way of measuring is adding a function here that returns a `Part`, its name in
`bmp.trial.WAYS_OF_MEASURING`, and its columns in `bmp.read.columns`.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, fields, replace
from typing import Any

import numpy as np

from bmp.normalise.absorbed import absorbed_methane_NmL
from bmp.normalise.flow import Flow, gas_is_kept, pressure_flow, volume_flow
from bmp.normalise.methane import methane_as_measured, methane_flush_excluded
from bmp.normalise.share import Shares, assumed_shares, shares
from bmp.normalise.state import GasState, gas_state
from bmp.normalise.weighing import (
    Leaks,
    balance_uncertainty_g,
    density_shares,
    leaks,
    mass_flow,
    weighings,
)
from bmp.published_errors import published_error
from bmp.runs import last, lengths, previous, total
from bmp.trial import BoolArray, FloatArray, IntArray, Readings, Setup, Trial

SHARE_ORIGINS = (
    "", "measured", "interpolated", "held", "replicate jars", "assumed", "density", "absorber",
)  # fmt: skip
"""Where the methane share of a reading can be from."""
_ORIGIN = {word: number for number, word in enumerate(SHARE_ORIGINS)}


@dataclass(frozen=True, eq=False)
class JarGas:
    """The gas of every jar at every reading. Flat arrays aligned with the trial's readings."""

    jar: IntArray
    time_d: FloatArray
    gas_NmL: FloatArray
    """Dry gas formed since closing; NaN where only methane is read, or yields are given."""
    methane_NmL: FloatArray
    """Methane formed since closing; NaN where yields are given."""
    plain_methane_NmL: FloatArray
    """Behind an absorber: the volume read, no flush gas balanced; elsewhere as `methane_NmL`."""
    share: FloatArray
    """Methane share used; NaN where none is."""
    share_origin: IntArray
    """Where each share is from: index into `SHARE_ORIGINS`."""
    state: GasState
    fall: BoolArray
    """Less gas than at the reading before."""
    fall_explained: BoolArray
    share_u: FloatArray
    """Standard uncertainty of each jar's methane from its share, relative; shape (jars,)."""
    share_u_common: BoolArray
    """The share's error is common to all jars (one assumed share); shape (jars,)."""
    leaks: Leaks | None
    weighing_u_g: float | None

    @property
    def share_from(self) -> tuple[str, ...]:
        """Where each share is from, in words."""
        return tuple(SHARE_ORIGINS[number] for number in self.share_origin.tolist())


@dataclass(frozen=True, eq=False)
class Part:
    """What one way of measuring gives for the readings of `here`."""

    here: BoolArray | slice
    gas: FloatArray
    methane: FloatArray
    plain: FloatArray
    share: FloatArray
    share_origin: IntArray
    fall: BoolArray
    fall_explained: BoolArray
    relative_u: FloatArray
    """Of the share, aligned with the part's readings."""


def normalise(trial: Trial, without: str | None = None) -> JarGas:
    """Return each jar's methane as dry gas at the reference state.

    Parameters
    ----------
    trial : Trial
    without : str, optional
        A correction of `CORRECTIONS` to leave out, to show what it does.
    """
    readings = trial.readings
    state = gas_state(readings, trial.jars, trial.setup, without)
    weighing_u = balance_uncertainty_g(readings, trial.jars, trial.setup)
    weighed = weighings(readings, trial.jars, drift_off=without != "scale drift")
    size, none = readings.jar.size, np.zeros(readings.jar.size, dtype=bool)
    gas, methane, plain, share, share_u = (np.full(size, np.nan) for _ in range(5))
    origin = np.zeros(size, dtype=np.int64)
    fall, explained = none.copy(), none.copy()
    for part in _parts(trial, state, weighed.lost, weighing_u, without):
        here = part.here
        gas[here], methane[here], plain[here] = part.gas, part.methane, part.plain
        share[here], share_u[here] = part.share, part.relative_u
        fall[here], explained[here] = part.fall, part.fall_explained
        origin[here] = part.share_origin
    per_jar, common = _share_uncertainty(trial, origin, share_u, methane)
    twice = ~np.isnan(weighed.leaked)
    return JarGas(
        readings.jar, readings.time_d, gas, methane, plain, share, origin, state, fall, explained,
        per_jar, common, leaks(readings, weighed, weighing_u) if twice.any() else None, weighing_u,
    )  # fmt: skip


def _parts(
    trial: Trial,
    state: GasState,
    lost_g: FloatArray,
    weighing_u_g: float | None,
    without: str | None,
) -> Iterator[Part]:
    readings, jars = trial.readings, trial.jars
    ways = np.array([jar.measured for jar in jars] or [""])
    read, weighed = (
        np.bincount(readings.jar, ~np.isnan(values), minlength=len(jars)) > 0
        for values in (readings.column("volume_mL"), lost_g)
    )
    checks = np.array([jar.role == "weight check" for jar in jars], dtype=bool)
    both = read & weighed & np.isin(ways, ("volume", "mass")) & ~checks
    # by mass and volume: jars that are weighed are shut between readings, others are open
    kinds = {
        "volume": (ways == "volume") & ~both,
        "methane volume": ways == "methane volume",
        "pressure": ways == "pressure",
        "mass": (ways == "mass") & ~both & ~checks,
        "volume, weighed too": (ways == "volume") & both,
        "mass, volume too": (ways == "mass") & both,
    }
    for kind, jars_of_kind in kinds.items():
        marked = jars_of_kind[readings.jar]
        if marked.any():
            here: BoolArray | slice = slice(None)
            some, its_state = readings, state
            if not marked.all():
                here, some, its_state = marked, readings.where(marked), state_where(state, marked)
            if kind == "methane volume":
                yield _behind_absorber(here, some, its_state, trial.setup, without)
            else:
                yield _with_share(
                    here, kind, some, its_state, trial, lost_g[here], weighing_u_g, without
                )


def state_where(state: GasState, here: BoolArray) -> GasState:
    """Return the state of the gas at the marked readings."""
    kept: dict[str, Any] = {
        field.name: value[here] if isinstance(value, np.ndarray) else value
        for field in fields(state)
        for value in [getattr(state, field.name)]
    }
    return GasState(**kept)


def _volumes(
    readings: Readings, state: GasState, setup: Setup, closed: bool, without: str | None
) -> Flow:
    return volume_flow(
        readings,
        state,
        cumulative=setup.cumulative,
        kept=gas_is_kept(readings, setup),
        closed=closed,
        balance=without != "headspace",
    )


def _behind_absorber(
    here: BoolArray | slice, readings: Readings, state: GasState, setup: Setup, without: str | None
) -> Part:
    flow = _volumes(readings, state, setup, False, without)
    plain = total(flow.vented, readings.jar)
    share = setup.share_before_absorber
    passing = 1.0 - setup.flush_gas.get("CO2", 0.0)
    methane = plain
    if without != "flush gas":
        methane = absorbed_methane_NmL(flow, share, passing, readings.jar)
    unknown = np.full(plain.shape, np.nan)
    origin = np.full(plain.shape, _ORIGIN["absorber"])
    # the balance takes off (1 - x) H0 in the end, so its error is that of x times H0
    swing = setup.share_before_absorber_half_width / 1.96 * np.nan_to_num(state.at_closing_NmL)
    end = np.abs(methane[last(readings.jar)])
    relative = swing / np.repeat(np.where(end > 0.0, end, np.inf), lengths(readings.jar))
    return Part(
        here, unknown, methane, plain, unknown, origin, flow.fall, flow.fall_explained, relative,
    )  # fmt: skip


def _with_share(
    here: BoolArray | slice,
    kind: str,
    readings: Readings,
    state: GasState,
    trial: Trial,
    lost_g: FloatArray,
    weighing_u_g: float | None,
    without: str | None,
) -> Part:
    setup, run = trial.setup, readings.jar
    closed = setup.closed_between_readings
    if kind == "pressure":
        closed, flow = True, pressure_flow(readings, state)
    elif kind == "mass":
        closed = closed is not False
        # a first guess of the flow, only to know how much flush gas a syringe would hold
        guess = np.nan_to_num(assumed_shares(trial)[0], nan=0.6)[run]
        flow = mass_flow(
            readings, state, lost_g, guess, replace(setup, flush_excluded=True), closed
        )
    else:
        closed = kind == "mass, volume too" if closed is None else closed
        flow = _volumes(readings, state, setup, closed, without)
    flush_share = flow.flush_left * state.at_closing_NmL / flow.under_lid
    assumed, half_width = assumed_shares(trial)
    told = shares(readings, trial.jars, setup, flush_share, assumed)
    share, origin = told.share, _origin(told)
    relative = _relative_u(told, readings, setup, (half_width / 1.96 / assumed)[run])
    from_density = np.zeros(run.shape, dtype=bool)
    if kind.endswith("too"):
        dense = density_shares(readings, state, lost_g, flow, setup, weighing_u_g, closed)
        from_density = (told.assumed | np.isnan(share)) & ~np.isnan(dense.share)
        share = np.where(from_density, dense.share, share)
        error = np.nan_to_num(dense.uncertainty) / dense.share
        relative = np.where(from_density, error, relative)
        origin = np.where(from_density, _ORIGIN["density"], origin)
    if kind == "mass":
        flow = mass_flow(readings, state, lost_g, share, setup, closed, without != "flush gas")
    # a share told by density is CH4/(CH4 + CO2), whatever the trial's basis
    interval = methane_flush_excluded(share, flow.produced)
    if not setup.flush_excluded:
        as_measured = methane_as_measured(share, flow, run, closed)
        interval = np.where(from_density, interval, as_measured)
    methane = total(interval, run)
    return Part(
        here, total(flow.produced, run), methane, methane, share, origin, flow.fall,
        flow.fall_explained, relative,
    )  # fmt: skip


def _origin(told: Shares) -> IntArray:
    origin = np.full(told.share.shape, _ORIGIN["interpolated"])
    origin[told.outside] = _ORIGIN["held"]
    origin[told.from_replicates] = _ORIGIN["replicate jars"]
    origin[told.measured] = _ORIGIN["measured"]
    origin[told.assumed] = _ORIGIN["assumed"]
    return origin


def _relative_u(
    told: Shares, readings: Readings, setup: Setup, assumed_u: FloatArray
) -> FloatArray:
    """Return the standard uncertainty of each share, relative: assumed, of meter or syringe."""
    relative = np.zeros(told.share.shape)
    meter = meter_half_width(setup)
    if meter is not None:
        known = ~told.assumed & (told.share > 0.0)
        relative[known] = meter / 1.96 / told.share[known]
    elif "syringe_gas_left_mL" in readings.columns:
        known = ~told.assumed & (told.share > 0.0)
        relative[known] = _syringe_u(readings)[readings.jar[known]] / told.share[known]
    relative[told.assumed] = np.nan_to_num(assumed_u)[told.assumed]
    return relative


def _syringe_u(readings: Readings) -> FloatArray:
    """Return what reading syringes leaves open of each jar's methane share. Shape (jars,).

    Each reading of a syringe errs by itself, so those of a jar average out. A jar without one
    takes the share of its replicates, and as much is open as with one syringe.
    """
    drawn = readings.column("syringe_gas_mL")
    read = ~np.isnan(readings.column("syringe_gas_left_mL")) & (drawn > 0.0)
    read &= np.isnan(readings.column("methane_share"))
    size = int(readings.jar.max(initial=-1)) + 1
    if not read.any():
        return np.zeros(size)
    one = published_error("syringe").typical / 1.96 / drawn[read]
    count = np.bincount(readings.jar[read], minlength=size)
    squares = np.bincount(readings.jar[read], one**2, minlength=size)
    typical = float(np.sqrt(np.mean(one**2)))
    return np.where(count > 0, np.sqrt(squares) / np.maximum(count, 1), typical)


def meter_half_width(setup: Setup) -> float | None:
    """Return half the 95 % interval of the meter's error, as given or as published; else `None`."""
    if setup.measured_share_half_width is not None:
        return setup.measured_share_half_width
    if setup.methane_meter is not None:
        return published_error(setup.methane_meter).typical / 100
    return None


def _share_uncertainty(
    trial: Trial, origin: IntArray, relative_u: FloatArray, methane: FloatArray
) -> tuple[FloatArray, BoolArray]:
    """Return each jar's relative uncertainty from its share, and whether all jars share the error.

    Weighted by the methane of each interval: an assumed share bears only on what rests on it.
    """
    run, count = trial.readings.jar, len(trial.jars)
    one_error = (origin == _ORIGIN["assumed"]) | (origin == _ORIGIN["absorber"])
    one_error |= meter_half_width(trial.setup) is not None
    common = np.bincount(run[one_error], minlength=count) > 0
    if not np.any(relative_u > 0.0):
        return np.zeros(count), common
    formed = np.nan_to_num(methane)
    formed = np.abs(formed - previous(formed, run, np.zeros_like(formed)))
    resting = np.bincount(run, formed * np.nan_to_num(relative_u), minlength=count)
    whole = np.bincount(run, formed, minlength=count)
    per_jar = np.divide(resting, whole, out=np.zeros(count), where=whole > 0.0)
    return per_jar, common
