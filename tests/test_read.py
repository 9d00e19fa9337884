"""What people hand in: workbooks and CSV folders, tidy and not."""

from __future__ import annotations

import shutil
from datetime import datetime, timedelta
from pathlib import Path

import numpy as np
import openpyxl
import pytest

from bmp.problem import UnusableInput
from bmp.read import read_trial
from bmp.read.columns import nearest_name, one_of
from bmp.read.reader import read_with_problems
from bmp.trial import Trial
from tests.tables import JARS, LONG, MATERIALS, TRIAL, tables, with_item, write_csv, write_xlsx

WIDE = [
    ["time [d]", "N1 [mL]", "N2 [mL]", "A1 [mL]", "A2 [mL]"],
    [1, 50, 52, 500, 520],
    [3, 40, 42, 700, 720],
    [7, 30, 31, 400, 410],
    [14, 20, 20, 200, 190],
]


def same_readings(a: Trial, b: Trial) -> bool:
    return (
        np.array_equal(a.readings.jar, b.readings.jar)
        and np.allclose(a.readings.time_d, b.readings.time_d)
        and np.allclose(a.readings.column("volume_mL"), b.readings.column("volume_mL"))
    )


def problems(tmp_path: Path, **changed) -> list[str]:
    with pytest.raises(UnusableInput) as caught:
        read_trial(write_csv(tmp_path / "t", tables(**changed)))
    return [str(problem) for problem in caught.value.problems]


def test_a_workbook_and_a_folder_read_the_same(tmp_path: Path) -> None:
    folder = read_trial(write_csv(tmp_path / "t", tables()))
    book = read_trial(write_xlsx(tmp_path / "t.xlsx", tables()))
    assert same_readings(folder, book)
    assert folder.setup == book.setup
    assert folder.jars == book.jars
    assert folder.materials == book.materials


def test_long_and_wide_read_the_same(tmp_path: Path) -> None:
    long = read_trial(write_csv(tmp_path / "a", tables()))
    wide = read_trial(write_csv(tmp_path / "b", tables(readings=WIDE)))
    assert same_readings(long, wide)


def test_dates_and_elapsed_time_read_the_same(tmp_path: Path) -> None:
    start = datetime(2027, 3, 1, 8)
    dated = [["jar", "taken", "volume [mL]"]]
    dated += [[jar, start + timedelta(days=day), volume] for jar, day, volume in LONG[1:]]
    by_time = read_trial(write_csv(tmp_path / "a", tables()))
    assert same_readings(
        by_time, read_trial(write_xlsx(tmp_path / "b.xlsx", tables(readings=dated)))
    )
    as_text = [dated[0], *[[jar, taken.isoformat(), volume] for jar, taken, volume in dated[1:]]]
    assert same_readings(by_time, read_trial(write_csv(tmp_path / "c", tables(readings=as_text))))


def test_headers_match_by_any_case_order_and_spaces(tmp_path: Path) -> None:
    shuffled = [[row[2], row[0], row[1]] for row in LONG]
    shuffled[0] = [" Volume  [ml] ", "JAR", "Time [D]"]
    assert same_readings(
        read_trial(write_csv(tmp_path / "a", tables())),
        read_trial(write_csv(tmp_path / "b", tables(readings=shuffled))),
    )


def test_units_of_many_kinds_in_one_trial(tmp_path: Path) -> None:
    trial = with_item("gas temperature [°F]", 68)
    trial = with_item("ambient [inHg]", 100 / 3.386388640341, trial)
    jars = [["jar", "material", "inoculum [oz]", "sample [g]", "headspace [L]"]]
    jars += [[j, m, i / 28.349523125, s, h / 1000] for j, m, i, s, h in JARS[1:]]
    readings = [["jar", "time [h]", "volume [floz]"]]
    readings += [[jar, 24 * day, volume / 29.5735295625] for jar, day, volume in LONG[1:]]
    plain = read_trial(write_csv(tmp_path / "a", tables()))
    mixed = read_trial(write_csv(tmp_path / "b", tables(trial=trial, jars=jars, readings=readings)))
    assert same_readings(plain, mixed)
    assert mixed.setup.gas_temperature_C == pytest.approx(20.0)
    assert mixed.setup.ambient_kPa == pytest.approx(100.0)
    assert mixed.jars[0].inoculum_g == pytest.approx(400.0)
    assert mixed.jars[0].headspace_mL == pytest.approx(500.0)


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "cp1252"])
def test_encodings(tmp_path: Path, encoding: str) -> None:
    folder = write_csv(tmp_path / "t", tables(trial=with_item("title", "Müller's Jäger-Schüssel")))
    text = (folder / "trial.csv").read_text(encoding="utf-8")
    (folder / "trial.csv").write_text(text, encoding=encoding)
    assert read_trial(folder).setup.title == "Müller's Jäger-Schüssel"
    assert read_trial(folder).setup.gas_temperature_C == 20.0


