"""Plans held against gas that comes as hard as real jars have shown, apart from the plan's code.

Every request is planned; each accepted plan's rounds are then walked with curves of three shapes
that lag and come in a rush: the fullest day and three days as in the open data of the ring test of
Hafner et al. 2020 (Water 12:1752; largest gain in a day up to 60 % of the final methane, in three
days up to 89 %), the highest published yields, and, where VS was not measured, the highest VS.
The gas law is written out here again. `python -m tests.plan_hard_curves` prints the worst plans.
"""

from __future__ import annotations

import csv
import sys
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
from scipy.optimize import brentq

from bmp.plan.literature import CELLULOSE, read_literature
from bmp.plan.plan import Plan, plan_trial
from bmp.plan.plan_request import MaterialRequest, PlanRequest
from bmp.plan.refusal import PlanRefused
from bmp.trial import FloatArray, Material
from tests.simulate import magnus_saturation_kPa

# Highest published methane yield, NmL/g VS, and lowest methane share, by feed: Justesen et al. 2019
# (straw), Jurgutis et al. 2020 (poultry), Huhtanen et al. 2021 (cattle), Univ. of Canterbury
# 10092/5090 (food), Masebinu et al. 2018 (vegetables), Ware & Power 2016 (slaughter waste), Wartell
# et al. 2012 (horse), a banana peel of 451, spent grain fitted (Front. Energy Res. 2023, 1141684),
# a blank at 40 % of the control's gas (2020 draft).
HARDEST: dict[str, tuple[float, float]] = {
    "microcrystalline cellulose": (395, 0.50),
    "straw": (303, 0.50),
    "poultry manure": (508, 0.55),
    "cattle slurry": (283, 0.55),
    "food waste": (560, 0.55),
    "vegetable residue": (501, 0.50),
    "slaughter waste": (651, 0.60),
    "horse manure": (273, 0.50),
    "banana plant": (451, 0.50),
    "sheep or goat manure": (186, 0.55),
    "spent grain": (345, 0.55),
    "whey": (380, 0.50),
}
# What a blank may give: 117 NmL CH4/g VS, at most 20 a day (2020 draft).
INOCULUM_NML, INOCULUM_PER_D, INOCULUM_SHARE = 117.0, 0.15, 0.55
MOST_IN_A_DAY, MOST_IN_THREE_DAYS = 0.60, 0.89
LATEST_LAG_D = 4.0
SHAPES = ("first order", "Gompertz", "day and three days")


@cache
def gompertz_rate(fullest_day: float) -> float:
    """Return the c for which exp(-exp(-c t)) gains a share of its end in its fullest day."""
    start = np.linspace(-5, 5, 2001)

    def missing(c: float) -> float:
        gained = np.exp(-np.exp(-c * (start + 1))) - np.exp(-np.exp(-c * start))
        return float(gained.max()) - fullest_day

    return float(brentq(missing, 0.1, 10.0))


@dataclass(frozen=True)
class Curve:
    """Share of the final gas by the hour: a lag, and how full the fullest day is."""

    shape: str
    lag_d: float
    fullest_day: float

    def share(self, time_d: FloatArray) -> FloatArray:
        since = np.maximum(np.asarray(time_d) - self.lag_d, 0.0)
        day = self.fullest_day
        if self.shape == "first order":
            return 1 - (1 - day) ** since
        if self.shape == "Gompertz":
            # Lag at the foot of the steepest tangent; a tenth comes slowly after it, as the share
            # of three days asks for.
            c = gompertz_rate(day / 0.9)
            raw = np.exp(-np.exp(1 - c * (np.asarray(time_d) - self.lag_d)))
            first = np.exp(-np.exp(1 + c * self.lag_d))
            return 0.9 * (raw - first) / (1 - first) + 0.1 * -np.expm1(-0.05 * since)
        three = min(MOST_IN_THREE_DAYS, day + 0.35)
        late = three + (1 - three) * -np.expm1(-0.3 * np.maximum(since - 3, 0.0))
        return np.where(since < 3, np.interp(since, [0, 1, 3], [0, day, three]), late)


CURVES = tuple(
    Curve(shape, lag, day)
    for shape in SHAPES
    for lag in (0.3, 0.6, 1.3, 2.1, 3.2, LATEST_LAG_D)
    for day in (0.35, 0.5, MOST_IN_A_DAY)
)


def highest_VS() -> dict[str, float]:
    """Return the highest VS per fresh mass of each feed, from the table of ranges."""
    folder = Path(__file__).parents[1] / "reference_data" / "solids_ranges"
    with (folder / "solids.csv").open(encoding="utf-8") as file:
        return {
            row["feed"]: float(row["TS_high_percent"]) * float(row["VS_of_TS_high_percent"]) / 1e4
            for row in csv.DictReader(file)
        }


@dataclass(frozen=True)
class Held:
    """The worst that any jar of a plan met, over what it may bear."""

    kind: str
    """`rating`, `planned pressure` or `collector`."""
    ratio: float
    at: str


