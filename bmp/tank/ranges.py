"""Published ranges for a tank's diet, one row each. Sources disagree, so all are shown.

`low` and `high` are the span that the source calls good, or the limit up to which it saw no harm.
`if_left` says what leaving it means: `care`, or `stop` where the diet must not go there. Of the
rows that hold for this tank the most cautious one decides. A row `shown` is not judged.
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
    if_left: str
    """`care`, `stop` or `shown`."""
    meaning: str
    source: str
    from_C: float = 0.0
    """Tank temperature from which the row holds, and below which it does."""
    below_C: float = 200.0
    tank: str = ""
    """`heated` or `unheated`: holds for such tanks, and where it is not known which; empty: all."""


UNITS: Final = {
    "temperature of the tank": "°C",
    "organic load": "kg VS/(m³ d)",
    "retention": "d",
    "C:N": "",
    "total ammonia N": "mg/L",
    "free ammonia N": "mg/L",
    "alkalinity": "g CaCO3/L",
    "alkalinity from ammonia": "g CaCO3/L",
    "volatile acids over alkalinity": "",
    "lipid share of COD": "%",
    "TS of the mixture": "%",
    "pH": "",
}

_MEMORY: Final = "common figure, from memory"
_PRACTICE: Final = "common practice, no source"
_GTZ: Final = "Biogas plants in animal husbandry (GTZ 1989)"
_GTZ_MEMORY: Final = f"{_GTZ}, from memory"
_CALLI: Final = "Calli et al. 2005, Process Biochem. 40:1285"
_WANG: Final = "Wang et al. 2014, PLoS ONE 9:e97265"
_CIRNE: Final = "Cirne et al. 2007, Bioresour. Technol."
_DRAFT: Final = "BMP protocol draft of 2020"
_COLD: Final = 20.0

RANGES: Final = (
    PublishedRange(
        "temperature of the tank", 20.0, None, "care", "below 20 °C gas forms slowly", _GTZ_MEMORY
    ),
    PublishedRange(
        "temperature of the tank", 15.0, 60.0, "stop", "too little gas to be of use", _GTZ_MEMORY
    ),
    PublishedRange(
        "temperature of the tank",
        None,
        42.0,
        "care",
        "between warm and hot digestion",
        _PRACTICE,
        below_C=50.0,
    ),
    PublishedRange(
        "organic load", None, 4.0, "stop", "stirred wet tank, warm: 1 to 4", _MEMORY, from_C=30.0
    ),
    PublishedRange(
        "organic load",
        None,
        2.5,
        "stop",
        "small tank at 20 to 28 °C: worked at 0.83 to 2.43",
        "Castano et al. 2014, Energies 7:5701",
        below_C=30.0,
    ),
    PublishedRange(
        "organic load", None, 1.5, "care", "simple tank", f"{_GTZ}, p. 42", below_C=30.0
    ),
    PublishedRange(
        "organic load", None, 1.5, "care", "simple tank", f"{_GTZ}, p. 42", 30.0, tank="unheated"
    ),
    PublishedRange("organic load", None, 1.0, "stop", "cold tank", _PRACTICE, below_C=_COLD),
    PublishedRange("organic load", None, 0.5, "care", "cold tank", _PRACTICE, below_C=_COLD),
    PublishedRange(
        "organic load",
        None,
        2.0,
        "care",
        "food waste alone, no trace elements",
        "Energies 13:1279 (2020)",
    ),
    PublishedRange(
        "retention",
        40.0,
        None,
        "care",
        "small tanks: new liquid at most 1/40 of the volume a day",
        "household digester guides (GTZ 1988-1993)",
        tank="unheated",
    ),
    PublishedRange("retention", 20.0, None, "care", "stirred heated tank: 15 to 20 d", _MEMORY),
    PublishedRange("retention", 15.0, None, "stop", "microbes are washed out below", _MEMORY),
    PublishedRange("retention", 20.0, None, "stop", "at 20 to 35 °C", _GTZ_MEMORY, below_C=30.0),
    PublishedRange("retention", 100.0, None, "care", "at 10 to 20 °C", _GTZ_MEMORY, below_C=_COLD),
    PublishedRange("retention", 40.0, None, "stop", "cold tank", _PRACTICE, below_C=_COLD),
    PublishedRange("C:N", 20.0, 30.0, "care", "usual advice", _MEMORY),
    PublishedRange(
        "C:N", 15.0, None, "stop", "ammonia inhibited at 15 (35 °C)", _WANG, below_C=45.0
    ),
    PublishedRange(
        "C:N", 20.0, None, "stop", "ammonia inhibited at 20 (55 °C)", _WANG, from_C=45.0
    ),
    PublishedRange("C:N", None, None, "shown", "best at 25 (35 °C) and 30 (55 °C)", _WANG),
    PublishedRange(
        "C:N",
        None,
        None,
        "shown",
        "best at 15, sludge with food waste",
        "Siddiqui et al. 2011 (abstract)",
    ),
    PublishedRange(
        "total ammonia N",
        None,
        1500.0,
        "care",
        "inhibition reported from 1500 to 3000 above pH 7.4",
        f"literature quoted by {_CALLI}",
    ),
    PublishedRange(
        "total ammonia N",
        None,
        3000.0,
        "stop",
        "toxic at any pH above",
        "McCarty 1964, from memory",
    ),
    PublishedRange(
        "total ammonia N",
        None,
        None,
        "shown",
        "up to 6000: 78 to 96 % of COD still removed after long adaptation",
        _CALLI,
    ),
    PublishedRange("free ammonia N", None, 80.0, "care", "onset, not adapted: 80 to 150", _MEMORY),
    PublishedRange("free ammonia N", None, 150.0, "stop", "onset, not adapted: 80 to 150", _MEMORY),
    PublishedRange(
        "free ammonia N", None, None, "shown", "up to 800: worked after long adaptation", _CALLI
    ),
    PublishedRange("alkalinity", 3.0, None, "care", "sound inoculum", f"{_DRAFT}, recommended"),
    PublishedRange("alkalinity", 2.0, None, "stop", "little to hold acids with", _MEMORY),
    PublishedRange(
        "alkalinity from ammonia", 1.5, None, "care", "salts of the feeds add to it", _PRACTICE
    ),
    PublishedRange(
        "alkalinity from ammonia", 0.8, None, "stop", "little to hold acids with", _PRACTICE
    ),
    PublishedRange(
        "volatile acids over alkalinity", None, 0.3, "care", "stable up to 0.3", _MEMORY
    ),
    PublishedRange("volatile acids over alkalinity", None, 0.4, "stop", "act above 0.4", _MEMORY),
    PublishedRange("lipid share of COD", None, 18.0, "care", "hardly any inhibition", _CIRNE),
    PublishedRange(
        "lipid share of COD", None, 31.0, "stop", "stronger inhibition from here", _CIRNE
    ),
    PublishedRange("TS of the mixture", None, 10.0, "care", "poured and stirred easily", _PRACTICE),
    PublishedRange(
        "TS of the mixture", None, 15.0, "stop", "limit of wet digestion, pumped", _MEMORY
    ),
    PublishedRange("pH", 7.0, 8.5, "care", "inoculum of a sound digester", _DRAFT),
    PublishedRange("pH", 6.8, 7.6, "care", "tank in balance", _MEMORY),
    PublishedRange("pH", 6.8, 8.5, "stop", "the tank's own stop sign, and its upper end", _MEMORY),
)
"""Grades are judgement where a source gives a figure only."""

_ORDER: Final = ("inside", "care", "stop")


def check_range(
    quantity: str, value: float, temperature_C: float = 37.0, kind: str = "heated"
) -> RangeCheck:
    """Return a quantity beside every published range for it that holds for such a tank.

    Parameters
    ----------
    quantity, value
        A name of `UNITS` and its value.
    temperature_C
        Of the tank.
    kind
        `heated`, `unheated` or `not given`; the last is held to the rows of both.
    """
    rows = [
        row
        for row in RANGES
        if row.quantity == quantity
        and row.from_C <= temperature_C < row.below_C
        and (not row.tank or kind in (row.tank, "not given"))
    ]
    inside = [_inside(row, value) for row in rows]
    left = [row.if_left for row, held in zip(rows, inside, strict=True) if held is False]
    outcome = max(left, key=_ORDER.index, default="inside")
    shown = tuple({**asdict(row), "inside": held} for row, held in zip(rows, inside, strict=True))
    return RangeCheck(quantity, value, UNITS[quantity], shown, outcome)


def limit_broken(check: RangeCheck) -> str:
    """Return the limit that decided a check, in words such as `at most 4`; empty where inside."""
    for row in check.ranges:
        if row["inside"] is False and row["if_left"] == check.outcome:
            low, high = row["low"], row["high"]
            above = high is not None and check.value > high
            edge = f"at most {high:g}" if above else f"at least {low:g}"
            return f"{edge} {check.unit}".rstrip()
    return ""


def _inside(row: PublishedRange, value: float) -> bool | None:
    if row.low is None and row.high is None:
        return None
    above = row.low is None or value >= row.low
    return above and (row.high is None or value <= row.high)
