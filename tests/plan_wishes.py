"""Wishes that the tests of the plan share: an invented tank and two feeds."""

from __future__ import annotations

import dataclasses
from datetime import datetime
from typing import Any

from bmp.plan.literature import read_literature
from bmp.plan.wishes import MaterialWish, Wishes
from bmp.trial import Material

LITERATURE = read_literature()

INOCULUM = MaterialWish(Material("tank digestate", "inoculum", TS=0.035, VS=0.021))
BEDDING = MaterialWish(Material("goat bedding", "substrate"), like="sheep or goat manure")
SCRAPS = MaterialWish(Material("scraps", "substrate", VS=0.20, VS_u=0.01), like="food waste")
OPEN = Wishes(
    (INOCULUM, BEDDING, SCRAPS), jar_volume_mL=1000, started=datetime(2027, 3, 1, 9), days=40
)
CLOSED = dataclasses.replace(
    OPEN,
    jar_volume_mL=520,
    vessel="rated bottle",
    vessel_rating_kPa=300,
    outlet="closed",
    measured="pressure",
)


def but(wishes: Wishes, **changes: Any) -> Wishes:
    return dataclasses.replace(wishes, **changes)
