"""A first rough look at the readings, for finding errors in them.

Errors must be found in readings that the strict normalisation refuses, so this reads everything
and refuses nothing: what cannot be known roughly is NaN. No figure from here is ever a result.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from bmp.normalise.gas import reference_factor, saturation_pressure_kPa
from bmp.normalise.state import filled
from bmp.rounds import round_times, rounds
from bmp.trial import BoolArray, FloatArray, IntArray, Readings, Setup, Trial

ROUGH_SHARE = 0.6
"""Methane share where none was given."""
ROUGH_DENSITY_G_PER_ML = 0.0013
"""Dry biogas at the reference state, about half methane."""
TYPICAL_CELLULOSE_YIELD = 367.5
"""Middle of the published window, NmL CH4 per g VS (document 100 v1.9)."""


@dataclass(frozen=True, eq=False)
class RoughGas:
    """Rough gas of every jar. Arrays over readings unless said otherwise."""

    value: FloatArray
    """The number that was typed: volume, pressure before venting, mass or net yield."""
    value_name: str
    previous: IntArray
    """Index of the jar's reading before this one; -1 for its first."""
    interval_NmL: FloatArray
    """Dry gas since the jar's last reading, with whatever drops there are."""
    slope_NmL: FloatArray
    """Dry gas for each unit more of the number that was typed."""
    share: FloatArray
    """Methane share, nearest given one."""
    round: IntArray
    """Number of the round of reading that each reading belongs to."""
    time_d: FloatArray
    """Middle times of the rounds, shape (rounds,)."""
    gas_NmL: FloatArray
    """Cumulative gas of each jar in those rounds, shape (jars, rounds); NaN after its last."""
    of_jar: tuple[IntArray, ...]
    """Indices of each jar's readings, by time."""

    @property
    def first(self) -> BoolArray:
        """The jar's first reading."""
        return self.previous < 0

    @property
    def jars(self) -> range:
        """Indices of the jars."""
        return range(len(self.of_jar))

    def made_by(self, j: int) -> FloatArray:
        """Return the known interval gas of one jar, by time."""
        made = self.interval_NmL[self.of_jar[j]]
        return np.asarray(made[np.isfinite(made)])

    def length_d(self, trial: Trial) -> FloatArray:
        """Return the time since the jar's last reading, or since closing."""
        t = trial.readings.time_d
        return np.asarray(t - np.where(self.first, 0.0, t[self.previous]))


def dry_factor(temperature_C: FloatArray, pressure_kPa: FloatArray, wet: bool) -> FloatArray:
    """Return NmL of dry gas per mL."""
    vapour = saturation_pressure_kPa(temperature_C) * wet
    return reference_factor(pressure_kPa, temperature_C, vapour)


def look(trial: Trial) -> RoughGas:
    """Read every jar roughly."""
    r = trial.readings
    order = tuple(np.flatnonzero(r.jar == j) for j in range(len(trial.jars)))
    order = tuple(one[np.argsort(r.time_d[one], kind="stable")] for one in order)
    previous = np.full(len(r.time_d), -1)
    for one in order:
        previous[one[1:]] = one[:-1]
    value, name = _value(trial)
    interval = _interval(trial, value, name, previous)
    share = _share(trial, order)
    number = rounds(r.jar, r.time_d)
    times = round_times(number, r.time_d)
    gas = np.full((len(trial.jars), len(times)), np.nan)
    for j, one in enumerate(order):
        known = one[np.isfinite(interval[one])]
        if len(known):
            total = np.concatenate([[0.0], np.cumsum(interval[known])])
            at = np.concatenate([[0.0], r.time_d[known]])
            # the jar's last reading stands for its round, however early in it it was taken
            until = int(number[known[-1]]) + 1
            gas[j, :until] = np.interp(times[:until], at, total)
    slope = _slope(trial, value, name)
    return RoughGas(value, name, previous, interval, slope, share, number, times, gas, order)


