"""The pictures of a report: drawn from results alone, written as PNG and SVG."""

from __future__ import annotations

import io
import warnings
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Final

import matplotlib as mpl
import numpy as np
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure

from bmp.report.axes_in import axes_in
from bmp.report.compare_figures import comparison_figures
from bmp.report.curve_ends import LINE_IN
from bmp.report.draw_curves import net_curves, raw_methane
from bmp.report.draw_doses import doses
from bmp.report.draw_rate import daily_rate
from bmp.report.draw_residuals import residuals, residuals_of
from bmp.report.labels import in_lines
from bmp.report.second_process import start_beside
from bmp.report.series_style import STYLE, WIDTH_IN
from bmp.report.tank_figures import tank_pictures
from bmp.results import Results

DOTS_PER_INCH: Final = 150
LEFT_IN: Final = 0.8
LABELS_IN: Final = 1.42
BOTTOM_IN: Final = 0.54
TOP_IN: Final = 0.14

MOST_NAMED_LINES: Final = 8
"""A legend with more names than this would cover the curves."""


def figures(results: Results) -> dict[str, Figure]:
    """Return the pictures of a trial by name, in the order of the page.

    `net-curves` and `daily-rate` (one panel a unit of yield), `raw-methane` (not where yields came
    ready made), `dose-series` (where a feed was given at several ratios), `residuals` (where a
    model was fitted to any series), those of `comparison_figures`, and those of `tank_pictures`.
    """
    drawn: dict[str, Figure] = {}
    with mpl.rc_context(STYLE):
        if results.yields:
            drawn["net-curves"] = _net_figure(results)
            drawn["daily-rate"] = _rate_figure(results)
        if np.isfinite(results.gas.methane_NmL).any():
            drawn["raw-methane"] = _raw_figure(results)
        if results.doses:
            drawn["dose-series"] = _dose_figure(results)
        if any(residuals_of(results, series) for series in results.fits):
            drawn["residuals"] = _residual_figure(results)
        drawn |= comparison_figures(results.comparisons)
        if results.tank is not None:
            places = {one.series: place for place, one in enumerate(results.yields)}
            drawn |= tank_pictures(results.tank, places)
        axes_in(drawn.values(), results.trial.setup.show_units)
    return drawn


def save_figures(drawn: Mapping[str, Figure], folder: Path) -> dict[str, str]:
    """Write every figure as PNG and SVG into a folder and return the SVG texts by name."""
    with mpl.rc_context(STYLE), warnings.catch_warnings():
        # a name in another script: the SVG keeps its letters, the PNG shows boxes
        warnings.filterwarnings("ignore", "Glyph .* missing from font", UserWarning)
        wait = start_beside(lambda: _save_pngs(drawn, folder))
        texts = {name: _svg(figure) for name, figure in drawn.items()}
        for name, text in texts.items():
            (folder / f"{name}.svg").write_text(text, encoding="utf-8")
        wait()
    return texts


def _save_pngs(drawn: Mapping[str, Figure], folder: Path) -> None:
    # light packing: a tenth more bytes for a third of the time
    packing = {"compress_level": 1}
    for name, figure in drawn.items():
        figure.savefig(folder / f"{name}.png", dpi=DOTS_PER_INCH, pil_kwargs=packing)


def _svg(figure: Figure) -> str:
    text = io.StringIO()
    figure.savefig(text, format="svg", metadata={"Date": None, "Creator": None})
    return text.getvalue()


def _net_figure(results: Results) -> Figure:
    units = list(dict.fromkeys(one.unit for one in results.yields))
    panels = [[one for one in results.yields if one.unit == unit] for unit in units]
    lines = [
        sum(len(in_lines(one.series)) + 1 + 2 * len(results.left_out(one.series)) for one in panel)
        for panel in panels
    ]
    counts = [len(panel) for panel in panels]
    figure, all_axes = _panels([_room(2.7, *both) for both in zip(lines, counts, strict=True)])
    for axes, panel in zip(all_axes, panels, strict=True):
        net_curves(axes, results, panel)
    return figure


def _rate_figure(results: Results) -> Figure:
    units = list(dict.fromkeys(one.unit for one in results.yields))
    figure, all_axes = _panels([2.3] * len(units), right_in=0.2)
    for axes, unit in zip(all_axes, units, strict=True):
        panel = [one for one in results.yields if one.unit == unit]
        daily_rate(axes, results, panel)
        names = ["\n".join(in_lines(one.series, 26, 1)) for one in panel]
        if len(names) <= MOST_NAMED_LINES:
            handles = [line for line in axes.patches if not str(line.get_label()).startswith("_")]
            axes.legend(handles, names[: len(handles)], frameon=False, loc="upper right")
    return figure


def _raw_figure(results: Results) -> Figure:
    names = {(jar.role, jar.series) for jar in results.trial.jars}
    left_out = sum(not jar.counted for jar in results.trial.jars)
    lines = sum(len(in_lines(name)) for _, name in names) + 2 * left_out + 1
    figure, (axes,) = _panels([_room(2.7, lines, len(names) + left_out)])
    raw_methane(axes, results)
    return figure


def _dose_figure(results: Results) -> Figure:
    figure, all_axes = _panels([2.3] * len(results.doses))
    for axes, series in zip(all_axes, results.doses, strict=True):
        doses(axes, series)
        # in the middle of the picture: it is longer than the axes
        axes.xaxis.set_label_coords(0.64, -0.34 / 2.3)
    return figure


def _residual_figure(results: Results) -> Figure:
    figure, (axes,) = _panels([max(1.4, 0.5 + 0.72 * len(results.fits))], right_in=0.25)
    residuals(axes, results)
    return figure


def _room(least_in: float, lines: int, labels: int) -> float:
    """Return the height of axes beside which so many labels find room [inch]."""
    return max(least_in, LINE_IN * (lines + 0.4 * labels))


def _panels(heights_in: Sequence[float], right_in: float = LABELS_IN) -> tuple[Figure, list[Axes]]:
    """Return a figure with axes of the given heights one above the other."""
    whole = sum(heights_in) + (BOTTOM_IN + TOP_IN) * len(heights_in)
    figure = Figure(figsize=(WIDTH_IN, whole))
    FigureCanvasAgg(figure)
    all_axes, top = [], whole
    for height in heights_in:
        width = WIDTH_IN - LEFT_IN - right_in
        bottom = top - TOP_IN - height
        axes = figure.add_axes(
            (LEFT_IN / WIDTH_IN, bottom / whole, width / WIDTH_IN, height / whole)
        )
        # fixed places for the names of the axes: matplotlib need not measure all numbers first
        axes.xaxis.set_label_coords(0.5, -0.34 / height)
        axes.yaxis.set_label_coords(-0.6 / width, 0.5)
        all_axes.append(axes)
        top = bottom - BOTTOM_IN
    return figure, all_axes
