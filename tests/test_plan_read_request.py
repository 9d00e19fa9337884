from __future__ import annotations

from datetime import datetime
from pathlib import Path
from typing import Any

import pytest

from bmp.atmosphere import standard_atmosphere_kPa
from bmp.plan.read_request import changed_words, read_request
from bmp.problem import UnusableInput
from tests.plan_requests import BEDDING, INOCULUM, OPEN, but
from tests.tables import Rows, with_item, write_csv, write_xlsx

MATERIALS: Rows = [
    ["material", "role", "TS [% of fresh mass]", "VS [% of TS]", "like", "available [kg]",
     "inoculum to substrate"],
    ["tank digestate", "inoculum", 3.5, 60, None, 20, None],
    ["goat bedding", "substrate", None, None, "sheep or goat manure", None, None],
    ["scraps", "substrate", 25, 80, "food waste", 1.5, 3],
]  # fmt: skip
PLAN: Rows = [
    ["item", "value"],
    ["title", "Two feeds"],
    ["started", "2027-03-01 09:00"],
    ["jar volume [L]", 0.52],
    ["fill [%]", 30],
    ["inoculum to substrate", 2],
    ["jars per material", 4],
    ["control", "no"],
    ["days", 30],
    ["vessel", "rated bottle"],
    ["vessel rating [psi]", 43.5],
    ["outlet", "Closed"],
    ["measured", "pressure"],
    ["ambient [mbar]", 950],
    ["incubation temperature [°F]", 98.6],
    ["expected scatter [%]", 5],
    ["place", "laboratory"],
]


def told(folder: Path, **changed: Any) -> list[str]:
    content = {"materials": MATERIALS, "plan": PLAN} | changed
    with pytest.raises(UnusableInput) as unusable:
        read_request(write_csv(folder / "w", content))
    return [str(problem) for problem in unusable.value.problems]


@pytest.mark.parametrize("write", [write_csv, write_xlsx])
def test_units_words_and_columns(write: Any, tmp_path: Path) -> None:
    written = read_request(write(tmp_path / "w.xlsx", {"materials": MATERIALS, "plan": PLAN}))
    plan_request = written.request
    assert written.ignored == ()
    assert plan_request.title == "Two feeds"
    assert plan_request.started == datetime(2027, 3, 1, 9)
    assert plan_request.jar_volume_mL == pytest.approx(520)
    assert plan_request.fill == pytest.approx(0.3)
    assert plan_request.vessel_rating_kPa == pytest.approx(299.9, abs=0.1)
    assert plan_request.ambient_kPa == pytest.approx(95)
    assert plan_request.incubation_temperature_C == pytest.approx(37)
    assert plan_request.expected_rsd == pytest.approx(0.05)
    assert (plan_request.jars_per_material, plan_request.control, plan_request.outlet) == (
        4,
        False,
        "closed",
    )
    inoculum, bedding, scraps = plan_request.materials
    assert pytest.approx(0.021) == inoculum.material.VS
    assert inoculum.available_g == pytest.approx(20_000)
    assert bedding.like == "sheep or goat manure"
    assert scraps.inoculum_to_substrate == 3
    assert scraps.available_g == pytest.approx(1500)


def test_least_requests_take_the_usual_values(tmp_path: Path) -> None:
    plan = [["item", "value"], ["jar volume [mL]", 1000]]
    plan_request = read_request(
        write_csv(tmp_path / "mine", {"materials": MATERIALS, "plan": plan})
    ).request
    assert plan_request.title == "mine"
    assert (plan_request.outlet, plan_request.vessel, plan_request.measured) == (
        "open",
        "household jar",
        "volume",
    )
    assert plan_request.planned_jars == plan_request.planned_blanks == 3
    assert plan_request.planned_control


def test_altitude_gives_the_air_pressure(tmp_path: Path) -> None:
    plan = with_item("altitude [m]", 1500, with_item("ambient", None, PLAN))
    written = read_request(write_csv(tmp_path / "w", {"materials": MATERIALS, "plan": plan}))
    assert written.request.ambient_kPa == pytest.approx(standard_atmosphere_kPa(1500))
    assert written.assumed == ("air pressure 84.6 kPa, standard atmosphere at 1500 m",)


