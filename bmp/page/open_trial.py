"""A trial that the page works on: its files, its journal, and the lock that keeps both in step."""

from __future__ import annotations

import hashlib
import threading
from collections.abc import Mapping
from datetime import datetime
from pathlib import Path
from time import monotonic

from bmp.page.conflict import Conflict, ask_about_near, changed_since
from bmp.page.journal import NAME, Entry, append, read_journal, write_whole
from bmp.page.places import free_place
from bmp.page.sheet import (
    Cells,
    Sheet,
    applied,
    from_table,
    from_wide,
    is_long,
    replayed,
    to_csv,
)
from bmp.problem import UnusableInput
from bmp.read.cells import words
from bmp.read.columns import parse_header
from bmp.read.tables import read_tables

WRITE_AT_MOST_EVERY_S = 1.0
EMPTY = Sheet(("jar", "taken"))
CHANGES = ("reading", "round", "readings")
"""Kinds of entries that change the table readings."""


def _now() -> str:
    return datetime.now().astimezone().isoformat(timespec="milliseconds")


def _is_written(entry: Entry) -> bool:
    return entry.kind == "written" and entry.table == "readings"


def _signature(path: Path) -> tuple[int, int, int]:
    try:
        stat = path.stat()
    except FileNotFoundError:
        return (0, 0, 0)
    return (stat.st_mtime_ns, stat.st_size, stat.st_ino)


def digest(text: str) -> str:
    """Return a short name for the content of a text."""
    return hashlib.sha256(text.encode()).hexdigest()[:32]


