"""Hostile and hopeless files: a clean refusal, in bounded time and memory, and safe output."""

from __future__ import annotations

import csv
import io
import json
import os
import random
import subprocess
import sys
import time
import warnings
import zipfile
from collections.abc import Callable
from itertools import pairwise
from pathlib import Path

import openpyxl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from bmp.archive.run import run_archive
from bmp.cli import main
from bmp.problem import MOST_PROBLEMS, UnusableInput
from bmp.read import read_trial, read_with_problems
from bmp.units import UnknownUnit, conversion
from tests.fuzz.mutate import broken_input
from tests.fuzz.run import Tally, attempt, one
from tests.tables import JARS, LONG, MATERIALS, archive_of, tables, with_item, write_csv, write_xlsx

FUZZ_SECONDS = 8.0
FIRST_INPUT = 1_000_000
MOST_MB = 1_800
SHEET = (
    '<worksheet xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main"><sheetData>'
    "{}</sheetData></worksheet>"
)


def test_broken_inputs_end_in_a_result_or_a_refusal() -> None:
    tally, start = Tally(), time.process_time()
    for seed in range(FIRST_INPUT, FIRST_INPUT + 2_000):
        attempt(seed, tally)
        if time.process_time() - start > FUZZ_SECONDS:
            break
    assert not tally.errors, "\n".join(tally.errors)
    assert tally.ends["refusal"] > 50
    assert tally.ends["result"] > 10


@pytest.mark.parametrize("seed", [90425, 91304, 92629, 92993, 94477, 96800, 114258])
def test_inputs_that_once_ended_in_an_error(seed: int) -> None:
    tally = Tally()
    attempt(seed, tally)
    assert not tally.errors, "\n".join(tally.errors)


# one run of the shared checks meets the same inputs as the next; elsewhere they are new ones
@settings(max_examples=60, deadline=None, derandomize=bool(os.environ.get("CI")))
@given(rng=st.randoms(use_true_random=False))
def test_no_broken_input_that_hypothesis_finds_ends_otherwise(rng: random.Random) -> None:
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # as the program does for whoever runs it
        assert one(rng) in ("result", "refusal")


def test_an_archive_of_broken_inputs_tells_of_every_one(tmp_path: Path) -> None:
    place, names = tmp_path / "trials", set()
    place.mkdir()
    for seed in range(60):
        made = tmp_path / str(seed)
        made.mkdir()
        path = broken_input(random.Random(FIRST_INPUT + seed), made)
        if path.is_file() or any(path.glob("*.csv")):
            names.add(f"t{seed}")
            path.rename(place / f"t{seed}{path.suffix}")
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        outcome = run_archive(place, tmp_path / "kept")
    assert set(outcome.because) | set(outcome.refused) == names
    assert not set(outcome.because) & set(outcome.refused)
    lines = [line for told in outcome.refused.values() for line in told]
    assert lines
    assert not any("does not know why" in line for line in lines)


# --- bounds --------------------------------------------------------------------------------------


def with_parts(path: Path, **changed: bytes | str) -> Path:
    """Write a sound workbook with some parts replaced; `readings` is the fourth sheet."""
    sound = write_xlsx(path.with_name("sound.xlsx"), tables())
    names = {"readings": "xl/worksheets/sheet4.xml", "texts": "xl/sharedStrings.xml"}
    with zipfile.ZipFile(sound) as old:
        parts: dict[str, bytes | str] = {name: old.read(name) for name in old.namelist()}
    parts |= {names[key]: content for key, content in changed.items()}
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as out:
        for name, content in parts.items():
            out.writestr(name, content)
    return path


