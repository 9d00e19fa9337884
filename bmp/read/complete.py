"""Whether everything is there that the ways of measuring need, and within what can be."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence, Set
from dataclasses import replace

import numpy as np

from bmp.problem import Problem
from bmp.trial import BoolArray, Readings, Trial

# One of these sets of columns must be filled for a reading of this kind to tell anything.
_ONE_OF: dict[str, tuple[str, ...]] = {
    "volume": ("volume_mL",),
    "methane volume": ("volume_mL",),
    "pressure": ("gauge_before_kPa", "absolute_before_kPa"),
    "mass": ("mass_g", "mass_before_g"),
    "net yield": ("net_yield_mL_per_g",),
}

_RANGES: dict[str, tuple[float, float, str]] = {
    "temperature_C": (-10.0, 80.0, "between -10 and 80 °C"),
    "ambient_kPa": (40.0, 115.0, "an absolute air pressure between 40 and 115 kPa"),
    "methane_share": (0.0, 1.0, "between 0 and 100 %"),
    "water_head_cm": (-500.0, 500.0, "between -500 and 500 cm"),
}


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
    sound_setup = not rows["trial"] and trial.setup.measured in _ONE_OF
    sound_header = not rows["readings"] & {None, 1}
    known = _without_rows(trial, rows["readings"] - {None, 1})
    none_lost = known.readings.jar.size == trial.readings.jar.size and not rows["readings"]
    jars_whole = not unread and not rows["jars"] and not rows["materials"]
    if not (trial.jars or told):
        return [Problem(names["jars"], "there is no jar", "give a row for each jar")]
    return [
        *(_jars_without_readings(trial, names["jars"]) if none_lost and not unread else ()),
        *(_blanks(trial, names["jars"]) if jars_whole and sound_setup else ()),
        *(_readings_without_value(known) if sound_setup and sound_header else ()),
        *_values_out_of_range(known.readings),
        *(_missing_state_of_gas(known) if sound_setup and sound_header else ()),
        *(_methane_share(known) if sound_setup and sound_header else ()),
    ]


def _without_rows(trial: Trial, rows: Set[int | None]) -> Trial:
    """Return the trial without the readings of these rows."""
    kept = ~np.isin(trial.readings.row, [row for row in rows if row is not None])
    if kept.all():
        return trial
    readings = trial.readings
    columns = {name: values[kept] for name, values in readings.columns.items()}
    left = replace(
        readings, jar=readings.jar[kept], time_d=readings.time_d[kept], row=readings.row[kept],
        columns=columns, not_vented=readings.not_vented[kept], emptied=readings.emptied[kept],
        note=(), taken=None,
    )  # fmt: skip
    return replace(trial, readings=left)


def _jars_without_readings(trial: Trial, table: str) -> Iterator[Problem]:
    read = set(trial.readings.jar.tolist())
    for index, jar in enumerate(trial.jars):
        if index not in read and jar.left_out is None:
            wanted = "add its readings, or say under “leave out” why there are none"
            yield Problem(table, f"jar “{jar.name}” has no reading", wanted)


def _blanks(trial: Trial, table: str) -> Iterator[Problem]:
    if not trial.setup.blank:
        return
    blanks = {jar.inoculum for jar in trial.jars if jar.role == "blank" and jar.left_out is None}
    needing = {
        jar.inoculum
        for jar in trial.jars
        if jar.role in ("substrate", "control") and jar.measured != "net yield"
    }
    for inoculum in sorted(needing - blanks):
        wanted = (
            "add jars with the inoculum alone, or write in the table trial: blank, none (yields "
            "are then gross)"
        )
        yield Problem(table, f"there is no blank of the inoculum “{inoculum}”", wanted)


def _ways(trial: Trial) -> np.ndarray:
    """Return the way of measuring of every reading."""
    return np.array([jar.measured for jar in trial.jars] or [""])[trial.readings.jar]


def _readings_without_value(trial: Trial) -> Iterator[Problem]:
    ways = _ways(trial)
    for way, fields in _ONE_OF.items():
        given = np.any([~np.isnan(trial.readings.column(field)) for field in fields], axis=0)
        for row in trial.readings.row[(ways == way) & ~given]:
            names = " or ".join(
                f"“{field.rpartition('_')[0].replace('_', ' ')}”" for field in fields
            )
            yield Problem(
                trial.readings.table,
                f"a reading by {way} has no value",
                f"fill in {names}, or remove the row",
                int(row),
            )


def _values_out_of_range(readings: Readings) -> Iterator[Problem]:
    for field, (low, high, wanted) in _RANGES.items():
        values = readings.column(field)
        scale = 100.0 if field == "methane_share" else 1.0
        unit = {"methane_share": "%", "temperature_C": "°C", "ambient_kPa": "kPa"}.get(field, "cm")
        for index in np.flatnonzero((values < low) | (values > high)):
            what = f"it comes to {scale * values[index]:.4g} {unit}"
            name = field.rpartition("_")[0].replace("_", " ")
            yield Problem(
                readings.table, what, f"it must be {wanted}", int(readings.row[index]), name
            )


def _missing_state_of_gas(trial: Trial) -> Iterator[Problem]:
    """Volumes need the temperature and pressure they were read at; vented jars the air's."""
    setup, readings, ways = trial.setup, trial.readings, _ways(trial)
    volumes = np.isin(ways, ("volume", "methane volume"))
    needs_air = volumes | ((ways == "pressure") & ~_fully_absolute(readings)) | (ways == "mass")
    if setup.gas_temperature_C is None:
        missing = volumes & np.isnan(readings.column("temperature_C"))
        wanted = (
            "fill in “temperature [°C]”, or add an item “gas temperature [°C]” to the table trial"
        )
        yield from _first(readings, missing, "no temperature of the gas", wanted)
    if setup.ambient_kPa is None:
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
    readings, ways = trial.readings, _ways(trial)
    typed = ~np.isnan(readings.column("methane_share"))
    twice = (ways == "methane volume") & typed
    wanted = "behind an absorber the volume is methane already: clear it"
    yield from _first(readings, twice, "a methane share stands beside a methane volume", wanted)
    if trial.setup.measured == "methane volume" and trial.setup.methane_share is not None:
        yield Problem("trial", "the item “methane” stands beside measured = methane volume", wanted)
    syringe = ~np.isnan(readings.column("syringe_gas_left_mL"))
    weighed = ~np.isnan(readings.column("volume_mL")) & (ways == "mass")
    known = typed | syringe | weighed
    if trial.setup.methane_share is None:
        needs = np.isin(ways, ("volume", "pressure", "mass"))
        wanted = (
            "fill in “methane [%]” at some readings, or add an item “methane [%]” to the table "
            "trial"
        )
        what = "no methane share of the gas"
        if not known.any():
            yield from _first(readings, needs, what, wanted)
            return
        # jars of one series lend each other their share, not those of another
        names = ["" if jar.role == "weight check" else jar.series for jar in trial.jars]
        series = np.array(names)[readings.jar]
        for name in dict.fromkeys(series[needs & ~np.isin(series, ["", *series[known]])]):
            yield from _first(readings, needs & (series == name), f"{what} of “{name}”", wanted)
