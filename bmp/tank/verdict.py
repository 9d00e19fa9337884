"""The verdict in one paragraph, the way there in words, and the cautions beside them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any, Final

from bmp.cautions import cautions_for
from bmp.tank.ammonia import EMERSON_VALID_C
from bmp.tank.inputs import FeedYield, TankSetup
from bmp.tank.ramp import MOST_WEEKS, days_until_effect
from bmp.tank.result import RampWeek, Range, RangeCheck, TankState
from bmp.tank.yields import RATE_SOURCE, RATE_VALID_C, SCALING_SPREAD

# What a tank, its bag and its feeds bring with them, from the table that all parts print from.
STANDING_CAUTIONS: Final = tuple(
    f"{caution.text} {caution.figure}".rstrip(" .") + "."
    for caution in cautions_for(("tank", "gas store", "manure or meat"))
)
ESTIMATE: Final = "Every number here is an estimate: a jar is not a tank. Watch the tank first."


def say(number: float) -> str:
    """Return a number with as many digits as an estimate deserves."""
    if abs(number) >= 100:
        return f"{float(f'{number:.3g}'):.0f}"
    return f"{number:.2g}" if abs(number) < 10 else f"{number:.0f}"


def say_span(span: Range | None, unit: str) -> str:
    """Return an estimate with its span in words."""
    if span is None:
        return "not known"
    return f"about {say(span.value)} {unit} ({say(span.low)} to {say(span.high)})"


def ramp_words(setup: TankSetup, weeks: Sequence[RampWeek], retention_d: float | None) -> str:
    """Return the way from today's to the planned diet in words."""
    if not weeks:
        return "Nothing is raised, so the change needs no ramp."
    text = (
        f"Change over {len(weeks)} weeks in equal steps; a week with a stop sign is not a week "
        "done: go back one step and repeat it. In a tank that is being started, fill with "
        "digestate of a sound tank and begin to feed when its first surge of gas has passed."
    )
    if len(weeks) == MOST_WEEKS:
        text += " The change is very large; the steps are steeper than advised."
    if retention_d is not None:
        effect = days_until_effect(retention_d, setup.mixing)
        text += (
            f" After the last step {effect['63_percent_d']:.0f} days show 63 % of the effect and "
            f"{effect['95_percent_d']:.0f} days 95 %; judge the new diet then, not before "
            f"{effect['judge_from_d']:.0f} days (two retention times)."
        )
    return text


def verdict_of(
    setup: TankSetup, today: TankState, planned: TankState, weeks: Sequence[RampWeek]
) -> str:
    """Return the verdict: whether, how much, how fast, what gas, what for."""
    parts = [
        "Estimate, after local codes and licensed practice.",
        _diet(today, planned),
        _whether(planned.ranges),
        _gas(today, planned),
        f"Change over {len(weeks)} weeks and stop at the signs listed." if weeks else "",
        _heat(setup, planned),
        _use(setup, planned),
        _storage(today, planned),
    ]
    return " ".join(part for part in parts if part)


def _diet(today: TankState, planned: TankState) -> str:
    text = (
        f"The tank would get {say(planned.total_kg_per_d)} kg a day in place of "
        f"{say(today.total_kg_per_d)}"
    )
    if today.load_kgVS_per_m3_d is not None and planned.load_kgVS_per_m3_d is not None:
        text += (
            f", a load of {say(planned.load_kgVS_per_m3_d)} kg VS/(m³ d) in place of "
            f"{say(today.load_kgVS_per_m3_d)}"
        )
    if planned.retention_d is not None:
        text += f", and keep it about {say(planned.retention_d)} days"
    return text + "."


def _whether(ranges: Sequence[RangeCheck]) -> str:
    outside = [check for check in ranges if check.outcome == "outside all"]
    between = [check for check in ranges if check.outcome == "sources disagree"]
    if outside:
        words = ", ".join(_named(check) for check in outside)
        return f"Not as planned: outside every published range at hand lies {words}."
    if between:
        words = ", ".join(_named(check) for check in between)
        return f"With care: published ranges disagree about {words}."
    if not ranges:
        return "Too little is known of the feeds to judge the mixture."
    return "No published range at hand speaks against it."


