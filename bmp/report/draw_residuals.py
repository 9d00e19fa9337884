"""How far the readings lie from the models."""

from __future__ import annotations

from typing import Final

import numpy as np
from matplotlib.axes import Axes

from bmp.fit.results import fitted_curve
from bmp.report.labels import in_lines
from bmp.report.lines import Curve, plot_curves, series_look
from bmp.report.series_style import INK
from bmp.results import Results

BAND: Final = 3.0
"""From the middle of one series' band to the next, in half widths of a band."""


def residuals(axes: Axes, results: Results) -> Axes:
    """Draw each jar's readings less the model fitted to it, a band a series, in % of the yield.

    The yield is the largest that any jar of the series shows, so that a yield near nought does
    not blow the band up.
    """
    bands = {name: curves for name in results.fits if (curves := residuals_of(results, name))}
    half = _next_round(max(np.abs(y).max() for curves in bands.values() for _, y in curves))
    ticks: list[float] = []
    for number, (name, curves) in enumerate(bands.items()):
        middle = -BAND * number
        axes.axhline(middle, color=INK, linewidth=0.6, label="_zero")
        moved = [(time_d, middle + away / half) for time_d, away in curves]
        plot_curves(axes, moved, color=series_look(results, name).colour, linewidth=0.9, label=name)
        words = f"{in_lines(name, 22, 1)[0]}: {results.fits[name].choice.model}"
        axes.text(
            1.0, middle + 1.05, words, transform=axes.get_yaxis_transform(), ha="right",
            va="bottom",
        )  # fmt: skip
        ticks += [middle - 1.0, middle, middle + 1.0]
    axes.set_yticks(ticks, [f"−{half:g}", "0", f"+{half:g}"] * len(bands))
    axes.set_ylim(-BAND * (len(bands) - 1) - 1.2, 2.0)
    axes.set_xlim(left=0.0)
    axes.set_xlabel("Time [d]")
    axes.set_ylabel("Residual [% of yield]")
    return axes


def residuals_of(results: Results, series: str) -> list[Curve]:
    """Return the residuals of the jars of a series against its chosen model [% of the yield]."""
    fit = results.fits[series]
    model = fit.choice.model
    if model is None:
        return []
    jars = next(one.jars for one in results.yields if one.series == series)
    size = max(float(np.abs(results.curves.of(jar)[1]).max()) for jar in jars) or 1.0
    curves = []
    for jar, jar_fit in zip(jars, fit.models[model].jars, strict=True):
        time_d, net = results.curves.of(jar)
        line = fitted_curve(model, jar_fit.curve, time_d)
        if line.size:
            curves.append((time_d, 100.0 * (net - line) / size))
    return curves


def _next_round(value: float) -> float:
    """Return the next of 1, 2, 5, 10, 20 … not below a value."""
    if value <= 0.0:
        return 1.0
    ten = 10.0 ** np.floor(np.log10(value))
    return float(next(step * ten for step in (1.0, 2.0, 5.0, 10.0) if step * ten >= value))