def test_decimal_commas_where_cells_are_split_by_semicolons(tmp_path: Path) -> None:
    readings = [[str(cell).replace(".", ",") for cell in row] for row in LONG]
    readings[1][2] = "50,25"
    folder = write_csv(tmp_path / "t", tables(readings=readings), separator=";")
    assert read_trial(folder).readings.column("volume_mL").max() == 720.0
    assert 50.25 in read_trial(folder).readings.column("volume_mL")


def test_an_ambiguous_number_is_refused(tmp_path: Path) -> None:
    readings = [list(row) for row in LONG]
    readings[1][2] = "1,500"
    assert problems(tmp_path, readings=readings) == [
        "readings.csv, row 2, column “volume [mL]”: “1,500” is not a number that can be read; "
        "this can mean thousands or a decimal comma: write it with a point or none"
    ]


def test_every_problem_is_told_at_once(tmp_path: Path) -> None:
    readings = [list(row) for row in LONG]
    readings[2][2] = "about 40"
    readings[5][0] = "Z9"
    jars = [list(row) for row in JARS]
    jars[3][1] = "barley"
    told = problems(tmp_path, readings=readings, jars=jars, trial=with_item("gas", "damp"))
    assert len(told) == 4
    assert told[0] == "trial.csv, row 11: “damp” stands for “gas”; write one of: wet, dry"
    assert told[1] == (
        "jars.csv, row 4, column “material”: “barley” is not among the materials; "
        "write one of: digestate, oats"
    )
    assert told[2:] == problems(tmp_path, readings=readings)
    assert told[2:] == [
        "readings.csv, row 6, column “jar”: “Z9” is not among the jars; "
        "write a jar of the table jars",
        "readings.csv, row 3, column “volume [mL]”: “about 40” is not a number that can be read; "
        "write a number alone (the unit goes into the header), or leave the cell empty",
    ]


def test_no_unit_is_guessed(tmp_path: Path) -> None:
    readings = [["jar", "time [d]", "volume"], *LONG[1:]]
    assert problems(tmp_path, readings=readings)[0] == (
        "readings.csv, row 1, column “volume”: there is no unit; write the unit that your "
        "figures are in, such as “volume [mL]”: mL, L, cm³, floz"
    )
    readings[0][2] = "volume [kPa]"
    assert "“kPa” measures a pressure, not a volume" in problems(tmp_path, readings=readings)[0]
    readings[0][2] = "volume [NmL]"
    assert "not a reading" in problems(tmp_path, readings=readings)[0]


def test_VS_must_say_of_what(tmp_path: Path) -> None:
    materials = [["material", "role", "TS [% of fresh mass]", "VS [%]"], *MATERIALS[1:]]
    assert problems(tmp_path, materials=materials)[0] == (
        "materials.csv, row 1, column “VS [%]”: the unit [%] does not say of what; write the "
        "unit that your figures are in, such as “VS [% of fresh mass]”: %, fraction, g/kg"
    )


def test_VS_of_TS_becomes_VS_of_fresh_mass(tmp_path: Path) -> None:
    materials = [
        ["material", "role", "TS [g/kg]", "VS [% of TS]", "VS uncertainty [% of TS]"],
        ["digestate", "inoculum", 30, 66, None],
        ["oats", "substrate", 900, 90, 1],
    ]
    oats = read_trial(write_csv(tmp_path / "t", tables(materials=materials))).material("oats")
    assert pytest.approx(0.81) == oats.VS
    assert oats.VS_u == pytest.approx(0.009)


