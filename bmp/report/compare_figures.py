"""Figures of a comparison: intervals first, every jar shown, readable in grey.

Every function draws on axes that it is given and returns them.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import partial
from typing import TYPE_CHECKING

from bmp.compare import (
    BASES,
    QUANTITIES,
    AllBases,
    Comparison,
    Feed,
    OverTrials,
    TrialsCompared,
    mean_of,
)
from bmp.compare.within_trial import TrialComparisons
from bmp.report.base_figures import base_figure_names, repeated_figure_name
from bmp.report.labels import breadth, in_lines
from bmp.report.series_style import FAINT, INK, WIDTH_IN

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

ROW_HEIGHT_INCH = 0.46
BOTTOM_INCH = 0.56
# Of a letter of usual breadth at the size of the rows' names.
CHARACTER_INCH = 0.0885
BAND_ALPHA = 0.4
LONGEST_NAME = 15
LONGEST_BASIS = 19
LONGEST_WITH_TRIAL = 20
MOST_PAIRS_DRAWN = 15
"""More rows than these are no picture but a list: the ranking and the workbook have them."""


def comparison_figures(found: TrialComparisons) -> dict[str, Figure]:
    """Return the figures of one trial's comparisons by name, in the order of the page."""
    family = found.first
    if family is None:
        return {}
    drawn = {
        "comparison-means": _figure(
            len(found.feeds),
            lambda ax: draw_means(ax, found.feeds, "yield", found.basis, found.bucket_L),
        )
    }
    if len(family.comparisons) > MOST_PAIRS_DRAWN:
        return drawn
    drawn["comparison-differences"] = _figure(
        len(family.comparisons), lambda ax: draw_differences(ax, family.comparisons)
    )
    for name, pair in base_figure_names(found).items():
        drawn[name] = _figure(len(pair.by_basis), partial(draw_bases, found=pair))
    return drawn


def trials_figures(found: TrialsCompared) -> dict[str, Figure]:
    """Return the figures of several trials together by name."""
    some = [c for c in found.family.comparisons if c.difference.value is not None]
    names = [f"{_with_trial(c.a, c.trial_a)}\nagainst {_with_trial(c.b, c.trial_b)}" for c in some]
    drawn = {}
    if some:
        drawn["across"] = _figure(len(some), lambda ax: draw_differences(ax, some, names))
    for index, one in enumerate(found.repeated):
        drawn[repeated_figure_name(index)] = _figure(
            len(one.trials) + 1, partial(draw_over_trials, found=one)
        )
    return drawn


def _figure(rows: int, draw: Callable[[Axes], Axes]) -> Figure:
    import matplotlib as mpl
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    from bmp.report.series_style import STYLE

    with mpl.rc_context(STYLE):
        figure = Figure(figsize=(WIDTH_IN, height_inch(rows)))
        FigureCanvasAgg(figure)
        axes = draw(figure.add_subplot())
        # room by the texts' lengths: measuring them would take longer than drawing
        names = [line for text in axes.get_yticklabels() for line in text.get_text().split("\n")]
        left = 0.2 + CHARACTER_INCH * max(map(breadth, names), default=0)
        legend = axes.get_legend()
        rows_above = legend is not None and len(legend.get_texts()) > 1
        top = 0.38 + 0.22 * rows_above + 0.3 * bool(axes.get_title(loc="right"))
        height = BOTTOM_INCH + ROW_HEIGHT_INCH * rows + top
        figure.set_figheight(height)
        figure.subplots_adjust(
            left=left / WIDTH_IN,
            right=1.0 - 0.15 / WIDTH_IN,
            bottom=BOTTOM_INCH / height,
            top=1.0 - top / height,
        )
    return figure


def height_inch(rows: int) -> float:
    """Return a figure height that gives every row of an interval figure its room."""
    return 1.2 + ROW_HEIGHT_INCH * rows


def draw_means(
    ax: Axes,
    feeds: Sequence[Feed],
    quantity: str = "yield",
    basis: str = "VS",
    bucket_L: float = 10.0,
) -> Axes:
    """Draw each feed's jars as open circles, its mean and its 95 % interval."""
    for row, feed in enumerate(feeds):
        mean = mean_of(feed, quantity, basis, bucket_L)
        if mean.value is None:
            _note(ax, row, mean.why)
            continue
        jars = feed.values[quantity]
        own = sum(v for v in jars if v is not None) / len(jars)
        scale = mean.value / own if own else 1.0
        ax.plot(
            [v * scale for v in jars if v is not None],
            [row - 0.2] * len(jars),
            "o",
            color="none",
            markeredgecolor=INK,
            markersize=5,
        )
        _interval(ax, row, mean.value, mean.ci95, filled=mean.ci95 is not None)
    _rows(ax, [_short(f.name) for f in feeds])
    unit = mean_of(feeds[0], quantity, basis, bucket_L).unit
    ax.set_xlabel(f"{_noun(quantity).capitalize()} [{unit}]", loc="right")
    ax.plot([], [], "o", color="none", markeredgecolor=INK, markersize=5, label="one jar")
    ax.legend(loc="lower left", bbox_to_anchor=(0, 1), frameon=False)
    return ax