def _named(check: RangeCheck) -> str:
    return f"{check.quantity} {say(check.value)} {check.unit}".strip()


def _gas(today: TankState, planned: TankState) -> str:
    if planned.methane_NL_per_d is None:
        why = (planned.unknown or {}).get("methane_NL_per_d", "")
        return f"The gas of the planned diet is not known ({why})."
    return (
        f"Methane: {say_span(planned.methane_NL_per_d, 'NL a day')}, biogas "
        f"{say_span(planned.biogas_NL_per_d, 'NL a day')}; today methane "
        f"{say_span(today.methane_NL_per_d, 'NL a day')}."
    )


def _heat(setup: TankSetup, planned: TankState) -> str:
    share, down_to = planned.heat_share_from_gas, planned.own_flame_down_to_C
    if share is None or down_to is None or planned.heat_need_kWh_per_d is None:
        return ""
    enough = "can" if share.value >= 1 else "cannot"
    both = share.low < 1 < share.high
    sure = ", though the span of the estimate reaches both sides" if both else ""
    return (
        f"At the stated air temperature the tank needs about {say(planned.heat_need_kWh_per_d)} "
        f"kWh a day at {setup.temperature_C:.0f} °C; its own flame {enough} keep it warm "
        f"({say(100 * share.value)} % of the need){sure}. It is enough down to about "
        f"{down_to.value:.0f} °C outside ({down_to.low:.0f} to {down_to.high:.0f})."
    )


def _use(setup: TankSetup, planned: TankState) -> str:
    """Say what the gas would do in the use that was named, else on a stove."""
    if not planned.uses:
        return ""
    named = (setup.gas_use or "").strip().lower()
    use = next((row for row in planned.uses if row["use"] == named), planned.uses[0])
    return f"All of the gas is good for {say(use['low'])} to {say(use['high'])} {use['unit']}."


def _storage(today: TankState, planned: TankState) -> str:
    new, old = planned.storage_full_after_h, today.storage_full_after_h
    if new is None:
        return ""
    now = "" if old is None else f" (today {say(old)})"
    return f"The empty bag is full after about {say(new)} hours{now}: use or flare by then."


def cautions_of(
    setup: TankSetup,
    curves: Sequence[FeedYield | None],
    today: TankState,
    planned: TankState,
    judged: Mapping[str, Mapping[str, Any]],
) -> tuple[str, ...]:
    """Return the cautions that belong to this tank and these feeds, the standing ones first."""
    found = [*STANDING_CAUTIONS, ESTIMATE]
    low, high = (100 * share for share in SCALING_SPREAD)
    found.append(
        f"The spans add to the trial's 95 % interval {low:+.0f} to {high:+.0f} % for the step from "
        "jar to tank (full-scale comparisons, from memory; none for household tanks)."
    )
    found += _retention_cautions(setup, today)
    found += _temperature_cautions(setup, [curve for curve in curves if curve is not None])
    found += [
        f"{name}: {row['meaning']}" for name, row in judged.items() if row["verdict"] != "possible"
    ]
    found += _curve_cautions(planned)
    if planned.total_ammonia_N_mg_per_L is not None:
        found.append(
            "Ammonia is worked out for a diet that has lasted three retention times at today's "
            "pH; more ammonia also lifts the pH, and with it the free share."
        )
    if planned.water_to_add_kg_per_d:
        found.append(
            f"The mixture is too thick to pour: about {say(planned.water_to_add_kg_per_d)} kg of "
            "water a day thins it to 10 % dry matter, and shortens the retention."
        )
    return tuple(found)


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
    """Say where the measured curve and the model part, and where a yield is below zero."""
    found = []
    for row in planned.by_material:
        measured, model = row.yield_NL_per_kg, row.yield_by_model_NL_per_kg
        if measured is not None and measured <= 0:
            found.append(f"{row.material}: no net gas in the jars; it may harm the tank.")
        elif measured and model is not None and abs(model / measured - 1) > 0.10:
            more = 100 * (model / measured - 1)
            found.append(
                f"{row.material}: the fitted model gives {more:+.0f} % against the measured curve, "
                "which counts nothing after the trial's end."
            )
    return found
