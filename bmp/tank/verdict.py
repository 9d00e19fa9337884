"""The verdict in one paragraph, the way there in words, and the cautions beside them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any, Final

from bmp.cautions import cautions_for
from bmp.tank.ammonia import EMERSON_VALID_C
from bmp.tank.gaps import gaps_words
from bmp.tank.inputs import FeedYield, TankSetup
from bmp.tank.ramp import MOST_WEEKS, STOP_WORDS, days_until_effect
from bmp.tank.ranges import limit_broken
from bmp.tank.result import Danger, RampWeek, RangeCheck, Span, TankState
from bmp.tank.step import ratio_of
from bmp.tank.yields import RATE_SOURCE, RATE_VALID_C

# What a tank, its bag and its feeds bring with them, from the table that all parts print from.
TANK_HAZARDS: Final = ("tank", "gas store", "manure or meat")
STANDING_CAUTIONS: Final = tuple(
    f"{caution.text} {caution.figure}".rstrip(" .") + "." for caution in cautions_for(TANK_HAZARDS)
)
ESTIMATE: Final = "Every number here is an estimate: a jar is not a tank. Watch the tank first."


def say(number: float) -> str:
    """Return a number with as many digits as an estimate deserves."""
    if abs(number) >= 100:
        return f"{float(f'{number:.3g}'):.0f}"
    return f"{number:.2g}" if abs(number) < 10 else f"{number:.0f}"


def say_span(span: Span | None, unit: str) -> str:
    """Return an estimate with its span in words."""
    if span is None:
        return "not known"
    return f"about {say(span.value)} {unit} ({say(span.low)} to {say(span.high)})"


def ramp_words(
    setup: TankSetup,
    weeks: Sequence[RampWeek],
    retention_d: float | None,
    dangers: Sequence[Danger],
) -> str:
    """Return the way from today's to the planned diet in words."""
    if dangers:
        return "No steps are given: do first what the summary says. Then plan anew."
    if not weeks:
        return "Nothing is raised, so the change needs no ramp."
    text = (
        f"Change over {len(weeks)} weeks in equal steps. A week with a stop sign does not count: "
        "go back one step and repeat it. To start an empty tank, fill it with digestate of a "
        "sound tank. Begin to feed when its first surge of gas has passed."
    )
    if len(weeks) == MOST_WEEKS:
        text += " The change is very large; the steps are steeper than advised."
    if retention_d is not None:
        effect = days_until_effect(retention_d, setup.mixing)
        text += (
            f" After the last step {effect['63_percent_d']:.0f} days show 63 % of the effect and "
            f"{effect['95_percent_d']:.0f} days 95 %. Judge the new diet after "
            f"{effect['judge_from_d']:.0f} days at the earliest (two retention times)."
        )
    return text


def verdict_of(
    setup: TankSetup,
    today: TankState,
    planned: TankState,
    weeks: Sequence[RampWeek],
    dangers: Sequence[Danger],
    gaps: Mapping[str, str],
    grounds: Sequence[str],
) -> str:
    """Return the verdict: what forbids it, what gas, how sure, how fast, what for.

    Parameters
    ----------
    setup, today, planned, weeks
        The tank, both diets and the way between them.
    dangers
        Why the diet must not be changed as planned.
    gaps
        What is not known, with what to measure.
    grounds
        What a reader must know of the trial.
    """
    parts = [
        _stop(dangers),
        *(grounds if planned.methane_NL_per_d is not None else ()),
        _gas(today, planned, bool(dangers)),
        "An estimate: local codes and licensed practice come first.",
        _diet(today, planned),
        "" if dangers else _whether(planned.ranges, gaps),
        gaps_words(gaps),
        _empty(today, planned),
        f"Change over {len(weeks)} weeks. {STOP_WORDS}" if weeks else "",
        _heat(setup, planned),
        _use(setup, planned),
        _storage(today, planned),
    ]
    return " ".join(part for part in parts if part)


def headline_of(
    today: TankState,
    planned: TankState,
    dangers: Sequence[Danger],
    gaps: Mapping[str, str],
    grounds: Sequence[str],
) -> str:
    """Return what must stand where there is room for a line or two: danger, gas, care."""
    parts = [
        _stop(dangers),
        *(grounds if planned.methane_NL_per_d is not None else ()),
        _gas_in_a_line(today, planned, bool(dangers)),
        "" if dangers else _whether(planned.ranges, gaps),
    ]
    return " ".join(part for part in parts if part)