def test_more_VS_than_TS_is_refused(tmp_path: Path) -> None:
    materials = [list(row) for row in MATERIALS]
    materials[2] = ["oats", "substrate", 80, 90]
    assert (
        "VS (90 % of fresh mass) is more than TS (80 %)"
        in problems(tmp_path, materials=materials)[0]
    )


def test_an_unknown_column_is_ignored_with_a_hint(tmp_path: Path) -> None:
    readings = [
        ["jar", "time [d]", "volume [mL]", "temprature [°C]"],
        *[[*r, 20] for r in LONG[1:]],
    ]
    trial = read_trial(write_csv(tmp_path / "t", tables(readings=readings)))
    assert trial.ignored == (
        "readings.csv: the column “temprature [°C]” is not known and not used "
        "(did you mean “temperature”?)",
    )


def test_the_same_jar_and_time_twice(tmp_path: Path) -> None:
    told = problems(tmp_path, readings=[*LONG, ["N1", 3, 41]])
    assert told == [
        "readings.csv, row 18: jar “N1” has a reading at this time in row 3 already; keep one"
    ]


def test_no_blank_is_an_error_unless_said(tmp_path: Path) -> None:
    jars = [JARS[0], *JARS[3:]]
    readings = [LONG[0], *LONG[9:]]
    assert (
        "there is no blank of the inoculum “digestate”"
        in problems(tmp_path, jars=jars, readings=readings)[0]
    )
    gross = tables(jars=jars, readings=readings, trial=with_item("blank", "none"))
    assert not read_trial(write_csv(tmp_path / "g", gross)).setup.blank


def test_what_a_volume_needs(tmp_path: Path) -> None:
    told = problems(tmp_path, trial=with_item("ambient [kPa]", None))
    assert told == [
        "readings.csv, row 2: no air pressure (and 15 more readings); fill in “ambient [kPa]”, or "
        "add an item “ambient [kPa]” or “altitude [m]” to the table trial"
    ]
    told = problems(tmp_path, trial=with_item("gas temperature [°C]", None))
    assert "no temperature of the gas (and 15 more readings)" in told[0]
    told = problems(
        tmp_path, trial=with_item("methane [%]", None, with_item("methane uncertainty [%]", None))
    )
    assert "no methane share of the gas (and 15 more readings)" in told[0]


def test_altitude_stands_in_for_a_barometer(tmp_path: Path) -> None:
    high = with_item("altitude [m]", 1000, with_item("ambient [kPa]", None))
    trial = read_trial(write_csv(tmp_path / "t", tables(trial=high)))
    assert trial.setup.ambient_kPa == pytest.approx(89.87, abs=0.01)
    assert any("No barometer" in sentence and "1000 m" in sentence for sentence in trial.assumed)
    sea = with_item("altitude [m]", 1000, with_item("ambient is", "sea level"))
    trial = read_trial(write_csv(tmp_path / "s", tables(trial=sea)))
    assert trial.setup.ambient_kPa == pytest.approx(100 * 89.8746 / 101.325, abs=0.01)
    assert any("given for sea level" in sentence for sentence in trial.assumed)


def test_sea_level_pressure_without_altitude_is_refused(tmp_path: Path) -> None:
    assert (
        "no altitude is given" in problems(tmp_path, trial=with_item("ambient is", "sea level"))[0]
    )


def test_a_typed_share_beside_scrubbed_gas_is_refused(tmp_path: Path) -> None:
    told = problems(tmp_path, trial=with_item("measured", "methane volume"))
    assert "the item “methane” does not go with measured = methane volume" in told[0]
    assert "methane already" in told[0]


