from __future__ import annotations

import dataclasses
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from bmp.plan.plan import plan_trial
from bmp.plan.plan_request import MaterialRequest, PlanRequest
from bmp.plan.possible import nearest, refusals
from bmp.plan.refusal import PlanRefused
from bmp.trial import Material
from tests.plan_hard_curves import random_request
from tests.plan_requests import BEDDING, CLOSED, INOCULUM, LITERATURE, OPEN, SCRAPS, but

IMPOSSIBLE: list[tuple[PlanRequest, str]] = [
    (
        but(OPEN, outlet="closed", vessel_rating_kPa=300),
        "outlet: a household jar is not made for pressure and is never closed; possible: an open "
        "outlet into a cylinder or bag",
    ),
    (
        but(CLOSED, vessel="laboratory bottle"),
        "outlet: a laboratory bottle is not made for pressure and is never closed; possible: an "
        "open outlet into a cylinder or bag, measured by volume",
    ),
    (
        but(CLOSED, vessel_rating_kPa=None),
        "outlet: closed, but no vessel rating is stated: without one only an open outlet is "
        "planned; possible: an open outlet into a cylinder or bag, measured by volume",
    ),
    (
        but(CLOSED, place="school"),
        "outlet: closed glass under pressure is not planned where pupils take part; possible: an "
        "open outlet into a cylinder or bag, measured by volume",
    ),
    (
        but(OPEN, measured="pressure"),
        "measured: by pressure, but an open outlet holds none; possible: by volume",
    ),
    (
        but(CLOSED, fill=0.7),
        "fill: 70 % is too full (Standard BMP Methods documents 303 and 304: closed jars at most "
        "half full); possible: 50 %",
    ),
    (but(OPEN, fill=0.9), "fill: 90 % is too full (above it jars foam over); possible: 80 %"),
    (
        but(OPEN, jars_per_material=5, jars_available=14),
        "jars available: 14 jars are too few for 2 feeds and the blanks: 20 are needed; "
        "possible: jars per material 3, blanks 3, control yes",
    ),
    (
        but(OPEN, jars_per_material=3, jars_available=4),
        "jars available: 4 jars are too few for 2 feeds and the blanks: 12 are needed; possible: "
        "jars per material 1, blanks 1, control yes",
    ),
    (
        but(OPEN, jars_available=2),
        "jars available: 2 jars are too few for 2 feeds and the blanks: 12 are needed; possible: "
        "jars per material 1, blanks 1, control no, without scraps in the table materials",
    ),
    (
        but(OPEN, jar_volume_mL=40),
        "amount of microcrystalline cellulose: 0.20 g of VS in a jar, at least 0.25 g; possible: "
        "jars of 51 mL",
    ),
    (
        but(OPEN, fill=0.02),
        "amount of microcrystalline cellulose: 0.20 g of VS in a jar, at least 0.25 g; possible: "
        "fill of 2.506 %",
    ),
    (
        but(OPEN, fill=0.2, least_feed_g=15),
        "amount of goat bedding: 6.80 g in a jar, at least 15 g was asked for; possible: fill of "
        "44.1 %",
    ),
    (
        but(CLOSED, vessel_rating_kPa=20),
        "vessel rating: up to 32 kPa may gather within 9 h; a rating of 20 kPa is planned to 10 "
        "kPa at most; possible: an open outlet",
    ),
    (
        but(OPEN, collector_mL=100),
        "collector: 100 mL run over within 9 h: up to 193 mL may come; possible: 400 mL, read "
        "daily",
    ),
    (
        but(OPEN, fill=0.3, substrate_VS_g=5.0),
        "fill: 5 g in each jar needs 501 g of inoculum and feed; 300 mL of the jar may be filled; "
        "possible: fill of 50.12 %",
    ),
    (
        but(OPEN, jar_volume_mL=500, substrate_VS_g=5.0),
        "substrate VS: 5 g in each jar needs 501 g of inoculum and feed; 400 mL of the jar may be "
        "filled; possible: 3.99 g",
    ),
    (
        but(
            OPEN, materials=(MaterialRequest(INOCULUM.material, available_g=3000), BEDDING, SCRAPS)
        ),
        "available tank digestate: 3000 g at hand, all jars together take 5701 g; possible: fill "
        "of 26.17 %",
    ),
    (
        but(OPEN, materials=(MaterialRequest(INOCULUM.material, available_g=300), BEDDING, SCRAPS)),
        "available tank digestate: 300 g at hand, all jars together take 5701 g; possible: fetch "
        "5759 g",
    ),
]


