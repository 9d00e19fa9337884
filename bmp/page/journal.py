"""The journal of a trial: every change on its own line, on the disk before it is acknowledged.

Lines are only ever added. A line that a power cut or a kill left unfinished was never
acknowledged; it is dropped when the journal is opened again.
"""

from __future__ import annotations

import json
import os
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from bmp.moving import move
from bmp.problem import Problem, UnusableInput

NAME = "journal.jsonl"
OTHER_TABLES = ("trial", "materials", "jars", "crucibles", "tank", "tank feeds")
"""Tables that are changed whole; no other name leads to a file."""
NO_LINK = getattr(os, "O_NOFOLLOW", 0) | getattr(os, "O_BINARY", 0)
KINDS = ("reading", "round", "readings", "table", "written", "placed", "name")


@dataclass(frozen=True)
class Entry:
    """One change.

    `kind` is `reading` (one jar at one time), `round` (what holds for all jars read at one time),
    `readings` (the whole table, as it was found changed by other hands or undone), `table` (another
    table of the trial), `name` (of the trial's folder), or no change: `written` (a table is about
    to be written) and `placed` (the table readings stands there as written).
    """

    number: int
    """1 for the first line."""
    at: str
    """When it was made: ISO date-time with the offset from UTC."""
    kind: str
    jar: str = ""
    time: str = ""
    """Of the reading or round: as its column writes it."""
    table: str = ""
    after: Any = None
    """What holds from now on; `None`: taken away."""
    before: Any = None
    request: str = ""
    """Name that the page gave to its request: the same one twice is one change."""
    undoes: int | None = None
    """Number of the change that this one takes back."""


def read_journal(folder: Path) -> list[Entry]:
    """Return the entries of a trial's journal; none where there is no journal.

    An unfinished last line is cut off.

    Raises
    ------
    UnusableInput
        A line in the middle is damaged.
    """
    path = folder / NAME
    if path.is_symlink():
        raise UnusableInput([Problem(NAME, "this is a link", "put the journal itself there")])
    if not path.exists():
        return []
    raw = path.read_bytes()
    whole = raw[: raw.rfind(b"\n") + 1]
    if len(whole) < len(raw):
        # a folder that can only be read is looked at all the same
        with suppress(OSError), path.open("r+b") as file:
            file.truncate(len(whole))
            os.fsync(file.fileno())
    return [_entry(line, row) for row, line in enumerate(whole.splitlines(), start=1)]


def _entry(line: bytes, row: int) -> Entry:
    try:
        entry = Entry(**json.loads(line))
        if not _is_sound(entry):
            raise ValueError(entry.kind)
    except (ValueError, TypeError, KeyError, AttributeError):
        what, wanted = "this line is damaged", "restore the journal from a copy, or move it away"
        raise UnusableInput([Problem(NAME, what, wanted, row)]) from None
    return entry


def _is_sound(entry: Entry) -> bool:
    """Tell whether an entry says what a page writes: the folder may come from a stranger."""
    texts = (entry.at, entry.kind, entry.jar, entry.time, entry.table, entry.request)
    if not all(isinstance(text, str) for text in texts) or entry.kind not in KINDS:
        return False
    if type(entry.number) is not int or not isinstance(entry.undoes, int | None):
        return False
    if entry.kind in ("reading", "round"):
        return all(held is None or _is_cells(held) for held in (entry.before, entry.after))
    if entry.kind == "readings":
        return _is_state(entry.after)
    if entry.kind == "placed":
        return True
    texts_held = all(isinstance(held, str | None) for held in (entry.before, entry.after))
    named = entry.kind == "name" or entry.table in (*OTHER_TABLES, "readings")
    return texts_held and named and not (entry.kind == "table" and entry.table == "readings")


def _is_cells(held: Any) -> bool:
    return isinstance(held, dict) and all(
        isinstance(text, str) for pair in held.items() for text in pair
    )


def _is_state(held: Any) -> bool:
    columns, planned = held["columns"], held["planned"]
    return (
        len(columns) >= 2
        and all(isinstance(header, str) for header in columns)
        and all(
            isinstance(jar, str) and isinstance(time, str) and _is_cells(cells)
            for jar, time, cells in held["rows"]
        )
        and all(_is_cells(cells) for cells in held["rounds"].values())
        and all(isinstance(jar, str) and isinstance(time, str) for jar, time in planned)
    )


def append(folder: Path, entry: Entry) -> None:
    """Add an entry and return only when the disk has it.

    Raises
    ------
    OSError
        The disk did not take it; the journal is then as it was before.
    """
    path = folder / NAME
    known = {name: value for name, value in vars(entry).items() if value not in (None, "")}
    line = json.dumps(known, ensure_ascii=False, allow_nan=False) + "\n"
    is_new = not path.exists()
    handle = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_APPEND | NO_LINK, 0o666)
    with os.fdopen(handle, "ab", buffering=0) as file:
        end = file.seek(0, os.SEEK_END)
        try:
            written = file.write(line.encode())
            if written != len(line.encode()):
                raise OSError(28, "the disk is full", str(path))
            os.fsync(file.fileno())
        except OSError:
            file.truncate(end)
            raise
    if is_new:
        sync_folder(folder)


def write_whole(path: Path, text: str) -> None:
    """Write a file so that it is the old one or the new one, whatever happens meanwhile."""
    new = prepared(path, text)
    move(new, path)
    sync_folder(path.parent)


def prepared(path: Path, text: str) -> Path:
    """Write a text beside a file, ready to take its place; nothing is left where it fails."""
    new = path.with_name(f".{path.name}.new")
    new.unlink(missing_ok=True)
    try:
        # made anew: never written through a link that somebody laid there
        with new.open("x", encoding="utf-8", newline="") as file:
            file.write(text)
            file.flush()
            os.fsync(file.fileno())
    except OSError:
        new.unlink(missing_ok=True)
        raise
    return new


def sync_folder(folder: Path) -> None:
    """Bring a folder's list of names to the disk, where the system lets a folder be opened."""
    if os.name == "posix":
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)
