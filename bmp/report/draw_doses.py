"""One feed at several doses: final and early yield over the dose."""

from __future__ import annotations

from matplotlib.axes import Axes

from bmp.judge.diagnosis import DoseSeries
from bmp.report.curve_ends import Mark, finish
from bmp.report.labels import in_lines
from bmp.report.series_style import LOOKS


def doses(axes: Axes, series: DoseSeries) -> Axes:
    """Draw the yield at the end and the early one over the dose.

    Parameters
    ----------
    axes : matplotlib.axes.Axes
    series : DoseSeries
    """
    amounts = [one.dose for one in series.doses]
    lines = (
        ("at the end", [one.final_yield for one in series.doses], LOOKS[0]),
        (f"by day {series.early_d:.3g}", [one.early_yield for one in series.doses], LOOKS[1]),
    )
    for words, values, look in lines:
        axes.plot(
            amounts, values, marker=look.marker, color=look.colour, linestyle=look.line,
            linewidth=1.4, markersize=5, label=words,
        )  # fmt: skip
    axes.set_xlabel(f"{in_lines(series.material, most=1)[0]}: feed per inoculum [g VS/g VS]")
    axes.set_ylabel("Net methane [NmL CH4/g VS]")
    finish(axes, [Mark(values[-1], (words,), look.colour) for words, values, look in lines])
    return axes