def in_a_process_of_its_own(
    place: Path, command: str = "analyze"
) -> tuple[int, list[str], float, float]:
    """Analyse in a process; return exit status, lines said, seconds of work and MB at most."""
    code = (
        "import resource, sys; from bmp.cli import main;"
        f"resource.setrlimit(resource.RLIMIT_AS, ({MOST_MB} * 2**20 * 2, {MOST_MB} * 2**20 * 2));"
        "status = main(sys.argv[1:]); use = resource.getrusage(resource.RUSAGE_SELF);"
        "print(status, use.ru_utime + use.ru_stime, use.ru_maxrss / 1024)"
    )
    done = subprocess.run(
        [sys.executable, "-W", "ignore", "-c", code, command, str(place)],
        capture_output=True, text=True, check=False, timeout=300,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr[-2000:]
    status, seconds, megabytes = done.stdout.split()[-3:]
    return int(status), done.stderr.splitlines(), float(seconds), float(megabytes)


def zip_bomb(path: Path) -> Path:
    return with_parts(path, readings=b"<a>" + b" " * 300_000_000)


def lying_zip_bomb(path: Path) -> Path:
    """A part that says it is small: what the list of contents says is not what is in there."""
    with_parts(path, readings=b" " * 150_000_000)
    raw = bytearray(path.read_bytes())
    raw = raw.replace((150_000_000).to_bytes(4, "little"), (1000).to_bytes(4, "little"))
    path.write_bytes(raw)
    return path


def one_far_cell(path: Path) -> Path:
    rows = '<row r="1"><c r="A1"><v>1</v></c></row><row r="1048576"><c r="XFD1048576"><v>1</v></c>'
    return with_parts(path, readings=SHEET.format(rows + "</row>"))


def a_cell_beyond_all_rows(path: Path) -> Path:
    cell = f'<row r="1"><c r="B1{"9" * 300}"><v>1</v></c></row>'
    return with_parts(path, readings=SHEET.format(cell))


def cells_without_place(path: Path) -> Path:
    rows = "<row>" + "<c><v>1</v></c>" * 5_000 + "</row>" + "<row/>" * 1_000_000
    return with_parts(path, readings=SHEET.format(rows + "<row><c><v>1</v></c></row>"))


def one_text_in_many_cells(path: Path) -> Path:
    cells = "".join(f'<row><c t="s"><v>{n % 3}</v></c></row>' for n in range(100_000))
    texts = f"<sst><si><t>{'x' * 30_000}</t></si><si><t>a</t></si><si><t>b</t></si></sst>"
    return with_parts(path, readings=SHEET.format(cells), texts=texts)


def deep_xml(path: Path) -> Path:
    return with_parts(path, readings="<a>" * 3_000_000)


def entities(path: Path) -> Path:
    names = "abcdefgh"
    lines = ["<!ENTITY a 'lol'>"] + [
        f"<!ENTITY {new} '{f'&{old};' * 50}'>" for old, new in pairwise(names)
    ]
    head = f"<!DOCTYPE x [{''.join(lines)}]>"
    cell = '<row r="1"><c r="A1" t="inlineStr"><is><t>&h;</t></is></c></row>'
    return with_parts(path, readings=head + SHEET.format(cell))


def endless_blanks(path: Path) -> Path:
    return with_parts(path, readings='<c r="A1"><f>x</f>' + " " * 20_000_000)


def a_million_empty_rows(path: Path) -> Path:
    rows = "".join(f'<row r="{n}"/>' for n in range(2, 1_000_001))
    return with_parts(path, readings=SHEET.format(rows))


def long_text_as_header(path: Path) -> Path:
    texts = f"<sst><si><t>{'x' * 1_000_000}</t></si></sst>"
    return with_parts(
        path, readings=SHEET.format('<row r="1"><c r="A1" t="s"><v>0</v></c></row>'), texts=texts
    )


HEADER = b"trial,jar,time [d],volume [mL]\n"


def many_csv_readings(path: Path, raw: bytes) -> Path:
    folder = write_csv(path.with_suffix(""), tables())
    (folder / "readings.csv").write_bytes(raw)
    return folder


def header_of_a_million(path: Path) -> Path:
    return many_csv_readings(path, b"jar,time [d]," + b"v" * 1_000_000 + b"\nN1,1,2\n")


def million_columns(path: Path) -> Path:
    return many_csv_readings(path, b"jar" + b"," * 3_000_000 + b"\nN1\n")


def endless_line(path: Path) -> Path:
    return many_csv_readings(path, b"jar,time [d],volume [mL]\nN1,1," + b"7" * 50_000_000)


def endless_line_of_cells(path: Path) -> Path:
    return many_csv_readings(path, b"jar,time [d],volume [mL]\n" + b"N1,1,5," * 7_000_000)


def endless_quote(path: Path) -> Path:
    return many_csv_readings(path, b'jar,time [d],"volume [mL]\n' + b"N1,1,5\n" * 7_000_000)


def two_million_empty_lines(path: Path) -> Path:
    return many_csv_readings(path, b"jar,time [d],volume [mL]\n" + b",,\n" * 2_000_000)


def half_a_million_wrong_rows(path: Path) -> Path:
    return many_csv_readings(path, b"jar,time [d],volume [mL]\n" + b"Q,x,y\n" * 500_000)


def a_huge_file(path: Path) -> Path:
    folder = many_csv_readings(path, b"")
    with (folder / "readings.csv").open("wb") as file:
        file.truncate(3_000_000_000)
    return folder


def many_items(path: Path) -> Path:
    items = [["item", "value"], *[[f"unheard of {n}", n] for n in range(100_000)]]
    return write_csv(path.with_suffix(""), tables(trial=items))


def many_materials(path: Path) -> Path:
    names = [f"{'m' * 200}{n}" for n in range(1_900)]
    materials = [*MATERIALS, *[[name, "substrate", 90, 80] for name in names]]
    jars = [JARS[0], *[[f"Z{n}", "wrong", 400, 5, 500] for n in range(4_900)]]
    return write_csv(path.with_suffix(""), tables(materials=materials, jars=jars))


HOSTILE = (
    zip_bomb, lying_zip_bomb, one_far_cell, a_cell_beyond_all_rows, cells_without_place,
    one_text_in_many_cells, deep_xml,
    entities, endless_blanks, a_million_empty_rows, long_text_as_header, header_of_a_million,
    million_columns, endless_line, endless_line_of_cells, endless_quote, two_million_empty_lines,
    half_a_million_wrong_rows, a_huge_file, many_items, many_materials,
)  # fmt: skip


@pytest.mark.skipif(not sys.platform.startswith("linux"), reason="memory is limited as Linux does")
@pytest.mark.parametrize("make", HOSTILE)
def test_time_and_memory_are_bounded(make, tmp_path: Path) -> None:  # type: ignore[no-untyped-def]
    place = make(tmp_path / "t.xlsx")
    status, lines, seconds, megabytes = in_a_process_of_its_own(place)
    assert status == 2
    assert 1 <= len(lines) <= 51
    assert not any("Traceback" in line or "does not know why" in line for line in lines), lines
    assert all(len(line) < 3_000 for line in lines)
    assert seconds < 60
    assert megabytes < MOST_MB
    assert not [path for path in tmp_path.iterdir() if "results" in path.name]


ROW = b"T,N1,1,5\n"
ARCHIVES: dict[str, Callable[[], bytes]] = {
    "a header of a million letters": lambda: (
        b"trial,jar,time [d]," + b"v" * 1_000_000 + b"\nT,N1\n"
    ),
    "three million columns": lambda: b"trial" + b"," * 3_000_000 + b"\n",
    "an endless cell": lambda: HEADER + b"T,N1,1," + b"7" * 50_000_000,
    "an endless line": lambda: HEADER + b"T,N1,1,5," * 2_000_000,
    "an endless quote": lambda: HEADER[:-1] + b',"x\n' + ROW * 2_000_000,
    "a quote in the middle": lambda: HEADER + ROW * 500_000 + b'"' + ROW * 500_000,
    "empty rows": lambda: HEADER + b",,,\n" * 2_000_000,
    "rows of no trial": lambda: HEADER + b",N1,1,5\n" * 200_000,
    "rows of a trial that is not there": lambda: HEADER + b"Q,N1,x,y\n" * 100_000,
    "ten thousand trials": lambda: HEADER + b"".join(b"T%d,N1,1,5\n" % n for n in range(10_000)),
    "nothing but noughts": lambda: b"\0",
}


@pytest.mark.skipif(not sys.platform.startswith("linux"), reason="memory is limited as Linux does")
@pytest.mark.parametrize("name", ARCHIVES)
def test_a_hostile_archive_takes_bounded_time_and_memory(name: str, tmp_path: Path) -> None:
    place = write_csv(tmp_path / "a", archive_of({"T": tables()}))
    (place / "readings.csv").write_bytes(ARCHIVES[name]())
    if name == "nothing but noughts":
        os.truncate(place / "readings.csv", 500_000_000)  # takes no room on the disk
    status, lines, seconds, megabytes = in_a_process_of_its_own(place, "archive")
    assert status in (0, 1, 2)
    assert bool(lines) == (status == 2)
    assert len(lines) <= 51
    assert not any("Traceback" in line or "does not know why" in line for line in lines), lines
    assert seconds < 60
    assert megabytes < MOST_MB


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="needs named pipes")
def test_a_pipe_in_the_place_of_a_table_is_not_waited_for(tmp_path: Path) -> None:
    folder = write_csv(tmp_path / "t", tables())
    (folder / "readings.csv").unlink()
    os.mkfifo(folder / "readings.csv")
    (folder / "jars.csv").unlink()
    (folder / "jars.csv").mkdir()
    with pytest.raises(UnusableInput) as caught:
        read_trial(folder)
    assert [str(p).split(";")[0] for p in caught.value.problems] == [
        "t: there is no table “jars”",
        "t: there is no table “readings”",
    ]


