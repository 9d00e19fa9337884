"""What left each jar and what stays under its lid, as dry gas at the reference state."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from bmp.normalise.state import GasState
from bmp.runs import first, previous, total
from bmp.trial import BoolArray, FloatArray, IntArray, Readings, Setup

# Part of the gas under a lid that may seem to go missing between two readings before the fall is
# called impossible: a headspace 10 K cooler than read is 3.3 %, and carbon dioxide goes into
# solution when a jar comes under pressure (common practice, no source).
MISSING_SHARE = 0.05
# Reading a scale or a gauge to its division. NmL
ROUNDING_NML = 0.5


@dataclass(frozen=True, eq=False)
class Flow:
    """Dry gas of each reading [NmL]. All arrays are aligned with the readings."""

    vented: FloatArray
    """Left the jar since the reading before."""
    under_lid: FloatArray
    """In the headspace after the reading; NaN where the headspace is unknown."""
    at_closing: FloatArray
    """In the headspace when the jar was closed; NaN where the headspace is unknown."""
    produced: FloatArray
    """Formed since the reading before: vented, and what the headspace holds more or less."""
    flush_left: FloatArray
    """Share of the flush gas at closing that is still under the lid; NaN if unknown."""
    fall: BoolArray
    """The reading shows less gas than the one before."""
    fall_explained: BoolArray
    """Cooling of the headspace can explain the fall."""


def volume_flow(
    readings: Readings,
    state: GasState,
    cumulative: bool,
    kept: BoolArray,
    closed: bool,
    balance: bool,
) -> Flow:
    """Return the flow of jars whose gas is led into a vessel or through a counter.

    Parameters
    ----------
    cumulative, kept
        Volumes are running totals; the vessel still holds them, so that all of it feels the air
        pressure and temperature of the reading.
    closed
        The jar is shut between readings.
    balance
        Count what the headspace holds more or less with the weather.

    Notes
    -----
    Interval gas: Standard BMP Methods 201, section 2; the headspace by mass balance.
    """
    run = readings.jar
    vented = interval_volume_NmL(readings, state, cumulative, kept)
    start = first(run) & (readings.time_d == 0.0)
    vented = np.where(start, 0.0, vented)
    under_lid = state.under_lid_NmL(state.gas_kPa, state.headspace_C)
    under_lid = np.where(start, state.at_closing_NmL, under_lid)
    change = under_lid - previous(under_lid, run, state.at_closing_NmL)
    change = np.where(np.isnan(change), 0.0, change) if balance else np.zeros_like(change)
    produced = vented + change
    left = _flush_left(vented, produced, under_lid, state.at_closing_NmL, run, closed)
    collected = total(vented, run)
    slack = MISSING_SHARE * np.nan_to_num(under_lid) + np.abs(change)
    slack = slack + 0.01 * np.abs(collected) * kept
    fall = vented < 0.0
    reading = np.zeros(run.shape)
    fell = np.bincount(run, fall)[run] > 0.0
    if fell.any():
        reading[fell] = 2.0 * division_mL(readings.where(fell)) * state.factor[fell]
    return Flow(
        vented, under_lid, state.at_closing_NmL, produced, left, fall,
        fall & (-vented <= slack + np.maximum(reading, ROUNDING_NML)),
    )  # fmt: skip


_DIVISIONS_ML = (50.0, 20.0, 10.0, 5.0, 2.0, 1.0, 0.5, 0.2, 0.1)
LARGEST_DIVISION = 0.04
"""Of a jar's highest figure: a coarser scale is not believed."""


def division_mL(readings: Readings) -> FloatArray:
    """Return the division of the scale that each jar's volumes were read on; nought if none shows.

    The largest of the usual divisions of which all figures of the jar are multiples.
    """
    read, run = readings.column("volume_mL"), readings.jar
    size = int(run.max(initial=-1)) + 1
    known = np.isfinite(read)
    highest = np.zeros(size)
    np.maximum.at(highest, run[known], np.abs(read[known]))
    found = np.zeros(size)
    for division in _DIVISIONS_ML:
        off = np.abs(read / division - np.round(read / division)) > 1e-6
        whole = np.bincount(run[known], off[known], minlength=size) == 0
        fits = whole & (found == 0.0) & (division <= LARGEST_DIVISION * highest)
        found[fits] = division
    return found[run]


