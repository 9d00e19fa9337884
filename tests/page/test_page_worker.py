"""What takes long is done in other processes, and held up by nobody."""

from __future__ import annotations

import os
import subprocess
import sys
import threading
import time
from pathlib import Path

import pytest

from bmp.page.results_to_date import Analyses, analysed, compared
from bmp.page.trial_folders import Place
from bmp.page.worker import Workers, directly
from bmp.problem import Problem, UnusableInput
from tests.page.test_page_planning import DEMO


def fail() -> None:
    raise UnusableInput([Problem("jars.csv", "what", "wanted", 3)])


def talk() -> str:
    print("words that are no answer")
    return "answer"


def test_a_child_answers_raises_and_is_replaced_when_it_is_gone() -> None:
    workers = Workers()
    try:
        assert workers.run(os.getpid) != os.getpid()
        assert workers.run(talk) == "answer"
        with pytest.raises(UnusableInput, match=r"jars\.csv, row 3: what; wanted"):
            workers.run(fail)
        with pytest.raises(RuntimeError, match="was stopped"):
            workers.run(os._exit, 1)
        assert workers.run(max, 1, 2) == 2
    finally:
        workers.close()


def test_a_long_question_holds_up_no_short_one() -> None:
    workers = Workers()
    try:
        long = threading.Thread(target=workers.run, args=(time.sleep, 4.0))
        long.start()
        begin = time.monotonic()
        assert workers.run(max, 1, 2) == 2
        assert long.is_alive(), time.monotonic() - begin
        long.join()
    finally:
        workers.close()


def test_a_child_ends_with_its_page() -> None:
    code = (
        "import os, signal, time\n"
        "from bmp.page.worker import Workers\n"
        "print(Workers().run(os.getpid), flush=True)\n"
        "os.kill(os.getpid(), signal.SIGKILL)\n"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True)
    child = int(done.stdout)
    end = time.monotonic() + 10
    while time.monotonic() < end:
        try:
            os.kill(child, 0)
        except ProcessLookupError:
            return
        if Path(f"/proc/{child}/stat").read_text().split(")")[1].split()[0] == "Z":
            return
        time.sleep(0.05)
    pytest.fail("the child outlives its page")


def test_the_other_process_gives_the_same_results() -> None:
    place = Place("demo", DEMO)
    workers = Workers()
    try:
        there = Analyses(workers.run).of(place)
    finally:
        workers.close()
    here = directly(analysed, place, there.state)
    values = [[one.value for one in found.results.yields] for found in (there, here)]
    assert values[0] == values[1]
    assert len(values[0]) >= 3


def test_many_feeds_are_compared_too(tmp_path: Path) -> None:
    from tests.benchmarks.page_speed import invented

    folder = invented(tmp_path / "many", 27, 8)
    found = directly(analysed, Place("many", folder), "")
    page, said = directly(compared, [found.results], ["many"], ())
    # seven feeds: each pair has its sentence, and the page ranks them
    assert len(said) == 21
    assert "<th>Group</th>" in page
    assert "<tr><td>feed 6</td>" in page
