"""Which columns a planned logbook has for its readings, in the units of its plan."""

from __future__ import annotations

from bmp.limits import POSSIBLE
from bmp.plan.entry_cells import CellRule, number
from bmp.plan.plan_request import PlanRequest
from bmp.plan.shown_units import ShownUnits

Column = tuple[str, CellRule]


def possible(field: str, prompt: str, units: ShownUnits | None = None, kind: str = "") -> CellRule:
    """Return an entry that takes what the reader takes, in the unit shown."""
    limits = POSSIBLE[field]
    low, high = limits.low, limits.high
    if limits.unit == "%":
        low, high = 100.0 * low, 100.0 * high
    elif units is not None:
        low, high = (float(f"{units.shown(kind, x):.6g}") for x in (low, high))
    return number(low, high, prompt)


def temperature(units: ShownUnits) -> CellRule:
    """Return the entry for the temperature of gas."""
    prompt = "temperature of the gas where it is read"
    return possible("temperature_C", prompt, units, "temperature")


def ambient(units: ShownUnits) -> CellRule:
    """Return the entry for air pressure."""
    prompt = "air pressure of the place, not reduced to sea level"
    return possible("ambient_kPa", prompt, units, "ambient")


METHANE = possible("methane_share", "methane in the dry gas")
AFTER_VENTING = CellRule(
    "after venting; empty: vented to the air; “not vented”: left closed",
    formula='OR(ISNUMBER({cell}),LOWER({cell})="not vented")',
)
TIME: dict[bool, Column] = {
    True: ("taken", CellRule("date and time of the reading")),
    False: ("time [d]", number(0, 1000, "days since the jars were closed")),
}


def reading_columns(request: PlanRequest) -> list[Column]:
    """Return the columns between the jar and the note."""
    units = request.units
    return [
        TIME[request.started is not None],
        *_quantities(request),
        *_syringe(request),
        (f"temperature [{units.temperature}]", temperature(units)),
        (f"ambient [{units.ambient}]", ambient(units)),
        *_meter(request),
    ]


def _meter(request: PlanRequest) -> list[Column]:
    """Return the column of the methane share; behind an absorber the volume is methane already."""
    asked = request.methane_known_by in (None, "meter") and request.measured != "methane volume"
    return [("methane [%]", METHANE)] if asked else []


def _quantities(request: PlanRequest) -> list[Column]:
    """Return what is read by the way of measuring; an open jar is weighed once a round."""
    units = request.units
    if request.measured == "pressure":
        gauge = possible("gauge_before_kPa", "pressure above air pressure", units, "gauge")
        return [
            (f"gauge before [{units.gauge}]", gauge),
            (f"gauge after [{units.gauge}]", AFTER_VENTING),
        ]
    if request.measured == "mass":
        mass = possible("mass_g", "whole jar on the scale", units, "mass")
        names = ["mass"] if request.outlet == "open" else ["mass before", "mass after"]
        return [(f"{name} [{units.mass}]", mass) for name in names]
    volume = possible("volume_mL", "gas since the last reading", units, "volume")
    return [(f"volume [{units.volume}]", volume)]


def _syringe(request: PlanRequest) -> list[Column]:
    """Return the columns of the syringe, where it may tell the methane share."""
    asked = request.methane_known_by == "syringe"
    share_unknown = request.methane_known_by is None and request.measured in ("volume", "pressure")
    if not (asked or share_unknown):
        return []
    drawn = possible("syringe_gas_mL", "gas drawn before shaking with soda lye")
    left = possible("syringe_gas_left_mL", "gas left after shaking with soda lye")
    return [("syringe gas [mL]", drawn), ("syringe gas left [mL]", left)]