def test_crucibles_give_solids(tmp_path: Path) -> None:
    crucibles = [
        ["material", "empty [g]", "with sample [g]", "after 105 °C [g]", "after 550 °C [g]"],
        ["Goat bedding", 30, 40, 33.0, 30.6],
        ["goat bedding", 30, 40, 33.1, 30.6],
        ["goat bedding", None, None, None, None],
    ]
    content = {"materials": MATERIALS, "plan": PLAN, "crucibles": crucibles}
    written = read_request(write_csv(tmp_path / "w", content))
    bedding = written.request.materials[1].material
    assert pytest.approx(0.305) == bedding.TS
    assert pytest.approx(0.245) == bedding.VS
    assert bedding.VS_u == pytest.approx(0.005)
    assert written.assumed == (
        "TS and VS of goat bedding are those of its 2 crucibles.",
        "goat bedding: 2 of the 3 crucibles that the BMP requirements ask for.",
    )


def test_crucibles_that_cannot_be_are_told_with_their_row(tmp_path: Path) -> None:
    crucibles = [
        ["material", "empty [g]", "with sample [g]", "after 105 °C [g]", "after 550 °C [g]"],
        ["goat bedding", 30, 40, 33.0, 30.6],
        ["goat bedding", 30, 40, 33.2, 34.6],
        ["straw", 30, 40, 33.2, 30.6],
    ]
    assert told(tmp_path, crucibles=crucibles) == [
        "crucibles.csv, row 4, column “material”: “straw” is not among the materials; write one "
        "of: tank digestate, goat bedding, scraps",
        "crucibles.csv, row 3: ignition cannot make it heavier; weigh again or clear the row",
    ]


@pytest.mark.parametrize(
    ("item", "value", "line"),
    [
        ("jar volume", 500, "plan.csv, row 17, column “jar volume”: there is no unit"),
        ("jar volume [kg]", 500, "plan.csv, row 17, column “jar volume [kg]”: “kg” measures "
         "a mass, not a volume"),
        ("jars per material", 2.5, "plan.csv, row 17: “2.5” stands for “jars per material”; "
         "write a whole number"),
        ("outlet", "ajar", "plan.csv, row 17: “ajar” stands for “outlet”; write one of: open, "
         "closed"),
        ("days", "a few", "plan.csv, row 17: “a few” stands for “days”; write a number alone"),
        ("started", "soon", "plan.csv, row 17: “soon” stands for “started”; write the date as "
         "2027-03-31 14:30"),
    ],
)  # fmt: skip
def test_item_that_cannot_be_read(item: str, value: Any, line: str, tmp_path: Path) -> None:
    lines = told(tmp_path, plan=with_item(item, value, PLAN))
    assert lines[0].startswith(line), lines
    assert len(lines) == 1


def test_every_problem_is_told_at_once(tmp_path: Path) -> None:
    materials = [list(row) for row in MATERIALS]
    materials[3][6], materials[1][2] = "many", "wet"
    lines = told(tmp_path, materials=materials, plan=[["item", "value"], ["days", 30]])
    assert [line.split(";")[0] for line in lines] == [
        "materials.csv, row 2, column “TS [% of fresh mass]”: “wet” is not a number that can be "
        "read",
        "materials.csv, row 2, column “VS [% of TS]”: “tank digestate”: VS is given per TS, and "
        "there is no TS",
        "materials.csv, row 4, column “inoculum to substrate”: “many” is not a number that can "
        "be read",
        "plan.csv: there is no jar volume",
    ]


def test_unknown_items_and_columns_are_said(tmp_path: Path) -> None:
    plan = with_item("jar volumes [mL]", 3, PLAN)
    written = read_request(write_csv(tmp_path / "w", {"materials": MATERIALS, "plan": plan}))
    assert written.ignored == (
        "plan.csv: the item “jar volumes [mL]” is not known and not used (did you mean “jar "
        "volume”?)",
    )


def test_missing_table(tmp_path: Path) -> None:
    with pytest.raises(UnusableInput) as unusable:
        read_request(write_csv(tmp_path / "w", {"materials": MATERIALS}))
    assert str(unusable.value) == ("w: there is no table “plan”; add it as a sheet or a .csv file")


def test_changes_in_words() -> None:
    nearest = but(OPEN, fill=0.25, outlet="closed", control=False, materials=(INOCULUM, BEDDING))
    assert changed_words(OPEN, nearest) == ("fill 25 %, control no, outlet closed, without scraps")
