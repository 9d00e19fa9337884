"""Plan requests that the tests of the plan share: an invented tank and two feeds."""

from __future__ import annotations

import dataclasses
from datetime import datetime
from typing import Any

from bmp.plan.literature import read_literature
from bmp.plan.plan_request import MaterialRequest, PlanRequest
from bmp.trial import Material

LITERATURE = read_literature()

INOCULUM = MaterialRequest(Material("tank digestate", "inoculum", TS=0.035, VS=0.021))
BEDDING = MaterialRequest(Material("goat bedding", "substrate"), like="sheep or goat manure")
SCRAPS = MaterialRequest(Material("scraps", "substrate", VS=0.20, VS_u=0.01), like="food waste")
OPEN = PlanRequest(
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


def but(request: PlanRequest, **changes: Any) -> PlanRequest:
    return dataclasses.replace(request, **changes)
