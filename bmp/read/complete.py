"""Whether everything is there that the ways of measuring need, and within what can be."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence, Set
from dataclasses import replace
from itertools import compress

import numpy as np

from bmp.limits import POSSIBLE
from bmp.problem import Problem
from bmp.runs import first
from bmp.trial import NOT_MEASURED, BoolArray, Readings, Trial, says_not_measured

# One of these sets of columns must be filled for a reading of this kind to tell anything.
_ONE_OF: dict[str, tuple[str, ...]] = {
    "volume": ("volume_mL",),
    "methane volume": ("volume_mL",),
    "pressure": ("gauge_before_kPa", "absolute_before_kPa"),
    "mass": ("mass_g", "mass_before_g"),
    "net yield": ("net_yield_mL_per_g",),
}

_SHARE_WAYS = ("volume", "pressure", "mass")


def check_complete(
    trial: Trial,
    names: Mapping[str, str],
    told: Sequence[Problem] = (),
    unread: Set[str] = frozenset(),
) -> list[Problem]:
    """Return what a trial lacks, table by table, placed at its row where it has one.

    Parameters
    ----------
    names
        What each table is called in messages.
    told
        Problems found so far: what only follows from one of them is not told again.
    unread
        Names of materials and jars that could not be read.
    """
    rows = {name: {p.row for p in told if p.table == table} for name, table in names.items()}
    spoilt = {item for item in _ITEMS if _names(told, names["trial"], item)}
    sound_setup = not spoilt & set(_WAY) and not rows["trial"] & {None, 1}
    sound_setup &= trial.setup.measured in _ONE_OF
    sound_header = not rows["readings"] & {None, 1}
    flagged = rows["readings"] - {None, 1}
    known = _without_rows(trial, flagged) if flagged else trial
    lost = flagged and flagged - set(trial.readings.row.tolist())
    jars_whole = not unread and not rows["jars"] and not rows["materials"]
    if not (trial.jars or told):
        return [Problem(names["jars"], "there is no jar", "give a row for each jar")]
    return [
        *(_jars_without_readings(trial, names["jars"]) if sound_header and not lost else ()),
        *(
            _blanks(trial, names["jars"])
            if jars_whole and sound_setup and "blank" not in spoilt
            else ()
        ),
        *(_readings_without_value(known) if sound_setup and sound_header else ()),
        *_values_out_of_range(known.readings),
        *_values_that_clash(known.readings),
        *(_missing_state_of_gas(known, spoilt) if sound_setup and sound_header else ()),
        *(_methane_share(known) if sound_setup and sound_header and not spoilt & _SHARE else ()),
        *(_no_start(known) if sound_setup and sound_header and not spoilt & _AIR else ()),
        *(_mixed_series(trial, names["jars"]) if jars_whole and sound_setup else ()),
    ]


_WAY = ("measured", "readings are", "outlet", "gas")
_AIR = {"ambient", "altitude", "closing pressure"}
_SHARE = {"methane", "composition basis", "flush gas"}
_ITEMS = (*_WAY, *_AIR, *_SHARE, "gas temperature", "blank")
"""Items of the trial without which a check would tell what only follows from them."""


def _names(told: Sequence[Problem], table: str, item: str) -> bool:
    """Tell whether a problem of the table names an item, with or without its unit."""
    starts = tuple(f"“{item}{end}" for end in ("”", " [", " ("))
    return any(
        any(start in f"{p.what} “{p.column or ''}”".lower() for start in starts)
        for p in told
        if p.table == table
    )


def _without_rows(trial: Trial, rows: Set[int | None]) -> Trial:
    """Return the trial without the readings of these rows."""
    kept = ~np.isin(trial.readings.row, [row for row in rows if row is not None])
    if kept.all():
        return trial
    return replace(trial, readings=trial.readings.where(kept))


def _jars_without_readings(trial: Trial, table: str) -> Iterator[Problem]:
    unread = np.bincount(trial.readings.jar, minlength=len(trial.jars)) == 0
    for jar in compress(trial.jars, unread):
        if jar.counted:
            wanted = "add its readings, or say under “leave out” why there are none"
            yield Problem(table, f"jar “{jar.name}” has no reading", wanted)


def _blanks(trial: Trial, table: str) -> Iterator[Problem]:
    if not trial.setup.blank:
        return
    every_blank = [jar for jar in trial.jars if jar.role == "blank"]
    blanks = {jar.inoculum for jar in every_blank if jar.counted}
    left_out = {jar.inoculum for jar in every_blank}
    needing = {
        jar.inoculum
        for jar in trial.jars
        if jar.role in ("substrate", "control") and not jar.given_net
    }
    for inoculum in sorted(needing - blanks):
        wanted = (
            "add jars with the inoculum alone, or write in the table trial: blank, none (yields "
            "are then gross)"
        )
        what = f"there is no blank of the inoculum “{inoculum}”"
        if inoculum in left_out:
            what = f"every blank of the inoculum “{inoculum}” is left out"
        yield Problem(table, what, wanted)


def _readings_of(trial: Trial, jars: list[bool]) -> BoolArray:
    """Mark the readings of the marked jars."""
    if all(jars) or not any(jars):
        return np.full(trial.readings.jar.shape, any(jars))
    marked: BoolArray = np.array(jars)[trial.readings.jar]
    return marked


def _by(trial: Trial, *ways: str) -> BoolArray:
    """Mark the readings of the jars that are measured in one of these ways."""
    return _readings_of(trial, [jar.measured in ways for jar in trial.jars])


def _weight_checks(trial: Trial) -> BoolArray:
    """Mark the readings of jars that only check the weighing."""
    return _readings_of(trial, [jar.role == "weight check" for jar in trial.jars])


def _readings_without_value(trial: Trial) -> Iterator[Problem]:
    used = {jar.measured for jar in trial.jars}
    for way, fields in _ONE_OF.items():
        if way not in used:
            continue
        running = trial.setup.cumulative if "volume" in way else way != "pressure"
        given = np.any([~np.isnan(trial.readings.column(field)) for field in fields], axis=0)
        if way == "mass":  # weighed after a venting only, and said to be so
            said = [says_not_measured(note) for note in trial.readings.note]
            if any(said):
                given |= np.array(said) & ~np.isnan(trial.readings.column("mass_after_g"))
        for row in trial.readings.row[_by(trial, way) & ~given]:
            names = " or ".join(
                f"“{field.rpartition('_')[0].replace('_', ' ')}”" for field in fields
            )
            yield Problem(
                trial.readings.table,
                f"a reading by {way} has no value",
                f"fill in {names}, or remove the row"
                + f"; where its gas was let go unread write “{NOT_MEASURED}”" * (not running),
                int(row),
            )


def _values_out_of_range(readings: Readings) -> Iterator[Problem]:
    for field, possible in POSSIBLE.items():
        if field not in readings.columns:
            continue
        values = readings.column(field)
        scale = 100.0 if possible.unit == "%" else 1.0
        for index in np.flatnonzero((values < possible.low) | (values > possible.high)):
            what = f"it comes to {scale * values[index]:.4g} {possible.unit}"
            wanted = f"it must be {possible.words}"
            name = field.rpartition("_")[0].replace("_", " ")
            yield Problem(readings.table, what, wanted, int(readings.row[index]), name)


def _values_that_clash(readings: Readings) -> Iterator[Problem]:
    """Two pressures of one moment, and syringes that end with more than they drew."""
    for when in ("before", "after"):
        fields = (f"gauge_{when}_kPa", f"absolute_{when}_kPa")
        if readings.columns.keys() >= set(fields):
            both = np.all([~np.isnan(readings.columns[field]) for field in fields], axis=0)
            wanted = "keep the one that was read"
            yield from _first(readings, both, f"a gauge and an absolute pressure {when}", wanted)
    if "syringe_gas_left_mL" not in readings.columns:
        return
    drawn, left = readings.column("syringe_gas_mL"), readings.column("syringe_gas_left_mL")
    alone = ~np.isnan(left) & ~(drawn > 0.0)
    wanted = "fill in “syringe gas [mL]” as well, or clear it"
    yield from _first(readings, alone, "gas left in a syringe, and none drawn", wanted)
    wanted = "what is left after shaking with caustic is not more than was drawn"
    yield from _first(readings, left > drawn, "a syringe holds more after than before", wanted)


def _missing_state_of_gas(trial: Trial, spoilt: Set[str]) -> Iterator[Problem]:
    """Volumes need the temperature and pressure they were read at; vented jars the air's."""
    setup, readings = trial.setup, trial.readings
    volumes = _by(trial, "volume", "methane volume")
    if setup.gas_temperature_C is None and "gas temperature" not in spoilt:
        missing = volumes & np.isnan(readings.column("temperature_C"))
        wanted = (
            "fill in “temperature [°C]”, or add an item “gas temperature [°C]” to the table trial"
        )
        yield from _first(readings, missing, "no temperature of the gas", wanted)
    if setup.ambient_kPa is None and not spoilt & _AIR:
        gauged = _by(trial, "pressure") & ~_fully_absolute(readings)
        needs_air = volumes | gauged | _by(trial, "mass")
        missing = needs_air & np.isnan(readings.column("ambient_kPa"))
        wanted = (
            "fill in “ambient [kPa]”, or add an item “ambient [kPa]” or “altitude [m]” to the "
            "table trial"
        )
        yield from _first(readings, missing, "no air pressure", wanted)