def draw_differences(
    ax: Axes, comparisons: Sequence[Comparison], labels: Sequence[str] | None = None
) -> Axes:
    """Draw each comparison's interval against the line of no difference.

    The grey band of a row is what would not have shown with that many jars; a filled mark is a
    difference that is more than noise, an open one is not, a cross has no verdict.

    Parameters
    ----------
    ax : Axes
    comparisons : sequence of Comparison
        All of one quantity; in per cent of `b` where the quantity is told in per cent.
    labels : sequence of str, optional
        Names of the rows; default: both feeds.
    """
    names = (
        list(labels) if labels else [f"{_short(c.a)}\nagainst {_short(c.b)}" for c in comparisons]
    )
    in_percent = QUANTITIES[comparisons[0].quantity].by_ratio
    for row, c in enumerate(comparisons):
        _draw_difference(ax, row, c, in_percent)
    ax.axvline(0, color=INK, linewidth=1)
    _rows(ax, names)
    unit = "% of the second" if in_percent else comparisons[0].unit
    ax.set_xlabel(f"Difference in {_noun(comparisons[0].quantity)} [{unit}]", loc="right")
    _difference_legend(ax)
    return ax


def draw_bases(ax: Axes, found: AllBases) -> Axes:
    """Draw one pair on every basis: where the marks change sides, the winner changes."""
    words = [BASES[c.basis].words.format(bucket_L=c.bucket_L) for c in found.by_basis]
    names = ["\n".join(in_lines(one, LONGEST_BASIS, 2)) for one in words]
    draw_differences(ax, found.by_basis, names)
    ax.set_title(f"{_short(found.a.name)} against {_short(found.b.name)}", loc="right", pad=46)
    return ax


def draw_over_trials(ax: Axes, found: OverTrials) -> Axes:
    """Draw one feed's trials with their intervals, their mean, and what one more trial may give."""
    for row, value in enumerate(found.values):
        if value.value is not None:
            _interval(ax, row, value.value, value.ci95, filled=True)
    last = len(found.values)
    mean, expected = found.mean, found.next_trial.ci95
    if mean.value is not None:
        if expected is not None and expected[0] is not None and expected[1] is not None:
            ends = [expected[0], expected[1]]
            ax.plot(ends, [last, last], ":", color=INK, linewidth=1.5, label="one more trial")
        _interval(ax, last, mean.value, mean.ci95, filled=True, mark="D")
    _rows(ax, [*map(_short, found.trials), "mean of the trials"])
    ax.axhline(last - 0.5, color=FAINT, linewidth=0.8)
    scale = " on the scale of the control" if found.relative_to_control else ""
    ax.set_xlabel(f"Yield of {_short(found.feed)}{scale} [{mean.unit}]", loc="right")
    ax.legend(loc="lower left", bbox_to_anchor=(0, 1), frameon=False)
    return ax


def _draw_difference(ax: Axes, row: int, c: Comparison, in_percent: bool) -> None:
    estimate = c.ratio if in_percent else c.difference
    if estimate.value is None:
        _note(ax, row, estimate.why)
        return
    value, ends = estimate.value, estimate.ci95
    band = c.detectable
    if in_percent:
        value = 100 * (value - 1)
        ends = None if ends is None else (_percent(ends[0]), _percent(ends[1]))
        band = 100 * band / c.mean_b if band is not None and c.mean_b else None
    if band is not None:
        ax.barh(row, 2 * band, left=-band, height=0.62, color=FAINT, alpha=BAND_ALPHA, zorder=0)
    mark = "x" if c.verdict == "no verdict" else "o"
    _interval(ax, row, value, ends, filled=c.verdict in ("more", "less"), mark=mark)


def _percent(ratio: float | None) -> float | None:
    return None if ratio is None else 100 * (ratio - 1)


def _interval(
    ax: Axes,
    row: int,
    value: float,
    ends: tuple[float | None, float | None] | None,
    filled: bool,
    mark: str = "o",
) -> None:
    if ends is not None and ends[0] is not None and ends[1] is not None:
        ax.plot([ends[0], ends[1]], [row, row], "-|", color=INK, linewidth=1.8, markersize=9)
    ax.plot(
        value,
        row,
        mark,
        markersize=7,
        markerfacecolor=INK if filled else "white",
        markeredgecolor=INK,
        markeredgewidth=1.4,
    )


def _rows(ax: Axes, names: Sequence[str]) -> None:
    ax.set_yticks(range(len(names)), names)
    ax.set_ylim(len(names) - 0.5, -0.5)
    ax.tick_params(axis="y", length=0)
    ax.grid(axis="x", color=FAINT, alpha=0.4, linewidth=0.6)
    ax.set_axisbelow(True)
    for side in ("top", "right", "left"):
        ax.spines[side].set_visible(False)


def _note(ax: Axes, row: int, why: str) -> None:
    """Write in the row why it is empty."""
    words = in_lines(why, 25, 4)
    ax.text(
        0.01,
        row,
        "\n".join(words),
        transform=ax.get_yaxis_transform(),
        va="center",
        linespacing=1.0,
    )


def _short(name: str) -> str:
    """Return a name that fits beside a row."""
    return in_lines(name, LONGEST_NAME, 1)[0]


def _with_trial(feed: str, trial: str) -> str:
    return in_lines(f"{feed} ({trial})", LONGEST_WITH_TRIAL, 1)[0]


def _noun(quantity: str) -> str:
    return QUANTITIES[quantity].noun.removeprefix("the ")


def _difference_legend(ax: Axes) -> None:
    from matplotlib.lines import Line2D
    from matplotlib.patches import Patch

    def mark(shape: str, fill: str) -> Line2D:
        return Line2D([], [], linestyle="", marker=shape, markerfacecolor=fill, markeredgecolor=INK)

    ax.legend(
        [mark("o", INK), mark("o", "white"), mark("x", INK), Patch(color=FAINT, alpha=BAND_ALPHA)],
        ["more than noise", "not shown", "no verdict", "too small to show"],
        # from the right: with long names beside the rows it reaches over them
        loc="lower right",
        bbox_to_anchor=(1, 1),
        ncols=2,
        frameon=False,
        handletextpad=0.3,
        columnspacing=1.0,
    )
