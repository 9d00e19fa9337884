"""Figures: what was drawn, its labels and units."""

import warnings
from collections.abc import Iterator
from itertools import pairwise

import matplotlib
import pytest
from markupsafe import escape
from matplotlib.axes import Axes

matplotlib.use("Agg")
from matplotlib import pyplot as plt

from bmp.compare import compare_all, compare_pair, mean_over_trials
from bmp.report.compare_figures import (
    comparison_figures,
    draw_bases,
    draw_differences,
    draw_means,
    draw_over_trials,
    height_inch,
)
from bmp.report.compare_page import comparison_page
from tests import report_trials
from tests.compare_feeds import GOAT, HAY, HORSE, SCRAPS, feed, on_all_bases


@pytest.fixture
def ax() -> Iterator[Axes]:
    figure, axes = plt.subplots(figsize=(7, height_inch(4)), layout="constrained")
    yield axes
    figure.canvas.draw()
    plt.close(figure)


def whiskers(ax: Axes) -> list[tuple[float, float]]:
    return [
        (float(line.get_xdata()[0]), float(line.get_xdata()[1]))
        for line in ax.lines
        if line.get_marker() == "|"
    ]


def test_means_show_every_jar_and_an_interval_where_there_is_one(ax: Axes) -> None:
    draw_means(ax, [GOAT, HORSE, SCRAPS])
    assert ax.get_xlabel() == "Yield [NmL CH4/g VS]"
    assert [t.get_text() for t in ax.get_yticklabels()] == [
        "goat bedding",
        "horse manure",
        "kitchen scraps",
    ]
    jars = [tuple(line.get_xdata()) for line in ax.lines if line.get_markersize() == 5]
    assert jars[0] == pytest.approx((232.0, 241.0, 236.0))
    assert len(whiskers(ax)) == 2


def test_differences_are_drawn_as_intervals_in_per_cent(ax: Axes) -> None:
    comparisons = compare_all([GOAT, HORSE, SCRAPS]).comparisons
    draw_differences(ax, comparisons)
    assert ax.get_xlabel() == "Difference in yield [% of the second]"
    ends = comparisons[0].ratio.ci95
    assert ends is not None
    assert whiskers(ax) == [pytest.approx(tuple(100 * (end - 1) for end in ends))]
    crosses = [line for line in ax.lines if line.get_marker() == "x"]
    assert len(crosses) == 2
    # The band of what would not have shown, one a judged row, even about zero.
    band = ax.patches[0]
    assert band.get_x() == pytest.approx(-band.get_width() / 2)


def test_a_time_is_drawn_in_days_and_a_gap_says_why(ax: Axes) -> None:
    draw_differences(ax, [compare_pair(GOAT, HORSE, "lag")])
    assert ax.get_xlabel() == "Difference in lag [d]"
    draw_differences(ax, [compare_pair(GOAT, HORSE, "t90")])
    assert "determined in jar goat bedding 2" in " ".join(ax.texts[0].get_text().split())


def test_bases_are_the_rows(ax: Axes) -> None:
    draw_bases(ax, on_all_bases(GOAT, HAY))
    assert ax.get_yticklabels()[-1].get_text().replace("\n", " ") == "per bucket of 10 L"


def test_trials_and_their_mean(ax: Axes) -> None:
    autumn = feed("horse manure", [180.0, 186.0, 190.0], trial="autumn")
    draw_over_trials(ax, mean_over_trials([HORSE, autumn]))
    assert [t.get_text() for t in ax.get_yticklabels()] == [
        "spring",
        "autumn",
        "mean of the trials",
    ]
    assert ax.get_xlabel() == "Yield of horse manure [NmL CH4/g VS]"


@pytest.mark.parametrize("name", report_trials.EVERY)
def test_whatever_the_trial_no_words_leave_the_picture_or_cover_each_other(name: str) -> None:
    found = report_trials.EVERY[name]().comparisons
    for figure in comparison_figures(found).values():
        with warnings.catch_warnings():
            warnings.filterwarnings("ignore", "Glyph .* missing from font")
            figure.canvas.draw()
        (axes,) = figure.axes
        boxes = [t.get_window_extent() for t in (*axes.get_yticklabels(), axes.xaxis.label)]
        for box in boxes:
            assert box.x0 >= 0
            assert box.y0 >= 0
            assert box.x1 <= figure.bbox.x1
        assert not any(a.shrunk(0.98, 0.9).overlaps(b) for a, b in pairwise(boxes[:-1]))
        assert axes.get_window_extent().width > 0.4 * figure.bbox.width


def test_the_page_of_many_feeds_ranks_them():
    results = report_trials.eight()
    page = comparison_page([results.comparisons], ["eight feeds"], None)
    table = page[page.index("<th>Group</th>") :]
    order = sorted(results.yields, key=lambda one: -one.value)
    places = [
        table.index(f"<td>{escape(one.series)}</td>") for one in order if one.role != "control"
    ]
    assert places == sorted(places)
