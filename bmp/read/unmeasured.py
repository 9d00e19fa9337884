"""Readings that say “not measured”: gas that was let go before anyone read it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from bmp.trial import NOT_MEASURED, BoolArray, FloatArray, Setup, says_not_measured

FIGURES = ("volume_mL", "gauge_before_kPa", "absolute_before_kPa", "mass_before_g")
"""Columns in whose place the words may stand."""


def counted_as_none(
    columns: Mapping[str, FloatArray], said: BoolArray, setup: Setup
) -> tuple[dict[str, FloatArray], BoolArray]:
    """Return the columns with no gas where none was measured, and which readings those are.

    A vented jar begins again at the air's pressure. A running total loses nothing by a reading
    that was not taken, so nothing is filled in there. Nor does a bottle that is weighed: it is
    lighter by what left it unread, and only what leaked before the venting is unknown.

    Parameters
    ----------
    columns
        Arrays of shape (readings,), NaN where a cell is empty.
    said : array, shape (readings,)
        The words stand in the row.
    """
    out, done = dict(columns), np.zeros(said.shape, dtype=bool)
    usual = np.nan if setup.ambient_kPa is None else setup.ambient_kPa
    air = np.asarray(columns.get("ambient_kPa", np.full(said.shape, np.nan)))
    none = np.zeros(said.shape)
    after = np.asarray(columns.get("mass_after_g", np.full(said.shape, np.nan)))
    for name in FIGURES:
        if name not in columns or (name == "volume_mL" and setup.cumulative):
            continue
        if name == "mass_before_g":
            done |= said & np.isnan(columns[name]) & ~np.isnan(after)
            continue
        value = np.where(np.isnan(air), usual, air) if name.startswith("absolute") else none
        here = said & np.isnan(columns[name]) & ~np.isnan(value)
        out[name] = np.where(here, value, columns[name])
        done |= here
    return out, done


def noted(notes: Sequence[str], unmeasured: BoolArray) -> list[str]:
    """Return the notes, with the words in front where only a cell held them."""
    return [
        "; ".join(filter(None, (NOT_MEASURED, note)))
        if here and not says_not_measured(note)
        else note
        for note, here in zip(notes, unmeasured.tolist(), strict=True)
    ]
