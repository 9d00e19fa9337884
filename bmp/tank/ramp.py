"""The way from today's diet to the planned one: a week at a time, with signs to stop at."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import ceil, log
from typing import Final

import numpy as np

from bmp.tank.inputs import TankSetup
from bmp.tank.result import RampWeek
from bmp.tank.yields import daily_methane, temperature_factor
from bmp.trial import FloatArray

# Steps of 0.5 g VS/(L d) every 11 days are seen in bench work; the same slope a week.
LOAD_STEP_KG_VS_PER_M3_D: Final = 0.5 * 7 / 11
BENCH_C: Final = 35.0
FEWEST_WEEKS: Final = 4
MOST_WEEKS: Final = 52
# Keeps the simulated tank small; no jar trial is as long.
MOST_DAYS_REMEMBERED: Final = 2000.0
# With no VS known the step can't be told from the load, so the way is long (common practice).
WEEKS_WITHOUT_VS: Final = 8

_PRACTICE: Final = "common practice, no source"
_FEED_HALF: Final = "go back to the amounts of the week before and wait until it is gone"

LOWEST_PH: Final = 6.8
STOP_WORDS: Final = (
    f"Stop feeding at a pH below {LOWEST_PH}, a sour smell, foam, a weak flame or a drop of the "
    "gas by a fifth."
)

STOP_SIGNS: Final[tuple[Mapping[str, str], ...]] = (
    {
        "sign": "pH",
        "stop_at": f"below {LOWEST_PH}, or down by 0.3 within a few days",
        "do": "stop feeding; stir; feed again at half when it is back above 7.0",
        "source": _PRACTICE,
    },
    {
        "sign": "smell",
        "stop_at": "sour, or sharp of vinegar or rancid butter, at the digestate outlet",
        "do": f"check pH; {_FEED_HALF}. Do not sniff at the gas: H2S dulls the nose and kills",
        "source": _PRACTICE,
    },
    {
        "sign": "gas drop",
        "stop_at": "meter below 80 % of today's reading times the week's factor, two days running",
        "do": f"look for a leak (soapy water, no flame) and a cold tank first; then {_FEED_HALF}",
        "source": _PRACTICE,
    },
    {
        "sign": "weak flame",
        "stop_at": "the flame lifts or will not hold: less than about half methane",
        "do": "stop feeding until it burns steadily; keep the room aired",
        "source": _PRACTICE,
    },
    {
        "sign": "foam",
        "stop_at": "foam or a rising crust near the gas outlet",
        "do": f"stop feeding, stir, keep the outlet free; then {_FEED_HALF}",
        "source": _PRACTICE,
    },
)


@dataclass(frozen=True, eq=False)
class RampFeed:
    """One feed of the ramp, with its jar curve per kg where there is one."""

    name: str
    today_kg_per_d: float
    planned_kg_per_d: float
    VS_g_per_kg: float | None
    time_d: FloatArray | None
    """None: no yield is known. Water has none to give, and an empty curve is not needed."""
    net_NL_per_kg: FloatArray | None
    gives_no_gas: bool = False
    factor: float = 1.0
    """Rate in the tank over rate in the jars."""
    step: float = 1.0
    """What the step from jar to tank leaves of the yield."""


def weeks_needed(
    feeds: Sequence[RampFeed], liquid_volume_L: float, temperature_C: float = BENCH_C
) -> int:
    """Return how many weeks the change takes; 0 where nothing is raised.

    A tank colder than the bench work takes its steps as much slower as its microbes work.
    """
    slower = temperature_factor(temperature_C, BENCH_C).value
    more = [feed for feed in feeds if feed.planned_kg_per_d > feed.today_kg_per_d]
    if all(feed.gives_no_gas for feed in more):
        return 0
    if any(feed.VS_g_per_kg is None for feed in more):
        return ceil(WEEKS_WITHOUT_VS / slower)
    added_kg = sum(
        (feed.planned_kg_per_d - feed.today_kg_per_d) * (feed.VS_g_per_kg or 0.0) / 1000
        for feed in more
    )
    steps = ceil(added_kg / (liquid_volume_L / 1000) / (LOAD_STEP_KG_VS_PER_M3_D * slower))
    return min(MOST_WEEKS, max(ceil(FEWEST_WEEKS / slower), steps))


def ramp(
    setup: TankSetup,
    feeds: Sequence[RampFeed],
    retention_today_d: float | None,
    retention_planned_d: float | None,
) -> tuple[RampWeek, ...]:
    """Return the weeks from today's diet to the planned one, in equal steps.

    The gas expected at the end of each week comes from a tank simulated day by day, which has had
    today's diet for five retention times before.
    """
    weeks = weeks_needed(feeds, setup.liquid_volume_L, setup.temperature_C)
    shares = np.arange(1, weeks + 1) / max(weeks, 1)
    expected, before = _expected_gas(setup, feeds, shares, retention_today_d, retention_planned_d)
    rows = []
    for index, share in enumerate(shares):
        amounts = {
            feed.name: feed.today_kg_per_d
            + float(share) * (feed.planned_kg_per_d - feed.today_kg_per_d)
            for feed in feeds
        }
        gas = None if expected is None else float(expected[index])
        times = gas / before if gas is not None and before and before > 0 else None
        load = _load(feeds, amounts, setup.liquid_volume_L)
        rows.append(RampWeek(index + 1, float(share), amounts, load, gas, times))
    return tuple(rows)


def _load(
    feeds: Sequence[RampFeed], amounts: Mapping[str, float], liquid_volume_L: float
) -> float | None:
    total = 0.0
    for feed in feeds:
        if amounts[feed.name] > 0:
            if feed.VS_g_per_kg is None:
                return None
            total += amounts[feed.name] * feed.VS_g_per_kg / 1000
    return total / (liquid_volume_L / 1000)


def _expected_gas(
    setup: TankSetup,
    feeds: Sequence[RampFeed],
    shares: FloatArray,
    retention_today_d: float | None,
    retention_planned_d: float | None,
) -> tuple[FloatArray | None, float | None]:
    """Return the gas on the last day of each week and today's, NL/d; None where it is unknown."""
    fed = [f for f in feeds if max(f.today_kg_per_d, f.planned_kg_per_d) > 0 and not f.gives_no_gas]
    planned = retention_planned_d
    if planned is None or any(feed.time_d is None for feed in fed) or not shares.size:
        return None, None
    today = planned if retention_today_d is None else retention_today_d
    history = _days_remembered(fed, 5 * max(today, planned))
    by_day = np.append(np.zeros(history), np.repeat(shares, 7))
    # The outflow (1/θ) moves from today's to the planned one as the amounts do.
    staying = 1.0 / (1.0 / today + by_day * (1.0 / planned - 1.0 / today))
    gas = np.zeros(by_day.size)
    for feed in fed:
        if feed.time_d is None or feed.net_NL_per_kg is None:
            continue
        amounts = feed.today_kg_per_d + by_day * (feed.planned_kg_per_d - feed.today_kg_per_d)
        gas += feed.step * daily_methane(
            amounts, staying, feed.time_d, feed.net_NL_per_kg, feed.factor, setup.mixing
        )
    return gas[history + 6 :: 7], float(gas[history - 1])


def _days_remembered(feeds: Sequence[RampFeed], washed_out_d: float) -> int:
    """Return for how long a feed still counts: until it is washed out, or its curve is flat."""
    flat_d = max(float(feed.time_d[-1]) / feed.factor for feed in feeds if feed.time_d is not None)
    return ceil(min(MOST_DAYS_REMEMBERED, washed_out_d, flat_d + 1))


def days_until_effect(retention_d: float, mixing: str) -> dict[str, float]:
    """Return when a change of diet shows, d.

    Well mixed, 1 - exp(-t/θ): 63 % after one retention time, 95 % after three. In plug flow the
    old feed is all gone after one, so the shares stand for the share of it replaced. A new feed
    is judged after two to three (household digester guides, GTZ 1988-1993).
    """
    plug = mixing == "plug flow"
    return {
        "63_percent_d": (0.63 if plug else 1.0) * retention_d,
        "95_percent_d": (0.95 if plug else -log(0.05)) * retention_d,
        "judge_from_d": 2 * retention_d,
        "judge_until_d": 3 * retention_d,
    }