def _fully_absolute(readings: Readings) -> BoolArray:
    after = ~np.isnan(readings.column("absolute_after_kPa")) | readings.not_vented
    return ~np.isnan(readings.column("absolute_before_kPa")) & after


def _first(readings: Readings, missing: BoolArray, what: str, wanted: str) -> Iterator[Problem]:
    count = int(missing.sum())
    if count:
        more = f" (and {count - 1} more readings)" if count > 1 else ""
        yield Problem(readings.table, what + more, wanted, int(readings.row[missing].min()))


def _methane_share(trial: Trial) -> Iterator[Problem]:
    """Scrubbed gas must have no share typed in; other gas needs one from somewhere."""
    readings = trial.readings
    typed = ~np.isnan(readings.column("methane_share"))
    twice = _by(trial, "methane volume") & typed
    wanted = "behind an absorber the volume is methane already: clear it"
    yield from _first(
        readings, twice, "there are both a methane share and a methane volume", wanted
    )
    if trial.setup.measured == "methane volume" and trial.setup.methane_share is not None:
        yield Problem(
            "trial", "the item “methane” does not go with measured = methane volume", wanted
        )
    carbon_dioxide = trial.setup.flush_excluded and "CO2" in trial.setup.flush_gas
    if carbon_dioxide and any(jar.measured in _SHARE_WAYS for jar in trial.jars):
        what = "the flush gas holds carbon dioxide, so CH4 + CO2 = 100 % is not the jar's own gas"
        wanted = "give shares of all dry gas, and write composition basis: as measured"
        yield Problem("trial", what, wanted)
    yield from _series_without_share(trial)


