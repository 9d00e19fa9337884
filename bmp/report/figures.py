"""The pictures of a report, drawn from results alone.

Each drawing function takes axes and returns them. `figures` sets them up on figures of their own,
`save_figures` writes them.
"""

from __future__ import annotations

import io
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

import matplotlib as mpl
import numpy as np
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure

from bmp.fit.results import fitted_curve
from bmp.net import MaterialYield
from bmp.report.compare_figures import comparison_figures
from bmp.report.labels import in_lines, spread
from bmp.report.looks import FAINT, INK, Look, look_of
from bmp.report.rounding import with_uncertainty
from bmp.results import Results
from bmp.trial import FloatArray

DOTS_PER_INCH: Final = 150
WIDTH_IN: Final = 5.8
LEFT_IN, RIGHT_IN, BOTTOM_IN, TOP_IN = 0.68, 1.5, 0.5, 0.12
LINE_IN: Final = 0.148
"""Height of a line of a label."""
FEWEST_MARKERS: Final = 12

STYLE: Final[dict[str, Any]] = {
    "font.family": "DejaVu Sans",
    "font.size": 9.0,
    "text.color": INK,
    "axes.edgecolor": INK,
    "axes.labelcolor": INK,
    "axes.linewidth": 0.7,
    "axes.spines.top": False,
    "axes.spines.right": False,
    "xtick.color": INK,
    "ytick.color": INK,
    "text.parse_math": False,
    "axes.unicode_minus": True,
    "svg.fonttype": "none",
    "svg.hashsalt": "bmp",
}


@dataclass(frozen=True)
class Mark:
    """A value at the right edge of a picture, to be labelled there."""

    value: float
    lines: tuple[str, ...]
    colour: str
    look: Look | None = None
    """Given: the value gets a marker, and its interval a bar."""
    half_width: float | None = None


def figures(results: Results) -> dict[str, Figure]:
    """Return the pictures of a trial by name, in the order of the page.

    `net-curves` (one panel per unit of yield), `raw-methane` (not where yields were handed in),
    `residuals` (where a model was chosen for any series) and those of `comparison_figures`.
    """
    with mpl.rc_context(STYLE):
        drawn = {"net-curves": _net_figure(results)} if results.yields else {}
        if np.isfinite(results.gas.methane_NmL).any():
            drawn["raw-methane"] = _raw_figure(results)
        if any(fit.choice.model for fit in results.fits.values()):
            drawn["residuals"] = _residual_figure(results)
        drawn |= comparison_figures(results.comparisons)
    return drawn


def save_figures(drawn: Mapping[str, Figure], folder: Path) -> dict[str, str]:
    """Write every figure as PNG and SVG into a folder and return the SVG texts by name."""
    texts = {}
    with mpl.rc_context(STYLE):
        for name, figure in drawn.items():
            figure.savefig(
                folder / f"{name}.png", dpi=DOTS_PER_INCH, pil_kwargs={"compress_level": 3}
            )
            text = io.StringIO()
            figure.savefig(text, format="svg", metadata={"Date": None, "Creator": None})
            texts[name] = text.getvalue()
            (folder / f"{name}.svg").write_text(texts[name], encoding="utf-8")
    return texts


# --- net curves --------------------------------------------------------------------------------


def _net_figure(results: Results) -> Figure:
    units = list(dict.fromkeys(one.unit for one in results.yields))
    panels = [[one for one in results.yields if one.unit == unit] for unit in units]
    figure, all_axes = _panels([_room(3.0, 3 * len(panel)) for panel in panels])
    for axes, panel in zip(all_axes, panels, strict=True):
        net_curves(axes, results, panel)
    return figure


def net_curves(axes: Axes, results: Results, yields: Sequence[MaterialYield]) -> Axes:
    """Draw net methane of every jar, the jars' mean, the chosen model and the yield at the end.

    Parameters
    ----------
    axes : matplotlib.axes.Axes
    results : Results
    yields : sequence of MaterialYield
        Series of one unit, those to draw.
    """
    marks = []
    for one in yields:
        look = series_look(results, one.series)
        _jar_lines(axes, results, one.series, look)
        time_d, mean = mean_curve(results, one)
        _mean_and_model(axes, results, one, look, time_d, mean)
        half = None if one.ci95 is None else (one.ci95[1] - one.ci95[0]) / 2.0
        words = (*in_lines(one.series), with_uncertainty(one.value, half))
        marks.append(Mark(one.value, words, look.colour, look, half))
    axes.set_xlabel("Time [d]")
    kind = "Methane, blank not taken off" if results.gross else "Net methane"
    axes.set_ylabel(f"{kind} [{yields[0].unit}]")
    _finish(axes, marks)
    return axes


