"""The items of the table `plan`, and what each becomes in `Wishes`."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from bmp.plan.wish_checks import PLANNED_MEASURES
from bmp.plan.wishes import METHANE_KNOWN_BY, OUTLETS, PLACES, VESSELS
from bmp.read.columns import MATERIALS, Known

ITEMS: tuple[Known, ...] = (
    Known("title", "title"),
    Known("started", "started"),
    Known("jar volume", "jar_volume_mL", "mL"),
    Known("fill", "fill", "dimensionless"),
    Known("inoculum to substrate", "inoculum_to_substrate"),
    Known("substrate VS", "substrate_VS_g", "g"),
    Known("least feed", "least_feed_g", "g"),
    Known("jars per material", "jars_per_material"),
    Known("blanks", "blanks"),
    Known("control", "control"),
    Known("jars available", "jars_available"),
    Known("days", "days"),
    Known("vessel", "vessel"),
    Known("vessel rating", "vessel_rating_kPa", "kPa"),
    Known("outlet", "outlet"),
    Known("measured", "measured"),
    Known("methane known by", "methane_known_by"),
    Known("collector", "collector_mL", "mL"),
    Known("ambient", "ambient_kPa", "kPa"),
    Known("altitude", "altitude_m", "m"),
    Known("incubation temperature", "incubation_temperature_C", "degC"),
    Known("room temperature", "room_temperature_C", "degC"),
    Known("place", "place"),
    Known("expected scatter", "expected_rsd", "dimensionless"),
)
ITEM_NAMES: Mapping[str, str] = {known.field: known.name for known in ITEMS}

# Bare numbers, and whether each is a count.
NUMBERS: Mapping[str, bool] = {
    "inoculum_to_substrate": False,
    "jars_per_material": True,
    "blanks": True,
    "jars_available": True,
    "days": False,
}
CHOICES: Mapping[str, Mapping[str, Any]] = {
    "vessel": {word: word for word in VESSELS},
    "outlet": {word: word for word in OUTLETS},
    "measured": {word: word for word in PLANNED_MEASURES},
    "place": {word: word for word in PLACES},
    "methane_known_by": {word: word for word in METHANE_KNOWN_BY},
    "control": {"yes": True, "no": False},
}

# Columns of the table `materials` that only a plan reads.
WISH_MATERIALS: tuple[Known, ...] = (
    *MATERIALS,
    Known("like", "like"),
    Known("available", "available_g", "g"),
    Known("inoculum to substrate", "ratio"),
)
