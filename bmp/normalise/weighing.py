"""Gas from the mass that jars lose: drift of the scale, leaks, vapour, flush gas, gas density."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from bmp.constants import (
    DENSITY_CH4_G_PER_ML,
    DENSITY_CO2_G_PER_ML,
    DENSITY_N2_G_PER_ML,
    MOLAR_MASS_H2O,
    MOLAR_VOLUME_CH4_ML,
    MOLAR_VOLUME_CO2_ML,
    MOLAR_VOLUME_IDEAL_ML,
)
from bmp.normalise.flow import Flow
from bmp.normalise.gas import saturation_pressure_kPa
from bmp.normalise.state import GasState
from bmp.runs import (
    first,
    flattened,
    interpolate,
    lengths,
    padded,
    previous,
    previous_known,
    total,
)
from bmp.trial import BoolArray, FloatArray, IntArray, Jar, Readings, Setup

# Densities at the reference state of what a jar can be flushed with, g/mL: those of Standard BMP
# Methods 203; the others from the molar mass and the ideal molar volume.
FLUSH_DENSITY_G_PER_ML: dict[str, float] = {
    "N2": DENSITY_N2_G_PER_ML,
    "CO2": DENSITY_CO2_G_PER_ML,
    "O2": 31.998 / MOLAR_VOLUME_IDEAL_ML,
    "He": 4.0026 / MOLAR_VOLUME_IDEAL_ML,
    "Ar": 39.95 / MOLAR_VOLUME_IDEAL_ML,
}


_MASSES = {"mass_g", "mass_before_g", "mass_after_g"}


@dataclass(frozen=True, eq=False)
class Weighings:
    """Mass lost at and between readings, drift taken off [g]. Arrays aligned with the readings."""

    lost: FloatArray
    """Since the reading before, by venting and otherwise."""
    leaked: FloatArray
    """Of it, lost between the last venting and this weighing; NaN where no two weighings tell."""
    drift: FloatArray
    """What the scale showed too much."""


def weighings(readings: Readings, jars: tuple[Jar, ...], drift_off: bool = True) -> Weighings:
    """Return what each jar lost.

    A leak is gas of the jar all the same, so the whole loss counts as gas (Standard BMP Methods
    204, total mass loss); what leaked is told beside it.
    """
    if not _MASSES & readings.columns.keys():
        unknown = np.full(readings.jar.shape, np.nan)
        return Weighings(unknown, unknown, np.zeros_like(unknown))
    single = readings.column("mass_g")
    before = np.where(np.isnan(single), readings.column("mass_before_g"), single)
    after = np.where(np.isnan(single), readings.column("mass_after_g"), single)
    after = np.where(np.isnan(after), before, after)
    drift = scale_drift_g(readings, jars, before) if drift_off else np.zeros_like(before)
    before, after = before - drift, after - drift
    two_weighings = np.isnan(single)
    start = first(readings.jar)
    # a first reading after closing: what was lost before it is unknown, venting at it is not
    last_mass = previous_known(after, readings.jar, before)
    leaked = np.where(two_weighings & ~start, last_mass - before, np.nan)
    lost = np.where(start & (readings.time_d == 0.0), 0.0, last_mass - after)
    return Weighings(lost, leaked, drift)


def scale_drift_g(readings: Readings, jars: tuple[Jar, ...], mass_g: FloatArray) -> FloatArray:
    """Return what the scale shows too much at each reading: mean gain of the weight checks [g].

    Common to all jars weighed at a time (protocol of Standard BMP Methods 303 and 304); between
    weighings of the checks it is interpolated. Nought without such jars.
    """
    check = np.array([jar.role == "weight check" for jar in jars], dtype=bool)[readings.jar]
    check &= ~np.isnan(mass_g)
    if not check.any():
        return np.zeros_like(mass_g)
    jar, time_d, mass = readings.jar[check], readings.time_d[check], mass_g[check]
    starts = np.flatnonzero(first(jar))
    gain = mass - np.repeat(mass[starts], lengths(jar))
    times, place = np.unique(time_d, return_inverse=True)
    mean = np.bincount(place, gain) / np.bincount(place)
    one_run = np.zeros(times.size, dtype=np.int64)
    return interpolate(np.zeros_like(readings.jar), readings.time_d, one_run, times, mean)[0]


def balance_uncertainty_g(readings: Readings, jars: tuple[Jar, ...], setup: Setup) -> float | None:
    """Return the standard uncertainty of one weighing: as given, else from the weight checks.

    From the checks: the scatter about their common drift (Standard BMP Methods 204, s_wc).
    """
    if setup.balance_uncertainty_g is not None:
        return setup.balance_uncertainty_g
    checks = np.array([jar.role == "weight check" for jar in jars], dtype=bool)
    if not checks.any():
        return None
    single = readings.column("mass_g")
    mass = np.where(np.isnan(single), readings.column("mass_before_g"), single)
    check = checks[readings.jar]
    check &= ~np.isnan(mass)
    count = np.unique(readings.jar[check]).size
    if count < 2:
        return None
    free = mass[check] - scale_drift_g(readings, jars, mass)[check]
    own = np.bincount(readings.jar[check], free) / np.maximum(np.bincount(readings.jar[check]), 1)
    freedom = check.sum() - count - np.unique(readings.time_d[check]).size + 1
    if freedom < 1:
        return None
    return float(np.sqrt(np.sum((free - own[readings.jar[check]]) ** 2) / freedom))


def vapour_density(
    share: FloatArray, pressure_kPa: FloatArray, vapour_kPa: FloatArray
) -> FloatArray:
    """Return the vapour that leaves with each mL of dry gas at the reference state [g/mL].

    Standard BMP Methods 203 and 204: c = M_H2O p_H2O/(p - p_H2O) / v, v the molar volume of the
    dry gas. Document 203 prints the vapour with a minus in V = Δm/(ρ - c); what is weighed away is
    gas *and* vapour, so mass balance asks for V = Δm/(ρ + c), which is document 204's Eq. 1.
    """
    molar_volume = share * MOLAR_VOLUME_CH4_ML + (1.0 - share) * MOLAR_VOLUME_CO2_ML
    density: FloatArray = MOLAR_MASS_H2O * vapour_kPa / (pressure_kPa - vapour_kPa) / molar_volume
    return density


def biogas_density(share: FloatArray) -> FloatArray:
    """Return the density of dry CH4 + CO2 at the reference state [g/mL] (documents 203, 204)."""
    return share * DENSITY_CH4_G_PER_ML + (1.0 - share) * DENSITY_CO2_G_PER_ML


def share_from_density(density: FloatArray) -> FloatArray:
    """Return CH4/(CH4 + CO2) from the density of the dry gas [g/mL] (document 204, Eq. 2)."""
    return (DENSITY_CO2_G_PER_ML - density) / (DENSITY_CO2_G_PER_ML - DENSITY_CH4_G_PER_ML)


def flush_density(flush_gas: dict[str, float]) -> float:
    """Return the density of the flush gas at the reference state [g/mL]."""
    return sum(share * FLUSH_DENSITY_G_PER_ML[gas] for gas, share in flush_gas.items())


def mass_flow(
    readings: Readings,
    state: GasState,
    lost_g: FloatArray,
    share: FloatArray,
    setup: Setup,
    closed: bool,
    flush: bool = True,
) -> Flow:
    """Return the flow of jars that are weighed.

    Parameters
    ----------
    lost_g, share : ndarray, shape (readings,)
        Mass lost since the reading before; methane share in the sense of the trial's basis.
    closed
        Jars are shut between readings and vented at them.
    flush
        Allow for the flush gas that leaves with the first gas.
    """
    vapour, at_air_pressure = _vapour(readings, state, share)
    under_lid = state.under_lid_NmL(state.ambient_kPa, state.headspace_C)
    run = readings.jar
    under_lid = np.where(first(run) & (readings.time_d == 0.0), state.at_closing_NmL, under_lid)
    held = np.where(np.isnan(under_lid), 0.0, under_lid) * flush
    density = flush_density(dict(setup.flush_gas))
    thinning = np.where(closed & at_air_pressure, np.nan_to_num(under_lid), np.inf)
    at_closing = np.nan_to_num(state.at_closing_NmL) * flush
    vented, left = _vented_NmL(
        lost_g, share, vapour, held, at_closing, density, run, setup.flush_excluded, closed,
        thinning,
    )  # fmt: skip
    change = under_lid - previous(under_lid, run, state.at_closing_NmL)
    change = np.where(np.isnan(change), 0.0, change)
    left = np.where(np.isnan(under_lid), np.nan, left)
    none = np.zeros(run.shape, dtype=bool)
    return Flow(vented, under_lid, state.at_closing_NmL, vented + change, left, none, none)


def _vapour(readings: Readings, state: GasState, share: FloatArray) -> tuple[FloatArray, BoolArray]:
    """Return the vapour's density by the gauge, where one was read, else at air pressure."""
    gauge = readings.column("gauge_before_kPa")
    vapour_kPa = saturation_pressure_kPa(state.headspace_C) * state.with_vapour
    pressure = state.ambient_kPa + np.nan_to_num(gauge)
    return vapour_density(share, pressure, vapour_kPa), np.isnan(gauge)