@pytest.mark.parametrize(
    "unit", ["9^9^9", "9^9^9*mL", "9²²²²²²", "9⁹⁹⁹⁹⁹⁹", "mL^9^9^9^9", "(9)^9^9^9", "9**9**9"]
)
def test_a_tower_of_powers_is_no_unit(unit: str) -> None:
    with pytest.raises(UnknownUnit):
        conversion(unit, "mL")
    assert conversion("cm^3", "mL").factor == 1.0
    assert conversion("m³/kg", "mL/g").factor == 1000.0


def test_reading_ends_where_nobody_would_read_on(tmp_path: Path) -> None:
    readings = [LONG[0], *[["N1", day, "?"] for day in range(20_000)]]
    with pytest.raises(UnusableInput) as caught:
        read_trial(write_csv(tmp_path / "t", tables(readings=readings)))
    assert len(caught.value.problems) == MOST_PROBLEMS


def test_names_that_fit_nowhere_and_masses_nobody_weighs(tmp_path: Path) -> None:
    materials = [*MATERIALS, ["m" * 101, "substrate", 50, 40], ["air", "substrate", 1e-9, 1e-9]]
    jars = [*JARS, ["j" * 101, "oats", 400, 5, 500], ["A3", "oats", 400, 1e-300, 500]]
    trial = with_item("title", "t" * 5_000)
    lines = told(write_csv(tmp_path / "t", tables(trial=trial, materials=materials, jars=jars)))
    assert [line.split(":")[0] for line in lines] == [
        "materials.csv, row 4, column “material”",
        "materials.csv, row 5, column “TS [% of fresh mass]”",
        "materials.csv, row 5, column “VS [% of fresh mass]”",
        "jars.csv, row 6, column “jar”",
        "jars.csv, row 7, column “sample [g]”",
        "jars.csv",  # A3 has no reading, which is seen all the same
    ]
    sound = read_trial(write_csv(tmp_path / "u", tables(trial=trial)))
    assert len(sound.setup.title) == 200