def _jar_lines(axes: Axes, results: Results, series: str, look: Look) -> None:
    """Draw counted jars as thin lines, those left out as thin dotted grey ones."""
    counted, left_out = [], []
    for index, jar in enumerate(results.trial.jars):
        if jar.series == series and jar.role in ("substrate", "control"):
            time_d, net = results.curves.of(index)
            curve = _from_nought(time_d, net)
            (left_out if jar.left_out is not None else counted).append(curve)
    _lines(axes, counted, color=look.colour, linewidth=0.7, alpha=0.55, label=f"{series}, jars")
    _lines(
        axes, left_out, color=FAINT, linewidth=1.0, linestyle=(0, (1, 2)),
        label=f"{series}, left out",
    )  # fmt: skip


def mean_curve(results: Results, one: MaterialYield) -> tuple[FloatArray, FloatArray]:
    """Return the mean net curve of a series' counted jars at all their times up to its end."""
    curves = [_from_nought(*results.curves.of(jar)) for jar in one.jars]
    time_d = np.unique(np.concatenate([time for time, _ in curves]))
    time_d = time_d[time_d <= one.time_d]
    mean: FloatArray = np.mean([np.interp(time_d, *curve) for curve in curves], axis=0)
    return time_d, mean


def _mean_and_model(
    axes: Axes,
    results: Results,
    one: MaterialYield,
    look: Look,
    time_d: FloatArray,
    mean: FloatArray,
) -> None:
    fit = results.fits.get(one.series)
    model = fit.choice.model if fit else None
    curve = fit.models[model].curve if fit and model else None
    some = time_d.size > 2 * FEWEST_MARKERS
    shown = np.linspace(1, time_d.size - 1, FEWEST_MARKERS).astype(int) if some else slice(1, None)
    axes.plot(
        time_d[shown], mean[shown], look.marker, color=look.colour, markersize=4.2,
        markeredgewidth=0.0, label=f"{one.series}, mean",
    )  # fmt: skip
    if model and curve:
        at = np.linspace(0.0, one.time_d, 120)
        line, label = fitted_curve(model, curve, at), f"{one.series}, {model}"
    else:
        at, line, label = time_d, mean, f"{one.series}, mean"
    axes.plot(at, line, color=look.colour, linewidth=1.7, dashes=_dashes(look), label=label)


# --- raw methane -------------------------------------------------------------------------------


def _raw_figure(results: Results) -> Figure:
    count = len({jar.series for jar in results.trial.jars}) + len(results.blanks)
    figure, (axes,) = _panels([_room(2.7, 2 * count)])
    raw_methane(axes, results)
    return figure


def raw_methane(axes: Axes, results: Results) -> Axes:
    """Draw the methane of every jar as it came, nothing taken off, the blanks beside it."""
    marks = []
    series = [one.series for one in results.yields]
    for name in series:
        look = series_look(results, name)
        curves, left_out = _raw_of(results, name)
        _lines(axes, curves, color=look.colour, linewidth=1.0, dashes=_dashes(look), label=name)
        _lines(axes, left_out, color=FAINT, linewidth=1.0, linestyle=(0, (1, 2)), label=name)
        marks += _mark_of(curves, in_lines(name), look.colour)
    for inoculum in dict.fromkeys(j.material for j in results.trial.jars if j.role == "blank"):
        curves, left_out = _raw_of(results, inoculum, blank=True)
        name = f"blank: {inoculum}"
        _lines(axes, curves, color=INK, linewidth=1.3, dashes=(1.0, 1.0), label=name)
        _lines(axes, left_out, color=FAINT, linewidth=1.0, linestyle=(0, (1, 2)), label=name)
        marks += _mark_of(curves, in_lines(name), INK)
    axes.set_xlabel("Time [d]")
    axes.set_ylabel("Methane of the whole jar [NmL CH4]")
    _finish(axes, marks)
    return axes


