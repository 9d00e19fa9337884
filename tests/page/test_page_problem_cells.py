from __future__ import annotations

import shutil
from pathlib import Path

from bmp.page.pictures import served_page, without_styles
from bmp.page.problem_cells import marked
from bmp.read import read_with_problems

DEMO = Path(__file__).parents[2] / "examples" / "cheese_dairy"


def broken(tmp_path: Path) -> Path:
    folder = tmp_path / "demo"
    shutil.copytree(DEMO, folder)
    readings = folder / "readings.csv"
    lines = readings.read_text(encoding="utf-8").splitlines()
    cells = lines[4].split(",")
    cells[2] = "12;5"
    lines[4] = ",".join(cells)
    readings.write_text("\n".join(lines) + "\n", encoding="utf-8")
    trial = folder / "trial.csv"
    trial.write_text(trial.read_text(encoding="utf-8").replace("wet", "moist"), encoding="utf-8")
    return folder


def test_every_problem_stands_at_its_cell(tmp_path: Path) -> None:
    folder = broken(tmp_path)
    problems = read_with_problems(folder)[1]
    tables = {table.name: table for table in marked(folder, problems)}
    readings = tables["readings.csv"]
    (row,) = readings.rows
    assert row.number == 5
    assert [bool(cell.problems) for cell in row.cells[:4]] == [False, False, True, False]
    assert row.cells[2].text == "12;5"
    (item,) = tables["trial.csv"].rows
    assert [cell.text for cell in item.cells] == ["gas", "moist"]
    assert item.cells[1].problems[0].what == "“moist” stands for “gas”"


def test_no_problem_is_lost(tmp_path: Path) -> None:
    folder = broken(tmp_path)
    readings = folder / "readings.csv"
    lines = readings.read_text(encoding="utf-8").splitlines()[:21]
    readings.write_text("\n".join(lines) + "\n", encoding="utf-8")
    (folder / "jars.csv").write_text("jar,material,inoculum\nA1,nothing,5\nA1,,6\n")
    problems = read_with_problems(folder)[1]
    assert len(problems) > 3
    shown = []
    for table in marked(folder, problems):
        shown += list(table.problems)
        shown += [p for cell in table.header for p in cell.problems]
        for row in table.rows:
            shown += [*row.problems, *(p for cell in row.cells for p in cell.problems)]
    assert sorted(map(str, shown)) == sorted(map(str, problems))


def test_a_drawing_keeps_its_looks_without_styles() -> None:
    drawing = '<svg><style>*{x:y}</style><path style="fill: none; stroke: var(--series-0)"/></svg>'
    assert without_styles(drawing) == '<svg><path fill="none" stroke="var(--series-0)"/></svg>'


def test_a_served_page_allows_its_one_style_sheet_by_its_hash() -> None:
    # openssl: printf 'p{color:red}' | openssl dgst -sha256 -binary | base64
    html, policy = served_page('<style>p{color:red}</style><p style="x: y">a</p>')
    assert html == "<style>p{color:red}</style><p>a</p>"
    assert "style-src 'sha256-p0bF+un5yUb9MBO6xRb8kPHlY2BdpHVtLiFkDrZPF64='" in policy
    assert "script-src 'none'" in policy
    assert "unsafe" not in policy