@pytest.mark.parametrize(
    ("plan_request", "line"), IMPOSSIBLE, ids=lambda v: v[:40] if isinstance(v, str) else ""
)
def test_impossible_request(plan_request: PlanRequest, line: str) -> None:
    with pytest.raises(PlanRefused) as refused:
        plan_trial(plan_request, LITERATURE)
    assert line in str(refused.value).splitlines()
    assert refused.value.nearest is not None
    plan_trial(refused.value.nearest, LITERATURE)


UNUSABLE: list[tuple[PlanRequest, str]] = [
    (but(OPEN, jar_volume_mL=0), "jar volume: 0 stands there, right would be mL, 10 to 100 000"),
    (but(OPEN, outlet="ajar"), "outlet: 'ajar' stands there, right would be open or closed"),
    (
        but(OPEN, materials=(BEDDING,)),
        "materials: a plan needs one material with the role “inoculum”, found 0",
    ),
    (
        but(OPEN, materials=(INOCULUM,)),
        "materials: a plan needs at least one material with the role “substrate”, found none",
    ),
    (
        but(OPEN, materials=(INOCULUM, SCRAPS, SCRAPS)),
        "materials: material scraps: stands there 2 times",
    ),
    (
        but(
            OPEN, materials=(INOCULUM, MaterialRequest(Material("x", "substrate", TS=0.1, VS=0.2)))
        ),
        "materials: material x: VS of 20 % is more than TS of 10 %",
    ),
    (
        but(OPEN, materials=(INOCULUM, MaterialRequest(Material("x", "substrate", VS=1.2)))),
        "materials: material x: VS of 120 % of fresh mass cannot be",
    ),
]


@pytest.mark.parametrize(("plan_request", "line"), UNUSABLE)
def test_unusable_request_has_no_nearest(plan_request: PlanRequest, line: str) -> None:
    with pytest.raises(PlanRefused) as refused:
        plan_trial(plan_request, LITERATURE)
    assert line in str(refused.value).splitlines()
    assert refused.value.nearest is None


def test_feed_without_VS_is_told_what_may_stand_in() -> None:
    feed = MaterialRequest(Material("moon dust", "substrate"))
    (found,) = refusals(but(OPEN, materials=(INOCULUM, feed)), LITERATURE)
    assert found.why.startswith("material moon dust: its VS is not given; weigh crucibles, or name")
    assert "sheep or goat manure" in found.why
    (found,) = refusals(
        but(OPEN, materials=(INOCULUM, MaterialRequest(feed.material, like="dust"))), LITERATURE
    )
    assert found.why.startswith("material moon dust: no literature feed is called “dust”")


SOME_WISHES = st.fixed_dictionaries(
    {
        "jar_volume_mL": st.floats(50, 3000),
        "fill": st.none() | st.floats(0.02, 0.95),
        "inoculum_to_substrate": st.floats(0.5, 6),
        "substrate_VS_g": st.none() | st.floats(0.2, 20),
        "least_feed_g": st.sampled_from([0.0, 5.0, 30.0]),
        "jars_per_material": st.integers(1, 6),
        "jars_available": st.none() | st.integers(3, 30),
        "days": st.floats(5, 60),
        "vessel": st.sampled_from(["household jar", "laboratory bottle", "rated bottle"]),
        "vessel_rating_kPa": st.none() | st.floats(5, 600),
        "outlet": st.sampled_from(["open", "closed"]),
        "measured": st.sampled_from(["volume", "pressure", "mass", "methane volume"]),
        "collector_mL": st.none() | st.floats(50, 5000),
        "ambient_kPa": st.none() | st.floats(70, 105),
        "incubation_temperature_C": st.floats(15, 55),
        "room_temperature_C": st.floats(5, 35),
        "place": st.sampled_from(["home", "school", "laboratory"]),
    }
)


@settings(max_examples=60, deadline=None)
@given(
    SOME_WISHES,
    st.floats(0.01, 0.06),
    st.floats(0.03, 0.9),
    st.none() | st.floats(50, 5000),
    st.none() | st.floats(5, 500),
)
def test_every_refusal_leads_to_a_plan_and_no_plan_is_dangerous(
    changes: dict[str, Any],
    inoculum_VS: float,
    feed_VS: float,
    inoculum_g: float | None,
    feed_g: float | None,
) -> None:
    inoculum = Material("tank digestate", "inoculum", VS=inoculum_VS)
    feed = MaterialRequest(Material("scraps", "substrate", VS=feed_VS), available_g=feed_g)
    materials = (MaterialRequest(inoculum, available_g=inoculum_g), BEDDING, feed)
    plan_request = but(OPEN, materials=materials, **changes)
    possible, _ = nearest(plan_request, LITERATURE)
    assert possible is not None
    plan = plan_trial(possible, LITERATURE)
    closed = plan.request.outlet == "closed"
    if closed:
        assert plan.request.vessel == "rated bottle"
        assert plan.request.place != "school"
        rating = plan.request.vessel_rating_kPa
        assert rating is not None
        assert max(e.gauge_kPa[2] for e in plan.expected if e.gauge_kPa) <= min(rating / 2, 200)
    ids = {caution.id for caution in plan.cautions}
    assert ("closed glass" in ids) == closed
    assert {"local rules", "flame", "hydrogen sulphide", "germs"} <= ids


