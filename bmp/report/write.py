"""All that `bmp analyze` writes, into one folder."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from bmp.report.class_page import class_page
from bmp.report.figures import figures, save_figures
from bmp.report.folder import write_folder
from bmp.report.page import render_page, unbroken
from bmp.report.results_json import FORMAT, curves_text, results_text
from bmp.report.workbook import write_workbook
from bmp.results import Results


def write_results(
    results: Results,
    out: Path,
    progress: Callable[[str], None] = lambda step: None,
    digest: str = "",
) -> None:
    """Write pages, pictures, the workbook, `curves.csv` and `results.json` to `out`.

    Parameters
    ----------
    digest
        Of the input, for the report's last line; see `bmp.read.digest`.
    """

    def write(folder: Path) -> None:
        progress("draw the pictures")
        (folder / "figures").mkdir()
        svg = save_figures(figures(results), folder / "figures")
        progress("write the report")
        page = unbroken(render_page(results, svg, digest))
        (folder / "report.html").write_text(page, encoding="utf-8")
        for_class = class_page(results, svg)
        if for_class is not None:
            (folder / "class.html").write_text(unbroken(for_class), encoding="utf-8")
        # the mark at its front is what lets a spreadsheet show umlauts after a double click
        (folder / "curves.csv").write_text(curves_text(results), encoding="utf-8-sig")
        (folder / "results.json").write_text(results_text(results), encoding="utf-8")
        write_workbook(results, folder / "results.xlsx")

    write_folder(out, FORMAT, write)
