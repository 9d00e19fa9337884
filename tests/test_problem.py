"""Problems of one kind share a line, so that fifty slips in a column are read at a glance."""

from __future__ import annotations

from bmp.problem import Problem, gathered, shown


def slip(row: int | None, cell: str, column: str = "time [d]") -> Problem:
    return Problem("readings.csv", f"{shown(cell)} is no number", "write a number", row, column)


def test_one_problem_stands_as_it_is() -> None:
    assert gathered([slip(3, "x")]) == [str(slip(3, "x"))]
    assert gathered([]) == []


def test_problems_of_a_kind_share_a_line_with_their_rows() -> None:
    assert gathered(slip(row, "x") for row in (2, 3, 4, 9)) == [
        "readings.csv, rows 2-4, 9, column “time [d]”: “x” is no number; write a number"
    ]


def test_many_rows_and_many_cells_are_counted() -> None:
    (line,) = gathered(slip(row, f"x{row}") for row in range(2, 32, 2))
    assert line == (
        "readings.csv, rows 2, 4, 6, 8, 10, 12 and 9 more, column “time [d]”: “x2” is no number "
        "(also “x4”, “x6”, “x8”, “x10” and 10 more); write a number"
    )


def test_what_differs_in_figures_only_says_where_the_figure_is_from() -> None:
    told = [
        Problem("t", f"it comes to {value} kPa", "from 40 to 115 kPa", row)
        for row, value in ((5, 300), (7, 301.5))
    ]
    assert gathered(told) == ["t, rows 5, 7: it comes to 300 kPa (so in row 5); from 40 to 115 kPa"]


def test_other_columns_advice_and_plain_lines_stand_apart() -> None:
    other = Problem("readings.csv", "“x” is no number", "leave it empty", 2, "time [d]")
    told = [slip(2, "x"), slip(2, "x", "volume [mL]"), other, "stopped", "gone"]
    assert len(gathered(told)) == 5
    assert gathered(told)[-2:] == ["stopped", "gone"]


def test_without_rows_the_names_tell() -> None:
    told = [Problem("jars.csv", f"jar “{name}” has no reading", "add them") for name in "ABC"]
    assert gathered(told) == ["jars.csv: jar “A” has no reading (also “B”, “C”); add them"]
