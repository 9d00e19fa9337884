"""Kills, full disks and lost connections: `python -m tests.benchmarks.page_hard_times [KILLS]`.

Prints how many readings were acknowledged, how many of them are lost and how many stand twice.
"""

from __future__ import annotations

import sys
import tempfile
from pathlib import Path

from tests.page.hard_times import Account, on_a_bad_line, on_a_full_disk, under_kills


def _say(what: str, folder: Path, account: Account) -> None:
    print(
        f"{what}: {account.requests} requests, {len(account.acknowledged)} acknowledged, "
        f"{sum(account.refused.values())} refused, {len(account.lost(folder))} lost, "
        f"{account.doubled(folder)} doubled",
        flush=True,
    )


def main() -> None:
    kills = int(sys.argv[1]) if len(sys.argv) > 1 else 50
    with tempfile.TemporaryDirectory() as place:
        root = Path(place)
        (root / "a").mkdir()
        _say(f"{kills} kills", *under_kills(root / "a", kills))
        for number, kilobytes in enumerate((1, 2, 4, 8, 16, 32)):
            for other in (False, True):
                here = root / f"disk{number}{other}"
                here.mkdir()
                hands = ", table changed by other hands" if other else ""
                told = on_a_full_disk(here, "full", 1_000 * kilobytes, other)
                _say(f"files of at most {kilobytes} kB{hands}", *told)
        (root / "b").mkdir()
        folder, account, cuts = on_a_bad_line(root / "b", 400)
        _say(f"line cut {cuts} times", folder, account)


if __name__ == "__main__":
    main()
