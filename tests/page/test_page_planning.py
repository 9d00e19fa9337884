from __future__ import annotations

import io
import shutil
from pathlib import Path

import pytest
from werkzeug.datastructures import MultiDict

from bmp.page.planning import Impossible, as_workbook, csv_text, lay_tables, new_trial, planned
from bmp.page.questions import QUESTIONS, answered, place_problems, plan_form
from bmp.plan.items import ITEMS
from bmp.plan.literature import read_literature
from bmp.read import read_trial, read_with_problems
from bmp.read.tables import read_tables

DEMO = Path(__file__).parents[2] / "examples" / "cheese_dairy"
ANSWERS = {
    "title": "Kitchen waste (invented)",
    "place": "home",
    "started": "2024-03-01T10:00",
    "vessel": "household jar",
    "outlet": "open",
    "measured": "volume",
    "jar_volume": "1000",
    "collector": "3000",
    "jars": "3",
    "days": "30",
    "temperature": "37,5",
    "altitude": "250",
    "VS_of": "fresh mass",
    "materials-0-material": "digestate",
    "materials-0-role": "inoculum",
    "materials-0-TS": "2,9",
    "materials-0-VS": "1,9",
    "materials-1-material": "peelings",
    "materials-1-role": "substrate",
    "materials-1-TS": "18",
    "materials-1-VS": "16,5",
    "materials-1-like": "food waste",
}


def asked(**changed: str) -> tuple[list[tuple[str, str]], list[list[str]]]:
    return answered(form(**changed))


def form(**changed: str) -> object:
    answers = {**ANSWERS, **{k.replace("__", "-"): v for k, v in changed.items()}}
    return plan_form(MultiDict(answers), read_literature())


def test_answers_become_a_trial_that_the_reader_reads(tmp_path: Path) -> None:
    place = new_trial(tmp_path, *asked())
    assert place.name == "Kitchen-waste-invented"
    assert [p.name for p in tmp_path.iterdir()] == [place.name]
    trial, problems = read_with_problems(place, unfinished=True)
    assert problems == ()
    assert trial.setup.title == "Kitchen waste (invented)"
    assert trial.setup.incubation_temperature_C == 37.5
    assert {jar.role for jar in trial.jars} == {"blank", "control", "substrate"}
    assert len(trial.jars) == 9
    assert trial.unread is not None
    assert trial.unread.jar.size > 0
    plan = planned(place)
    assert plan is not None
    shelf = sorted(plan["jars"], key=lambda jar: jar["position"])
    assert [jar.name for jar in trial.jars] == [jar["jar"] for jar in shelf]
    files = {p.name for p in (place / "plan").iterdir()}
    assert {"logbook.xlsx", "wall-sheet.html", "plan.json", "plan.csv"} <= files


def test_the_page_plans_as_the_command_does(tmp_path: Path) -> None:
    """The request that the page keeps gives the same plan on the terminal."""
    from bmp.cli import main

    place = new_trial(tmp_path, *asked())
    request = tmp_path / "request"
    request.mkdir()
    for name in ("plan.csv", "materials.csv"):
        shutil.copy(place / "plan" / name, request / name)
    assert main(["plan", str(request), "--out", str(tmp_path / "out")]) == 0
    one, other = (p / "plan.json" for p in (place / "plan", tmp_path / "out"))
    assert one.read_text() == other.read_text()


@pytest.mark.parametrize(
    ("changed", "field", "said"),
    [
        ({"days": "many"}, "days", "“many”"),
        ({"days": "3000"}, "days", "right would be 1 to 400"),
        ({"jar_volume": "1,000"}, "jar_volume", "thousands or a decimal comma"),
        ({"outlet": "closed"}, "outlet", "is never closed"),
    ],
)
def test_a_problem_is_said_at_its_question(
    tmp_path: Path, changed: dict[str, str], field: str, said: str
) -> None:
    filled = form(**changed)
    with pytest.raises(Impossible) as told:
        new_trial(tmp_path, *answered(filled))
    left = place_problems(filled, told.value.problems)
    assert said in " ".join(filled[field].errors), left  # type: ignore[index]
    assert list(tmp_path.iterdir()) == []


def test_a_problem_of_a_material_is_said_at_its_field(tmp_path: Path) -> None:
    filled = form(**{"materials__1__VS": "abc"})
    with pytest.raises(Impossible) as told:
        new_trial(tmp_path, *answered(filled))
    assert place_problems(filled, told.value.problems) == []
    assert "“abc”" in filled.materials[1].form.VS.errors[0]  # type: ignore[attr-defined]


def test_the_nearest_possible_plan_can_be_taken(tmp_path: Path) -> None:
    with pytest.raises(Impossible) as told:
        new_trial(tmp_path, *asked(outlet="closed"))
    assert told.value.nearest == "outlet open"
    place = new_trial(tmp_path, *asked(outlet="closed"), take_nearest=True)
    assert not read_trial(place, unfinished=True).setup.closed_between_readings


def test_two_trials_of_one_title_stand_side_by_side(tmp_path: Path) -> None:
    first, second = new_trial(tmp_path, *asked()), new_trial(tmp_path, *asked())
    assert (first.name, second.name) == ("Kitchen-waste-invented", "Kitchen-waste-invented-2")


def test_a_trial_goes_out_as_a_workbook_and_comes_back_the_same(tmp_path: Path) -> None:
    book = tmp_path / "demo.xlsx"
    book.write_bytes(as_workbook(DEMO))
    one, other = read_trial(DEMO), read_trial(book)
    assert one.setup == other.setup
    assert one.materials == other.materials
    assert one.jars == other.jars
    assert one.readings.time_d.tolist() == pytest.approx(other.readings.time_d.tolist(), abs=1e-9)
    for name, values in one.readings.columns.items():
        assert values.tolist() == pytest.approx(
            other.readings.columns[name].tolist(), nan_ok=True, rel=1e-14
        )
    folder = tmp_path / "tables"
    folder.mkdir()
    lay_tables(book, folder)
    again = read_trial(folder)
    assert again.jars == one.jars
    assert again.readings.time_d.tolist() == pytest.approx(one.readings.time_d.tolist(), abs=1e-9)


def test_a_note_that_looks_like_a_formula_stays_a_note(tmp_path: Path) -> None:
    folder = tmp_path / "one"
    shutil.copytree(DEMO, folder)
    text = csv_text([["item", "value"], ["title", "=1+1"]])
    (folder / "trial.csv").write_text(text, encoding="utf-8")
    book = tmp_path / "one.xlsx"
    book.write_bytes(as_workbook(folder))
    import openpyxl

    cell = openpyxl.load_workbook(io.BytesIO(book.read_bytes()))["trial"]["B2"]
    assert (cell.value, cell.data_type) == ("=1+1", "s")
    assert read_tables(book, ("trial",))["trial"].rows == (("title", "=1+1"),)


def test_the_form_asks_for_everything_that_a_plan_knows() -> None:
    asked = {question.item.partition(" [")[0] for question in QUESTIONS}
    assert asked == {known.name for known in ITEMS}
