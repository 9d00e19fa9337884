"""A look at a reading the moment it is typed: a fall, ten times the last, a wrong unit.

Nothing here refuses: what a person saw on the instrument is kept, and asked about at once, while
the instrument still stands there. Limits are common practice, no source.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Final

from bmp.limits import USUAL, Range
from bmp.units import conversion

TIMES_THE_LAST: Final = 10.0
LARGEST_LOSS_OF_MASS: Final = 0.05
"""Share of a jar's mass that one interval's gas can weigh at the very most."""
TIMES_THE_OTHERS: Final = 5.0
LEAST_TO_COMPARE: Final = 20.0
"""mL or kPa: below it five times as much is a matter of a bubble."""
HIGHEST_GAUGE_KPA: Final = 150.0
"""Above this a reading of a jar is taken for absolute pressure or another unit."""


@dataclass(frozen=True)
class Named:
    """How a quantity whose usual range is known is called, and units it is often typed in."""

    unit: str
    others: tuple[str, ...]
    """Of another unit that would bring the number inside, the first is named."""
    kind: str


_OF_PRESSURE: Final = ("hPa", "psi", "bar", "mmHg")
NAMED: Final[Mapping[str, Named]] = {
    "ambient_kPa": Named("kPa", ("hPa", "mmHg", "inHg", "psi", "bar", "Pa"), "air pressure"),
    "temperature_C": Named("degC", ("degF", "K"), "temperature"),
    "methane_share": Named("dimensionless", ("fraction",), "methane share"),
    "absolute_before_kPa": Named("kPa", _OF_PRESSURE, "absolute pressure"),
    "absolute_after_kPa": Named("kPa", _OF_PRESSURE, "absolute pressure"),
}
_SHOWN: Final = {"degF": "°F", "fraction": "a share of 1"}


def doubts(
    values: Mapping[str, float],
    last: Mapping[str, float],
    *,
    cumulative: bool,
    written: Mapping[str, str],
) -> list[str]:
    """Return what looks wrong, in plain words.

    Parameters
    ----------
    values, last
        This reading and the jar's one before, by field (`volume_mL`), in the project's units.
    cumulative
        Whether volumes are running totals.
    written
        By field, this reading's number and the last as a person wrote them, joined by a bar.
    """
    found: list[str] = []
    for field, value in values.items():
        if field in NAMED:
            found += _outside(value, USUAL[field], NAMED[field])
        elif look := _LOOKS.get(field):
            found += look(value, last.get(field), cumulative, written.get(field, ""))
    return [*found, *_venting(values)]


def _outside(value: float, usual: Range, named: Named) -> list[str]:
    if usual.holds(value):
        return []
    scale = 100.0 if usual.unit == "%" else 1.0
    typed = value * scale
    for other in named.others:
        rule = conversion(other, named.unit)
        if usual.holds(typed * rule.factor + rule.offset):
            name = _SHOWN.get(other, other)
            return [
                f"{typed:g} {usual.unit} cannot be the {named.kind}: is it {name}? Write the unit."
            ]
    low, high = usual.low * scale, usual.high * scale
    return [f"{typed:g} {usual.unit} is unlikely as {named.kind} ({low:g} to {high:g} is usual)."]


def _volume(value: float, last: float | None, cumulative: bool, written: str) -> list[str]:
    this, _, before = written.partition("|")
    if cumulative and last is not None and value < last:
        return [f"It fell from {before} to {this}. If the counter was set back, say “emptied”."]
    if not cumulative and value < 0.0:
        return [f"{this} is below zero: was it read against the scale?"]
    return _times(value, last, this, before, "L and mL")


def _times(value: float, last: float | None, this: str, before: str, mixed: str) -> list[str]:
    if last is None or last <= 0.0 or value <= 0.0:
        return []
    if value >= TIMES_THE_LAST * last:
        words = f"{this} is {value / last:.0f} times the last ({before}): look again."
    elif value * TIMES_THE_LAST <= last:
        words = f"{this} is less than a tenth of the last ({before}): look again."
    else:
        return []
    ratio = max(value / last, last / value)
    return [words + (f" Were {mixed} mixed up?" if ratio >= 300 else "")]


def _gauge(value: float, last: float | None, cumulative: bool, written: str) -> list[str]:
    this, _, before = written.partition("|")
    if value > HIGHEST_GAUGE_KPA:
        return [
            f"{this} is far above what a jar may hold: is the unit right? If it is, go away from "
            "the jar and let it vent."
        ]
    if 85.0 <= value <= 108.0 and (last is None or not 60.0 <= last <= 150.0):
        return [f"{this} looks like absolute pressure; here goes the pressure above the air's."]
    return _times(value, last, this, before, "mbar and kPa")


def _mass(value: float, last: float | None, cumulative: bool, written: str) -> list[str]:
    this, _, before = written.partition("|")
    if last is None or last <= 0.0:
        return []
    if value > last * 1.0005:
        return [f"It rose from {before} to {this}: a closed jar does not gain mass."]
    if value < last * (1.0 - LARGEST_LOSS_OF_MASS):
        return [f"It fell from {before} to {this}: more than gas can weigh. Is it the right jar?"]
    return []


_LOOKS: Final[Mapping[str, Callable[[float, float | None, bool, str], list[str]]]] = {
    "volume_mL": _volume,
    "gauge_before_kPa": _gauge,
    "mass_g": _mass,
    "mass_before_g": _mass,
}


def _venting(values: Mapping[str, float]) -> list[str]:
    for kind in ("gauge", "absolute", "mass"):
        unit = "g" if kind == "mass" else "kPa"
        before = values.get(f"{kind}_before_{unit}")
        after = values.get(f"{kind}_after_{unit}")
        if before is not None and after is not None and after > before:
            return ["After venting there is more than before: are the two fields swapped?"]
    return []


@dataclass(frozen=True)
class Replicate:
    """What another jar of the same feed gave in the same round."""

    name: str
    values: Mapping[str, float]
    """By field, in the project's units."""


_COMPARED: Final = {"volume_mL": "mL", "gauge_before_kPa": "kPa"}


def beside(values: Mapping[str, float], others: Sequence[Replicate]) -> list[str]:
    """Return which value is far from those of the replicate jars; also in a first round."""
    said = []
    for field, unit in _COMPARED.items():
        value = values.get(field)
        known = [(one.values[field], one.name) for one in others if field in one.values]
        if value is None or not known:
            continue
        # one that is alike is enough: of three jars, the odd one is asked about
        near, name = min(known, key=lambda one: abs(one[0] - value))
        high, low = max(value, near), min(value, near)
        if high >= LEAST_TO_COMPARE and high >= TIMES_THE_OTHERS * max(low, 0.0):
            said.append(
                f"{value:.4g} {unit} is far from jar {name} of the same feed "
                f"({near:.4g} {unit}). Look at the scale, the unit and the jar's label again."
            )
    return said
