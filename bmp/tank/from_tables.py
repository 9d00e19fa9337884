"""From the tables `tank` and `tank feeds`, as `bmp.read` hands them on, to the tank's answer."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import fields
from typing import Any, Final

from bmp.tank.inputs import WATER, FeedYield, TankFeed, TankSetup
from bmp.tank.jars_to_tank import carry_to_tank
from bmp.tank.result import TankResult
from bmp.trial import MONTHS, Material
from bmp.wall import parse_layers

MONTH_ITEMS: Final = tuple(f"air_temperature_{month.lower()}_C" for month in MONTHS)


def tank_from_tables(
    tank: Mapping[str, float | str],
    feeds: Sequence[Mapping[str, float | str]],
    materials: Sequence[Material],
    yields: Sequence[FeedYield],
) -> TankResult:
    """Return the tank's answer from `Trial.tank` and `Trial.tank_feeds`.

    Parameters
    ----------
    tank
        Items by name with unit; `bmp.read.tank` lists and checks them.
    feeds
        Rows with `material`, `amount_today_kg_per_d` and `amount_planned_kg_per_d`.
    materials, yields
        Found by the feeds' names; `water` needs neither.

    Raises
    ------
    ValueError
        For an item or material that is not known, or one that is missing.
    """
    known = {material.name: material for material in materials} | {WATER.name: WATER}
    missing = [str(row["material"]) for row in feeds if row["material"] not in known]
    if missing:
        raise ValueError(f"tank feeds: {missing[0]!r} is not among the materials")
    rows = [
        TankFeed(
            known[str(row["material"])],
            float(row.get("amount_today_kg_per_d", 0.0)),
            float(row.get("amount_planned_kg_per_d", 0.0)),
        )
        for row in feeds
    ]
    return carry_to_tank(tank_setup(tank), rows, yields)


def tank_setup(tank: Mapping[str, float | str]) -> TankSetup:
    """Return the tank from its items by name with unit.

    Raises
    ------
    ValueError
        As `tank_from_tables`.
    """
    given: dict[str, Any] = {name: value for name, value in tank.items() if name not in MONTH_ITEMS}
    months = tuple(float(tank[name]) for name in MONTH_ITEMS if name in tank)
    if months:
        given["air_temperatures_by_month_C"] = months
    if "layers" in given:
        given["layers"] = parse_layers(str(given["layers"]))
    if "wall_stands_in" in given:
        given["sheltered"] = given.pop("wall_stands_in") == "still air"
    unknown = set(given) - {field.name for field in fields(TankSetup)}
    lacking = {"liquid_volume_L", "temperature_C"} - set(given)
    if unknown or lacking or len(months) not in (0, 12):
        wrong = sorted(unknown or lacking or {"air temperatures of twelve months"})[0]
        raise ValueError(f"tank: the item {wrong!r} is missing or not known")
    return TankSetup(**given)