# --- one pass ------------------------------------------------------------------------------------


def told(place: Path) -> list[str]:
    try:
        return [str(problem) for problem in read_with_problems(place)[1]]
    except UnusableInput as unusable:
        return [str(problem) for problem in unusable.problems]


def test_a_missing_table_hides_nothing_of_the_others(tmp_path: Path) -> None:
    content = tables(trial=with_item("gas", "damp"))
    del content["jars"]
    lines = told(write_csv(tmp_path / "t", content))
    assert "there is no table “jars”" in lines[0]
    assert "“damp” stands for “gas”" in lines[1]
    assert len(lines) == 2


def test_every_table_that_cannot_be_read_is_told(tmp_path: Path) -> None:
    folder = write_csv(tmp_path / "t", tables())
    (folder / "jars.csv").write_bytes(b"")
    (folder / "readings.csv").write_bytes(b'jar,"time [d]' + b"x" * 200_000)
    lines = told(folder)
    assert [line.split(":")[0] for line in lines] == ["jars.csv", "readings.csv"]


def test_bad_jars_do_not_hide_bad_readings_nor_repeat_themselves(tmp_path: Path) -> None:
    jars = [list(row) for row in JARS]
    jars[3][1] = "barley"
    readings = [[*row] for row in LONG]
    readings[2][2] = "x"
    readings[14][2] = None
    lines = told(write_csv(tmp_path / "t", tables(jars=jars, readings=readings)))
    assert len(lines) == 3
    assert "“barley” is not among the materials" in lines[0]
    assert "“x” is not a number" in lines[1]
    assert lines[2].startswith("readings.csv, row 15")


