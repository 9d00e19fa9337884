"""A second process that analyses and draws, so that nobody who types waits for it.

Questions and answers are pickled through the pipes of a child process; when the page is gone, even
killed, the child reads the end of its input and stops.
"""

from __future__ import annotations

import os
import pickle
import queue
import signal
import subprocess
import sys
import threading
from collections.abc import Callable
from contextlib import suppress
from typing import Any, BinaryIO, Final, TypeAlias

Run: TypeAlias = Callable[..., Any]
"""Calls a function of a module with arguments and returns what it returns."""
MOST_AT_ONCE: Final = 2
"""So that a large trial holds up no small one; one page needs no more."""

_ALONE = threading.Lock()


def directly(function: Callable[..., Any], *given: Any) -> Any:
    """Call a function in this process, one at a time: drawing is not safe in several threads."""
    with _ALONE:
        return function(*given)


class Workers:
    """Up to `MOST_AT_ONCE` child processes, started when they are needed, kept and used again."""

    def __init__(self) -> None:
        self._idle: queue.LifoQueue[_Child | None] = queue.LifoQueue()
        for _ in range(MOST_AT_ONCE):
            self._idle.put(None)

    def warm_up(self) -> None:
        """Import what a first view of results takes, in the first child and here."""

        def both() -> None:
            import bmp.page.chart
            import bmp.report.page  # noqa: F401

            with suppress(RuntimeError):
                self.run(warm)

        threading.Thread(target=both, daemon=True).start()

    def run(self, function: Callable[..., Any], *given: Any) -> Any:
        """Call a function in a child and return what it returns, or raise what it raises."""
        child = self._idle.get()
        try:
            child = child or _Child()
            done, value = child.ask(function, given)
        except (OSError, EOFError, pickle.UnpicklingError) as error:
            if child is not None:
                child.end()
            child = None
            raise RuntimeError("the analysis was stopped; is there too little memory?") from error
        finally:
            self._idle.put(child)
        if not done:
            raise value
        return value

    def close(self) -> None:
        """End all children that have nothing to do."""
        with suppress(queue.Empty):
            while True:
                child = self._idle.get_nowait()
                if child is not None:
                    child.end()


class _Child:
    def __init__(self) -> None:
        self._process = subprocess.Popen(
            [sys.executable, "-m", "bmp.page.worker"],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
        )

    def ask(self, function: Callable[..., Any], given: tuple[Any, ...]) -> tuple[bool, Any]:
        process = self._process
        assert process.stdin is not None
        assert process.stdout is not None
        pickle.dump((function, given), process.stdin, pickle.HIGHEST_PROTOCOL)
        process.stdin.flush()
        answer: tuple[bool, Any] = pickle.load(process.stdout)
        return answer

    def end(self) -> None:
        self._process.kill()
        self._process.communicate()


def warm() -> None:
    """Analyse the demo once, so that all is imported that an analysis and its pictures take."""
    import bmp.report.compare_page  # noqa: F401
    from bmp.page.demo import demo_folder
    from bmp.page.results_to_date import analysed
    from bmp.page.trial_folders import Place

    analysed(Place("demo", demo_folder()), "")


def serve_questions(questions: BinaryIO, answers: BinaryIO) -> None:
    """Answer questions until their end."""
    while True:
        try:
            function, given = pickle.load(questions)
        except EOFError:
            return
        try:
            answer = pickle.dumps((True, function(*given)), pickle.HIGHEST_PROTOCOL)
        except Exception as error:
            try:
                answer = pickle.dumps((False, error))
                pickle.loads(answer)
            except Exception:
                answer = pickle.dumps((False, RuntimeError(f"{type(error).__name__}: {error}")))
        answers.write(answer)
        answers.flush()


def main() -> None:
    """Answer the page's questions; what else is printed goes to the terminal."""
    # Ctrl+C is the page's to hear; it then closes this process's input
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    answers = os.fdopen(os.dup(1), "wb")
    os.dup2(2, 1)
    serve_questions(sys.stdin.buffer, answers)


if __name__ == "__main__":
    main()
