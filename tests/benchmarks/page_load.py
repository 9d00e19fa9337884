"""Save 50 readings a second from 10 clients for 20 seconds: `python -m tests.benchmarks.page_load`.

Prints how many were sent, kept and doubled, and how long an acknowledgment took.
"""

from __future__ import annotations

import tempfile
from pathlib import Path

from tests.page.client import served, small_trial
from tests.page.load import journalled, load, rows_of


def main() -> None:
    with tempfile.TemporaryDirectory() as place:
        root = Path(place)
        folder = small_trial(root / "many")
        with served(root) as page:
            told = load(page, "many", clients=10, per_second=50, seconds=20)
        found = rows_of(folder)
        waits = sorted(told.waits_s)
        print(f"sent {len(waits)} in {told.seconds:.1f} s, refused {len(told.refused)}")
        print(f"kept {len(found)}, doubled {sum(n > 1 for n in found.values())}")
        lost = [key for key in told.acknowledged if (*key, told.acknowledged[key]) not in found]
        print(
            f"lost {len(lost)}, journalled twice {sum(n > 1 for n in journalled(folder).values())}"
        )
        for share in (0.5, 0.95, 1.0):
            within_ms = 1000 * waits[int(share * len(waits)) - 1]
            print(f"{share:.0%} acknowledged within {within_ms:.0f} ms")


if __name__ == "__main__":
    main()
