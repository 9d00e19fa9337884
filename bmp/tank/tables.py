"""From the tables `tank` and `tank feeds` to a tank, its feeds, and what is wrong with them."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

from bmp.tank.carry import MONTHS, carry_to_tank
from bmp.tank.heat import CONDUCTIVITY_W_PER_M_K
from bmp.tank.inputs import MIXING, WATER, FeedYield, Layer, TankFeed, TankSetup
from bmp.tank.result import TankResult
from bmp.trial import Material


@dataclass(frozen=True)
class Item:
    """One item of the table `tank`: the span its number must lie in, and what it means."""

    low: float
    high: float
    meaning: str


# Every item that is a number. Spans rule out slips of unit, not unusual tanks.
NUMBERS: Final[Mapping[str, Item]] = {
    "liquid_volume_L": Item(0.1, 1e8, "liquid in the tank"),
    "temperature_C": Item(0.0, 75.0, "temperature of the liquid"),
    "retention_d": Item(0.5, 1000.0, "retention time of today's feeding"),
    "pH": Item(3.0, 11.0, "pH of the liquid today"),
    "total_ammonia_N_mg_per_L": Item(0.0, 30000.0, "ammonia and ammonium N measured today"),
    "methane_share": Item(0.05, 1.0, "methane in today's gas"),
    "air_temperature_C": Item(-60.0, 60.0, "air around the tank"),
    "feed_temperature_C": Item(0.0, 100.0, "temperature of the feed as it goes in"),
    "surface_m2": Item(0.001, 1e6, "outer surface of the tank"),
    "U_W_per_m2_K": Item(0.01, 100.0, "heat passed per surface and kelvin"),
    "diameter_m": Item(0.01, 1000.0, "inner diameter of an upright round tank"),
    "height_m": Item(0.01, 1000.0, "height of an upright round tank"),
    "heater_use_kWh_per_d": Item(0.0, 1e6, "measured use of the tank's heater"),
    "heater_air_temperature_C": Item(-60.0, 60.0, "air while the heater was measured"),
    "burner_efficiency": Item(0.05, 1.0, "share of the burner's heat that reaches the tank"),
    "storage_volume_L": Item(0.1, 1e9, "gas bag or bell"),
    "ambient_kPa": Item(40.0, 115.0, "air pressure at the tank"),
}
MONTH_ITEMS: Final = tuple(f"air_temperature_{month.lower()}_C" for month in MONTHS)
TEXTS: Final[Mapping[str, str]] = {
    "mixing": "`well mixed` or `plug flow`",
    "layers": "wall from the inside out, such as `plastic 3 mm; polystyrene 50 mm`",
    "wall_stands_in": "`still air` or `wind`",
    "gas_use": "what the gas is used for",
}
NEEDED: Final = ("liquid_volume_L", "temperature_C")
_AMOUNTS: Final = ("amount_today_kg_per_d", "amount_planned_kg_per_d")
_LAYER: Final = re.compile(
    r"(?P<name>[a-z ]*?)\s*(?P<mm>\d+(?:\.\d+)?)\s*mm(?:\s+(?P<k>\d+(?:\.\d+)?))?"
)


@dataclass(frozen=True)
class TankProblem:
    """One thing in the tables that cannot be used."""

    table: str
    row: str
    """Item, or number of the row below the heading, starting at 1."""
    column: str
    found: str
    wanted: str

    def __str__(self) -> str:
        return f"{self.table}, {self.row}, {self.column}: {self.found}; {self.wanted}"


class TankTableError(ValueError):
    """The tank tables cannot be used; `problems` lists every reason."""

    def __init__(self, problems: Sequence[TankProblem]):
        self.problems = tuple(problems)
        super().__init__("\n".join(str(problem) for problem in problems))


def tank_from_tables(
    tank: Mapping[str, float | str],
    feeds: Sequence[Mapping[str, float | str]],
    materials: Sequence[Material],
    yields: Sequence[FeedYield],
) -> TankResult:
    """Return the tank's answer from `Trial.tank` and `Trial.tank_feeds`.

    Raises
    ------
    TankTableError
        With every problem of both tables at once.
    ValueError
        For a formula or composition that the theory refuses.
    """
    problems: list[TankProblem] = []
    setup = read_tank(tank, problems)
    rows = read_feeds(feeds, materials, problems)
    if problems or setup is None:
        raise TankTableError(problems)
    return carry_to_tank(setup, rows, yields)


def read_tank(tank: Mapping[str, float | str], problems: list[TankProblem]) -> TankSetup | None:
    """Return the tank, or None; what is wrong is added to `problems`."""
    before = len(problems)
    numbers = {name: _number(tank, name, item, problems) for name, item in NUMBERS.items()}
    for name in NEEDED:
        if name not in tank:
            problems.append(_problem(name, "is missing", f"{NUMBERS[name].meaning} is needed"))
    mixing = _choice(tank, "mixing", MIXING, problems)
    air = _choice(tank, "wall_stands_in", ("wind", "still air"), problems)
    months = _months(tank, problems)
    layers = _layers(str(tank.get("layers", "")), problems)
    if len(problems) > before:
        return None
    use = tank.get("gas_use")
    given = {name: value for name, value in numbers.items() if value is not None}
    return TankSetup(
        **given,
        mixing=mixing,
        sheltered=air == "still air",
        air_temperatures_by_month_C=months,
        layers=layers,
        gas_use=None if use is None else str(use),
    )


def read_feeds(
    feeds: Sequence[Mapping[str, float | str]],
    materials: Sequence[Material],
    problems: list[TankProblem],
) -> tuple[TankFeed, ...]:
    """Return the feeds; what is wrong is added to `problems`. An empty amount is 0."""
    known = {material.name: material for material in materials} | {WATER.name: WATER}
    found: list[TankFeed] = []
    if not feeds:
        problems.append(TankProblem("tank feeds", "row 1", "material", "is empty", "name a feed"))
    for number, row in enumerate(feeds, start=1):
        where, name = f"row {number}", str(row.get("material", "")).strip()
        amounts = [_amount(row, column, where, problems) for column in _AMOUNTS]
        material = known.get(name)
        if material is None:
            wanted = f"one of {', '.join(known)} is expected"
            problems.append(TankProblem("tank feeds", where, "material", repr(name), wanted))
        elif any(feed.material.name == name for feed in found):
            wanted = "one row a material is expected"
            problems.append(
                TankProblem("tank feeds", where, "material", f"{name} stands twice", wanted)
            )
        else:
            found.append(TankFeed(material, *amounts))
    if found and not any(f.amount_today_kg_per_d or f.amount_planned_kg_per_d for f in found):
        wanted = "at least one amount is needed"
        problems.append(TankProblem("tank feeds", "row 1", _AMOUNTS[0], "nothing is fed", wanted))
    return tuple(found)


def _problem(name: str, found: str, wanted: str) -> TankProblem:
    return TankProblem("tank", name, "value", found, wanted)


def _number(
    tank: Mapping[str, float | str], name: str, item: Item, problems: list[TankProblem]
) -> float | None:
    if name not in tank:
        return None
    value = tank[name]
    if isinstance(value, str) or not item.low <= value <= item.high:
        wanted = f"{item.meaning}: a number from {item.low:g} to {item.high:g} is expected"
        problems.append(_problem(name, str(value), wanted))
        return None
    return float(value)


def _choice(
    tank: Mapping[str, float | str],
    name: str,
    choices: Sequence[str],
    problems: list[TankProblem],
) -> str:
    value = str(tank.get(name, choices[0])).strip().lower()
    if value not in choices:
        problems.append(_problem(name, repr(value), f"{' or '.join(choices)} is expected"))
    return value


def _months(
    tank: Mapping[str, float | str], problems: list[TankProblem]
) -> tuple[float, ...] | None:
    given = [name for name in MONTH_ITEMS if name in tank]
    if not given:
        return None
    missing = [name for name in MONTH_ITEMS if name not in tank]
    if missing:
        problems.append(_problem(missing[0], "is missing", "all twelve months or none"))
    values = [_number(tank, name, NUMBERS["air_temperature_C"], problems) for name in given]
    return tuple(value for value in values if value is not None)


def _layers(text: str, problems: list[TankProblem]) -> tuple[Layer, ...]:
    found = []
    for part in filter(None, (piece.strip().lower() for piece in text.split(";"))):
        match = _LAYER.fullmatch(part)
        conductivity = None
        if match is not None:
            given, name = match["k"], match["name"].strip()
            conductivity = float(given) if given else CONDUCTIVITY_W_PER_M_K.get(name)
        if match is None or not conductivity or float(match["mm"]) <= 0:
            wanted = (
                f"write thickness and material ({', '.join(CONDUCTIVITY_W_PER_M_K)}) like "
                "`polystyrene 50 mm`, or its W/(m K) like `50 mm 0.036`"
            )
            problems.append(_problem("layers", repr(part), wanted))
        else:
            found.append(Layer(float(match["mm"]) / 1000, conductivity))
    return tuple(found)


def _amount(
    row: Mapping[str, float | str], column: str, where: str, problems: list[TankProblem]
) -> float:
    value = row.get(column, 0.0)
    if isinstance(value, str) or not 0 <= value < 1e7:
        wanted = "a number of kg a day, not negative, is expected"
        problems.append(TankProblem("tank feeds", where, column, str(value), wanted))
        return 0.0
    return float(value)