def _vented_NmL(
    lost_g: FloatArray,
    share: FloatArray,
    vapour: FloatArray,
    held_NmL: FloatArray,
    at_closing_NmL: FloatArray,
    flush_g_per_mL: float,
    run: np.ndarray,
    flush_excluded: bool,
    closed: bool,
    thinning_NmL: FloatArray,
) -> tuple[FloatArray, FloatArray]:
    """Return dry gas vented at each reading, and the share of the flush gas still there.

    What leaves is part flush gas, which thins out from reading to reading; so one pass goes over
    the occasions of reading, all jars at once, and each solves its mass for the gas by iteration.
    In a shut jar the pressure of the gas thins the vapour: by H/(H + N), H of `thinning_NmL`.
    """
    loss, x, wet, held = (padded(a, run, 0.0) for a in (lost_g, share, vapour, held_NmL))
    thinning = padded(thinning_NmL, run, np.inf)
    flush = padded(at_closing_NmL, run, 0.0)[:, :1].copy()[:, 0]
    at_closing = flush.copy()
    vented, left = np.zeros_like(loss), np.ones_like(loss)
    for occasion in range(loss.shape[1]):
        mass, own, mixing = loss[:, occasion], x[:, occasion], np.maximum(held[:, occasion], 1e-9)
        gas = mass / (biogas_density(own) + wet[:, occasion])
        for _ in range(12):
            water = wet[:, occasion] / (1.0 + np.maximum(gas, 0.0) / thinning[:, occasion])
            gone = _flush_gone(np.maximum(gas, 0.0), flush, mixing, closed)
            part = np.divide(gone, gas, out=np.zeros_like(gas), where=np.abs(gas) > 1e-12)
            if flush_excluded:
                dry = part * flush_g_per_mL + (1.0 - part) * biogas_density(own)
            else:
                dry = biogas_density(own) + part * (flush_g_per_mL - DENSITY_CO2_G_PER_ML)
            gas = mass / (dry + water)
        flush = flush - _flush_gone(np.maximum(gas, 0.0), flush, mixing, closed)
        vented[:, occasion] = gas
        left[:, occasion] = np.divide(
            flush, at_closing, out=np.zeros_like(flush), where=at_closing > 0.0
        )
    return flattened(vented, run), flattened(left, run)


