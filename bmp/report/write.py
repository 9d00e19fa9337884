"""All that `bmp analyze` writes, into one folder."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from bmp.report.figures import figures, save_figures
from bmp.report.folder import write_folder
from bmp.report.page import render_page
from bmp.report.results_json import FORMAT, curves_text, results_text
from bmp.report.workbook import write_workbook
from bmp.results import Results


def write_results(
    results: Results, out: Path, progress: Callable[[str], None] = lambda step: None
) -> None:
    """Write the page, the pictures, the workbook, `curves.csv` and `results.json` to `out`."""

    def write(folder: Path) -> None:
        progress("draw the pictures")
        (folder / "figures").mkdir()
        svg = save_figures(figures(results), folder / "figures")
        progress("write the report")
        (folder / "report.html").write_text(render_page(results, svg), encoding="utf-8")
        # the mark at its front is what lets a spreadsheet show umlauts after a double click
        (folder / "curves.csv").write_text(curves_text(results), encoding="utf-8-sig")
        (folder / "results.json").write_text(results_text(results), encoding="utf-8")
        write_workbook(results, folder / "results.xlsx")

    write_folder(out, FORMAT, write)