def _flush_left(
    vented: FloatArray,
    produced: FloatArray,
    under_lid: FloatArray,
    at_closing: FloatArray,
    run: IntArray,
    closed: bool,
) -> FloatArray:
    """Return the share of the flush gas at closing that is still under a well-mixed lid.

    Shut jars: each venting leaves H/(H + N) of it. Open jars: its share of the gas thins out with
    the gas that forms, as exp(-P/H).
    """
    if closed:
        kept: FloatArray = np.exp(-total(np.log1p(np.maximum(vented / under_lid, 0.0)), run))
        return kept
    mean_held = 0.5 * (under_lid + previous(under_lid, run, at_closing))
    thinned: FloatArray = np.exp(-total(produced / mean_held, run)) * under_lid / at_closing
    return thinned


def gas_is_kept(readings: Readings, setup: Setup) -> BoolArray:
    """Tell of every reading whether its vessel still holds all gas of the jar.

    As the trial says; where it is silent, a standing column of water means that the tube still
    holds its gas.
    """
    if setup.gas_kept is not None:
        return np.full(readings.jar.shape, setup.gas_kept)
    if "water_head_cm" not in readings.columns:
        return np.zeros(readings.jar.shape, dtype=bool)
    with_head = readings.jar[~np.isnan(readings.column("water_head_cm"))]
    kept: BoolArray = np.isin(readings.jar, with_head)
    return kept


def interval_volume_NmL(
    readings: Readings, state: GasState, cumulative: bool, kept: BoolArray
) -> FloatArray:
    """Return the dry gas since the reading before, from interval or cumulative volumes [NmL].

    A running total that was emptied starts again from nothing: after the marked reading, or before
    it where the marked reading itself is the lower one.
    """
    read = readings.column("volume_mL")
    if not cumulative:
        return read * state.factor
    none = np.zeros_like(read)
    fell = read < previous(read, readings.jar, none)
    emptied_after = readings.emptied & ~fell
    from_nothing = previous(emptied_after.astype(float), readings.jar, none) > 0.0
    from_nothing |= readings.emptied & fell
    amount = np.where(kept, read * state.factor, read)
    before = np.where(from_nothing, 0.0, previous(amount, readings.jar, none))
    return (amount - before) * np.where(kept, 1.0, state.factor)


def pressures_kPa(readings: Readings, ambient_kPa: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return absolute pressure before and after venting at each reading [kPa].

    `after` not written: vented to the air; `not vented`: as before.
    """
    before, after = (
        np.where(
            np.isnan(readings.column(f"absolute_{when}_kPa")),
            readings.column(f"gauge_{when}_kPa") + ambient_kPa,
            readings.column(f"absolute_{when}_kPa"),
        )
        for when in ("before", "after")
    )
    after = np.where(np.isnan(after), ambient_kPa, after)
    return before, np.where(readings.not_vented, before, after)


def pressure_flow(readings: Readings, state: GasState) -> Flow:
    """Return the flow of closed jars that are vented at readings, fully, partly or not at all.

    Notes
    -----
    Standard BMP Methods 202, section 2: dry gas before venting less dry gas left after the last
    one, each with its own temperature; the headspace is saturated with vapour before and after.
    """
    run = readings.jar
    before_kPa, after_kPa = pressures_kPa(readings, state.ambient_kPa)
    before = state.under_lid_NmL(before_kPa, state.headspace_C)
    after = state.under_lid_NmL(after_kPa, state.headspace_C)
    start = first(run) & (readings.time_d == 0.0)
    before = np.where(start, after, before)
    produced = np.where(start, 0.0, before - previous(after, run, state.at_closing_NmL))
    kept = np.minimum(after / before, 1.0)
    left = np.exp(total(np.log(kept), run))
    fall = produced < 0.0
    return Flow(
        before - after, after, state.at_closing_NmL, produced, left, fall,
        fall & (-produced <= MISSING_SHARE * before + ROUNDING_NML),
    )  # fmt: skip
