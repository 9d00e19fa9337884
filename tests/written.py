"""Write a trial into a folder of CSV tables, as a person would hand it in."""

from __future__ import annotations

import csv
from pathlib import Path

import numpy as np

from bmp.trial import Trial

READING_HEADERS = {
    "volume_mL": "volume [mL]",
    "gauge_before_kPa": "gauge before [kPa]",
    "gauge_after_kPa": "gauge after [kPa]",
    "absolute_before_kPa": "absolute before [kPa]",
    "absolute_after_kPa": "absolute after [kPa]",
    "mass_before_g": "mass before [g]",
    "mass_after_g": "mass after [g]",
    "net_yield_mL_per_g": "net yield [mL/g]",
    "temperature_C": "temperature [°C]",
    "ambient_kPa": "ambient [kPa]",
    "methane_share": "methane [1]",
}


def _table(place: Path, header: list[str], rows: list[list[object]]) -> None:
    with place.open("w", newline="", encoding="utf-8") as file:
        csv.writer(file).writerows([header, *rows])


def write_trial(trial: Trial, folder: Path, dated: bool = False) -> Path:
    """Write the four tables and return the folder."""
    folder.mkdir(parents=True, exist_ok=True)
    setup = trial.setup
    items: list[list[object]] = [
        ["title", setup.title],
        ["measured", setup.measured],
        ["readings are", "cumulative" if setup.cumulative else "interval"],
        ["incubation temperature [°C]", setup.incubation_temperature_C],
    ]
    if setup.gas_kept:
        items.append(["collected gas", "kept"])
    if setup.methane_share is not None:
        items.append(["methane [1]", setup.methane_share])
    if setup.altitude_m is not None:
        items.append(["altitude [m]", setup.altitude_m])
    if setup.ambient_kPa is not None:
        items.append(["ambient [kPa]", setup.ambient_kPa])
    if setup.closing_temperature_C is not None:
        items.append(["closing temperature [°C]", setup.closing_temperature_C])
    if dated and setup.started is not None:
        items.append(["started", setup.started.isoformat()])
    _table(folder / "trial.csv", ["item", "value"], items)
    materials = [
        [m.name, m.role, 100 * (m.TS or 1), 100 * (m.VS or 0), 100 * (m.VS_u or 0)]
        for m in trial.materials
    ]
    percent = "[% of fresh mass]"
    header = ["material", "role", f"TS {percent}", f"VS {percent}", f"VS uncertainty {percent}"]
    _table(folder / "materials.csv", header, materials)
    jars = [
        [j.name, "" if j.role == "blank" else j.material, j.inoculum_g, j.sample_g or "",
         j.headspace_mL or "", j.group or ""]
        for j in trial.jars
    ]  # fmt: skip
    header = ["jar", "material", "inoculum [g]", "sample [g]", "headspace [mL]", "group"]
    _table(folder / "jars.csv", header, jars)
    r = trial.readings
    names = [n for n in READING_HEADERS if n in r.columns]
    shown = [[trial.jars[j].name for j in r.jar]]
    shown.append([t.isoformat() if dated and t else "" for t in r.taken] if dated else [*r.time_d])
    shown += [["" if np.isnan(v) else v for v in r.columns[n]] for n in names]
    header = ["jar", "taken" if dated else "time [d]", *(READING_HEADERS[n] for n in names)]
    _table(folder / "readings.csv", header, [list(row) for row in zip(*shown, strict=True)])
    return folder