def test_carbon_dioxide_in_the_flush_gas(tmp_path: Path) -> None:
    trial = with_item("flush gas", "70 % N2 + 30 % CO2")
    assert "the flush gas holds carbon dioxide" in problems(tmp_path, trial=trial)[0]
    trial = with_item("composition basis", "as measured", trial)
    assert "no methane share of all dry gas" in problems(tmp_path, trial=trial)[0]
    readings = [[*LONG[0], "methane [%]"], *[[*row, 55] for row in LONG[1:]]]
    content = tables(trial=trial, readings=readings)
    flush = read_trial(write_csv(tmp_path / "b", content)).setup.flush_gas
    assert flush == {"N2": pytest.approx(0.7), "CO2": pytest.approx(0.3)}


def test_shares_in_text_with_a_decimal_comma(tmp_path: Path) -> None:
    materials = [[*MATERIALS[0], "mixture"], *([*row, None] for row in MATERIALS[1:])]
    materials += [["bran", "substrate", 88, 80, None]]
    materials += [["mash", "substrate", 89, 80, "62,5 % oats + 37.5 % bran"]]
    trial = with_item("flush gas", "69,5 % N2 + 30,5 % Ar")
    found = read_trial(write_csv(tmp_path / "t", tables(trial=trial, materials=materials), ";"))
    assert found.setup.flush_gas == {"N2": pytest.approx(0.695), "Ar": pytest.approx(0.305)}
    assert found.material("mash").mixture == {"oats": 0.625, "bran": 0.375}


def test_a_formula_that_was_never_calculated(tmp_path: Path) -> None:
    path = write_xlsx(tmp_path / "t.xlsx", tables())
    book = openpyxl.load_workbook(path)
    book["readings"]["C3"] = "=40+2"
    book.save(path)
    with pytest.raises(UnusableInput) as caught:
        read_trial(path)
    assert "sheet readings: the formula in “C3” has no calculated value" in str(caught.value)


def test_numbers_as_names_of_jars(tmp_path: Path) -> None:
    jars = [JARS[0], *[[n, *row[1:]] for n, row in enumerate(JARS[1:], 1)]]
    names = {"N1": 1, "N2": 2, "A1": 3, "A2": 4}
    readings = [LONG[0], *[[names[jar], day, volume] for jar, day, volume in LONG[1:]]]
    trial = read_trial(write_xlsx(tmp_path / "t.xlsx", tables(jars=jars, readings=readings)))
    assert [jar.name for jar in trial.jars] == ["1", "2", "3", "4"]


@pytest.mark.parametrize(
    ("name", "content", "words"),
    [
        ("t.xlsx", b"not a workbook", "this is no .xlsx workbook"),
        ("t.xlsx", b"PK\x03\x04" + bytes(200), "this is no .xlsx workbook"),
        ("t.docx", b"", "this is neither a folder nor an .xlsx file"),
    ],
)
def test_files_that_are_no_trial(tmp_path: Path, name: str, content: bytes, words: str) -> None:
    path = tmp_path / name
    path.write_bytes(content)
    with pytest.raises(UnusableInput, match=words):
        read_trial(path)
    with pytest.raises(UnusableInput, match="there is no such file"):
        read_trial(tmp_path / "missing.xlsx")
    (tmp_path / "empty").mkdir()
    with pytest.raises(UnusableInput, match=r"holds no \.csv file"):
        read_trial(tmp_path / "empty")


def test_missing_tables_are_named(tmp_path: Path) -> None:
    content = tables()
    del content["jars"]
    with pytest.raises(UnusableInput, match="there is no table “jars”"):
        read_trial(write_csv(tmp_path / "t", content))


def test_not_vented_is_a_word_among_numbers(tmp_path: Path) -> None:
    readings = [
        ["jar", "time [d]", "gauge before [kPa]", "gauge after [kPa]"],
        *[[jar, day, 20, "not vented" if day == 3 else None] for jar, day, _ in LONG[1:]],
    ]
    trial = read_trial(
        write_csv(
            tmp_path / "t", tables(readings=readings, trial=with_item("measured", "pressure"))
        )
    )
    assert trial.readings.not_vented.sum() == 4
    assert set(trial.readings.time_d[trial.readings.not_vented]) == {3.0}


