"""Set-ups printed in Standard BMP Methods documents 303 (2023) and 304 v2.3, table of bottles."""

from __future__ import annotations

import csv
from pathlib import Path

import pytest

from bmp.plan.dosing import LEAST_HEADSPACE_ML_PER_G_VS
from bmp.plan.draft import make_draft
from bmp.plan.literature import read_literature
from bmp.plan.plan import plan_trial
from bmp.plan.plan_request import MaterialRequest, PlanRequest
from bmp.plan.possible import refusals
from bmp.plan.refusal import PlanRefused
from bmp.trial import Material

TABLE = Path(__file__).parents[2] / "reference_data" / "planning_recipes" / "recipes.csv"
ROWS = {row["column"]: row for row in csv.DictReader(TABLE.read_text("utf-8").splitlines())}


def half_digit(printed: str) -> float:
    """Half a unit of the last printed digit."""
    decimals = len(printed.partition(".")[2])
    return 0.5 * 10.0**-decimals


def published_request(row: dict[str, str], **changes: object) -> PlanRequest:
    inoculum = Material("inoculum", "inoculum", VS=float(row["inoculum_VS_percent"]) / 100)
    cellulose = Material("cellulose", "control", VS=float(row["substrate_VS_percent"]) / 100)
    feed = Material("feed", "substrate", VS=float(row["substrate_VS_percent"]) / 100)
    request: dict[str, object] = {
        "materials": (
            MaterialRequest(inoculum),
            MaterialRequest(cellulose),
            MaterialRequest(feed, like="microcrystalline cellulose"),
        ),
        "jar_volume_mL": float(row["bottle_mL"]),
        "inoculum_to_substrate": float(row["ratio"]),
        "substrate_VS_g": float(row["substrate_VS_g"]),
        "vessel": "rated bottle",
        "vessel_rating_kPa": 400.0,
        "outlet": "closed",
        "measured": "mass",
    }
    return PlanRequest(**(request | changes))  # type: ignore[arg-type]


@pytest.mark.parametrize("column", ["A", "B", "C"])
def test_published_bottle(column: str) -> None:
    row = ROWS[column]
    dose = make_draft(published_request(row), read_literature()).doses[2]
    found = {
        "substrate_VS_g": dose.sample_VS_g,
        "inoculum_g": dose.inoculum_g,
        "substrate_g": dose.sample_g,
        "mixture_g": dose.inoculum_g + dose.sample_g + dose.water_g,
        "headspace_mL": dose.headspace_mL,
        "headspace_mL_per_gVS": dose.headspace_mL / dose.sample_VS_g,
    }
    # Beyond the printed digits only what weighing feed to 0.01 g moves.
    for name, value in found.items():
        if name == row["slip"]:
            continue
        assert value == pytest.approx(float(row[name]), abs=half_digit(row[name]) + 0.01), name


def test_slip_in_column_B() -> None:
    """Column B prints 101 g of inoculum where its own figures give 2 x 1.0 g / 2.0 % = 100 g."""
    row = ROWS["B"]
    assert row["slip"] == "inoculum_g"
    dose = make_draft(published_request(row), read_literature()).doses[2]
    assert dose.inoculum_g == 100.0
    assert float(row["inoculum_g"]) == 101.0
    # With 101 g the printed mixture of 101 g would have no room for its feed.
    assert float(row["inoculum_g"]) + float(row["substrate_g"]) > float(row["mixture_g"])


def test_column_C_is_impossible_below_the_printed_inoculum() -> None:
    """Note under the table: impossible below 3.4 % of inoculum VS, at 100 mL headspace per g VS."""
    row = ROWS["C"]

    def largest(inoculum_VS: float) -> float:
        mixture_g_per_gVS = 2.0 / inoculum_VS + 1 / 0.99
        return 160.0 / (LEAST_HEADSPACE_ML_PER_G_VS + mixture_g_per_gVS)

    assert largest(0.0340) >= 1.0 > largest(0.0338)
    printed = published_request(row | {"inoculum_VS_percent": "3.4"})
    assert all(r.item != "headspace" for r in refusals(printed, read_literature()))
    with pytest.raises(PlanRefused) as refused:
        plan_trial(published_request(row | {"inoculum_VS_percent": "3.3"}), read_literature())
    assert refused.value.refusals[0].item == "headspace"


def test_small_bottles_are_refused_for_their_gas() -> None:
    """Columns B and C leave 149 and 109 mL a g VS: too little for 60 % of the gas in a day."""
    plan_trial(published_request(ROWS["A"]), read_literature())
    for column in ("B", "C"):
        with pytest.raises(PlanRefused) as refused:
            plan_trial(published_request(ROWS[column]), read_literature())
        assert refused.value.refusals[0].item == "vessel rating"
        assert refused.value.nearest is not None


def test_half_filled_bottle_needs_no_stated_VS() -> None:
    """The same bottle by its filling: 152 g of 520 mL, the printed mixture of column A."""
    row = ROWS["A"]
    request = published_request(row, substrate_VS_g=None, fill=float(row["mixture_g"]) / 520)
    dose = next(j.dose for j in plan_trial(request, read_literature()).jars if j.name == "D1")
    assert dose.sample_VS_g == pytest.approx(1.50, abs=0.01)
    assert dose.inoculum_g == pytest.approx(150, abs=0.6)
