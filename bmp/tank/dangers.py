"""Why a diet must not be changed as planned, and what to do first.

Each rule returns dangers; with any there is no ramp. The rules err on the cautious side: a tank
that has turned sour takes weeks to months to come back.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from itertools import chain
from typing import Final

from bmp.tank.diet import NITROGEN_IN_PROTEIN, lipid_share_of_COD, nitrogen_set_free_mg_per_L
from bmp.tank.feeds import ASSUMED_DEGRADED_SHARE, PreparedFeed
from bmp.tank.inputs import TankSetup
from bmp.tank.ranges import check_range
from bmp.tank.result import Danger, RangeCheck, TankState
from bmp.tank.verdict import named
from bmp.tank.yields import temperature_factor
from bmp.theory import COMPONENT_FORMULA, from_formula

# What to do first where a quantity lies where the diet must not go.
DO_FIRST: Final[Mapping[str, str]] = {
    "temperature of the tank": "Warm the tank first, by 1 °C a day at most.",
    "organic load": "Plan less feed.",
    "retention": "Plan less feed or less water, so that it stays longer.",
    "C:N": "Add a carbon-rich feed to the plan, such as straw.",
    "total ammonia N": "Plan less nitrogen-rich feed, or more water. Measure the tank's ammonia.",
    "free ammonia N": "Plan less nitrogen-rich feed, or more water. Measure the tank's ammonia.",
    "alkalinity": "Keep today's feed and wait until the alkalinity is above 3 g/L.",
    "alkalinity from ammonia": "Measure the tank's alkalinity. Keep manure in the diet.",
    "volatile acids over alkalinity": "Feed less and wait until the acids are gone.",
    "lipid share of COD": "Plan less fat.",
    "TS of the mixture": "Plan more water or a thinner feed.",
}
_LOW_PH: Final = "Stop feeding, stir, and wait until the pH is above 7.0."
_HIGH_PH: Final = "Find out why: measure the pH again and the tank's ammonia."
# A change within what an analysis repeats to is no news to a tank (judgement).
WITHIN_AN_ANALYSIS: Final = 1.1
# With more of the volatile solids than this from new feeds, the tank gets a new diet.
MOST_NEW_SHARE: Final = 0.5
# A feed that is cut by more than this no longer holds the tank steady.
MOST_CUT_SHARE: Final = 0.5
# A feed as sour as this brings no alkalinity: whey, silage, fruit.
SOUR_FEED_PH: Final = 5.5
# Half of the methane by this day at 37 °C: the feed turns to acid faster than straw or dung
# (judgement; first-order rates of 0.1 a day and below have it on day 7 or later).
QUICK_D: Final = 6.0
_BENCH_C: Final = 37.0
# Other microbes work above: jars on one side say nothing sure of a tank on the other (common
# practice, no source).
HOT_FROM_C: Final = 45.0
# With more of the volatile solids than this from such feeds, little holds the acids (judgement).
MOST_ACID_SHARE: Final = 0.7
# So many quantities beyond their usual range at once are too many (judgement).
TOO_MANY_CARES: Final = 4
# Ammonium below this share of the feed holds no acids to speak of [g N/kg].
LITTLE_AMMONIUM: Final = 0.5


def dangers_of(
    setup: TankSetup,
    today: TankState,
    planned: TankState,
    feeds: Sequence[PreparedFeed],
) -> tuple[Danger, ...]:
    """Return why the diet must not be changed as planned; empty where nothing known forbids it."""
    raised = [f for f in feeds if _is_raised(f)]
    found = chain(
        _refused(raised),
        _other_warmth(setup, raised),
        _outside(setup, today, planned),
        _sour_now(today),
        _new_diet(feeds),
        _acid_diet(feeds),
        _never_analysed(setup, feeds),
        _unknown_ammonia(setup, planned, raised),
        _unknown_load(planned, raised),
        _many_cares(planned, raised),
    )
    return tuple(dict.fromkeys(found))


def _is_raised(item: PreparedFeed) -> bool:
    more = item.feed.amount_planned_kg_per_d > item.feed.amount_today_kg_per_d
    return more and not item.is_water


def _refused(raised: Sequence[PreparedFeed]) -> list[Danger]:
    """Return the feeds to be raised whose jars speak against them, one danger a reason."""
    reasons: dict[tuple[str, str], list[str]] = {}
    for item in raised:
        row = item.curve
        if row is None:
            reason = "was not tested in jars", "Test {names} in jars first."
        elif row.grounds.refused:
            reason = row.grounds.refused, "Find out why, then test {names} in jars again."
        elif row.net_NmL_per_g[-1] <= 0:
            reason = (
                "made no methane of its own in the jars and may harm the tank",
                "Test {names} again with half and a quarter of it.",
            )
        else:
            continue
        reasons.setdefault(reason, []).append(item.feed.material.name)
    found = []
    for (what, do), each in reasons.items():
        names = " and ".join([", ".join(each[:-1]), each[-1]] if len(each) > 1 else each)
        clause = what.startswith(("was ", "made "))
        found.append(Danger(f"{names}{' ' if clause else ': '}{what}", do.format(names=names)))
    return found


def _other_warmth(setup: TankSetup, raised: Sequence[PreparedFeed]) -> list[Danger]:
    """Return the danger of a hot tank judged by warm jars, or the other way round."""
    hot = setup.temperature_C >= HOT_FROM_C
    jars_C = {
        f.curve.jar_temperature_C
        for f in raised
        if f.curve is not None and (f.curve.jar_temperature_C >= HOT_FROM_C) != hot
    }
    if not jars_C:
        return []
    jars = " and ".join(f"{one:.0f}" for one in sorted(jars_C))
    what = f"jars at {jars} °C say nothing sure of a tank at {setup.temperature_C:.0f} °C"
    return [Danger(what, "Test the feeds at the tank's temperature, with its digestate.")]


def _outside(setup: TankSetup, today: TankState, planned: TankState) -> list[Danger]:
    """Return the quantities that lie where the diet must not go."""
    before = {check.quantity: check for check in today.ranges}
    found = []
    for check in planned.ranges:
        now = before.get(check.quantity)
        if check.quantity in ("total ammonia N", "free ammonia N"):
            stops = _ammonia_is_new(setup, check, now)
        elif check.quantity == "C:N":
            # what the tank lives on today is no news to it
            known = now is not None and check.value >= now.value / WITHIN_AN_ANALYSIS
            stops = check.outcome == "stop" and not known
        else:
            stops = check.outcome == "stop"
        if stops:
            found.append(Danger(named(check), _do_first(check)))
    return found


def _ammonia_is_new(setup: TankSetup, check: RangeCheck, now: RangeCheck | None) -> bool:
    """Tell whether the plan brings more ammonia than the tank is used to, above the first limit.

    A tank in which ammonia was measured has shown what it can live with; a computed figure has
    shown it up to the limit that stops.
    """
    if check.outcome == "inside":
        return False
    used_to = now is not None and check.value <= WITHIN_AN_ANALYSIS * now.value
    measured = setup.total_ammonia_N_mg_per_L is not None
    return not used_to or (check.outcome == "stop" and not measured)


def _do_first(check: RangeCheck) -> str:
    if check.quantity == "pH":
        return _LOW_PH if check.value < 7.0 else _HIGH_PH
    return DO_FIRST[check.quantity]


def _sour_now(today: TankState) -> list[Danger]:
    """Return the signs that the tank is not well on today's diet."""
    return [
        Danger(f"today's {named(check)}", _do_first(check))
        for check in today.ranges
        if check.outcome == "stop" and check.quantity == "alkalinity"
    ]