def test_the_real_layouts_of_TRIAL_hold(tmp_path: Path) -> None:
    assert TRIAL[0] == ["item", "value"]
    wrong = [["name", "value"], *TRIAL[1:]]
    assert "the first row must read: item, value" in problems(tmp_path, trial=wrong)[0]


def test_a_methane_share_of_one_series_is_none_of_another(tmp_path: Path) -> None:
    demo = Path(__file__).parents[1] / "examples" / "cheese_dairy"
    shutil.copytree(demo, tmp_path / "demo")
    path = tmp_path / "demo" / "readings.csv"
    lines = path.read_text(encoding="utf-8").splitlines()
    lines = [
        line.rpartition(",")[0] + "," if line.startswith(("W1,", "W2,", "W3,")) else line
        for line in lines
    ]
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    with pytest.raises(UnusableInput) as told:
        read_trial(tmp_path / "demo")
    (problem,) = told.value.problems
    assert problem.what == "no methane share of the gas of “whey” (and 86 more readings)"


def test_readings_that_are_only_a_header_are_no_reading_yet(tmp_path: Path) -> None:
    demo = Path(__file__).parents[1] / "examples" / "cheese_dairy"
    shutil.copytree(demo, tmp_path / "demo")
    path = tmp_path / "demo" / "readings.csv"
    path.write_text(path.read_text(encoding="utf-8").splitlines()[0] + "\n", encoding="utf-8")
    assert read_trial(tmp_path / "demo", unfinished=True).readings.time_d.size == 0
    with pytest.raises(UnusableInput) as told:
        read_trial(tmp_path / "demo")
    assert told.value.problems[0].what == "jar “N1” has no reading"


def test_a_water_head_of_the_wide_layout_holds_for_all_jars(tmp_path: Path) -> None:
    heads = ("water head [mm]", 50, 60, 70, 80)
    wide = [[*row, head] for row, head in zip(WIDE, heads, strict=True)]
    trial = read_trial(write_csv(tmp_path / "t", tables(readings=wide)))
    assert trial.ignored == ()
    assert trial.readings.column("water_head_cm").tolist() == [5, 6, 7, 8] * 4


def test_a_column_of_the_long_layout_is_not_called_unknown(tmp_path: Path) -> None:
    wide = [
        [*row, *more]
        for row, more in zip(WIDE, [["emptied", "note"], *[["yes", "x"]] * 4], strict=True)
    ]
    trial = read_trial(write_csv(tmp_path / "t", tables(readings=wide)))
    assert trial.ignored == tuple(
        f"readings.csv: the column “{name}” is used only in the layout with a row for each reading"
        for name in ("emptied", "note")
    )


@pytest.mark.parametrize(
    ("column", "wanted"),
    [
        ("volume [fluid onces]", "did you mean [floz]? If not, write the unit that your figures"),
        ("volume [smoots]", "write the unit that your figures are in, such as “volume [mL]”: mL"),
        ("ambient [psig]", "“psig” is a pressure above the air outside, and “ambient” is not"),
        ("gauge before [psia]", "“psia” is an absolute pressure, and “gauge before” is not"),
    ],
)
def test_an_unknown_unit_is_asked_back_and_never_swapped(
    column: str, wanted: str, tmp_path: Path
) -> None:
    readings = [[*LONG[0], column], *[[*row, 1] for row in LONG[1:]]]
    if column.startswith("volume"):
        readings = [[*LONG[0][:2], column], *LONG[1:]]
    told = problems(tmp_path, readings=readings)
    assert any(wanted in line for line in told), told
    assert not any("write it as" in line for line in told)


@pytest.mark.parametrize(
    ("column", "cell", "field", "kPa"),
    [
        ("gauge before [psig]", 10, "gauge_before_kPa", 68.94757),
        ("gauge before [kPa (gauge)]", 10, "gauge_before_kPa", 10),
        ("absolute before [bar abs]", 1.1, "absolute_before_kPa", 110),
        ("ambient [psia]", 14.5, "ambient_kPa", 99.97398),
        ("ambient [inches of mercury]", 29.9213, "ambient_kPa", 101.325),
    ],
)
def test_a_pressure_may_say_what_its_column_says(
    column: str, cell: float, field: str, kPa: float, tmp_path: Path
) -> None:
    readings = [[*LONG[0], column], *[[*row, cell] for row in LONG[1:]]]
    trial = read_trial(write_csv(tmp_path / "t", tables(readings=readings)))
    assert trial.readings.column(field) == pytest.approx(kPa, rel=1e-5)