def _gas_in_a_line(today: TankState, planned: TankState, danger: bool) -> str:
    if planned.methane_NL_per_d is None:
        return _gas(today, planned, danger)
    head = "If the tank stayed sound: " if danger else "Tank as planned: "
    gas = f"{head}{say_span(planned.methane_NL_per_d, 'NL of methane a day')}"
    gas += " as planned" if danger else ""
    if today.methane_NL_per_d is None:
        return f"{gas}."
    return f"{gas}, today {say(today.methane_NL_per_d.value)} NL."


def _stop(dangers: Sequence[Danger]) -> str:
    """Say first that the plan must not be followed, why, and what to do instead."""
    if not dangers:
        return ""
    why = "; ".join(danger.what for danger in dangers)
    first = " ".join(dict.fromkeys(danger.do for danger in dangers))
    return f"Do not change the diet as planned: {why}. First: {first}"


def _empty(today: TankState, planned: TankState) -> str:
    if today.total_kg_per_d > 0 or planned.total_kg_per_d <= 0:
        return ""
    return (
        "Nothing is fed today. Fill a new tank with digestate of a sound one, and begin to feed "
        "when its first gas has passed."
    )


def _diet(today: TankState, planned: TankState) -> str:
    text = (
        f"The tank would get {say(planned.total_kg_per_d)} kg a day; today "
        f"{say(today.total_kg_per_d)} kg."
    )
    if today.load_kgVS_per_m3_d is not None and planned.load_kgVS_per_m3_d is not None:
        text += (
            f" Its load would be {say(planned.load_kgVS_per_m3_d)} kg VS/(m³ d); today "
            f"{say(today.load_kgVS_per_m3_d)} kg VS/(m³ d)."
        )
    if planned.retention_d is not None:
        text += f" Feed would stay in the tank about {say(planned.retention_d)} days."
    return text


def _whether(ranges: Sequence[RangeCheck], gaps: Mapping[str, str]) -> str:
    doubtful = [check for check in ranges if check.outcome != "inside"]
    if doubtful:
        return f"With care: {', '.join(named(check) for check in doubtful)}."
    return "" if gaps else "No published range known here is against it."


def named(check: RangeCheck) -> str:
    """Return a quantity with its value and the limit that it breaks."""
    value, limit = say(check.value), limit_broken(check)
    if value in limit.split():
        # rounded it would be the limit itself
        value = f"{check.value:.4g}"
    words = f"{check.quantity} {value} {check.unit}".strip()
    return f"{words} (limit: {limit})" if limit else words


def _gas(today: TankState, planned: TankState, danger: bool) -> str:
    """Say the planned gas first, or that there is no figure and why."""
    if planned.methane_NL_per_d is None:
        why = (planned.unknown or {}).get("methane_NL_per_d", "")
        return f"There is no gas figure for the planned diet ({why})."
    head = "If the tank stayed sound, the planned diet" if danger else "The planned diet"
    return (
        f"{head} gives {say_span(planned.methane_NL_per_d, 'NL of methane a day')}. That is "
        f"{say_span(planned.biogas_NL_per_d, 'NL of biogas')}. Today's diet gives "
        f"{say_span(today.methane_NL_per_d, 'NL of methane')}."
    )


def _heat(setup: TankSetup, planned: TankState) -> str:
    share, down_to = planned.heat_share_from_gas, planned.own_flame_down_to_C
    if share is None or down_to is None or planned.heat_need_kWh_per_d is None:
        return ""
    enough = "can" if share.low >= 1 else "may" if share.high >= 1 else "cannot"
    return (
        f"At {setup.temperature_C:.0f} °C the tank needs about {say(planned.heat_need_kWh_per_d)} "
        f"kWh of heat a day. Its own flame {enough} keep it warm: {say(100 * share.value)} % of "
        f"the need ({say(100 * share.low)} to {say(100 * share.high)} %). It is enough down to "
        f"about {down_to.value:.0f} °C outside ({down_to.low:.0f} to {down_to.high:.0f})."
    )


def _use(setup: TankSetup, planned: TankState) -> str:
    """Say what the gas would do in the use that was named, else on a stove."""
    if not planned.uses:
        return ""
    named = (setup.gas_use or "").strip().lower()
    use = next((row for row in planned.uses if row["use"] == named), planned.uses[0])
    return f"All of the gas is good for {say(use['low'])} to {say(use['high'])} {use['unit']}."


