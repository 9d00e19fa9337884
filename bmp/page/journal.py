"""The journal of a trial: every change on its own line, on the disk before it is acknowledged.

Lines are only ever added. A line that a power cut or a kill left unfinished was never
acknowledged; it is dropped when the journal is opened again.
"""

from __future__ import annotations

import json
import os
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

from bmp.problem import Problem, UnusableInput

NAME = "journal.jsonl"


@dataclass(frozen=True)
class Entry:
    """One change.

    `kind` is `reading` (one jar at one time), `round` (what holds for all jars read at one time),
    `readings` (the whole table, as it was found changed by other hands or undone), `table` (another
    table of the trial), or no change: `written` (a table is about to be written) and `placed` (the
    table readings stands there as written).
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
    if not path.exists():
        return []
    raw = path.read_bytes()
    whole = raw[: raw.rfind(b"\n") + 1]
    if len(whole) < len(raw):
        with path.open("r+b") as file:
            file.truncate(len(whole))
            os.fsync(file.fileno())
    return [_entry(line, row) for row, line in enumerate(whole.splitlines(), start=1)]


def _entry(line: bytes, row: int) -> Entry:
    try:
        return Entry(**json.loads(line))
    except (ValueError, TypeError):
        what, wanted = "this line is damaged", "restore the journal from a copy, or move it away"
        raise UnusableInput([Problem(NAME, what, wanted, row)]) from None


def append(folder: Path, entry: Entry) -> None:
    """Add an entry and return only when the disk has it.

    Raises
    ------
    OSError
        The disk did not take it; the journal is then as it was before.
    """
    path = folder / NAME
    known = {name: value for name, value in asdict(entry).items() if value not in (None, "")}
    line = json.dumps(known, ensure_ascii=False, allow_nan=False) + "\n"
    is_new = not path.exists()
    with path.open("ab", buffering=0) as file:
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
    new = path.with_name(f".{path.name}.new")
    with new.open("w", encoding="utf-8", newline="") as file:
        file.write(text)
        file.flush()
        os.fsync(file.fileno())
    os.replace(new, path)
    sync_folder(path.parent)


def sync_folder(folder: Path) -> None:
    """Bring a folder's list of names to the disk, where the system lets a folder be opened."""
    if os.name == "posix":
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)
