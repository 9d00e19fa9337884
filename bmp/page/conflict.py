"""Two people at one reading: who comes second is asked, and overwrites nothing."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from bmp.page.journal import Entry
from bmp.page.readings_table import Cells, ReadingsTable, order

NEAR_D = 30.0 / 1440.0
"""Readings of a jar closer than this may be one that was typed twice, and are asked about."""


@dataclass(eq=False)
class Conflict(Exception):
    """Someone else was there first. Nothing was changed."""

    words: str
    now: Mapping[str, str]
    """What stands there now, by header."""
    version: int
    time: str
    kind: str = "changed"
    """`changed` since the page saw it; `near`: another reading stands close by in time; `time`: the
    time is unlikely."""


def cells_at(entries: Sequence[Entry], version: int, jar: str, time: str) -> Cells:
    """Return what a reading or round held as its page saw it."""
    first = next((e.number for e in entries if e.kind == "readings"), 0)
    entry = entries[(version or first) - 1] if 0 < (version or first) <= len(entries) else None
    if entry is None:
        return {}
    if entry.kind == "readings":
        if not jar:
            return dict(entry.after["rounds"].get(time, {}))
        rows = entry.after["rows"]
        return next((cells for name, at, cells in rows if (name, at) == (jar, time)), {})
    if entry.kind in ("reading", "round") and (entry.jar, entry.time) == (jar, time):
        return entry.after or {}
    return {}


def changed_since(sheet: ReadingsTable, entries: Sequence[Entry], jar: str, time: str) -> Conflict:
    """Return what a page is told that has not seen the latest change to a reading or round."""
    version = sheet.version(jar, time)
    known = sheet.rows.get((jar, time)) if jar else sheet.rounds.get(time)
    at = next((entry.at for entry in reversed(entries) if entry.number == version), "")
    return Conflict(f"changed on another page at {at[11:19]}", known or {}, version, time)


def ask_about_near(sheet: ReadingsTable, jar: str, time: str) -> None:
    """Ask about a new reading that stands close to another one of its jar.

    Raises
    ------
    Conflict
    """
    if (jar, time) in sheet.rows:
        return
    near = [
        other
        for name, other in sheet.rows
        if name == jar and abs(order(other) - order(time)) < NEAR_D
    ]
    if near:
        said = f"jar {jar} has a reading of {near[0].replace('T', ' ')} already"
        cells = sheet.rows[jar, near[0]]
        raise Conflict(said, cells, sheet.version(jar, near[0]), near[0], kind="near")
