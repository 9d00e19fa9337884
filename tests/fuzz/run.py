"""Hand broken inputs to the tool: each ends in a clean result or a clean refusal.

`python -m tests.fuzz.run [COUNT] [FIRST]` (default 20,000 inputs from number 0), one process.
Prints what came of them, the slowest input and the highest memory; every other end is an error
and is shown with its number, so that `python -m tests.fuzz.run 1 NUMBER` repeats it. The command
line's last resort (a sentence for an error it does not know) is not in the way here.
"""

from __future__ import annotations

import io
import json
import random
import resource
import sys
import tempfile
import time
import traceback
import warnings
from collections import Counter
from contextlib import redirect_stderr, redirect_stdout
from dataclasses import dataclass, field
from pathlib import Path

from tests.fuzz.mutate import broken_input

MOST_SECONDS = 20.0


@dataclass
class Tally:
    """What came of the inputs so far."""

    ends: Counter[str] = field(default_factory=Counter)
    errors: list[str] = field(default_factory=list)
    slowest: tuple[float, int] = (0.0, -1)


def one(rng: random.Random) -> str:
    """Hand in one broken input to `check` and `analyze`; return how it ended.

    Raises
    ------
    AssertionError
        It ended neither in a result nor in a refusal of plain lines.
    """
    from bmp.analyze import analyze
    from bmp.check import check
    from bmp.problem import UnusableInput
    from bmp.read import read_with_problems
    from bmp.report.answer_text import answer_text
    from bmp.report.first_screen import first_screen
    from bmp.report.results_json import curves_text, results_text

    with tempfile.TemporaryDirectory() as folder:
        place = broken_input(rng, Path(folder))
        before = _content(place)
        try:
            trial, problems = read_with_problems(place)
            for line in check(trial, whole=not problems).lines:
                assert_plain(line)
            if problems:
                raise UnusableInput(problems)
            results = analyze(trial)
            json.loads(results_text(results), parse_constant=float.fromhex)  # no NaN, no infinity
            curves_text(results)
            for line in answer_text(first_screen(results)).splitlines():
                assert_plain(line)
            return "result"
        except UnusableInput as unusable:
            told = [str(problem) for problem in unusable.problems]
        finally:
            assert _content(place) == before, "the input was changed"
    assert told, "a refusal without a reason"
    for line in told:
        assert_plain(line)
    return "refusal"


def assert_plain(line: str) -> None:
    """Check that a line can be printed as one."""
    assert len(line) < 3000, "a line of over 3,000 characters"
    assert "Traceback" not in line
    assert " comes to nan" not in line, line


def _content(place: Path) -> dict[str, bytes]:
    files = sorted(place.iterdir()) if place.is_dir() else [place]
    return {path.name: path.read_bytes() for path in files}


def attempt(seed: int, tally: Tally) -> None:
    """Hand in one broken input and count how it ended."""
    start, said = time.process_time(), io.StringIO()
    try:
        with warnings.catch_warnings(), redirect_stderr(said), redirect_stdout(said):
            warnings.simplefilter("ignore")  # as the program does for whoever runs it
            end = one(random.Random(seed))
        assert not said.getvalue(), f"said {said.getvalue()[:200]}"
    except (KeyboardInterrupt, SystemExit):
        raise
    except BaseException:
        end = "error"
        tally.errors.append(f"input {seed}: {traceback.format_exc(limit=-3)}")
    tally.ends[end] += 1
    seconds = time.process_time() - start
    tally.slowest = max(tally.slowest, (seconds, seed))


def main(count: int, first: int) -> int:
    """Hand in that many inputs and print the figures."""
    tally = Tally()
    for seed in range(first, first + count):
        attempt(seed, tally)
        if tally.ends["error"] and len(tally.errors) <= 40 and tally.errors[-1:]:
            last = tally.errors[-1]
            if last.startswith(f"input {seed}:"):
                print(last, flush=True)
    memory = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(f"{count} inputs from number {first}: " + ", ".join(
        f"{number} {end}" for end, number in sorted(tally.ends.items())
    ))  # fmt: skip
    seconds, seed = tally.slowest
    print(f"slowest {seconds:.2f} s (number {seed}); highest memory {memory:.0f} MB")
    return 1 if tally.errors or seconds > MOST_SECONDS else 0


if __name__ == "__main__":
    numbers = [int(word) for word in sys.argv[1:]]
    sys.exit(main(*(numbers + [20_000, 0][len(numbers) :])))
