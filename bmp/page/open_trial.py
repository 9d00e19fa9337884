"""A trial that the page works on: its files, its journal, and the lock that keeps both in step."""

from __future__ import annotations

import hashlib
import threading
from collections.abc import Callable, Mapping
from contextlib import suppress
from datetime import datetime
from pathlib import Path
from time import monotonic

from bmp.moving import move
from bmp.page.conflict import Conflict, ask_about_near, cells_at, changed_since
from bmp.page.journal import (
    NAME,
    Entry,
    append,
    prepared,
    read_journal,
    sync_folder,
    write_whole,
)
from bmp.page.merge import merged, same
from bmp.page.readings_table import (
    Cells,
    ReadingsTable,
    applied,
    from_table,
    from_wide,
    is_long,
    replayed,
    to_csv,
)
from bmp.page.reasons import reason
from bmp.page.trial_folders import free_place, links_inside
from bmp.problem import Problem, UnusableInput
from bmp.read.cells import words
from bmp.read.columns import parse_header
from bmp.read.tables import read_tables

WRITE_AT_MOST_EVERY_S = 1.0
TRY_AGAIN_AFTER_S, TRY_AGAIN_AT_MOST_S = 2.0, 30.0
LARGEST_TO_TYPE_BYTES = 4_000_000
"""A larger table of readings comes from an instrument; nobody types into it."""
EMPTY = ReadingsTable(("jar", "taken"))
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
        self.behind = ""
        """Why the table is behind what was kept; empty where it is not, or only for a moment."""
        self._requests: dict[str, Entry] = {}
        self._seen = (-1, -1, -1)
        self._written_at = -WRITE_AT_MOST_EVERY_S
        self._timer: threading.Timer | None = None
        self._wait_s = TRY_AGAIN_AFTER_S
        self._journal = (0, 0, 0)
        self._load()

    # ------------------------------------------------------------ loading

    def _load(self) -> None:
        links = links_inside(self.folder)
        if links:
            what, _, wanted = links.partition(": ")
            raise UnusableInput([Problem(self.folder.name, what, wanted)])
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
            # where other hands wrote the table since, theirs stays
            if entry.kind == "table" and self.table_text(name) == (entry.before or ""):
                with suppress(OSError):
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
            self.cannot_type, self.is_wide = "", False
            try:
                raw = path.read_bytes() if path.exists() else b""
            except OSError as error:
                self.cannot_type = f"{path.name} cannot be read: {reason(error)}."
                return
            journalled = any(e.kind in CHANGES for e in self.entries)
            if raw and not self._is_own(hashlib.sha256(raw).hexdigest()[:32]):
                if not self._take_over(journalled, raw):
                    return
            elif self._is_behind() or (journalled and not raw):
                self._write()
            self._seen = _signature(self.path)

    def _base(self) -> int:
        """Return how many entries the table holds that was last put in its place for certain.

        What was said to be written and not to be placed may be in the file or not: the page was
        stopped, or the disk refused. Before the first such table it is the one found at first.
        """
        written, base = 0, 0
        for number, entry in enumerate(self.entries, start=1):
            if entry.kind == "placed":
                base = written
            elif _is_written(entry):
                written = number
            elif entry.kind == "readings" and not base and not written:
                base = base or number
        return base

    def _is_own(self, found: str) -> bool:
        """Tell whether the page itself wrote the file: as it last stood there, or since."""
        base = self._base()
        last = [e.after for e in self.entries[max(base - 1, 0) :] if _is_written(e)]
        return found in last

    def _is_behind(self) -> bool:
        """Tell whether the journal has more than the table."""
        since = self.entries[self._base() :]
        return any(e.kind in CHANGES or _is_written(e) for e in since)

    def _take_over(self, journalled: bool, raw: bytes) -> bool:
        """Take over what other hands wrote; `False` where that must be tried again."""
        if len(raw) > LARGEST_TO_TYPE_BYTES:
            self.cannot_type = "the table is too long to type into (it is analysed as it is)."
            return True
        try:
            table = read_tables(self.folder, ("readings",))["readings"]
        except UnusableInput as unusable:
            self.cannot_type = str(unusable.problems[0])
            return True
        self.is_wide = not is_long(table)
        if self.is_wide:
            self.cannot_type = f"{table.name} has a column for each jar (it is analysed as it is)."
            return True
        shelf = self.shelf()
        found = from_table(table, shelf)
        if not journalled:
            self.sheet = found
            return True
        base = replayed(self.entries[: self._base()], EMPTY)
        new = merged(base, self.sheet, found, shelf)
        try:
            if not same(new, self.sheet, shelf):
                self._add("readings", table="readings", after=new.state())
            if not same(new, found, shelf):
                self._write()
            else:
                self._add("written", table="readings", after=hashlib.sha256(raw).hexdigest()[:32])
                self._add("placed", table="readings")
        except OSError as error:
            self._is_late(error)
            return False
        return True

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

    def known(self, request: str) -> bool:
        """Tell whether a request was answered before."""
        return bool(request) and request in self._requests

    def save(
        self,
        jar: str,
        time: str,
        cells: Cells,
        expected: int,
        request: str = "",
        sure: bool = False,
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
        sure
            It is a further reading although another stands close by.

        Raises
        ------
        Conflict
            One of these cells was changed since, or another reading stands close by.
        OSError
            It could not be kept; nothing was changed.
        """
        with self.lock:
            self.refresh()
            if self.known(request):
                return self._requests[request]
            held = self.sheet.rows.get((jar, time), {}) if jar else self.sheet.rounds.get(time, {})
            if self.sheet.version(jar, time) != expected:
                seen = cells_at(self.entries, expected, jar, time)
                if any(held.get(h, "") not in (seen.get(h, ""), text) for h, text in cells.items()):
                    raise changed_since(self.sheet, self.entries, jar, time)
            if jar and not sure:
                ask_about_near(self.sheet, jar, time)
            self._begin()
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

    def change_readings(self, change: Callable[[ReadingsTable], ReadingsTable]) -> Entry:
        """Change several readings at once: one change, to be taken back as one.

        Raises
        ------
        OSError
            It could not be kept; nothing was changed.
        """
        with self.lock:
            self.refresh()
            self._begin()
            entry = self._add("readings", table="readings", after=change(self.sheet).state())
            self._write_soon()
            return entry

    def note_name(self, before: str, after: str) -> None:
        """Write into the journal that the trial's folder has another name."""
        with self.lock:
            self._begin()
            self._add("name", before=before, after=after)

    @property
    def former_names(self) -> tuple[str, ...]:
        """Return the names that the trial had before: open pages still ask for them."""
        return tuple(str(e.before) for e in self.entries if e.kind == "name")

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
                raise LookupError("There is nothing to take back here")
            fields = {"jar": entry.jar, "time": entry.time, "table": entry.table}
            if entry.kind == "table":
                return self.change_table(
                    entry.table, entry.before or "", digest(entry.after or ""), undoes=number
                )
            if entry.kind == "readings":
                before = replayed(self.entries[: number - 1], EMPTY)
                after = applied(before, entry)
                # what was typed since stays
                new = merged(after, self.sheet, before, self.shelf())
                done = self._add("readings", after=new.state(), undoes=number, **fields)
            else:
                done = self._add(
                    entry.kind, before=entry.after, after=entry.before, undoes=number, **fields
                )
            self._write_soon()
            return done

    def undoable(self, entry: Entry) -> bool:
        """Tell whether a change can be taken back.

        A reading or a table: the latest change to it. What other hands wrote, or what changed many
        readings at once: always, once.
        """
        if entry.kind in ("reading", "round"):
            return self.sheet.version(entry.jar, entry.time) == entry.number
        if entry.kind == "readings":
            first = next(e.number for e in self.entries if e.kind == "readings")
            return entry.number > first and entry.number not in self._undone()
        later = self.entries[entry.number :]
        same_table = any(e.kind == "table" and e.table == entry.table for e in later)
        return entry.kind == "table" and not same_table

    def _undone(self) -> set[int]:
        return {e.undoes for e in self.entries if e.undoes is not None}

    def changes(self) -> list[Entry]:
        """Return what was changed, the latest first."""
        return [
            entry
            for entry in reversed(self.entries)
            if entry.kind not in ("written", "placed", "name")
        ]

    def table_text(self, name: str) -> str:
        """Return another table of the trial as text; empty where there is none."""
        path = self.file(name)
        return path.read_bytes().decode("utf-8", errors="replace") if path.exists() else ""

    def change_table(
        self, name: str, text: str, expected: str, undoes: int | None = None, request: str = ""
    ) -> Entry:
        """Write another table of the trial, where it still is what the page showed.

        Raises
        ------
        Conflict
            It was changed since.
        OSError
            It could not be kept; nothing was changed.
        """
        with self.lock:
            if self.known(request):
                return self._requests[request]
            before = self.table_text(name)
            if digest(before) != expected:
                raise Conflict(f"The table {name} was changed meanwhile", {}, 0, "")
            path = self.file(name)
            # whatever the disk refuses, it refuses before the journal says that it is changed
            new = prepared(path, text) if text else None
            try:
                entry = self._add(
                    "table", table=name, before=before, after=text, undoes=undoes, request=request
                )
                self._put(new, path)
            except OSError:
                if new is not None:
                    new.unlink(missing_ok=True)
                if self.entries and self.entries[-1].kind == "table":
                    self._take_out()
                raise
            self._add("written", table=name, after=digest(text))
            return entry

    def _take_out(self) -> None:
        """Say in the journal that its last entry, a table, did not come to be."""
        entry = self.entries[-1]
        self._requests.pop(entry.request, None)
        with suppress(OSError):
            self._add("table", table=entry.table, before=entry.after, after=entry.before)
            self._add("written", table=entry.table, after=digest(str(entry.before or "")))

    def _put(self, new: Path | None, path: Path) -> None:
        if new is None:
            path.unlink(missing_ok=True)
        else:
            move(new, path)
        sync_folder(path.parent)

    def _write_table(self, name: str, text: str) -> None:
        if text:
            write_whole(self.file(name), text)
        else:
            self.file(name).unlink(missing_ok=True)
        self._add("written", table=name, after=digest(text))

    @property
    def has_own(self) -> bool:
        """Tell whether the journal holds readings that can be put back."""
        return bool(self.sheet.rows) and any(e.kind in CHANGES for e in self.entries)

    def put_back(self) -> None:
        """Write the readings that the journal holds over a table that cannot be used.

        What stands there now is kept beside it.
        """
        with self.lock:
            self.refresh()
            if not self.cannot_type or not self.has_own:
                return
            old = self.path.read_bytes()
            free_place(self.folder, "readings-found", ".csv").write_bytes(old)
            self._write()
            self.cannot_type, self.is_wide = "", False

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
        else:
            self._in(wait)

    def _in(self, wait_s: float) -> None:
        self._timer = threading.Timer(wait_s, self.flush)
        self._timer.daemon = True
        self._timer.start()

    def flush(self) -> None:
        """Bring the table up to the journal, if it is behind."""
        with self.lock:
            if self._timer is not None:
                self._timer.cancel()
                self._timer = None
            # a trial that was renamed or put away is open under its new place
            if not self.folder.is_dir():
                return
            try:
                self.refresh()
            except (UnusableInput, OSError) as error:
                self._is_late(error)
                return
            if any(e.kind in CHANGES for e in self.entries) and self._is_behind():
                self._write()

    def _write(self) -> None:
        """Write the table; where that fails, the journal has everything and it is tried again."""
        text = self.text()
        said = digest(text)
        since = self.entries[self._base() :]
        last = next((e for e in reversed(since) if e.kind in CHANGES or _is_written(e)), None)
        try:
            if last is None or not _is_written(last) or last.after != said:
                # said before it is done, so that the file is known as the page's own after a kill
                self._add("written", table="readings", after=said)
            write_whole(self.path, text)
            self._add("placed", table="readings")
        except OSError as error:
            self._is_late(error)
            return
        self.behind, self._wait_s = "", TRY_AGAIN_AFTER_S
        self._seen = _signature(self.path)
        self._written_at = monotonic()

    def _is_late(self, error: BaseException) -> None:
        """Say that the table is behind, and try again soon."""
        self.behind = f"Kept. The table {self.path.name} is behind: {reason(error)}."
        if self._timer is None:
            self._in(self._wait_s)
            self._wait_s = min(2.0 * self._wait_s, TRY_AGAIN_AT_MOST_S)
