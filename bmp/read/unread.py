"""Rows of a logbook that wait for their reading, apart from those that hold one."""

from __future__ import annotations

import numpy as np

from bmp.trial import Readings


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
    return readings.where(~waiting), readings.where(waiting)
