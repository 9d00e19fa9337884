"""Work done beside this process on a second core, where the system can."""

from __future__ import annotations

import os
import signal
import sys
import threading
import time
import warnings
from collections.abc import Callable
from typing import Final

LONGEST_S: Final = 60.0
"""Pictures take a few seconds; a copy that hangs must not hold the report up for ever."""
STEP_S: Final = 0.005


def start_beside(work: Callable[[], None]) -> Callable[[], None]:
    """Start `work` in a copy of this process and return the function that waits for its end.

    The work may write files and nothing else: what it changes in memory is lost. Where a process
    cannot be copied (no fork, one core, other threads at work) it is done at once; where the copy
    fails it is done again here, so that its error is seen.
    """
    alone = threading.active_count() == 1
    # macOS has fork too, but its own libraries may hang in the copy
    if not sys.platform.startswith("linux") or not alone or (os.cpu_count() or 1) < 2:
        work()
        return lambda: None
    with warnings.catch_warnings():
        # numpy's sleeping threads: the copy draws pictures and does not use them
        warnings.simplefilter("ignore", DeprecationWarning)
        child = os.fork()
    if child == 0:
        status = 1
        try:
            work()
            status = 0
        finally:
            os._exit(status)

    def wait() -> None:
        if _status(child) != 0:
            work()

    return wait


def _status(child: int) -> int:
    """Return how the copy ended; one that takes too long is ended."""
    last = time.monotonic() + LONGEST_S
    while time.monotonic() < last:
        ended, status = os.waitpid(child, os.WNOHANG)
        if ended:
            return status
        time.sleep(STEP_S)
    os.kill(child, signal.SIGKILL)
    return os.waitpid(child, 0)[1]