Curve = tuple[FloatArray, FloatArray]


def _raw_of(results: Results, name: str, blank: bool = False) -> tuple[list[Curve], list[Curve]]:
    """Return raw curves of the jars of a series (or of an inoculum's blanks): counted, left out."""
    counted, left_out = [], []
    for index, jar in enumerate(results.trial.jars):
        wanted = jar.role == "blank" and jar.material == name if blank else jar.series == name
        if not wanted or (not blank and jar.role == "blank"):
            continue
        here = (results.gas.jar == index) & np.isfinite(results.gas.methane_NmL)
        if here.any():
            curve = _from_nought(results.gas.time_d[here], results.gas.methane_NmL[here])
            (left_out if jar.left_out is not None else counted).append(curve)
    return counted, left_out


def _mark_of(curves: Sequence[Curve], lines: Sequence[str], colour: str) -> list[Mark]:
    if not curves:
        return []
    return [Mark(float(np.mean([curve[1][-1] for curve in curves])), tuple(lines), colour)]


# --- residuals ---------------------------------------------------------------------------------


def _residual_figure(results: Results) -> Figure:
    figure, (axes,) = _panels([0.75 + 0.62 * len(results.fits)], right_in=0.25)
    residuals(axes, results)
    return figure


def residuals(axes: Axes, results: Results) -> Axes:
    """Draw each jar's readings less the model fitted to it, a band a series, in % of the yield.

    The yield is the largest that any jar of the series shows, so that a yield near nought does
    not blow the band up.
    """
    bands = {name: _residuals_of(results, name) for name in results.fits}
    bands = {name: curves for name, curves in bands.items() if curves}
    sizes = [np.abs(away).max() for curves in bands.values() for _, away in curves]
    half = _nice(float(np.max(sizes)))
    ticks, words = [], []
    for number, (name, curves) in enumerate(bands.items()):
        look, middle = series_look(results, name), -2.6 * number
        axes.axhline(middle, color=INK, linewidth=0.6)
        moved = [(time_d, middle + away / half) for time_d, away in curves]
        _lines(axes, moved, color=look.colour, linewidth=0.9, label=name)
        axes.annotate(
            f"{name}: {results.fits[name].choice.model}", (1.0, middle + 1.02),
            xycoords=axes.get_yaxis_transform(), ha="right", va="bottom", fontsize=8.5,
        )  # fmt: skip
        ticks += [middle - 1.0, middle, middle + 1.0]
        words += [f"−{half:g}", "0", f"+{half:g}"]
    axes.set_yticks(ticks, words)
    axes.set_ylim(-2.6 * (len(bands) - 1) - 1.15, 1.75)
    axes.set_xlim(left=0.0)
    axes.set_xlabel("Time [d]")
    axes.set_ylabel("Reading less model [% of the yield]")
    return axes


def _residuals_of(results: Results, series: str) -> list[Curve]:
    fit = results.fits[series]
    model = fit.choice.model
    if model is None:
        return []
    jars = next(one.jars for one in results.yields if one.series == series)
    curves = []
    for jar, jar_fit in zip(jars, fit.models[model].jars, strict=True):
        time_d, net = results.curves.of(jar)
        line = fitted_curve(model, jar_fit.curve, time_d)
        if line.size:
            curves.append((time_d, net - line))
    size = max((np.abs(results.curves.of(jar)[1]).max() for jar in jars), default=0.0)
    return [(time_d, 100.0 * away / (size or 1.0)) for time_d, away in curves]


def _nice(value: float) -> float:
    """Return the next of 1, 2, 5, 10, 20 … not below a value."""
    if value <= 0.0:
        return 1.0
    ten = 10.0 ** np.floor(np.log10(value))
    return float(next(step * ten for step in (1.0, 2.0, 5.0, 10.0) if step * ten >= value))


# --- what they share ---------------------------------------------------------------------------


def series_look(results: Results, series: str) -> Look:
    """Return the look that a series has in every picture."""
    names = [one.series for one in results.yields]
    return look_of(names.index(series))


def _room(least_in: float, lines: int) -> float:
    """Return the height of axes beside which so many lines of labels find room [inch]."""
    return max(least_in, LINE_IN * (lines + 1))


