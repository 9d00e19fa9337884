"""Ten clients at once: none lost, none doubled. The full length is a benchmark."""

from __future__ import annotations

import http.client
import threading
import time
from pathlib import Path

from tests.page.client import HOUR, Client, Served, reading, served, small_trial, start
from tests.page.load import journalled, load, rows_of


def test_readings_of_ten_clients_are_all_kept_once(tmp_path: Path) -> None:
    folder = small_trial(tmp_path / "many")
    with served(tmp_path) as page:
        told = load(page, "many", clients=10, per_second=50, seconds=4)
    assert told.refused == []
    assert len(told.acknowledged) == 200
    wanted = {(jar, at, volume): 1 for (jar, at), volume in told.acknowledged.items()}
    assert rows_of(folder) == wanted
    assert set(journalled(folder).values()) == {1}


def test_a_kill_amid_saving_loses_and_doubles_nothing(tmp_path: Path) -> None:
    folder = small_trial(tmp_path / "many")
    kept: dict[tuple[str, str, str], int] = {}
    for turn in range(2):
        page = start(tmp_path)
        told = _killed_amid(page, turn)
        kept |= told
        assert told, "nothing was acknowledged before the kill"
    with served(tmp_path):
        pass  # a start brings the table up to the journal
    found = rows_of(folder)
    assert dict.fromkeys(kept, 1) == {row: found[row] for row in kept}
    # at most the one reading that each client had under way was kept unacknowledged
    assert len(found) - len(kept) <= 2 * 4
    assert set(found.values()) == {1}


def _killed_amid(page: Served, turn: int) -> dict[tuple[str, str, str], int]:
    told: dict[tuple[str, str, str], int] = {}

    def one(number: int) -> None:
        client = Client(page)
        for hour in range(24 * 20):
            at = HOUR % (hour // 24 + 2, hour % 24)
            jar = f"J{number + 1 + 4 * turn}"
            try:
                status, _ = client.save("many", reading(jar, at, f"{hour + 1}", f"{jar}-{hour}"))
            except (OSError, http.client.HTTPException):
                break
            assert status == 200
            told[jar, at, f"{hour + 1}"] = 1
        client.close()

    threads = [threading.Thread(target=one, args=(number,)) for number in range(4)]
    for thread in threads:
        thread.start()
    end = time.monotonic() + 20
    while len(told) < 20 + 17 * turn and time.monotonic() < end:
        time.sleep(0.001)
    page.kill()
    for thread in threads:
        thread.join()
    return told
