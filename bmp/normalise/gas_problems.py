"""Readings from which a jar's gas cannot be told, as problems at their rows."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace

import numpy as np

from bmp.constants import REFERENCE_PRESSURE_KPA
from bmp.normalise.jars import JarGas, normalise
from bmp.problem import Problem
from bmp.trial import Trial


def impossible_falls(trial: Trial, gas: JarGas) -> Iterator[Problem]:
    """Return every reading that shows less gas than the one before without any explanation."""
    readings = trial.readings
    for index in np.flatnonzero(gas.fall & ~gas.fall_explained):
        jar = trial.jars[readings.jar[index]]
        if not jar.counted:
            continue
        what = f"jar “{jar.name}” shows less gas on day {readings.time_d[index]:.4g} than before"
        wanted = {
            True: (
                "correct the figure; only if the counter was set back to zero, write “yes” under "
                "“emptied”, or under “A1 emptied” where every jar has a column"
            ),
            False: "correct the reading, or leave the jar out with the reason",
        }[jar.measured in ("volume", "methane volume") and trial.setup.cumulative]
        yield Problem(readings.table, what, wanted, int(readings.row[index]))


_TELL_A_FALL = ("measured", "readings are", "outlet")
"""Items without which a fall may be none."""


def falls_seen(trial: Trial, told: Sequence[Problem]) -> tuple[Problem, ...]:
    """Return the impossible falls in a trial of which only a part could be read.

    Rows with a problem of their own are left out, and nothing is said where the way of measuring
    or the header of the readings is in doubt.

    Parameters
    ----------
    trial
        As far as it could be read.
    told
        The problems found so far.
    """
    readings = trial.readings
    rows = [p.row or 1 for p in told if p.table == readings.table]
    doubt = any(f"“{word}" in p.what for p in told for word in _TELL_A_FALL)
    if doubt or 1 in rows or not trial.jars:
        return ()
    # what could not be read is as usual: it moves the size of a fall, and hardly its sign
    usual = {
        "gas_temperature_C": 20.0,
        "ambient_kPa": REFERENCE_PRESSURE_KPA,
        "methane_share": trial.setup.share_before_absorber,
    }
    unread = {name: one for name, one in usual.items() if getattr(trial.setup, name) is None}
    setup = replace(trial.setup, **unread)  # type: ignore[arg-type]
    sound = replace(trial, setup=setup, readings=readings.where(~np.isin(readings.row, rows)))
    if not sound.readings.jar.size:
        return ()
    with np.errstate(all="ignore"):
        # readings that no gas can have come out as no number, and are left out
        return tuple(impossible_falls(sound, normalise(sound)))


def unknown_gas(trial: Trial, gas: JarGas) -> Iterator[Problem]:
    """Return the first reading of each jar from which its gas cannot be told."""
    readings = trial.readings
    told: set[int] = set()
    for index in np.flatnonzero(~np.isfinite(gas.methane_NmL)):
        number = int(readings.jar[index])
        jar = trial.jars[number]
        if number in told or jar.given_net or jar.role == "weight check":
            continue
        told.add(number)
        what = f"the gas of jar “{jar.name}” is not known on day {readings.time_d[index]:.4g}"
        wanted = "fill in what is missing in this row, or take it out"
        yield Problem(readings.table, what, wanted, int(readings.row[index]))
