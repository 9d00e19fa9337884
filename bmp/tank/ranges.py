"""Published ranges for a tank's diet, one row each. Sources disagree, so all are shown.

`low` and `high` are the span that the source calls good, or the limit up to which it saw no harm;
a row with neither names an optimum that is shown and not judged.
"""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import Final

from bmp.tank.result import RangeCheck


@dataclass(frozen=True)
class PublishedRange:
    """One source's range for one quantity; None: no bound on that side."""

    quantity: str
    low: float | None
    high: float | None
    meaning: str
    source: str


UNITS: Final = {
    "organic load": "kg VS/(m³ d)",
    "retention": "d",
    "C:N": "",
    "total ammonia N": "mg/L",
    "free ammonia N": "mg/L",
    "lipid share of COD": "",
    "TS of the mixture": "",
    "pH": "",
}

_MEMORY: Final = "common figure, from memory"

RANGES: Final = (
    PublishedRange("organic load", None, 4.0, "stirred wet tank, mesophilic: 1 to 4", _MEMORY),
    PublishedRange(
        "organic load", None, 2.0, "food waste alone, no trace elements", "Energies 13:1279 (2020)"
    ),
    PublishedRange(
        "retention",
        40.0,
        None,
        "small tanks: new liquid at most 1/40 of the volume a day",
        "household digester guides (GTZ 1988-1993)",
    ),
    PublishedRange("retention", 15.0, None, "stirred heated tank: at least 15 to 20 d", _MEMORY),
    PublishedRange("C:N", 20.0, 30.0, "usual advice", _MEMORY),
    PublishedRange(
        "C:N", 15.0, None, "ammonia inhibited at 15 (35 °C)", "Wang et al. 2014, PLoS ONE 9:e97265"
    ),
    PublishedRange(
        "C:N",
        None,
        None,
        "best at 25 (35 °C) and 30 (55 °C)",
        "Wang et al. 2014, PLoS ONE 9:e97265",
    ),
    PublishedRange(
        "C:N", None, None, "best at 15, sludge with food waste", "Siddiqui et al. 2011 (abstract)"
    ),
    PublishedRange(
        "total ammonia N",
        None,
        1500.0,
        "inhibition reported from 1500 to 3000 above pH 7.4",
        "literature quoted by Calli et al. 2005, Process Biochem. 40:1285",
    ),
    PublishedRange(
        "total ammonia N", None, 3000.0, "toxic at any pH above", "McCarty 1964, from memory"
    ),
    PublishedRange(
        "total ammonia N",
        None,
        6000.0,
        "78 to 96 % of COD still removed after long adaptation",
        "Calli et al. 2005, Process Biochem. 40:1285",
    ),
    PublishedRange("free ammonia N", None, 80.0, "onset, not adapted: 80 to 150", _MEMORY),
    PublishedRange("free ammonia N", None, 150.0, "onset, not adapted: 80 to 150", _MEMORY),
    PublishedRange(
        "free ammonia N",
        None,
        800.0,
        "worked after long adaptation",
        "Calli et al. 2005, Process Biochem. 40:1285",
    ),
    PublishedRange(
        "lipid share of COD",
        None,
        0.18,
        "no inhibition to speak of",
        "Cirne et al. 2007, Bioresour. Technol.",
    ),
    PublishedRange(
        "lipid share of COD",
        None,
        0.31,
        "stronger inhibition from here",
        "Cirne et al. 2007, Bioresour. Technol.",
    ),
    PublishedRange(
        "TS of the mixture", None, 0.10, "poured and stirred easily", "common practice, no source"
    ),
    PublishedRange("TS of the mixture", None, 0.15, "limit of wet digestion, pumped", _MEMORY),
    PublishedRange("pH", 7.0, 8.5, "inoculum of a sound digester", "BMP protocol draft of 2020"),
    PublishedRange("pH", 6.8, 7.6, "tank in balance", _MEMORY),
)


def check_range(quantity: str, value: float) -> RangeCheck:
    """Return a quantity beside every published range for it.

    `inside all`: no source speaks against it; `outside all`: every source does.
    """
    rows = [row for row in RANGES if row.quantity == quantity]
    inside = [_inside(row, value) for row in rows]
    judged = [held for held in inside if held is not None]
    outcome = "sources disagree" if any(judged) else "outside all"
    if all(judged):
        outcome = "inside all"
    shown = tuple({**asdict(row), "inside": held} for row, held in zip(rows, inside, strict=True))
    return RangeCheck(quantity, value, UNITS[quantity], shown, outcome)


def _inside(row: PublishedRange, value: float) -> bool | None:
    if row.low is None and row.high is None:
        return None
    above = row.low is None or value >= row.low
    return above and (row.high is None or value <= row.high)
