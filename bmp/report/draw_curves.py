"""The curves: net methane with its models, and the methane of every jar as it came."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Final

import numpy as np
from matplotlib.axes import Axes

from bmp.fit.results import fitted_curve
from bmp.net import MaterialYield
from bmp.report.curve_ends import Mark, finish
from bmp.report.labels import in_lines
from bmp.report.lines import Curve, from_nought, mean_curve, plot_curves, series_look
from bmp.report.quantities import half_width
from bmp.report.rounding import with_uncertainty
from bmp.report.series_style import DOTTED, FAINT, INK, SeriesStyle
from bmp.results import Results
from bmp.trial import Jar

MARKERS: Final = 12
"""Markers of the mean along a curve with many readings."""


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
        counted, left_out = _net_of(results, one.series)
        plot_curves(
            axes, counted.values(), color=look.colour, linewidth=0.7, alpha=0.55,
            label=f"{one.series}, jars",
        )  # fmt: skip
        _mean_and_model(axes, results, one, look)
        half = half_width(one)
        words = (*in_lines(one.series), with_uncertainty(one.value, half))
        marks.append(Mark(one.value, words, look.colour, None, look, half))
        marks += _left_out(axes, left_out)
    axes.set_xlabel("Time [d]")
    kind = "Methane with blank" if results.gross else "Net methane"
    axes.set_ylabel(f"{kind} [{yields[0].unit}]")
    finish(axes, marks)
    return axes


def _net_of(results: Results, series: str) -> tuple[dict[str, Curve], dict[str, Curve]]:
    """Return the net curves of a series by jar: counted ones, and those left out."""
    return _sorted_out(
        (jar, from_nought(*results.curves.of(index)))
        for index, jar in enumerate(results.trial.jars)
        if jar.series == series and np.any(results.curves.jar == index)
    )


def _sorted_out(
    curves: Iterable[tuple[Jar, Curve]],
) -> tuple[dict[str, Curve], dict[str, Curve]]:
    counted: dict[str, Curve] = {}
    left_out: dict[str, Curve] = {}
    for jar, curve in curves:
        (counted if jar.counted else left_out)[jar.name] = curve
    return counted, left_out


def _left_out(axes: Axes, curves: dict[str, Curve]) -> list[Mark]:
    """Draw jars that do not count, dotted and grey, and return what labels them."""
    plot_curves(
        axes, curves.values(), color=FAINT, linewidth=1.0, linestyle=DOTTED, label="left out"
    )
    return [
        Mark(float(value[-1]), (*in_lines(name, most=1), "left out"), FAINT, float(time_d[-1]))
        for name, (time_d, value) in curves.items()
    ]


def _mean_and_model(axes: Axes, results: Results, one: MaterialYield, look: SeriesStyle) -> None:
    time_d, mean = mean_curve(results, one)
    fit = results.fits.get(one.series)
    model = fit.choice.model if fit else None
    curve = fit.models[model].curve if fit and model else None
    some = np.unique(np.linspace(1, time_d.size - 1, MARKERS).round().astype(int))
    shown = some if time_d.size > 2 * MARKERS else np.arange(1, time_d.size)
    axes.plot(
        time_d[shown], mean[shown], look.marker, color=look.colour, markersize=4.2,
        markeredgewidth=0.0, label=f"{one.series}, mean",
    )  # fmt: skip
    label = f"{one.series}, mean"
    if model and curve:
        time_d = np.linspace(0.0, one.time_d, 120)
        mean, label = fitted_curve(model, curve, time_d), f"{one.series}, {model}"
    axes.plot(time_d, mean, color=look.colour, linewidth=1.7, linestyle=look.line, label=label)


def raw_methane(axes: Axes, results: Results) -> Axes:
    """Draw the methane of every jar as it came, nothing taken off, the blanks beside it."""
    marks = []
    for one in results.yields:
        look = series_look(results, one.series)
        counted, left_out = _raw_of(results, one.series, ("substrate", "control"))
        plot_curves(
            axes, counted.values(), color=look.colour, linewidth=1.1, linestyle=look.line,
            label=one.series,
        )  # fmt: skip
        marks += [*_at_end(counted, one.series, look.colour), *_left_out(axes, left_out)]
    for inoculum in dict.fromkeys(j.series for j in results.trial.jars if j.role == "blank"):
        counted, left_out = _raw_of(results, inoculum, ("blank",))
        name = f"blank: {inoculum}"
        plot_curves(axes, counted.values(), color=INK, linewidth=1.4, linestyle=DOTTED, label=name)
        marks += [*_at_end(counted, name, INK), *_left_out(axes, left_out)]
    axes.set_xlabel("Time [d]")
    axes.set_ylabel("Methane of the whole jar [NmL CH4]")
    finish(axes, marks)
    return axes


def _raw_of(
    results: Results, series: str, roles: tuple[str, ...]
) -> tuple[dict[str, Curve], dict[str, Curve]]:
    """Return raw curves by jar: counted ones, and those left out."""
    gas = results.gas
    known = np.isfinite(gas.methane_NmL)
    here = {
        index: (gas.jar == index) & known
        for index, jar in enumerate(results.trial.jars)
        if jar.series == series and jar.role in roles
    }
    return _sorted_out(
        (results.trial.jars[index], from_nought(gas.time_d[mark], gas.methane_NmL[mark]))
        for index, mark in here.items()
        if mark.any()
    )


def _at_end(curves: dict[str, Curve], name: str, colour: str) -> list[Mark]:
    """Return what labels a bundle of curves at its end."""
    if not curves:
        return []
    ends = [value[-1] for _, value in curves.values()]
    return [Mark(float(np.mean(ends)), tuple(in_lines(name)), colour)]