def test_a_bad_material_is_told_once(tmp_path: Path) -> None:
    materials = [MATERIALS[0], MATERIALS[1], ["oats", "food", 90, 80]]
    lines = told(write_csv(tmp_path / "t", tables(materials=materials)))
    assert len(lines) == 1
    assert "“food” is no role" in lines[0]


def test_every_cell_beside_the_header_is_told(tmp_path: Path) -> None:
    readings = [*LONG, ["N1", 20, 5, "late"], ["N2", 20, "y", None], ["N2", 21, 4, "too"]]
    lines = told(write_csv(tmp_path / "t", tables(readings=readings)))
    assert [line.split(":")[0] for line in lines] == [
        "readings.csv, row 18",
        "readings.csv, row 20",
        "readings.csv, row 19, column “volume [mL]”",
    ]


def test_what_only_follows_from_a_problem_is_not_told(tmp_path: Path) -> None:
    lines = told(write_csv(tmp_path / "t", tables(trial=with_item("ambient [kPa]", "low"))))
    assert len(lines) == 1
    readings = [["jar", "time [d]", "volume"], *LONG[1:]]
    lines = told(write_csv(tmp_path / "u", tables(readings=readings)))
    assert len(lines) == 1
    assert "there is no unit" in lines[0]


# --- output --------------------------------------------------------------------------------------

FORMULA = '=HYPERLINK("http://example.org","x")'
TITLE = "<script>alert('x')</script> ../../../etc/passwd\x07"


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return the results of a trial whose every name wants to be something else."""
    place = tmp_path_factory.mktemp("output")
    materials = [list(row) for row in MATERIALS]
    materials[2][0] = FORMULA
    jars = [[cell if cell != "oats" else FORMULA for cell in row] for row in JARS]
    jars = [["@SUM(1)" if cell == "A1" else cell for cell in row] for row in jars]
    readings = [["@SUM(1)" if cell == "A1" else cell for cell in row] for row in LONG]
    readings[0] = [*readings[0], "note"]
    readings[3:4] = [[*readings[3], "+cmd|' /C calc'!A0"]]
    content = tables(
        trial=with_item("title", TITLE), materials=materials, jars=jars, readings=readings
    )
    folder = write_csv(place / "trial", content)
    before = {path.name: path.read_bytes() for path in folder.iterdir()}
    assert main(["analyze", str(folder), "--out", str(place / "out")]) == 0
    assert {path.name: path.read_bytes() for path in folder.iterdir()} == before
    assert {path.name for path in place.iterdir()} == {"trial", "out"}
    return place / "out"


def test_no_cell_of_the_workbook_is_a_formula(made: Path) -> None:
    book = openpyxl.load_workbook(made / "results.xlsx")
    cells = [cell for sheet in book for row in sheet.iter_rows() for cell in row]
    assert any(cell.value == FORMULA for cell in cells)
    assert {cell.data_type for cell in cells} <= {"s", "n", "b", "d"}
    with zipfile.ZipFile(made / "results.xlsx") as archive:
        for name in archive.namelist():
            assert b"<f>" not in archive.read(name)
            assert b"<hyperlink" not in archive.read(name)


def test_no_cell_of_the_csv_starts_as_a_formula(made: Path) -> None:
    text = (made / "curves.csv").read_text(encoding="utf-8-sig")
    cells = [cell for row in csv.reader(io.StringIO(text)) for cell in row]
    assert "'" + FORMULA in cells
    for cell in cells:
        if cell[:1] in ("=", "+", "-", "@", "\t", "\r"):
            float(cell)


def test_everything_in_the_page_is_escaped(made: Path) -> None:
    page = (made / "report.html").read_text(encoding="utf-8")
    assert "&lt;script&gt;alert" in page
    assert "<script>alert" not in page
    for picture in (made / "figures").glob("*.svg"):
        assert "<script" not in picture.read_text(encoding="utf-8")


def test_no_name_leaves_the_folder(made: Path) -> None:
    names = json.loads((made / "files.json").read_text(encoding="utf-8"))["files"]
    assert all(".." not in name and not name.startswith("/") for name in names)
