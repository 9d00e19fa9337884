"""Kills, full disks and lost connections while readings are typed, and what became of them."""

from __future__ import annotations

import http.client
import json
import random
import resource
import socket
import threading
import time
from collections import Counter
from dataclasses import dataclass, field
from pathlib import Path

from bmp.page.journal import read_journal
from tests.page.client import HOUR, Client, Served, reading, served, small_trial, start
from tests.page.load import rows_of

HOURS = 24 * 25


@dataclass
class Account:
    """What was acknowledged, and what is there afterwards."""

    acknowledged: dict[tuple[str, str], str] = field(default_factory=dict)
    refused: Counter[str] = field(default_factory=Counter)
    requests: int = 0

    def lost(self, folder: Path) -> list[tuple[str, str]]:
        """Return acknowledged readings that do not stand in the table."""
        found = rows_of(folder)
        return [key for key, volume in self.acknowledged.items() if (*key, volume) not in found]

    @staticmethod
    def doubled(folder: Path) -> int:
        """Return how many readings stand twice, in the table or in the journal."""
        entries = read_journal(folder)
        journal = Counter((e.jar, e.time) for e in entries if e.kind == "reading")
        return sum(n > 1 for n in [*rows_of(folder).values(), *journal.values()])


def brought_up(folder: Path) -> None:
    """Start and stop the page once more: what is behind is written."""
    with served(folder.parent):
        pass


def under_kills(root: Path, kills: int, jars: int = 4) -> tuple[Path, Account]:
    """Let clients type as fast as they are answered, and kill the page again and again."""
    folder, account = small_trial(root / "kills", jars=jars), Account()
    lock, at = threading.Lock(), [0] * jars
    chance = random.Random(5)
    for _ in range(kills):
        page = start(root)

        def one(number: int, page: Served = page) -> None:
            client = Client(page)
            while at[number] < HOURS:
                hour = at[number]
                key = (f"J{number + 1}", HOUR % (hour // 24 + 2, hour % 24))
                try:
                    item = reading(*key, f"{hour + 1}", f"{number}-{hour}")
                    status, told = client.save("kills", item)
                except (OSError, http.client.HTTPException):
                    break
                with lock:
                    account.requests += 1
                    if status == 200:
                        account.acknowledged[key] = f"{hour + 1}"
                    else:
                        account.refused[f"{status} {told.get('words', '')}"] += 1
                at[number] += 1
            client.close()

        threads = [threading.Thread(target=one, args=(number,)) for number in range(jars)]
        for thread in threads:
            thread.start()
        time.sleep(chance.uniform(0.02, 0.4))
        page.kill()
        for thread in threads:
            thread.join()
    brought_up(folder)
    return folder, account


def on_a_full_disk(root: Path, name: str, bytes_: int, other_hands: bool) -> tuple[Path, Account]:
    """Type until no file may grow beyond `bytes_`, then kill the page, and start it with room.

    With `other_hands`, a spreadsheet changes the table in between.
    """
    folder, account = small_trial(root / name, jars=4), Account()

    def limit() -> None:
        resource.setrlimit(resource.RLIMIT_FSIZE, (bytes_, resource.RLIM_INFINITY))

    page = start(root, preexec_fn=limit)
    client = Client(page)
    for hour in range(HOURS):
        key = (f"J{hour % 4 + 1}", HOUR % (hour // 24 + 2, hour % 24))
        status, told = client.save(name, reading(*key, f"{hour + 1}", f"{hour}"))
        account.requests += 1
        if status == 200:
            account.acknowledged[key] = f"{hour + 1}"
        else:
            account.refused[str(told["words"])] += 1
        if sum(account.refused.values()) >= 5:
            break
    client.close()
    page.kill()
    if other_hands:
        path = folder / "readings.csv"
        path.write_text(path.read_text() + "J1,2024-04-20T08:00,7\n")
        account.acknowledged["J1", "2024-04-20T08:00"] = "7"
    brought_up(folder)
    return folder, account


class BadLine:
    """A connection between browser and page that is cut before the request or before the answer."""

    def __init__(self, page: Served, cut_one_in: int) -> None:
        self._page, self._cut, self.cuts = page, cut_one_in, 0
        self._chance = random.Random(7)
        self._socket = socket.create_server(("127.0.0.1", 0))
        self.port = self._socket.getsockname()[1]
        threading.Thread(target=self._serve, daemon=True).start()

    def close(self) -> None:
        self._socket.close()

    def _serve(self) -> None:
        while True:
            try:
                near, _ = self._socket.accept()
            except OSError:
                return
            threading.Thread(target=self._carry, args=(near,), daemon=True).start()

    def _carry(self, near: socket.socket) -> None:
        draw = self._chance.randrange(2 * self._cut)
        with near, socket.create_connection(("127.0.0.1", self._page.port)) as far:
            asked = b""
            while b"}" not in asked:
                asked += near.recv(65536)
            if draw == 0:
                self.cuts += 1
                return
            far.sendall(asked)
            answer = far.recv(65536)
            if draw == 1:
                self.cuts += 1
                return
            near.sendall(answer)


def on_a_bad_line(root: Path, readings: int, cut_one_in: int = 4) -> tuple[Path, Account, int]:
    """Type on a line that is cut all the time; each reading is sent until it is acknowledged."""
    folder, account = small_trial(root / "line", jars=4), Account()
    with served(root) as page:
        line = BadLine(page, cut_one_in)
        headers = {
            "Content-Type": "application/json",
            "Accept": "application/json",
            "Cookie": page.cookie,
            "Host": f"127.0.0.1:{page.port}",
            "Origin": page.address,
            "Connection": "close",
        }
        for number in range(readings):
            key = (f"J{number % 4 + 1}", HOUR % (number // 24 + 2, number % 24))
            body = json.dumps(reading(*key, f"{number + 1}", f"{number}"))
            for _ in range(60):
                account.requests += 1
                connection = http.client.HTTPConnection("127.0.0.1", line.port, timeout=10)
                try:
                    connection.request("POST", "/trials/line/readings/save", body, headers)
                    status = connection.getresponse().status
                except (OSError, http.client.HTTPException):
                    continue
                finally:
                    connection.close()
                if status == 200:
                    account.acknowledged[key] = f"{number + 1}"
                    break
                account.refused[str(status)] += 1
        line.close()
    return folder, account, line.cuts