def _flush_gone(gas: FloatArray, flush: FloatArray, held: FloatArray, closed: bool) -> FloatArray:
    """Return the flush gas in the gas that leaves a well-mixed headspace, shut or open [NmL]."""
    gone: FloatArray = flush * (gas / (held + gas) if closed else -np.expm1(-gas / held))
    return gone


@dataclass(frozen=True, eq=False)
class DensityShares:
    """One methane share a jar from the mass and the volume of the same gas, aligned to readings."""

    share: FloatArray
    """NaN where a jar does not have both."""
    uncertainty: FloatArray
    """Standard uncertainty from the two weighings that enclose the loss; NaN where unknown."""


def density_shares(
    readings: Readings,
    state: GasState,
    lost_g: FloatArray,
    flow: Flow,
    setup: Setup,
    weighing_u_g: float | None,
    closed: bool,
) -> DensityShares:
    """Return the methane share of each jar's gas by its density.

    Standard BMP Methods 204: density = mass lost / dry volume less the vapour, here with the flush
    gas that left taken off both. The whole trial's loss is used, since a single interval's share
    would hold little but the balance's error.

    Parameters
    ----------
    flow : Flow
        From the volumes of the same jars.
    """
    run = readings.jar
    known = ~np.isnan(lost_g)
    lost = total(np.where(known, lost_g, 0.0), run)
    # gas that left before a jar was first weighed is in no mass
    before = _before_first(known & np.isnan(readings.column("mass_before_g")), run)
    counted = np.where(before, 0.0, np.nan_to_num(flow.vented))
    gas = total(counted, run)
    flush_out = np.nan_to_num(state.at_closing_NmL * (1.0 - flow.flush_left))
    wet, at_air_pressure = _vapour(readings, state, np.full(run.shape, 0.6))
    filled = flow.vented / np.where(np.isnan(flow.under_lid), np.inf, flow.under_lid)
    wet = wet / (1.0 + np.where(closed & at_air_pressure, filled, 0.0))
    vapour = total(wet * counted, run)
    own_g = lost - vapour - flush_out * flush_density(dict(setup.flush_gas))
    own_NmL = np.where(gas - flush_out > 1.0, gas - flush_out, np.nan)
    share = share_from_density(own_g / own_NmL)
    per_mL = DENSITY_CO2_G_PER_ML - DENSITY_CH4_G_PER_ML
    weighing = np.nan if weighing_u_g is None else weighing_u_g
    uncertainty = np.sqrt(2.0) * weighing / (own_NmL * per_mL)
    ends = _last_known(known, run)
    return DensityShares(share[ends], uncertainty[ends])