def _slope(trial: Trial, value: FloatArray, name: str) -> FloatArray:
    """Return the gas for each unit more of what was typed. Shape (readings,)."""
    way, setup, r = trial.setup.measured, trial.setup, trial.readings
    if way == "net yield":
        return np.ones_like(value)
    if way == "mass":
        return np.full_like(value, (-1.0 if name == "mass_g" else 1.0) / ROUGH_DENSITY_G_PER_ML)
    temperature, ambient = _conditions(setup, r)
    if way != "pressure":
        return dry_factor(temperature, ambient, setup.gas_is_wet)
    room = np.array([jar.headspace_mL or np.nan for jar in trial.jars])[r.jar]
    one_more = dry_factor(temperature, ambient + 1.0, True) - dry_factor(temperature, ambient, True)
    return np.asarray(room * one_more)


def _value(trial: Trial) -> tuple[FloatArray, str]:
    """Return what was typed and the name of its column."""
    names = {
        "volume": ("volume_mL",),
        "methane volume": ("volume_mL",),
        "pressure": ("gauge_before_kPa", "absolute_before_kPa"),
        "mass": ("mass_before_g", "mass_g"),
        "net yield": ("net_yield_mL_per_g",),
    }[trial.setup.measured]
    for name in names:
        column = trial.readings.column(name)
        if np.isfinite(column).any():
            return column, name
    return trial.readings.column(names[0]), names[0]


def _interval(trial: Trial, value: FloatArray, name: str, previous: IntArray) -> FloatArray:
    way = trial.setup.measured
    if way in ("volume", "methane volume"):
        return _from_volume(trial.setup, trial.readings, value, previous)
    if way == "pressure":
        return _from_pressure(trial, name, previous)
    if way == "mass":
        return _from_mass(trial.readings, name, previous)
    first = previous < 0
    return np.asarray(value - np.where(first, 0.0, value[previous]))


def _conditions(setup: Setup, r: Readings) -> tuple[FloatArray, FloatArray]:
    """Temperature of the gas that is read and air pressure, roughly where not given."""
    warm = setup.measured in ("pressure", "mass")
    usual = setup.incubation_temperature_C if warm else setup.gas_temperature_C
    temperature = filled(filled(r.column("temperature_C"), usual), 20.0)
    return temperature, filled(filled(r.column("ambient_kPa"), setup.ambient_kPa), 101.325)


def _from_volume(setup: Setup, r: Readings, value: FloatArray, previous: IntArray) -> FloatArray:
    temperature, ambient = _conditions(setup, r)
    factor = dry_factor(temperature, ambient, setup.gas_is_wet)
    if not setup.cumulative:
        return np.asarray(value * factor)
    start_again = (previous < 0) | r.emptied[previous]
    start_again |= r.emptied & (value < value[previous])
    # what a vessel keeps is read again in the weather of each round
    then = factor[previous] if setup.gas_kept else factor
    return np.asarray(value * factor - np.where(start_again, 0.0, value[previous] * then))


def _from_pressure(trial: Trial, name: str, previous: IntArray) -> FloatArray:
    setup, r = trial.setup, trial.readings
    temperature, ambient = _conditions(setup, r)
    absolute = name.startswith("absolute")
    before = r.column(name) + (0.0 if absolute else ambient)
    after = r.column(name.replace("before", "after")) + (0.0 if absolute else ambient)
    after = np.where(np.isnan(after), np.where(r.not_vented, before, ambient), after)
    room = np.array([jar.headspace_mL or np.nan for jar in trial.jars])[r.jar]
    left = after * 0 + dry_factor(temperature, after, True)
    closing_C = setup.closing_temperature_C
    closing_C = setup.incubation_temperature_C if closing_C is None else closing_C
    closing_kPa = setup.closing_kPa if setup.closing_kPa is not None else setup.ambient_kPa
    closed_at = ambient if closing_kPa is None else np.full_like(ambient, closing_kPa)
    start = dry_factor(np.full_like(ambient, closing_C), closed_at, True)
    base = np.where(previous < 0, start, left[previous])
    return np.asarray(room * (dry_factor(temperature, before, True) - base))


