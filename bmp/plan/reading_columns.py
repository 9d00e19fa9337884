"""Which columns a planned logbook has for its readings, in the units of its plan."""

from __future__ import annotations

from bmp.limits import POSSIBLE
from bmp.plan.cells import Entry, number
from bmp.plan.shown_units import ShownUnits
from bmp.plan.wishes import Wishes

Column = tuple[str, Entry]


def possible(field: str, prompt: str, units: ShownUnits | None = None, kind: str = "") -> Entry:
    """Return an entry that takes what the reader takes, in the unit shown."""
    limits = POSSIBLE[field]
    low, high = limits.low, limits.high
    if limits.unit == "%":
        low, high = 100.0 * low, 100.0 * high
    elif units is not None:
        low, high = (float(f"{units.shown(kind, x):.6g}") for x in (low, high))
    return number(low, high, prompt)


def temperature(units: ShownUnits) -> Entry:
    """Return the entry for the temperature of gas."""
    prompt = "temperature of the gas where it is read"
    return possible("temperature_C", prompt, units, "temperature")


def ambient(units: ShownUnits) -> Entry:
    """Return the entry for air pressure."""
    prompt = "air pressure of the place, not reduced to sea level"
    return possible("ambient_kPa", prompt, units, "ambient")


METHANE = possible("methane_share", "methane in the dry gas")
AFTER_VENTING = Entry(
    "after venting; empty: vented to the air; “not vented”: left closed",
    formula='OR(ISNUMBER({cell}),LOWER({cell})="not vented")',
)
TIME: dict[bool, Column] = {
    True: ("taken", Entry("date and time of the reading")),
    False: ("time [d]", number(0, 1000, "days since the jars were closed")),
}


def reading_columns(wishes: Wishes) -> list[Column]:
    """Return the columns between the jar and the note."""
    units = wishes.units
    return [
        TIME[wishes.started is not None],
        *_quantities(wishes),
        *_syringe(wishes),
        (f"temperature [{units.temperature}]", temperature(units)),
        (f"ambient [{units.ambient}]", ambient(units)),
        *_meter(wishes),
    ]


def _meter(wishes: Wishes) -> list[Column]:
    """Return the column of the methane share; behind an absorber the volume is methane already."""
    asked = wishes.methane_known_by in (None, "meter") and wishes.measured != "methane volume"
    return [("methane [%]", METHANE)] if asked else []


def _quantities(wishes: Wishes) -> list[Column]:
    """Return what is read by the way of measuring; an open jar is weighed once a round."""
    units = wishes.units
    if wishes.measured == "pressure":
        gauge = possible("gauge_before_kPa", "pressure above air pressure", units, "gauge")
        return [
            (f"gauge before [{units.gauge}]", gauge),
            (f"gauge after [{units.gauge}]", AFTER_VENTING),
        ]
    if wishes.measured == "mass":
        mass = possible("mass_g", "whole jar on the scale", units, "mass")
        names = ["mass"] if wishes.outlet == "open" else ["mass before", "mass after"]
        return [(f"{name} [{units.mass}]", mass) for name in names]
    volume = possible("volume_mL", "gas since the last reading", units, "volume")
    return [(f"volume [{units.volume}]", volume)]


def _syringe(wishes: Wishes) -> list[Column]:
    """Return the columns of the syringe, where it may tell the methane share."""
    asked = wishes.methane_known_by == "syringe"
    untold = wishes.methane_known_by is None and wishes.measured in ("volume", "pressure")
    if not (asked or untold):
        return []
    drawn = possible("syringe_gas_mL", "gas drawn before shaking with soda lye")
    left = possible("syringe_gas_left_mL", "gas left after shaking with soda lye")
    return [("syringe gas [mL]", drawn), ("syringe gas left [mL]", left)]