def _panels(heights_in: Sequence[float], right_in: float = RIGHT_IN) -> tuple[Figure, list[Axes]]:
    """Return a figure with axes of the given heights one above the other."""
    each = BOTTOM_IN + TOP_IN
    whole = sum(heights_in) + each * len(heights_in)
    figure = Figure(figsize=(WIDTH_IN, whole))
    FigureCanvasAgg(figure)
    all_axes, top = [], whole
    for height in heights_in:
        box = (
            LEFT_IN / WIDTH_IN,
            (top - TOP_IN - height) / whole,
            (WIDTH_IN - LEFT_IN - right_in) / WIDTH_IN,
            height / whole,
        )
        all_axes.append(figure.add_axes(box))
        top -= height + each
    return figure, all_axes


def _from_nought(time_d: FloatArray, value: FloatArray) -> Curve:
    """Return a curve that starts with nought at closing."""
    if time_d.size and time_d[0] <= 0.0:
        return time_d, value
    return np.concatenate([[0.0], time_d]), np.concatenate([[0.0], value])


def _dashes(look: Look) -> tuple[float, ...]:
    return look.dashes or (1.0, 0.0)


def _lines(axes: Axes, curves: Sequence[Curve], **style: Any) -> None:
    """Draw curves as one line with gaps, far quicker than a line each."""
    if curves:
        gap = np.array([np.nan])
        x = np.concatenate([part for time_d, _ in curves for part in (time_d, gap)])
        y = np.concatenate([part for _, value in curves for part in (value, gap)])
        axes.plot(x, y, **style)


def _finish(axes: Axes, marks: Sequence[Mark]) -> None:
    """Set the limits, draw the values at the end with their bars, and label them at the right."""
    lines = [line for line in axes.get_lines()]
    x_end = max(float(np.nanmax(np.asarray(line.get_xdata()))) for line in lines)
    y_all = [np.asarray(line.get_ydata(), dtype=float) for line in lines]
    bars = [mark.value + sign * (mark.half_width or 0.0) for mark in marks for sign in (-1, 1)]
    low = min(0.0, min(float(np.nanmin(y)) for y in y_all), *bars)
    high = max(0.0, max(float(np.nanmax(y)) for y in y_all), *bars)
    room = 0.04 * (high - low or 1.0)
    low = low - room if low < 0.0 else 0.0
    axes.set_ylim(low, high + room)
    step = 0.024 * x_end
    first = x_end + step
    edge = first + step * max(sum(mark.look is not None for mark in marks), 0.5)
    axes.set_xlim(0.0, edge)
    axes.spines["bottom"].set_bounds(0.0, x_end)
    axes.set_xticks([tick for tick in axes.get_xticks() if 0.0 <= tick <= x_end * 1.001])
    if low < 0.0:
        axes.axhline(0.0, color=INK, linewidth=0.6)
    _label(axes, marks, x_end, first, step, edge)


def _label(
    axes: Axes, marks: Sequence[Mark], x_end: float, first: float, step: float, edge: float
) -> None:
    low, high = axes.get_ylim()
    figure = axes.get_figure()
    assert isinstance(figure, Figure)
    height_in = axes.get_position().height * figure.get_size_inches()[1]
    per_in = (high - low) / height_in
    heights = [LINE_IN * per_in * (len(mark.lines) + 0.35) for mark in marks]
    places = spread([mark.value for mark in marks], heights, low, high)
    number = 0
    for mark, place in zip(marks, places, strict=True):
        x = x_end
        if mark.look is not None:
            x = first + step * number
            number += 1
            axes.errorbar(
                [x], [mark.value], None if mark.half_width is None else [mark.half_width],
                fmt=mark.look.marker, color=mark.colour, markersize=5.0, markeredgewidth=0.0,
                capsize=2.5, elinewidth=1.2, zorder=3, label="_end",
            )  # fmt: skip
        axes.plot([x, edge, edge + step], [mark.value, place, place], color=mark.colour,
                  linewidth=0.6, alpha=0.7, clip_on=False, label="_leader")  # fmt: skip
        axes.text(edge + 1.5 * step, place, "\n".join(mark.lines), va="center", fontsize=8.5,
                  linespacing=1.15)  # fmt: skip