_SHARE_WANTED = (
    "fill in “methane [%]” at some readings, or add an item “methane [%]” to the table trial"
)
_OWN_SHARE_WANTED = (
    "fill in “methane [%]” at its readings: one share for the whole trial cannot be that of all "
    "dry gas, since the flush gas thins out"
)


def _series_without_share(trial: Trial) -> Iterator[Problem]:
    """Jars borrow the share of their replicates, never that of another material."""
    readings = trial.readings
    known = ~np.isnan(readings.column("methane_share"))
    known |= ~np.isnan(readings.column("syringe_gas_left_mL"))
    number: dict[str, int] = {}
    of_jar = [number.setdefault(jar.series, len(number)) for jar in trial.jars]
    series = np.array(of_jar or [0])[readings.jar]
    told = np.bincount(series[known], minlength=len(number)) > 0
    needing = _by(trial, *_SHARE_WAYS) & ~_weight_checks(trial)
    missing = needing & ~_weighed_and_read(readings) & ~told[series]
    missing &= ~_share_by_material(trial)[readings.jar]
    what, wanted = "no methane share of the gas", _SHARE_WANTED
    if not trial.setup.flush_excluded:
        what, wanted = "no methane share of all dry gas", _OWN_SHARE_WANTED
    elif trial.setup.methane_share is not None:
        return
    if not known.any():
        yield from _first(readings, missing, what, wanted)
        return
    names = list(number)
    for index in dict.fromkeys(series[missing].tolist()):
        here = missing & (series == index)
        yield from _first(readings, here, f"{what} of “{names[index]}”", wanted)


