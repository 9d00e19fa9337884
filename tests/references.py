"""Read the tables of `reference_data/`."""

from __future__ import annotations

import csv
import os
from pathlib import Path

REAL = Path(os.environ.get("BMP_REAL_TRIALS") or Path(__file__).resolve().parents[2] / "shared")
"""Folder of real readings, which are no part of the project (`real-trial`, `real-trials`)."""

FOLDER = Path(__file__).parents[1] / "reference_data"


def rows(source: str, table: str) -> list[dict[str, str]]:
    """Return the rows of one table, e.g. `rows("water_vapour", "handbook")`."""
    with (FOLDER / source / f"{table}.csv").open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))
