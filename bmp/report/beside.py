"""Work done beside this process on a second core, where the system can."""

from __future__ import annotations

import os
import threading
import warnings
from collections.abc import Callable


def start_beside(work: Callable[[], None]) -> Callable[[], None]:
    """Start `work` in a copy of this process and return the function that waits for its end.

    The work may write files and nothing else: what it changes in memory is lost. Where a process
    cannot be copied (no fork, one core, other threads at work) it is done at once; where the copy
    fails it is done again here, so that its error is seen.
    """
    alone = threading.active_count() == 1
    if not hasattr(os, "fork") or not alone or (os.cpu_count() or 1) < 2:
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
        if os.waitpid(child, 0)[1] != 0:
            work()

    return wait