def _new_diet(feeds: Sequence[PreparedFeed]) -> list[Danger]:
    """Return the danger that new feeds push out the one that holds the tank steady."""
    planned = {f: _VS(f, f.feed.amount_planned_kg_per_d) for f in feeds if not f.is_water}
    total = sum(planned.values())
    cut = [
        f
        for f in planned
        if f.feed.amount_planned_kg_per_d < MOST_CUT_SHARE * f.feed.amount_today_kg_per_d
        and not _brings_no_alkalinity(f)
    ]
    new = [f for f in planned if f.feed.amount_planned_kg_per_d > 2 * f.feed.amount_today_kg_per_d]
    if not cut or not new or total <= 0:
        return []
    share = sum(planned[f] for f in new) / total
    sour = [f for f in new if _brings_no_alkalinity(f)]
    if share <= MOST_NEW_SHARE and not sour:
        return []
    names = ", ".join(f.feed.material.name for f in sour or new)
    old = ", ".join(f.feed.material.name for f in cut)
    little = ", which brings little alkalinity," if sour else ""
    return [
        Danger(
            f"{names}{little} would take the place of {old}, which holds the tank steady",
            f"Keep at least half of today's {old}. Measure the tank's pH and alkalinity.",
        )
    ]


def _acid_diet(feeds: Sequence[PreparedFeed]) -> list[Danger]:
    """Return the danger of a diet that is nearly all quick feed without alkalinity of its own."""
    acid = [f for f in feeds if not f.is_water and (_brings_no_alkalinity(f) or _may_bring_none(f))]
    now, then = (
        _share(acid, feeds, planned=False),
        _share(acid, feeds, planned=True),
    )
    if then <= MOST_ACID_SHARE or (now > 0 and then <= WITHIN_AN_ANALYSIS * now):
        return []
    fed = [f for f in acid if f.feed.amount_planned_kg_per_d > 0]
    names = ", ".join(f.feed.material.name for f in fed)
    unknown = " and ".join(f.feed.material.name for f in fed if _may_bring_none(f))
    if unknown:
        return [
            Danger(
                f"{100 * then:.0f} % of the planned volatile solids ({names}) turn to acid quickly,"
                " and what holds the acids is not known",
                f"Measure the pH of {unknown}; a strip will do. Feed manure with it.",
            )
        ]
    return [
        Danger(
            f"{100 * then:.0f} % of the planned volatile solids ({names}) turn to acid quickly and "
            "bring little alkalinity",
            "Feed manure with it. Measure the tank's pH and alkalinity each week.",
        )
    ]