def test_titles_above_the_header_are_passed_over(tmp_path: Path) -> None:
    titles = [["Our readings", None, None], ["spring 2027", None, None]]
    for write, name in ((write_csv, "t"), (write_xlsx, "t.xlsx")):
        place = write(tmp_path / name, tables(readings=[*titles, *LONG]))
        readings = read_trial(place).readings
        assert readings.jar.size == len(LONG) - 1
        assert readings.row.min() == 4


def test_units_in_round_brackets_are_units(tmp_path: Path) -> None:
    header = [text.replace("[", "(").replace("]", ")") for text in LONG[0]]
    trial = [[row[0].replace("[", "(").replace("]", ")"), row[1]] for row in TRIAL]
    content = tables(trial=trial, readings=[header, *LONG[1:]])
    readings = read_trial(write_csv(tmp_path / "t", content)).readings
    assert readings.column("volume_mL").max() == 720


def test_a_counter_set_back_in_a_column_for_each_jar(tmp_path: Path) -> None:
    names = [row[0] for row in JARS[1:]]
    header = ["time [d]", *(f"{n} [mL]" for n in names), f"{names[0]} emptied"]
    first, second = [1, *(500 for _ in names), None], [3, 20, *(900 for _ in names[1:]), "yes"]
    rows = [header, first, second]
    content = tables(trial=with_item("readings are", "cumulative"), readings=rows)
    readings = read_trial(write_csv(tmp_path / "t", content)).readings
    assert readings.emptied[readings.jar == 0].tolist() == [False, True]


def test_a_workbook_of_other_sheets_names_them(tmp_path: Path) -> None:
    book = write_xlsx(tmp_path / "t.xlsx", {"Trail": LONG, "Sheet1": LONG})
    with pytest.raises(
        UnusableInput,
        match=r"there is “Trail”, “Sheet1”.*type  bmp start “t\.xlsx”",
    ):
        read_trial(book)


@pytest.mark.parametrize(
    ("text", "names", "near"),
    [
        ("n1x", ("N1", "N2", "A1"), "N1"),
        ("1", ("01", "02", "10", "11"), "01"),
        ("N-01", ("N1", "N11"), "N1"),
        ("scrap", ("Scraps", "Clippings"), "Scraps"),
        ("N3", ("N1", "N2"), None),
        ("Z9", ("N1", "A1"), None),
        ("", ("N1",), None),
    ],
)
def test_the_nearest_name(text: str, names: tuple[str, ...], near: str | None) -> None:
    assert nearest_name(text, names) == near


def test_the_nearest_jar_is_named(tmp_path: Path) -> None:
    told = problems(tmp_path, readings=[LONG[0], ["A 01", 1, 500], *LONG[2:]])
    assert told == [
        "readings.csv, row 2, column “jar”: “A 01” is not among the jars; "
        "write a jar of the table jars: did you mean “A1”?"
    ]


def test_a_formula_on_a_sheet_that_is_not_read_matters_to_nobody(tmp_path: Path) -> None:
    path = write_xlsx(tmp_path / "t.xlsx", tables())
    book = openpyxl.load_workbook(path)
    book.create_sheet("my sums & notes")["A1"] = "=1+2"
    book.save(path)
    assert read_trial(path).jars
    book["materials"]["C2"] = "=1+2"
    book.save(path)
    told = problems_of(path)
    assert told[0].startswith("sheet materials: the formula in “C2” has no calculated value; ")


def problems_of(place: Path) -> list[str]:
    with pytest.raises(UnusableInput) as unusable:
        read_trial(place)
    return [str(problem) for problem in unusable.value.problems]