def _before_first(weighed: BoolArray, run: IntArray) -> BoolArray:
    """Mark each jar's readings up to and with its first weighing, where it is weighed once each."""
    before: BoolArray = (total(weighed.astype(float), run) <= 1.0) & np.isin(run, run[weighed])
    return before


def _last_known(known: BoolArray, run: IntArray) -> IntArray:
    """Return, for every reading, the place of its jar's last weighing (its end without one)."""
    starts = np.flatnonzero(first(run))
    each = lengths(run)
    places = np.maximum.reduceat(np.where(known, np.arange(run.size), -1), starts)
    places = np.where(places < 0, starts + each - 1, places)
    return np.repeat(places, each)


@dataclass(frozen=True, eq=False)
class Leaks:
    """Mass lost between ventings, one entry a jar that was weighed twice a reading."""

    jar: IntArray
    leaked_g: FloatArray
    share_of_loss: FloatArray
    detectable_g: FloatArray
    """Smallest leak that the scale could show; NaN where its uncertainty is unknown."""
    found: BoolArray


def leaks(readings: Readings, weighed: Weighings, weighing_u_g: float | None) -> Leaks:
    """Return the leak of each jar and the least that could be seen.

    Detection limit 3 s √k, s the standard uncertainty of a weighing, k intervals (Standard BMP
    Methods 204). The loss is that between a venting and the next weighing; document 204 prints
    "pre- and post-venting", which would be the gas itself (Hafner et al. 2018, Water Pract.
    Technol. 13:52).
    """
    run = readings.jar
    told = ~np.isnan(weighed.leaked)
    jars = np.unique(run[told])
    size = int(run.max(initial=-1)) + 1
    leaked = np.bincount(run[told], weighed.leaked[told], minlength=size)[jars].astype(float)
    lost = np.bincount(run, np.nan_to_num(weighed.lost), minlength=size)[jars]
    count = np.bincount(run[told], minlength=size)[jars]
    scale = np.nan if weighing_u_g is None else weighing_u_g
    detectable = 3.0 * scale * np.sqrt(count)
    share = np.divide(leaked, lost, out=np.zeros_like(leaked), where=lost > 0.0)
    return Leaks(
        jars.astype(np.int64),
        leaked,
        share,
        detectable,
        leaked > np.nan_to_num(detectable, nan=np.inf),
    )
