"""The items of the table `plan`, and what each becomes in `Request`."""

from __future__ import annotations

from collections.abc import Mapping
from importlib.resources import files
from typing import Any

from bmp.plan.plan_request import METHANE_KNOWN_BY, OUTLETS, PLACES, VESSELS
from bmp.plan.request_checks import PLANNED_MEASURES
from bmp.read.columns import MATERIALS, KnownColumn, known_rows

_TEXT = (files("bmp.plan") / "items.csv").read_text(encoding="utf-8")
ITEMS = known_rows(_TEXT, "plan")
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
REQUEST_MATERIALS: tuple[KnownColumn, ...] = (*MATERIALS, *known_rows(_TEXT, "materials of a plan"))