def test_a_column_that_lacks_is_called_as_it_would_be_written(tmp_path: Path) -> None:
    jars = [row[:-1] for row in JARS]
    told = problems(tmp_path, jars=jars, trial=with_item("measured", "pressure"))
    assert told[0].startswith("jars.csv, row 2, column “headspace [mL]”: jar “N1” has no headspace")


def test_blanks_that_are_all_left_out_are_not_called_missing(tmp_path: Path) -> None:
    marks = ("leave out", "broken", "broken", None, None)
    jars = [[*row, mark] for row, mark in zip(JARS, marks, strict=True)]
    (told,) = problems(tmp_path, jars=jars)
    assert told.startswith("jars.csv: every blank of the inoculum “digestate” is left out; ")


def test_a_jar_twice_is_told_though_its_first_row_is_wrong(tmp_path: Path) -> None:
    jars = [*JARS[:3], ["A1", "barley", 400, 5, 500], *JARS[3:]]
    told = problems(tmp_path, jars=jars)
    assert [line.split(";")[0] for line in told] == [
        "jars.csv, row 4, column “material”: “barley” is not among the materials",
        "jars.csv, row 5, column “jar”: jar “A1” stands twice",
    ]


def test_nothing_to_choose_from_is_not_offered() -> None:
    assert one_of([]) == "add it to the table materials"
    assert one_of(["oats", "rye"]) == "write one of: oats, rye"
    assert one_of([str(n) for n in range(9)]).endswith("6, 7 … (9 in all)")


def test_pressures_with_columns_for_each_jar(tmp_path: Path) -> None:
    names = [row[0] for row in JARS[1:]]
    header = ["time [d]", *(f"{n} gauge before [psig]" for n in names)]
    header.append(f"{names[0]} gauge after [psi]")
    rows = [header, [1, *(3.0 for _ in names), "not vented"], [3, *(2.0 for _ in names), 0.1]]
    content = tables(trial=with_item("measured", "pressure"), readings=rows)
    found = read_with_problems(write_csv(tmp_path / "t", content), unfinished=True)[0].readings
    first = found.jar == 0
    assert found.column("gauge_before_kPa")[first] == pytest.approx([20.684, 13.790], abs=1e-3)
    assert found.column("gauge_after_kPa")[first][1] == pytest.approx(0.6895, abs=1e-4)
    assert found.not_vented[first].tolist() == [True, False]
    assert not found.not_vented[~first].any()


def test_a_column_of_a_jar_that_does_not_say_which_pressure(tmp_path: Path) -> None:
    names = [row[0] for row in JARS[1:]]
    rows = [["time [d]", *(f"{n} [kPa]" for n in names)], [1, *(3.0 for _ in names)]]
    told = problems(tmp_path, trial=with_item("measured", "pressure"), readings=rows)
    assert f"write “{names[0]} gauge before [kPa]”" in told[0] + told[1]


def test_a_jar_that_names_nothing_is_told(tmp_path: Path) -> None:
    """Without an inoculum an empty material is no blank; such a jar must not vanish."""
    jars = [JARS[0], ["A1", "oats", 0, 5, 500], ["A2", None, 0, 5, 500]]
    readings = [row for row in LONG if row[0] not in ("N1", "N2")]
    trial = with_item("blank", "none", with_item("measured", "net yield"))
    folder = write_csv(
        tmp_path / "trial",
        tables(trial=trial, materials=[MATERIALS[0], MATERIALS[2]], jars=jars, readings=readings),
    )
    with pytest.raises(UnusableInput) as told:
        read_trial(folder)
    assert (
        "jars.csv, row 3, column “material”: jar “A2” does not say what is in it; name its material"
        in [str(problem) for problem in told.value.problems]
    )


def test_a_pH_that_cannot_be_is_refused(tmp_path: Path) -> None:
    header, first, *rest = MATERIALS
    sheets = tables(materials=[[*header, "pH"], [*first, 71], *([*row, 7.1] for row in rest)])
    with pytest.raises(UnusableInput) as refused:
        read_trial(write_csv(tmp_path / "trial", sheets))
    (problem,) = refused.value.problems
    assert "a pH of 71 cannot be" in problem.what
    assert problem.wanted == "it lies between 0 and 14"