def _share_by_material(trial: Trial) -> BoolArray:
    """Mark the jars whose material has an assumed share, which is one of CH4 + CO2."""
    has = {m.name for m in trial.materials if m.methane_share is not None}
    told = [trial.setup.flush_excluded and jar.material in has for jar in trial.jars]
    return np.array(told or [False], dtype=bool)


def _weighed_and_read(readings: Readings) -> BoolArray:
    """Mark the readings of jars whose gas was both weighed and its volume read."""
    if not {"mass_g", "mass_before_g"} & readings.columns.keys():
        return np.zeros(readings.jar.shape, dtype=bool)
    weighed = ~np.isnan(readings.column("mass_g")) | ~np.isnan(readings.column("mass_before_g"))
    read = ~np.isnan(readings.column("volume_mL"))
    both: BoolArray = np.bincount(readings.jar, weighed)[readings.jar] > 0
    both &= np.bincount(readings.jar, read)[readings.jar] > 0
    return both


def _mixed_series(trial: Trial, table: str) -> Iterator[Problem]:
    """Jars that cannot be averaged: curves handed in beside jars that were read, two inocula."""
    given = [jar.given_net for jar in trial.jars]
    if any(given) and not all(given):
        what = "some jars are net yields and others were read"
        yield Problem(table, what, "make a trial of its own of the net yields")
    inocula: dict[str, set[str]] = {}
    sampled: dict[str, None] = {}
    for jar in trial.jars:
        name = jar.series
        inocula.setdefault(name, set()).add(jar.inoculum)
        if jar.role != "blank":
            sampled[name] = None
    for name in sampled:
        if len(inocula[name]) > 1:
            held = ", ".join(sorted(inocula[name]))
            what = f"the jars of “{name}” hold different inocula: {held}"
            yield Problem(table, what, "give the jars of each inoculum a group of their own")


def _no_start(trial: Trial) -> Iterator[Problem]:
    """Return where a difference has no start: no first weighing, no pressure at closing."""
    readings = trial.readings
    starts = first(readings.jar)
    if "mass_g" in readings.columns:
        single = starts & _by(trial, "mass") & ~np.isnan(readings.columns["mass_g"])
        wanted = "add a reading at time 0: without it the gas before the first weighing is lost"
        missing = single & ~_weight_checks(trial) & (readings.time_d > 0.0)
        yield from _first(readings, missing, "no weighing when the jar was closed", wanted)
    if trial.setup.ambient_kPa is None and trial.setup.closing_kPa is None:
        air = readings.column("ambient_kPa")
        missing = starts & _by(trial, "pressure") & np.isnan(air) & (readings.time_d > 0.0)
        wanted = "add an item “closing pressure [kPa]” or “ambient [kPa]” to the table trial"
        yield from _first(readings, missing, "no pressure when the jar was closed", wanted)
