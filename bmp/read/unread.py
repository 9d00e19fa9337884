"""Rows of a logbook that wait for their reading, apart from those that hold one."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from bmp.trial import BoolArray, Readings


def split_unread(readings: Readings) -> tuple[Readings, Readings]:
    """Return the readings that were taken, and the rows that still wait for theirs.

    A row waits when it holds no number and its jar has no number later on. An empty row between
    two readings is not waiting but missing: its gas may be lost, so it stays where it is told.
    """
    filled = readings.not_vented.copy()
    for values in readings.columns.values():
        filled |= ~np.isnan(values)
    last = np.full(readings.jar.max(initial=-1) + 1, -1)
    np.maximum.at(last, readings.jar[filled], np.flatnonzero(filled))
    waiting = np.arange(readings.jar.size) > last[readings.jar]
    return _rows(readings, ~waiting), _rows(readings, waiting)


def _rows(readings: Readings, kept: BoolArray) -> Readings:
    indices = np.flatnonzero(kept)
    taken = readings.taken
    return replace(
        readings,
        jar=readings.jar[kept],
        time_d=readings.time_d[kept],
        row=readings.row[kept],
        columns={name: values[kept] for name, values in readings.columns.items()},
        not_vented=readings.not_vented[kept],
        emptied=readings.emptied[kept],
        note=tuple(readings.note[i] for i in indices),
        taken=None if taken is None else tuple(taken[i] for i in indices),
    )
