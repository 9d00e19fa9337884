"""Literature ranges of feeds: yield, rate and solids, read from `reference_data`."""

from __future__ import annotations

import csv
import math
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

UNKNOWN_FEED = "unknown feed"
INOCULUM = "inoculum"
CELLULOSE = "microcrystalline cellulose"


@dataclass(frozen=True)
class LiteratureRange:
    """A range from the literature, with what is typical where somebody judged it."""

    low: float
    high: float
    typical: float | None = None

    @property
    def middle(self) -> float:
        """What is typical, else the middle of the range."""
        return (self.low + self.high) / 2 if self.typical is None else self.typical

    @property
    def u(self) -> float:
        """Standard uncertainty of a rectangular distribution: JCGM 100:2008, 4.3.7."""
        return (self.high - self.low) / 2 / math.sqrt(3)


@dataclass(frozen=True)
class LiteratureFeed:
    """What publications say of one kind of feed. Shares and fractions are 0 to 1."""

    name: str
    group: str
    """`manure`, `plant`, `food`, `fat`, `sludge`, `control`, `inoculum` or `unknown`."""
    pace: str
    """`slow`, `medium` or `fast` to degrade."""
    methane_NmL_per_gVS: LiteratureRange
    methane_share: LiteratureRange
    """CH4/(CH4 + CO2)."""
    k_per_d: LiteratureRange
    """First-order rate at 35 to 37 °C."""
    latest_start_d: float
    """Day on which gas may start to come fast at the latest."""
    TS: LiteratureRange | None
    """Dry mass per fresh mass."""
    VS_of_TS: LiteratureRange | None
    source: str
    """Where yield, rate and solids come from, and which of them are from memory."""

    @property
    def VS(self) -> LiteratureRange | None:
        """VS per fresh mass: the products of the ends of both ranges."""
        if self.TS is None or self.VS_of_TS is None:
            return None
        return LiteratureRange(self.TS.low * self.VS_of_TS.low, self.TS.high * self.VS_of_TS.high)


def reference_folder() -> Path:
    """Return the folder of reference data: inside the installed package or beside the package."""
    package = Path(__file__).resolve().parent.parent
    installed = package / "reference_data"
    return installed if installed.is_dir() else package.parent / "reference_data"


def read_literature(folder: Path | None = None) -> Mapping[str, LiteratureFeed]:
    """Return every literature feed by name.

    Parameters
    ----------
    folder
        Folder of the reference data; not given: the one that comes with the tool.
    """
    folder = folder or reference_folder()
    solids = {row["feed"]: row for row in _rows(folder / "solids_ranges" / "solids.csv")}
    rows = _rows(folder / "literature_yields" / "yields.csv")
    return {row["feed"]: _feed(row, solids.get(row["feed"])) for row in rows}


def _rows(path: Path) -> list[dict[str, str]]:
    with path.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def _range(row: dict[str, str], low: str, high: str, per: float = 1.0) -> LiteratureRange:
    return LiteratureRange(float(row[low]) / per, float(row[high]) / per)


def _feed(row: dict[str, str], solids: dict[str, str] | None) -> LiteratureFeed:
    source = f"yield: {row['yield_source']} ({row['yield_read']}); rate: {row['rate_source']}"
    ts = vs = None
    if solids is not None:
        ts = _range(solids, "TS_low_percent", "TS_high_percent", 100)
        vs = _range(solids, "VS_of_TS_low_percent", "VS_of_TS_high_percent", 100)
        source += f"; solids: {solids['source']} ({solids['read']})"
    return LiteratureFeed(
        name=row["feed"],
        group=row["group"],
        pace=row["pace"],
        methane_NmL_per_gVS=LiteratureRange(
            float(row["methane_low_NmL_per_gVS"]),
            float(row["methane_high_NmL_per_gVS"]),
            float(row["methane_typical_NmL_per_gVS"]),
        ),
        methane_share=_range(row, "methane_share_low", "methane_share_high"),
        k_per_d=_range(row, "k_low_per_d", "k_high_per_d"),
        latest_start_d=float(row["latest_start_d"]),
        TS=ts,
        VS_of_TS=vs,
        source=source,
    )