def _never_analysed(setup: TankSetup, feeds: Sequence[PreparedFeed]) -> list[Danger]:
    """Return the dangers of new feeds that nobody analysed, by the most that they may hold.

    Their methane bounds it: all of it from fat, or all of it from protein. A tank that lives on a
    feed today has shown what it holds. An empty one has nothing to lose but its seed.
    """
    if not any(f.feed.amount_today_kg_per_d > 0 for f in feeds if not f.is_water):
        return []
    fed = [f for f in feeds if f.feed.amount_planned_kg_per_d > 0]
    new = [f for f in fed if f.feed.amount_planned_kg_per_d > 2 * f.feed.amount_today_kg_per_d]
    kg = [f.feed.amount_planned_kg_per_d for f in fed]
    VS = sum(map(_VS, fed, kg))
    if VS <= 0:
        return []
    found: dict[str, list[PreparedFeed]] = {}
    unknown = [f for f in new if f.holds.lipid is None and f.holds.VS]
    lipid = sum(
        amount * (_at_most(f, "lipid") if f in unknown else f.holds.lipid or 0.0)
        for f, amount in zip(fed, kg, strict=True)
    )
    share = 100 * lipid_share_of_COD(lipid / VS)
    if unknown and check_range("lipid share of COD", share).outcome == "stop":
        found["fat"] = unknown
    unknown = [f for f in new if f.holds.nitrogen is None and f.holds.VS]
    inside = [
        replace(f.holds, nitrogen=NITROGEN_IN_PROTEIN * _at_most(f, "protein"))
        if f in unknown
        else replace(f.holds, nitrogen=f.holds.nitrogen or f.holds.ammonium_N)
        for f in fed
    ]
    ammonia = nitrogen_set_free_mg_per_L(
        inside, kg, [1.0 if f in unknown else ASSUMED_DEGRADED_SHARE for f in fed]
    )
    if unknown and ammonia is not None:
        check = check_range("total ammonia N", ammonia, setup.temperature_C)
        if check.outcome == "stop":
            found["nitrogen"] = unknown
    if not found:
        return []
    what = " and ".join(found)
    names = " and ".join(dict.fromkeys(f.feed.material.name for one in found.values() for f in one))
    return [
        Danger(
            f"how much {what} {names} holds is not known, and it may be too much at this amount",
            f"Have {what} of {names} measured, or plan less of it.",
        )
    ]