def _from_mass(r: Readings, name: str, previous: IntArray) -> FloatArray:
    if name == "mass_before_g":
        lost = r.column("mass_before_g") - r.column("mass_after_g")
    else:
        mass = r.column("mass_g")
        lost = np.where(previous < 0, np.nan, mass[previous] - mass)
    return np.asarray(lost / ROUGH_DENSITY_G_PER_ML)


def _share(trial: Trial, order: tuple[IntArray, ...]) -> FloatArray:
    """Methane share at each reading, interpolated within each jar; 1 after an absorber."""
    r = trial.readings
    if trial.setup.measured == "methane volume":
        return np.ones_like(r.time_d)
    column = r.column("methane_share")
    usual = trial.setup.methane_share
    share = np.full(r.time_d.shape, ROUGH_SHARE if usual is None else usual)
    for one in order:
        known = one[np.isfinite(column[one])]
        if len(known):
            share[one] = np.interp(r.time_d[one], r.time_d[known], column[known])
    return share


def final_methane_NmL(trial: Trial, seen: RoughGas) -> FloatArray:
    """Return each jar's rough methane to its end, shape (jars,); NaN where it has none."""
    out = np.full(len(trial.jars), np.nan)
    for j, one in enumerate(seen.of_jar):
        made = seen.interval_NmL[one] * seen.share[one]
        if np.isfinite(made).any():
            out[j] = np.nansum(made)
    return out


def control_yield(trial: Trial, seen: RoughGas) -> float | None:
    """Return the rough net yield of the control, NmL CH4 per g VS; `None` without one."""
    if trial.setup.given_net:
        return None
    methane = final_methane_NmL(trial, seen)
    roles = np.array([jar.role for jar in trial.jars])
    inoculum = np.array([jar.inoculum_g for jar in trial.jars])
    counted = np.array([jar.counted for jar in trial.jars]) & np.isfinite(methane)
    blank, control = counted & (roles == "blank"), counted & (roles == "control")
    vs = np.array(
        [
            jar.sample_g * (trial.material(jar.material).VS or np.nan) if jar.sample_g else np.nan
            for jar in trial.jars
        ]
    )
    control &= np.isfinite(vs)
    if not control.any():
        return None
    own = float(np.mean(methane[blank] / inoculum[blank])) if blank.any() else 0.0
    return float(median((methane[control] - own * inoculum[control]) / vs[control]))


def control_settled(trial: Trial, seen: RoughGas) -> bool:
    """Tell whether the controls have nearly stopped: under 15 % of their gas in the last third.

    Only then does their yield say something about units and shares.
    """
    controls = [j for j, jar in enumerate(trial.jars) if jar.role == "control"]
    if not controls or len(seen.time_d) < 5 or seen.time_d[-1] < 8:
        return False
    gas = seen.gas_NmL[controls]
    third = int(np.searchsorted(seen.time_d, seen.time_d[-1] * 2 / 3))
    late = gas[:, -1] - gas[:, third]
    known = np.isfinite(late) & (gas[:, -1] > 0)
    return bool(known.any() and median(late[known] / gas[known, -1]) < 0.15)


def scale_step(values: FloatArray) -> float:
    """Return the step that figures were read in; where they follow none, their least difference."""
    known, times = np.unique(values[np.isfinite(values)], return_counts=True)
    for step in (10.0, 5.0, 2.0, 1.0, 0.5, 0.2, 0.1, 0.05, 0.02, 0.01):
        # a few figures that were converted or changed by a slip follow no step
        whole = np.abs(known / step - np.round(known / step)) < 1e-6
        if known.size > 4 and times[whole].sum() > 0.9 * times.sum():
            return step
    steps = np.diff(known)
    # figures that were converted from another unit differ in their last bits
    steps = steps[steps > 1e-9 * np.abs(known).max()] if known.size else steps
    return float(steps.min()) if steps.size else 0.0


def median(values: FloatArray | Sequence[float]) -> float:
    """Return the median, in a fifth of NumPy's own time; NaN of nothing or where one is unknown."""
    ordered = np.sort(values, axis=None)
    if not ordered.size or ordered[-1] != ordered[-1]:
        return float("nan")
    return 0.5 * float(ordered[(ordered.size - 1) // 2] + ordered[ordered.size // 2])