def _storage(today: TankState, planned: TankState) -> str:
    soonest, old = planned.storage_full_soonest_h, today.storage_full_soonest_h
    if soonest is None:
        return ""
    now = "" if old is None else f" (today {say(old)})"
    return f"The empty bag may be full after {say(soonest)} hours{now}: use or flare by then."


def cautions_of(
    setup: TankSetup,
    curves: Sequence[FeedYield | None],
    today: TankState,
    planned: TankState,
    judged: Mapping[str, Mapping[str, Any]],
) -> tuple[str, ...]:
    """Return the cautions that belong to this tank and these feeds, the standing ones first."""
    found = [*STANDING_CAUTIONS, ESTIMATE, _step_words(setup, planned)]
    found += _retention_cautions(setup, today)
    found += _temperature_cautions(setup, [curve for curve in curves if curve is not None])
    found += [
        f"{name}: {row['meaning']}" for name, row in judged.items() if row["verdict"] != "possible"
    ]
    found += _curve_cautions(planned)
    if planned.total_ammonia_N_mg_per_L is not None:
        found.append(
            "Ammonia is worked out for a diet that has lasted three retention times at today's "
            "pH. More ammonia also lifts the pH, and with it the free share."
        )
    if planned.water_to_add_kg_per_d:
        found.append(
            f"The mixture is too thick to pour: about {say(planned.water_to_add_kg_per_d)} kg of "
            "water a day thins it to 10 % dry matter, and shortens the retention."
        )
    return tuple(found)


def _step_words(setup: TankSetup, planned: TankState) -> str:
    """Say what of the jars' yield the tank keeps, and which part of the loss is which."""
    ratio = ratio_of(setup)
    step, whole = ratio.step, ratio.whole
    words = (
        f"A tank gives less than its jars. Of what retention and temperature leave, "
        f"{100 * step.value:.0f} % is counted ({100 * step.low:.0f} to {100 * step.high:.0f} %). "
    )
    kept = [row for row in planned.by_material if row.share_by_retention is not None]
    if kept:
        shares = [100 * (row.share_by_retention or 0.0) for row in kept]
        span = f"{min(shares):.0f}" + (f" to {max(shares):.0f}" if len(shares) > 1 else "")
        words += f"Retention and temperature leave {span} % of the jars' yields here. "
    return words + (
        f"Published for {ratio.words}, both parts together: {100 * whole.low:.0f} to "
        f"{100 * whole.high:.0f} % of the jars' yield ({ratio.source})."
    )


def _retention_cautions(setup: TankSetup, today: TankState) -> list[str]:
    if setup.retention_d is None or today.total_kg_per_d <= 0:
        return []
    by_amounts = setup.liquid_volume_L / today.total_kg_per_d
    if abs(by_amounts / setup.retention_d - 1) <= 0.25:
        return []
    return [
        f"The stated retention of {setup.retention_d:.0f} days is not the liquid over today's "
        f"amounts ({by_amounts:.0f} days); the stated one is used."
    ]


def _temperature_cautions(setup: TankSetup, curves: Sequence[FeedYield]) -> list[str]:
    found, tank = [], setup.temperature_C
    jar = max((curve.jar_temperature_C for curve in curves), default=tank)
    if tank < jar:
        found.append(
            f"The tank is {jar - tank:.0f} K colder than the jars; slower by {RATE_SOURCE}."
        )
    if not RATE_VALID_C[0] <= tank <= RATE_VALID_C[1] or jar > RATE_VALID_C[1]:
        found.append(
            f"Tank or jars lie outside {RATE_VALID_C[0]:.0f} to {RATE_VALID_C[1]:.0f} °C, where "
            "the temperature factor was seen; the gas figure is a guess there."
        )
    if tank > jar:
        found.append("The tank is warmer than the jars; no more gas is promised for it.")
    if setup.pH is not None and not EMERSON_VALID_C[0] <= tank <= EMERSON_VALID_C[1]:
        found.append("Free ammonia is worked out beyond 50 °C, outside its equation's range.")
    return found


def _curve_cautions(planned: TankState) -> list[str]:
    """Say where the measured curve and the model part."""
    found = []
    for row in planned.by_material:
        measured, model = row.yield_NL_per_kg, row.yield_by_model_NL_per_kg
        if measured and model is not None and abs(model / measured - 1) > 0.10:
            more = 100 * (model / measured - 1)
            found.append(
                f"{row.material}: the fitted model gives {more:+.0f} % against the measured curve, "
                "which counts nothing after the trial's end."
            )
    return found
