"""An archive from end to end: part after part, in several processes, each result kept at once.

What is finished is kept in a folder of its own under a name that stands for the part's contents.
An interrupted run so goes on where it stopped, and a part that has changed is done anew.
"""

from __future__ import annotations

import json
import os
import sys
import threading
from collections import deque
from collections.abc import Callable, Iterator
from concurrent.futures import Future, ProcessPoolExecutor
from contextlib import contextmanager
from dataclasses import replace
from importlib.util import find_spec
from multiprocessing import get_context, parent_process
from pathlib import Path
from typing import TypeAlias

import numpy as np

from bmp.archive.find import deeper_trials, find_archive
from bmp.archive.outcome import Outcome
from bmp.archive.parts import ArchivePart
from bmp.moving import move
from bmp.problem import Problem, UnusableInput

WORTH_BYTES, WORTH_TRIALS = 5_000_000, 60
Pool: TypeAlias = tuple[ProcessPoolExecutor | None, int]
LARGE_BYTES = 30_000_000
IN_FLIGHT = 3
"""Parts handed to each process ahead, so that an archive need not be in the memory twice."""


def run_archive(
    place: Path,
    kept: Path,
    workers: int = 1,
    show: Callable[[int], None] = lambda done: None,
    look: bool = True,
) -> Outcome:
    """Return what came of all trials, sorted by trial and series.

    Parameters
    ----------
    place
        A folder of trials, or a folder or workbook with tables that hold many.
    kept
        Folder in which the results of finished parts are kept.
    workers
        Processes, at most one a processor; the result does not depend on their number.
    show
        Called with the number of trials that are done.
    look
        For reading errors in every trial too, which takes several times as long as all the rest.

    Raises
    ------
    UnusableInput
        There is no trial in the place, its tables cannot be told apart, or pyarrow is missing.
    """
    if find_spec("pyarrow") is None:
        wanted = f"type: {sys.executable} -m pip install pyarrow"
        raise UnusableInput([Problem("archive", "one more package is needed for it", wanted)])
    with _processes(min(workers, os.cpu_count() or 1) if _large(place) else 1) as pool:
        parts = find_archive(place)
        total = _run(parts if look else map(_without_looking, parts), kept, pool, show)
    total = total + Outcome((), {}, deeper_trials(place))
    rows = tuple(sorted(total.rows, key=lambda row: (row[0], row[-2])))
    return replace(total, rows=rows, errors=tuple(sorted(total.errors, key=lambda row: row[0])))


def _without_looking(part: ArchivePart) -> ArchivePart:
    without: ArchivePart = replace(part, look=False)  # type: ignore[type-var]
    return without


def _large(place: Path) -> bool:
    """Tell whether an archive is worth several processes."""
    inside = list(place.iterdir()) if place.is_dir() else [place]
    size = sum(path.stat().st_size for path in inside if path.is_file())
    return size > WORTH_BYTES or len(inside) > WORTH_TRIALS


@contextmanager
def _processes(workers: int) -> Iterator[Pool]:
    """Start the processes before anything is read, so that they begin light; none for one."""
    if workers < 2:
        yield None, 1
        return
    way = "fork" if sys.platform.startswith("linux") else "spawn"
    with ProcessPoolExecutor(workers, get_context(way), _begin) as pool:
        # all start with the first call: a process must not be split in two once it has threads
        pool.submit(abs, 0)
        yield pool, workers


def _begin() -> None:
    """Load what the first part needs, while the archive is looked through."""
    threading.Thread(target=_end_with_parent, daemon=True).start()
    import pyarrow.csv  # noqa: F401
    import scipy.special  # noqa: F401

    # once so much was given back, the C library keeps arrays of a part's size for the next ones,
    # which otherwise cost a tenth of the time
    np.empty(LARGE_BYTES, dtype=np.uint8)


def _end_with_parent() -> None:
    """End this process when the one that started it is gone, however that ended."""
    parent = parent_process()
    if parent is not None:
        parent.join()
        os._exit(1)


def _run(
    parts: Iterator[ArchivePart], kept: Path, pool: Pool, show: Callable[[int], None]
) -> Outcome:
    outcomes: list[Outcome] = []
    done = 0
    for outcome in _outcomes(parts, kept, pool):
        outcomes.append(outcome)
        done += len(outcome.because) + len(outcome.refused)
        show(done)
    return _joined(outcomes)


def _joined(outcomes: list[Outcome]) -> Outcome:
    return Outcome(
        rows=tuple(row for one in outcomes for row in one.rows),
        because={name: why for one in outcomes for name, why in one.because.items()},
        refused={name: why for one in outcomes for name, why in one.refused.items()},
        errors=tuple(row for one in outcomes for row in one.errors),
    )


def _outcomes(parts: Iterator[ArchivePart], kept: Path, pool: Pool) -> Iterator[Outcome]:
    """Yield the outcome of every part, in the order of the parts."""
    executor, workers = pool
    if executor is None:
        yield from (_kept_or_made(part, kept) for part in parts)
        return
    waiting: deque[Future[Outcome]] = deque()
    for part in parts:
        waiting.append(executor.submit(_kept_or_made, part, kept))
        if len(waiting) >= IN_FLIGHT * workers:
            yield waiting.popleft().result()
    yield from (future.result() for future in waiting)


def _kept_or_made(part: ArchivePart, kept: Path) -> Outcome:
    path = kept / f"{part.key()}{'' if part.look else '-not-looked'}.json"
    found = _load(path)
    if found is None:
        found = part.outcome()
        _save(found, path)
    return found


def _save(outcome: Outcome, path: Path) -> None:
    path.parent.mkdir(parents=True, exist_ok=True)
    new = path.with_suffix(f".{os.getpid()}")
    new.write_text(json.dumps(vars(outcome), allow_nan=False), encoding="utf-8")
    move(new, path)


def _load(path: Path) -> Outcome | None:
    """Return a result that was kept; `None` where there is none, or none that can be read."""
    try:
        found = json.loads(path.read_text(encoding="utf-8"))
        return Outcome(
            tuple(tuple(row) for row in found["rows"]),
            {name: tuple(why) for name, why in found["because"].items()},
            {name: tuple(why) for name, why in found["refused"].items()},
            tuple(tuple(row) for row in found["errors"]),
        )
    except (OSError, ValueError, KeyError, TypeError, AttributeError):
        return None