class OpenTrial:
    """One folder of tables with its journal. All methods may be called from any thread."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.lock = threading.RLock()
        self.entries: list[Entry] = []
        self.sheet = EMPTY
        self.cannot_type = ""
        """Why readings cannot be typed here; empty where they can."""
        self.is_wide = False
        """The table readings has a column a jar."""
        self._requests: dict[str, Entry] = {}
        self._seen = (-1, -1, -1)
        self._written_at = -WRITE_AT_MOST_EVERY_S
        self._timer: threading.Timer | None = None
        self._journal = (0, 0, 0)
        self._load()

    # ------------------------------------------------------------ loading

    def _load(self) -> None:
        self.entries = read_journal(self.folder)
        self._requests = {entry.request: entry for entry in self.entries if entry.request}
        self.sheet = replayed(self.entries, EMPTY)
        self._journal = _signature(self.folder / NAME)
        self._seen = (-1, -1, -1)
        self._finish_tables()
        self.refresh()

    def _finish_tables(self) -> None:
        """Write tables whose change was journalled just before the page was stopped."""
        last = {e.table: e for e in self.entries if e.kind in ("table", "written")}
        for name, entry in last.items():
            if entry.kind == "table":
                self._write_table(name, entry.after or "")

    def file(self, name: str) -> Path:
        """Return the file of a table, whatever the case of its name."""
        wanted = f"{name}.csv"
        found = (p for p in self.folder.iterdir() if p.name.strip().lower() == wanted)
        return next(found, self.folder / wanted)

    @property
    def path(self) -> Path:
        """Return the file of the readings."""
        return self.file("readings")

    def refresh(self) -> None:
        """See whether other hands changed the table, and take over what they left."""
        with self.lock:
            if _signature(self.folder / NAME) != self._journal:
                # the whole folder was put back or exchanged
                self._load()
                return
            path = self.path
            signature = _signature(path)
            if signature == self._seen:
                return
            self.cannot_type = ""
            raw = path.read_bytes() if path.exists() else b""
            journalled = any(e.kind in CHANGES for e in self.entries)
            behind = self._behind(hashlib.sha256(raw).hexdigest()[:32])
            if behind is None and raw:
                self._take_over(journalled, raw)
            elif behind or (journalled and not raw):
                self._write()
            self._seen = _signature(self.path)

    def _behind(self, found: str) -> bool | None:
        """Tell whether the journal has more than the file; `None`: other hands wrote the file.

        The file is the page's own where it is as it was last written, or as before that where the
        page was stopped between saying that it writes and doing so.
        """
        written = [i for i, e in enumerate(self.entries) if _is_written(e)]
        placed = any(e.kind == "placed" for e in self.entries[written[-1] :]) if written else False
        ours = [i for i in written[-1 if placed else -2 :] if self.entries[i].after == found]
        if not ours:
            return None
        return any(e.kind in CHANGES or _is_written(e) for e in self.entries[ours[-1] + 1 :])

    def _take_over(self, journalled: bool, raw: bytes) -> None:
        try:
            table = read_tables(self.folder, ("readings",))["readings"]
        except UnusableInput as unusable:
            self.cannot_type = str(unusable.problems[0])
            return
        self.is_wide = not is_long(table)
        if self.is_wide:
            self.cannot_type = f"{table.name} has a column for each jar (it is analysed as it is)."
            return
        found = from_table(table, self.shelf())
        if not journalled:
            self.sheet = found
            return
        pending = self._pending()
        merged = replayed(pending, found)
        if merged.state() != self.sheet.state():
            self._add("readings", table="readings", after=merged.state())
        if pending:
            self._write()
        else:
            self._add("written", table="readings", after=hashlib.sha256(raw).hexdigest()[:32])
            self._add("placed", table="readings")

    def _pending(self) -> list[Entry]:
        """Return what was acknowledged and is not in the file yet."""
        last = max((i for i, e in enumerate(self.entries) if _is_written(e)), default=-1)
        return [e for e in self.entries[last + 1 :] if e.kind in ("reading", "round")]

    def shelf(self) -> list[str]:
        """Return the names of the jars in the order of the shelf: that of the table jars."""
        try:
            table = read_tables(self.folder, ("jars",))["jars"]
            at = [parse_header(text).name.lower() for text in table.header].index("jar")
        except (UnusableInput, KeyError, ValueError):
            return list(dict.fromkeys(jar for jar, _ in [*self.sheet.rows, *self.sheet.planned]))
        return [words(row[at]) for row in table.rows if words(row[at])]

    # ------------------------------------------------------------ changing

    def _add(self, kind: str, **fields: object) -> Entry:
        """Put a change on the disk, then let it hold."""
        entry = Entry(len(self.entries) + 1, _now(), kind, **fields)  # type: ignore[arg-type]
        append(self.folder, entry)
        self._journal = _signature(self.folder / NAME)
        self.entries.append(entry)
        if entry.request:
            self._requests[entry.request] = entry
        self.sheet = applied(self.sheet, entry)
        return entry

    def _begin(self) -> None:
        """Journal the table as the page found it, before the first change to it."""
        if not any(e.kind in CHANGES for e in self.entries):
            self._add("readings", table="readings", after=self.sheet.state())

    def save(
        self,
        jar: str,
        time: str,
        cells: Cells,
        expected: int,
        request: str = "",
        second: bool = False,
    ) -> Entry:
        """Keep a reading, or with an empty `jar` what holds for its round.

        Parameters
        ----------
        cells
            By header; only these are changed, an empty one is cleared.
        expected
            Version that the page has seen.
        request
            The same one again returns the change made before.
        second
            It is a further reading although another stands close by.

        Raises
        ------
        Conflict
            The reading was changed since, or another stands close by.
        OSError
            It could not be kept; nothing was changed.
        """
        with self.lock:
            self.refresh()
            if request in self._requests and request:
                return self._requests[request]
            version = self.sheet.version(jar, time)
            if version != expected:
                raise changed_since(self.sheet, self.entries, jar, time)
            if jar and not second:
                ask_about_near(self.sheet, jar, time)
            self._begin()
            sheet = self.sheet
            held = sheet.rows.get((jar, time), {}) if jar else sheet.rounds.get(time, {})
            before = dict(held)
            after = {h: text for h, text in {**before, **cells}.items() if text}
            entry = self._add(
                "reading" if jar else "round",
                jar=jar,
                time=time,
                before=before or None,
                after=after or None,
                request=request,
            )
            self._write_soon()
            return entry

    def undo(self, number: int) -> Entry:
        """Take a change back, by a new change; the old one stays in the journal.

        Raises
        ------
        Conflict
            What it changed was changed again since: that one comes first.
        LookupError
            There is no such change, or it cannot be taken back.
        """
        with self.lock:
            self.refresh()
            entry = self.entries[number - 1] if 0 < number <= len(self.entries) else None
            if entry is None or not self.undoable(entry):
                raise LookupError("there is nothing to take back here")
            fields = {"jar": entry.jar, "time": entry.time, "table": entry.table}
            if entry.kind == "table":
                return self.change_table(
                    entry.table, entry.before or "", digest(entry.after or ""), undoes=number
                )
            if entry.kind == "readings":
                before = replayed(self.entries[: number - 1], EMPTY).state()
                done = self._add("readings", after=before, undoes=number, **fields)
            else:
                done = self._add(
                    entry.kind, before=entry.after, after=entry.before, undoes=number, **fields
                )
            self._write_soon()
            return done

    def undoable(self, entry: Entry) -> bool:
        """Tell whether a change is the latest to what it changed."""
        if entry.kind in ("reading", "round"):
            return self.sheet.version(entry.jar, entry.time) == entry.number
        later = self.entries[entry.number :]
        if entry.kind == "readings":
            others = any(e.kind in CHANGES for e in later)
            return entry.number > 1 and not others
        same = any(e.kind == "table" and e.table == entry.table for e in later)
        return entry.kind == "table" and not same

    def changes(self) -> list[Entry]:
        """Return what was changed, the latest first."""
        return [
            entry for entry in reversed(self.entries) if entry.kind not in ("written", "placed")
        ]

    def table_text(self, name: str) -> str:
        """Return another table of the trial as text; empty where there is none."""
        path = self.file(name)
        return path.read_bytes().decode("utf-8", errors="replace") if path.exists() else ""

    def change_table(self, name: str, text: str, expected: str, undoes: int | None = None) -> Entry:
        """Write another table of the trial, where it still is what the page showed.

        Raises
        ------
        Conflict
            It was changed since.
        """
        with self.lock:
            before = self.table_text(name)
            if digest(before) != expected:
                raise Conflict(f"the table {name} was changed meanwhile", {}, 0, "")
            entry = self._add("table", table=name, before=before, after=text, undoes=undoes)
            self._write_table(name, text)
            return entry

    def _write_table(self, name: str, text: str) -> None:
        if text:
            write_whole(self.file(name), text)
        else:
            self.file(name).unlink(missing_ok=True)
        self._add("written", table=name, after=digest(text))

    def lay_out_by_rows(self, measured: Mapping[str, str]) -> None:
        """Give a table with a column a jar a row a jar and time; the old file is kept beside it.

        Parameters
        ----------
        measured
            How each jar is measured, by its name in small letters.

        Raises
        ------
        Unreadable
            A cell or column cannot be understood; nothing was changed.
        """
        with self.lock:
            self.refresh()
            if not self.is_wide:
                return
            found = from_wide(read_tables(self.folder, ("readings",))["readings"], measured)
            old = self.path.read_bytes()
            free_place(self.folder, "readings-before", ".csv").write_bytes(old)
            self._add("readings", table="readings", after=found.state())
            self._write()
            self.cannot_type, self.is_wide = "", False

    # ------------------------------------------------------------ writing

    def text(self) -> str:
        """Return the table readings as it follows from the journal."""
        return to_csv(self.sheet, self.shelf())

    def _write_soon(self) -> None:
        """Write the table now, or within a second where changes come fast."""
        if self._timer is not None:
            return
        wait = self._written_at + WRITE_AT_MOST_EVERY_S - monotonic()
        if wait <= 0:
            self._write()
            return
        self._timer = threading.Timer(wait, self.flush)
        self._timer.daemon = True
        self._timer.start()

    def flush(self) -> None:
        """Bring the table up to the journal, if it is behind."""
        with self.lock:
            if self._timer is not None:
                self._timer.cancel()
                self._timer = None
                self.refresh()
                if self._pending():
                    self._write()

    def _write(self) -> None:
        text = self.text()
        # said before it is done, so that the file is known as the page's own after a kill
        self._add("written", table="readings", after=digest(text))
        write_whole(self.path, text)
        self._add("placed", table="readings")
        self._seen = _signature(self.path)
        self._written_at = monotonic()