def walk(plan: Plan, VS: dict[str, float]) -> Iterator[Held]:
    """Return the worst of every dose against the plan's limits."""
    request, times = plan.request, np.array([0.0, *(r.time_d for r in plan.rounds)])
    warm, room = request.incubation_temperature_C, request.room_temperature_C
    ambient = request.ambient_kPa or 101.325
    vapour_room, vapour_warm = (float(magnus_saturation_kPa(np.array(C))) for C in (room, warm))
    wanted = {w.material.name: w for w in request.materials}
    for dose in {jar.dose for jar in plan.jars}:
        asked = wanted.get(dose.material)
        like = CELLULOSE if asked is None else (asked.like or dose.material)
        inoculum = next(w.material for w in request.materials if w.material.role == "inoculum")
        own = dose.inoculum_g * (inoculum.VS or VS["inoculum"]) * INOCULUM_NML / INOCULUM_SHARE
        fed = 0.0
        if dose.role != "blank":
            measured = None if asked is None else asked.material.VS
            methane, share = HARDEST[like]
            fed = dose.sample_g * (measured or VS[like]) * methane / share
        blank = np.diff(own * -np.expm1(-INOCULUM_PER_D * times))
        for curve in CURVES:
            gas = blank + np.diff(fed * curve.share(times))
            at = f"{dose.material}, {curve.shape} lag {curve.lag_d:g} d day {curve.fullest_day:g}"
            if request.outlet == "closed":
                dry = (ambient - vapour_room) * (warm + 273.15) / (room + 273.15)
                start = np.zeros(gas.size)
                start[0] = dry + vapour_warm - ambient
                kPa = start + gas * 101.325 * (warm + 273.15) / 273.15 / dose.headspace_mL
                rating = request.vessel_rating_kPa or 0.0
                yield Held("rating", float(kPa.max()) / rating, at)
                yield Held("planned pressure", float(kPa.max()) / min(rating / 2, 200.0), at)
            elif request.collector_mL is not None:
                mL = gas * 101.325 / (ambient - vapour_room) * (room + 273.15) / 273.15
                yield Held("collector", float(mL.max()) / request.collector_mL, at)


def worst(plan: Plan, VS: dict[str, float]) -> dict[str, Held]:
    """Return the worst of each kind."""
    found: dict[str, Held] = {}
    for held in walk(plan, VS):
        if held.kind not in found or held.ratio > found[held.kind].ratio:
            found[held.kind] = held
    return found


def random_request(rng: np.random.Generator) -> PlanRequest:
    """Return what somebody may ask for."""

    def maybe(share: float, value: Any) -> Any:
        return value if rng.random() < share else None

    feeds = []
    names = [name for name in HARDEST if name != "microcrystalline cellulose"]
    for number, name in enumerate(rng.choice(names, int(rng.integers(1, 4)), replace=False)):
        VS = maybe(0.5, round(float(rng.uniform(0.05, 0.5)), 3))
        feeds.append(
            MaterialRequest(Material(f"feed {number}", "substrate", VS=VS), like=str(name))
        )
    inoculum = Material("digestate", "inoculum", VS=maybe(0.7, round(rng.uniform(0.015, 0.04), 4)))
    closed = rng.random() < 0.55
    started = datetime(2027, 3, 1) + timedelta(hours=int(rng.integers(0, 24 * 7)))
    return PlanRequest(
        (MaterialRequest(inoculum), *feeds),
        jar_volume_mL=float(rng.choice([250, 473, 500, 520, 920, 1000, 2000, 5000])),
        fill=maybe(0.35, round(float(rng.uniform(0.1, 0.5)), 2)),
        inoculum_to_substrate=float(rng.choice([1.0, 2.0, 3.0, 4.0])),
        substrate_VS_g=maybe(0.25, round(float(rng.uniform(0.5, 6)), 1)),
        jars_per_material=int(rng.integers(1, 5)),
        days=float(rng.integers(10, 60)),
        started=maybe(0.7, started),
        vessel="rated bottle" if closed else str(rng.choice(["household jar", "rated bottle"])),
        vessel_rating_kPa=float(rng.choice([100, 150, 207, 300, 400])) if closed else None,
        outlet="closed" if closed else "open",
        measured=str(rng.choice(["pressure", "mass"] if closed else ["volume", "mass"])),
        collector_mL=None if closed else float(rng.choice([500, 1000, 2000, 3000, 5000, 10_000])),
        ambient_kPa=maybe(0.5, float(rng.uniform(75, 103))),
        incubation_temperature_C=float(rng.choice([20.0, 30.0, 37.0, 38.0, 52.0])),
        room_temperature_C=float(rng.choice([15.0, 20.0, 25.0, 30.0])),
        place=str(rng.choice(["home", "laboratory"] if closed else ["home", "school"])),
    )


@dataclass(frozen=True)
class Tally:
    """What became of the requests."""

    asked: int
    accepted: int
    """As they were asked."""
    held: tuple[dict[str, Held], ...]
    """Of every accepted plan, and of the nearest possible one where a request was refused."""


def tally(requests: int, seed: int) -> Tally:
    """Plan random requests; where one is refused, its nearest possible one."""
    rng, literature, VS = np.random.default_rng(seed), read_literature(), highest_VS()
    accepted, held = 0, []
    for _ in range(requests):
        request = random_request(rng)
        try:
            plan = plan_trial(request, literature)
            accepted += 1
        except PlanRefused as refused:
            if refused.nearest is None:
                continue
            plan = plan_trial(refused.nearest, literature)
        held.append(worst(plan, VS))
    return Tally(requests, accepted, tuple(held))


def main() -> None:
    found = tally(int(sys.argv[1]) if len(sys.argv) > 1 else 500, seed=1)
    print(f"{found.asked} requests, {found.accepted} accepted as asked, {len(found.held)} planned")
    for kind in ("rating", "planned pressure", "collector"):
        these = sorted((h[kind] for h in found.held if kind in h), key=lambda h: -h.ratio)
        over = sum(h.ratio > 1 for h in these)
        print(f"{kind}: {over} of {len(these)} plans pass it")
        for one in these[:5]:
            print(f"  {one.ratio:.2f} {one.at}")


if __name__ == "__main__":
    main()
