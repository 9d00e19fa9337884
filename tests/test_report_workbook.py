from __future__ import annotations

from pathlib import Path

import numpy as np
import openpyxl
import pytest

from bmp.report.workbook import write_workbook
from tests import report_trials as trials

SHEETS = ["answer", "summary", "readings", "curves", "fits", "comparisons", "checks", "assumed"]


@pytest.fixture(scope="module")
def books(tmp_path_factory):
    """Workbooks by name of the trial, written and read back."""
    folder = tmp_path_factory.mktemp("books")
    made = {}
    for name, results in trials.EVERY.items():
        write_workbook(results(), folder / f"{name}.xlsx")
        made[name] = openpyxl.load_workbook(folder / f"{name}.xlsx")
    return made


def table(sheet) -> list[dict[str, object]]:
    header, *rows = sheet.iter_rows(values_only=True)
    return [dict(zip(header, row, strict=True)) for row in rows]


@pytest.mark.parametrize("name", trials.EVERY)
def test_sheets_with_frozen_headers_and_columns_that_show_their_figures(books, name) -> None:
    book = books[name]
    assert book.sheetnames == SHEETS
    for sheet in book:
        assert sheet.freeze_panes in ("A2", "B2")
        for column in sheet.columns:
            header, *cells = column
            assert header.value
            assert header.font.bold
            width = sheet.column_dimensions[header.column_letter].width
            for cell in cells:
                if isinstance(cell.value, int | float):
                    decimals = cell.number_format.partition(".")[2]
                    assert cell.number_format != "General"
                    power = "E" if cell.number_format == "0.00E+00" else "f"
                    decimals = decimals.partition("E")[0]
                    assert len(f"{cell.value:.{len(decimals)}{power}}") < width
                assert cell.value is None or cell.data_type in ("n", "s")


def test_summary_holds_the_yields(books) -> None:
    rows = table(books["plain"]["summary"])
    for row, one in zip(rows, trials.plain().yields, strict=True):
        assert row["series"] == one.series
        assert row["yield"] == pytest.approx(one.value, rel=1e-12)
        assert row["unit"] == "NmL CH4/g VS"
        assert (row["95 % interval from"], row["to"]) == pytest.approx(one.ci95, rel=1e-12)


def test_readings_hold_every_reading_with_its_factor(books) -> None:
    results = trials.plain()
    rows = table(books["plain"]["readings"])
    gas = results.gas
    assert len(rows) == gas.jar.size
    np.testing.assert_allclose(
        [row["methane since closing [NmL CH4]"] for row in rows], gas.methane_NmL, rtol=1e-12
    )
    read = np.array([row["volume as read [mL]"] for row in rows])
    factor = np.array([row["factor to dry gas at 0 °C and 101.325 kPa"] for row in rows])
    dry = np.array([row["dry gas since closing [NmL]"] for row in rows])
    share = np.array([row["methane share used [%]"] for row in rows])
    first = np.array([row["time [d]"] for row in rows]) == 1.0
    # the share of each reading's own gas makes the methane; no headspace balance in the first day
    np.testing.assert_allclose(gas.methane_NmL[first], dry[first] * share[first] / 100.0, rtol=1e-9)
    assert np.all(np.abs(read * factor - np.diff(dry, prepend=0.0))[~first] < 0.1 * 300.0)
    assert {row["methane share is"] for row in rows} == {"measured"}
    assert [row["row in the input"] for row in rows] == results.trial.readings.row.tolist()


def test_curves_and_fits(books) -> None:
    results = trials.plain()
    curves = table(books["plain"]["curves"])
    np.testing.assert_allclose([row["net methane"] for row in curves], results.curves.net)
    fits = table(books["plain"]["fits"])
    (k,) = [
        row for row in fits
        if (row["series"], row["model"], row["quantity"]) == ("cellulose", "first order", "k")
        and row["jar (empty: all jars)"] is None
    ]  # fmt: skip
    estimate = results.fits["cellulose"].models["first order"].parameters["k"]
    assert k["value"] == pytest.approx(estimate.value)
    assert k["unit"] == "1/d"
    assert k["interval is"] == "between jars"


def test_text_that_looks_like_a_formula_stays_text(books) -> None:
    book = books["hostile"]
    cells = [cell for sheet in book for row in sheet.iter_rows() for cell in row if cell.value]
    suspect = [cell for cell in cells if str(cell.value)[:1] in "=+-@" and cell.data_type != "n"]
    assert {trials.FORMULA_FEED, trials.HOSTILE_TITLE} <= {cell.value for cell in suspect}
    for cell in suspect:
        assert cell.data_type == "s"
        assert cell.quotePrefix
    assert not [cell for cell in cells if cell.data_type == "f"]


def test_checks_and_verdict(books) -> None:
    rows = table(books["judged"]["checks"])
    assert [row["outcome"] for row in rows[::2]] == [
        "fail",
        "pass",
        "caution",
        "fail",
        "not judged",
    ]
    assert rows[0]["what was seen, or why it is looked at"].startswith(
        "Does not meet the criteria of a list of criteria"
    )
    assert [row["found"] for row in rows[1::2]] == [2.0, 7.25, "gas < air", None]


def test_what_was_said_stands_in_the_last_sheet(books) -> None:
    rows = [(row["kind"], row["what"]) for row in table(books["hostile"]["assumed"])]
    assert ("trial", trials.HOSTILE_TITLE) in rows
    assert ("not used", "column <b>foo</b> is not used") in rows
    assert any(kind == "jar left out" and "=spilt" in what for kind, what in rows)


def test_characters_that_no_sheet_can_hold_do_no_harm(tmp_path: Path) -> None:
    from dataclasses import replace

    results = trials.single()
    setup = replace(results.trial.setup, title="bell \x07 and \ufffe" + 40_000 * "x")
    write_workbook(
        replace(results, trial=replace(results.trial, setup=setup)), tmp_path / "odd.xlsx"
    )
    book = openpyxl.load_workbook(tmp_path / "odd.xlsx")
    assert len(table(book["assumed"])[0]["what"]) <= 32_100
