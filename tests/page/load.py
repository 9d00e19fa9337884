"""Many clients that save readings at once, and what became of every one of them."""

from __future__ import annotations

import csv
import threading
import time
from collections import Counter
from dataclasses import dataclass, field
from pathlib import Path

from bmp.page.journal import read_journal
from tests.page.client import HOUR, Client, Served, reading


@dataclass
class Told:
    """What the clients saw."""

    acknowledged: dict[tuple[str, str], str] = field(default_factory=dict)
    refused: list[str] = field(default_factory=list)
    waits_s: list[float] = field(default_factory=list)
    seconds: float = 0.0


def load(page: Served, trial: str, clients: int, per_second: float, seconds: float) -> Told:
    """Let clients save readings at a steady pace, every tenth one twice, as after a lost answer."""
    told, lock = Told(), threading.Lock()
    begin = time.monotonic() + 0.2

    def one(number: int) -> None:
        client = Client(page)
        for turn in range(int(per_second * seconds / clients)):
            due = begin + (turn * clients + number) / per_second
            time.sleep(max(due - time.monotonic(), 0.0))
            at = HOUR % (turn // 24 + 2, turn % 24)
            jar, volume = f"J{number + 1}", f"{turn + 1}"
            item = reading(jar, at, volume, f"{number}-{turn}")
            asked = time.monotonic()
            answers = [client.save(trial, item) for _ in range(2 if turn % 10 == 0 else 1)]
            with lock:
                told.waits_s.append((time.monotonic() - asked) / len(answers))
                for status, answer in answers:
                    if status == 200:
                        told.acknowledged[jar, at] = volume
                    else:
                        told.refused.append(f"{status} {answer}")
        client.close()

    threads = [threading.Thread(target=one, args=(number,)) for number in range(clients)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    told.seconds = time.monotonic() - begin
    return told


def rows_of(folder: Path) -> Counter[tuple[str, str, str]]:
    """Return how often each reading stands in the table."""
    with (folder / "readings.csv").open(encoding="utf-8", newline="") as file:
        return Counter(
            (row["jar"], row["taken"], row["volume [mL]"])
            for row in csv.DictReader(file)
            if row["volume [mL]"]
        )


def journalled(folder: Path) -> Counter[tuple[str, str]]:
    """Return how often each reading was journalled."""
    return Counter((e.jar, e.time) for e in read_journal(folder) if e.kind == "reading")
