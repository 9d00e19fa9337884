from __future__ import annotations

import json
from pathlib import Path

import pytest

from bmp.cautions import cautions_for
from bmp.plan.draft import make_draft
from bmp.plan.plan import hazards_of, plan_trial, to_dict
from bmp.plan.plan_request import MaterialRequest, PlanRequest
from bmp.plan.power import design_of, detectable_difference
from bmp.plan.write import PLAN_FILES, write_plan
from bmp.trial import Material
from tests.plan_requests import BEDDING, CLOSED, INOCULUM, LITERATURE, OPEN, SCRAPS, but


def test_json_holds_the_contract() -> None:
    found = json.loads(json.dumps(to_dict(plan_trial(OPEN, LITERATURE)), allow_nan=False))
    assert found["format"] == "bmp-plan-1"
    keys = {"jar", "material", "inoculum_g", "sample_g", "water_g", "headspace_mL"}
    assert all(keys <= set(jar) for jar in found["jars"])
    assert len(found["jars"]) == 12
    design = design_of(make_draft(OPEN, LITERATURE))
    assert design is not None
    assert found["detectable_difference_percent"] == 100 * detectable_difference(design)
    assert len(found["expected"]) == 4 * len(found["rounds"])
    assert {"id", "text", "figure", "source"} == set(found["cautions"][0])
    assert found["expected"][0]["gauge_kPa"] is None


def test_one_jar_has_no_detectable_difference() -> None:
    found = to_dict(plan_trial(but(OPEN, jars_per_material=1), LITERATURE))
    assert found["detectable_difference_percent"] is None
    assert found["just_significant_percent"] is None
    assert any("cannot be validated" in line for line in found["watch"])


def test_users_own_number_of_jars_is_said() -> None:
    materials = (INOCULUM, SCRAPS, MaterialRequest(Material("peel", "substrate", VS=0.1), "potato"))
    plan_request = but(OPEN, jars_per_material=5, materials=materials)
    watch = " ".join(plan_trial(plan_request, LITERATURE).watch)
    assert "5 jars of each feed find a true difference of" in watch
    assert "four times in five; 6 jars find" in watch
    assert "is usually not significant (scatter 6 %, level 5 %)" in watch
    assert "comparisons" not in watch


@pytest.mark.parametrize(
    ("plan_request", "ids"),
    [
        (OPEN, {"household jar", "open outlet", "oven and furnace"}),
        (CLOSED, {"closed glass", "oven and furnace"}),
        (but(OPEN, place="school"), {"school", "household jar"}),
        (but(OPEN, measured="methane volume"), {"caustic"}),
    ],
)
def test_cautions_follow_what_is_planned(plan_request: PlanRequest, ids: set[str]) -> None:
    plan = plan_trial(plan_request, LITERATURE)
    found = {c.id for c in plan.cautions}
    assert ids <= found
    assert plan.cautions == cautions_for(hazards_of(plan.draft))
    assert ("household jar" in found) == (plan_request.vessel == "household jar")
    assert ("caustic" in found) == (plan_request.measured == "methane volume")
    assert ("closed glass" in found) == (plan_request.outlet == "closed")


def test_measured_solids_need_no_oven() -> None:
    plan = plan_trial(but(OPEN, materials=(INOCULUM, SCRAPS)), LITERATURE)
    assert "oven and furnace" not in {c.id for c in plan.cautions}


@pytest.mark.parametrize(
    ("changes", "line"),
    [
        ({}, "goat bedding: inoculum to substrate 2; for slow feeds down to 1 is advised"),
        ({}, "scraps: inoculum to substrate 2; for fast feeds up to 4 is advised"),
        ({}, "a cylinder or bag of 5000 mL a jar holds the gas of every interval"),
        ({"collector_mL": 3000.0}, "the collector of 3000 mL holds the gas of every interval"),
        ({"control": False}, "no control: whether the inoculum is sound"),
        ({"days": 20}, "20 days may be too short"),
        ({"inoculum_to_substrate": 0.5}, "lies outside the advised 1 to 4"),
        ({"fill": 0.12}, "mL per g VS is much"),
        ({"fill": 0.7}, "mL per g VS is little"),
        ({"jars_per_material": 4}, "4 jars of each feed"),
    ],
)
def test_watch(changes: dict[str, object], line: str) -> None:
    assert line in " ".join(plan_trial(but(OPEN, **changes), LITERATURE).watch)


def test_watch_closed_states_hours_and_rating() -> None:
    watch = " ".join(plan_trial(CLOSED, LITERATURE).watch)
    assert "no jar passes 150 kPa gauge" in watch
    assert "more than the cautious 100 kPa" in watch
    assert "the vessel is rated 300 kPa" in watch
    assert "reaches 150 kPa after 12 h" in watch


def test_feed_with_no_literature_is_said() -> None:
    feed = MaterialRequest(Material("moon dust", "substrate", VS=0.5))
    plan = plan_trial(but(OPEN, materials=(INOCULUM, feed, BEDDING)), LITERATURE)
    assert "moon dust: no literature feed named, so its rate is unknown" in plan.watch
    assert any("unknown feed (moon dust)" in line for line in plan.assumed)


def test_files_are_written_together(tmp_path: Path) -> None:
    plan = plan_trial(OPEN, LITERATURE)
    write_plan(plan, tmp_path)
    assert {p.name for p in tmp_path.iterdir()} == set(PLAN_FILES)
    assert json.loads((tmp_path / "plan.json").read_text("utf-8")) == to_dict(plan)
