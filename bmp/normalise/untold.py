"""Readings from which a jar's gas cannot be told, as problems at their rows."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from bmp.normalise.jars import JarGas
from bmp.problem import Problem
from bmp.trial import Trial


def impossible_falls(trial: Trial, gas: JarGas) -> Iterator[Problem]:
    """Return every reading that shows less gas than the one before without any explanation."""
    readings = trial.readings
    for index in np.flatnonzero(gas.fall & ~gas.fall_explained):
        jar = trial.jars[readings.jar[index]]
        if jar.left_out is not None:
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


def unknown_gas(trial: Trial, gas: JarGas) -> Iterator[Problem]:
    """Return the first reading of each jar from which its gas cannot be told."""
    readings = trial.readings
    told: set[int] = set()
    for index in np.flatnonzero(~np.isfinite(gas.methane_NmL)):
        number = int(readings.jar[index])
        jar = trial.jars[number]
        if number in told or jar.measured == "net yield" or jar.role == "weight check":
            continue
        told.add(number)
        what = f"the gas of jar “{jar.name}” is not known on day {readings.time_d[index]:.4g}"
        wanted = "fill in what is missing in this row, or take it out"
        yield Problem(readings.table, what, wanted, int(readings.row[index]))