def _at_most(item: PreparedFeed, component: str) -> float:
    """Return the most of a component whose methane the jars may have shown, g/kg of feed."""
    VS = item.holds.VS or 0.0
    if item.curve is None or item.per_kg is None:
        return VS
    methane_NL_per_kg = max(0.0, float(item.curve.net_NmL_per_g[-1])) * item.per_kg
    pure = from_formula(COMPONENT_FORMULA[component]).methane_NmL_per_gVS
    return min(VS, 1000 * methane_NL_per_kg / pure)


def _share(some: Sequence[PreparedFeed], feeds: Sequence[PreparedFeed], planned: bool) -> float:
    def VS(items: Sequence[PreparedFeed]) -> float:
        return sum(
            _VS(f, f.feed.amount_planned_kg_per_d if planned else f.feed.amount_today_kg_per_d)
            for f in items
        )

    total = VS(feeds)
    return VS(some) / total if total > 0 else 0.0


def _unknown_ammonia(
    setup: TankSetup, planned: TankState, raised: Sequence[PreparedFeed]
) -> list[Danger]:
    """Return the danger of ammonia beyond its first limit in a tank whose pH nobody measured."""
    high = any(c.quantity == "total ammonia N" and c.outcome != "inside" for c in planned.ranges)
    if setup.pH is not None or not high or not raised:
        return []
    return [Danger("ammonia is high and the pH is not known", "Measure the tank's pH.")]


def _many_cares(planned: TankState, raised: Sequence[PreparedFeed]) -> list[Danger]:
    """Return the danger of many quantities at the edge at once."""
    care = [check for check in planned.ranges if check.outcome == "care"]
    if len(care) < TOO_MANY_CARES or not raised:
        return []
    names = ", ".join(named(check) for check in care)
    return [Danger(f"too much at its edge at once: {names}", "Plan a smaller change.")]


def _brings_no_alkalinity(item: PreparedFeed) -> bool:
    """Tell whether a feed is sour, or poor in ammonium and quick to turn to acid."""
    material = item.feed.material
    if material.pH is not None:
        return material.pH < SOUR_FEED_PH
    given = material.ammonium_N_g_per_kg
    return given is not None and given < LITTLE_AMMONIUM and _is_quick(item)


def _may_bring_none(item: PreparedFeed) -> bool:
    """Tell whether nothing is known of what holds the acids of a quick feed."""
    material = item.feed.material
    return material.pH is None and material.ammonium_N_g_per_kg is None and _is_quick(item)


def _is_quick(item: PreparedFeed) -> bool:
    """Tell whether half of a feed's methane came within days; a feed not tested counts so."""
    curve = item.curve
    if curve is None or curve.net_NmL_per_g[-1] <= 0:
        return True
    half = 0.5 * float(curve.net_NmL_per_g[-1])
    first = int((curve.net_NmL_per_g >= half).argmax())
    at_bench = temperature_factor(curve.jar_temperature_C, _BENCH_C).value
    return float(curve.time_d[first]) * at_bench <= QUICK_D


def _VS(item: PreparedFeed, kg: float) -> float:
    return kg * (item.holds.VS or 0.0)


def _unknown_load(planned: TankState, raised: Sequence[PreparedFeed]) -> list[Danger]:
    if not raised or planned.load_kgVS_per_m3_d is not None:
        return []
    names = ", ".join(f.feed.material.name for f in raised if f.holds.VS is None)
    what = f"the load is not known, since VS of {names or 'a feed'} is not given"
    return [Danger(what, f"Measure TS and VS of {names or 'every feed'}.")]