def test_what_a_refusal_names_works() -> None:
    """A single refusal is met by the change that it names."""
    rng, tried = np.random.default_rng(4), 0
    for _ in range(150):
        asked = random_request(rng)
        found = refusals(asked, LITERATURE)
        if len(found) != 1:
            continue
        (one,) = found
        assert one.change, one.line()
        left = refusals(dataclasses.replace(asked, **one.change), LITERATURE)
        # A first check may hide a later one, never the same again.
        assert one.item not in [other.item for other in left], (one.line(), left)
        tried += not left
    assert tried >= 25


FEW_FEEDS = (
    MaterialRequest(Material("slurry", "inoculum")),
    MaterialRequest(Material("dung", "substrate"), like="horse manure"),
    MaterialRequest(Material("scraps", "substrate"), like="food waste"),
)


@pytest.mark.parametrize(
    ("jars", "counts"),
    [
        (None, (3, 3, True)),
        (12, (3, 3, True)),
        (11, (2, 2, True)),
        (7, (2, 2, False)),
        (5, (2, 1, False)),
        (4, (1, 1, True)),
        (3, (1, 1, False)),
    ],
)
def test_the_best_is_made_of_the_jars_at_hand(
    jars: int | None, counts: tuple[int, int, bool]
) -> None:
    plan_request = PlanRequest(FEW_FEEDS, jar_volume_mL=2000, jars_available=jars, scale_g=1.0)
    plan = plan_trial(plan_request, LITERATURE)
    assert (
        plan.request.planned_jars,
        plan.request.planned_blanks,
        plan.request.planned_control,
    ) == counts
    assert jars is None or len(plan.jars) <= jars
    for jar in plan.jars:
        for mass in (jar.dose.inoculum_g, jar.dose.sample_g, jar.dose.water_g):
            assert mass == round(mass)
    said = " ".join(plan.watch)
    assert ("cannot be validated" in said) == (counts != (3, 3, True))
    assert ("its own scatter judges no difference between feeds" in said) == (counts[0] == 1)


def test_twelve_pint_bottles_of_30_psi() -> None:
    plan_request = PlanRequest(
        FEW_FEEDS,
        jar_volume_mL=473.2,
        jars_available=12,
        vessel="rated bottle",
        vessel_rating_kPa=206.8,
        outlet="closed",
        measured="pressure",
    )
    plan = plan_trial(plan_request, LITERATURE)
    assert len(plan.jars) == 12
    assert max(e.gauge_kPa[2] for e in plan.expected if e.gauge_kPa) <= 103.4
    assert sum(r.time_d <= 1.0 for r in plan.rounds) <= 3
    assert "at least 1 g is advised" in " ".join(plan.watch)


def test_a_coarse_scale_is_refused_only_where_it_weighs_nothing() -> None:
    plan_request = PlanRequest(FEW_FEEDS, jar_volume_mL=150, scale_g=1.0)
    (found,) = refusals(plan_request, LITERATURE)
    assert found.line().startswith("scale: ")
    assert found.instead.startswith("a scale that shows 0.")
    assert not refusals(dataclasses.replace(plan_request, **found.change), LITERATURE)
    roomy = plan_trial(PlanRequest(FEW_FEEDS, jar_volume_mL=500, scale_g=1.0), LITERATURE)
    assert "a scale that shows 1 g weighs the smallest sample to ±" in " ".join(roomy.watch)


@pytest.mark.parametrize(
    ("changes", "change"),
    [
        ({"measured": "volume"}, {"measured": "methane volume"}),
        ({"measured": "mass"}, {"methane_known_by": "syringe"}),
    ],
)
def test_an_absorber_goes_before_a_cylinder(
    changes: dict[str, Any], change: dict[str, Any]
) -> None:
    (found,) = refusals(but(OPEN, methane_known_by="absorber", **changes), LITERATURE)
    assert found.change == change


def test_possible_wishes_are_left_alone() -> None:
    assert refusals(OPEN, LITERATURE) == ()
    assert nearest(OPEN, LITERATURE) == (OPEN, ())
