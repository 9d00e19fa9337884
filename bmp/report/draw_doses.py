"""One feed at several doses: final and early yield over the dose."""

from __future__ import annotations

from matplotlib.axes import Axes

from bmp.judge.diagnosis import DoseSeries
from bmp.report.looks import INK, LOOKS


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
        axes.annotate(
            words, (amounts[-1], values[-1]), xytext=(6, 0), textcoords="offset points",
            color=look.colour, va="center", annotation_clip=False,
        )  # fmt: skip
    every = [value for _, values, _ in lines for value in values]
    axes.set_ylim(min(0.0, *every) * 1.1, max(every) * 1.1)
    axes.set_xlim(0.0, None)
    axes.axhline(0.0, color=INK, linewidth=0.6, label="_zero")
    axes.set_xlabel(f"{series.material}: feed per inoculum [g VS/g VS]")
    axes.set_ylabel("Net methane [NmL CH4/g VS]")
    return axes
