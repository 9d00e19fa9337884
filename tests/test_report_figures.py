from __future__ import annotations

import re
import warnings
from dataclasses import replace
from pathlib import Path
from xml.etree import ElementTree

import matplotlib as mpl
import numpy as np
import pytest
from matplotlib.figure import Figure
from matplotlib.text import Text

from bmp.fit.results import fitted_curve
from bmp.report.draw_curves import net_curves, raw_methane
from bmp.report.draw_doses import doses
from bmp.report.draw_residuals import residuals
from bmp.report.figures import figures, save_figures
from tests import report_trials as trials


@pytest.fixture(params=trials.EVERY)
def results(request: pytest.FixtureRequest):
    return trials.EVERY[request.param]()


def lines_of(axes, label: str) -> list[np.ndarray]:
    return [np.asarray(line.get_xydata()) for line in axes.get_lines() if line.get_label() == label]


def test_net_curves_draw_jars_mean_model_and_interval() -> None:
    results = trials.plain()
    one = next(one for one in results.yields if one.series == "food waste")
    axes = net_curves(Figure().add_subplot(), results, results.yields)
    (jars,) = lines_of(axes, "food waste, jars")
    ends = jars[np.flatnonzero(np.isnan(jars[:, 0])) - 1]
    np.testing.assert_allclose(ends[:, 1], one.jar_values)
    (mean,) = lines_of(axes, "food waste, mean")
    np.testing.assert_allclose(mean[-1], [one.time_d, one.value])
    model = results.fits["food waste"].choice.model
    (line,) = lines_of(axes, f"food waste, {model}")
    fit = results.fits["food waste"].models[model]
    np.testing.assert_allclose(line[:, 1], fitted_curve(model, fit.curve, line[:, 0]))
    intervals = [(xy[0, 1], xy[-1, 1]) for xy in lines_of(axes, "_interval")]
    np.testing.assert_allclose(intervals, [one.ci95 for one in results.yields])
    assert axes.get_xlabel() == "Time [d]"
    assert axes.get_ylabel() == "Net methane [NmL CH4/g VS]"
    assert "food waste\n460 ± 60" in [text.get_text() for text in axes.texts]


def test_gross_curves_say_so_on_their_axis() -> None:
    results = trials.gross()
    axes = net_curves(Figure().add_subplot(), results, results.yields)
    assert axes.get_ylabel() == "Methane with blank [NmL CH4/g VS]"


def test_without_a_model_the_mean_is_the_line() -> None:
    results = replace(trials.plain(), fits={})
    axes = net_curves(Figure().add_subplot(), results, results.yields)
    _, line = lines_of(axes, "maize silage, mean")
    assert line.shape[0] == 46


def test_jars_left_out_are_drawn_apart_and_labelled() -> None:
    results = trials.hostile()
    axes = net_curves(Figure().add_subplot(), results, [results.yields[-1]])
    (line,) = lines_of(axes, "left out")
    np.testing.assert_allclose(line[:-1, 1][1:], results.curves.of(len(results.trial.jars) - 1)[1])
    assert "S2-3\nleft out" in [text.get_text() for text in axes.texts]


def test_raw_methane_has_every_jar_and_the_blank_beside_it() -> None:
    results = trials.plain()
    axes = raw_methane(Figure().add_subplot(), results)
    (blank,) = lines_of(axes, "blank: digestate")
    ends = blank[np.flatnonzero(np.isnan(blank[:, 0])) - 1, 1]
    gas = results.gas
    of_blanks = [
        gas.methane_NmL[gas.jar == index][-1]
        for index, jar in enumerate(results.trial.jars)
        if jar.role == "blank"
    ]
    np.testing.assert_allclose(ends, of_blanks)
    assert axes.get_ylabel() == "Methane of the whole jar [NmL CH4]"
    assert {text.get_text().replace("\n", " ") for text in axes.texts} == {
        "cellulose", "maize silage", "food waste", "blank: digestate",
    }  # fmt: skip


def test_residuals_are_readings_less_the_jars_own_fit() -> None:
    results = trials.plain()
    axes = residuals(Figure().add_subplot(), results)
    half = float(axes.get_yticklabels()[2].get_text().removeprefix("+"))
    (drawn,) = lines_of(axes, "cellulose")
    one = results.yields[0]
    model = results.fits["cellulose"].choice.model
    time_d, net = results.curves.of(one.jars[0])
    fit = results.fits["cellulose"].models[model].jars[0]
    size = max(np.abs(results.curves.of(jar)[1]).max() for jar in one.jars)
    away = 100.0 * (net - fitted_curve(model, fit.curve, time_d)) / size
    np.testing.assert_allclose(drawn[: away.size, 1] * half, away)
    assert np.nanmax(np.abs(drawn[:, 1])) <= 1.0
    assert axes.get_ylabel() == "Residual [% of yield]"


def test_dose_series_draw_both_yields_over_the_dose() -> None:
    (series,) = trials.judged().doses
    axes = doses(Figure().add_subplot(), series)
    np.testing.assert_array_equal(lines_of(axes, "at the end"), [[[0.25, 340.0], [1.0, 320.0]]])
    np.testing.assert_array_equal(lines_of(axes, "by day 3.5"), [[[0.25, 170.0], [1.0, 80.0]]])
    assert axes.get_xlabel() == "whey: feed per inoculum [g VS/g VS]"
    assert [text.get_text() for text in axes.texts] == ["at the end", "by day 3.5"]


# Pictures whose axes are all numbers; those of comparison and tank have names along one axis and
# are tested beside their own code.
OF_CURVES = ("net-curves", "raw-methane", "dose-series", "residuals")


def curve_figures(results) -> dict[str, Figure]:
    return {name: figure for name, figure in figures(results).items() if name in OF_CURVES}


def test_every_axis_has_a_quantity_and_a_unit(results) -> None:
    drawn = curve_figures(results)
    assert drawn
    for figure in drawn.values():
        for axes in figure.axes:
            for words in (axes.get_xlabel(), axes.get_ylabel()):
                assert re.fullmatch(r"\S.* \[.+\]", words)


def boxes_of(figure: Figure) -> list:
    """Boxes of all words of a figure that are drawn [pixels]."""
    with warnings.catch_warnings():
        warnings.filterwarnings("ignore", "Glyph .* missing from font")
        figure.canvas.draw()
    canvas = figure.canvas.get_renderer()
    words = []
    for axes in figure.axes:
        words += [*axes.texts, axes.xaxis.label, axes.yaxis.label]
        for axis in (axes.xaxis, axes.yaxis):
            low, high = sorted(axis.get_view_interval())
            places = zip(axis.get_majorticklocs(), axis.get_ticklabels(), strict=True)
            words += [label for place, label in places if low <= place <= high]
    return [text.get_window_extent(canvas) for text in words]


def test_no_label_covers_another_or_leaves_the_picture(results) -> None:
    for figure in curve_figures(results).values():
        boxes = boxes_of(figure)
        for index, box in enumerate(boxes):
            assert min(box.x0, box.y0) >= 0.0
            assert box.x1 <= figure.bbox.x1
            assert box.y1 <= figure.bbox.y1
            for other in boxes[:index]:
                assert not box.shrunk(0.98, 0.9).overlaps(other.shrunk(0.98, 0.9))


def test_every_curve_lies_within_its_axes(results) -> None:
    for figure in curve_figures(results).values():
        for axes in figure.axes:
            low, high = axes.get_ylim()
            for line in axes.get_lines():
                y = np.asarray(line.get_ydata(), dtype=float)
                assert np.nanmin(y) >= low
                assert np.nanmax(y) <= high


def test_pictures_are_written_as_png_and_svg(tmp_path: Path) -> None:
    save_figures(figures(trials.many()), tmp_path)
    svg = save_figures(figures(trials.hostile()), tmp_path)
    written = {path.name for path in tmp_path.iterdir()}
    assert written >= {f"{name}.{kind}" for name in svg for kind in ("png", "svg")}
    assert set(svg) >= {"net-curves", "raw-methane", "residuals"}
    for name, text in svg.items():
        assert (tmp_path / f"{name}.svg").read_text(encoding="utf-8") == text
        ElementTree.fromstring(text)
        assert "<script" not in text
        assert (tmp_path / f"{name}.png").read_bytes().startswith(b"\x89PNG")


def test_handed_in_yields_have_no_raw_methane() -> None:
    assert list(curve_figures(trials.handed_in())) == ["net-curves", "residuals"]


def test_drawing_leaves_matplotlib_as_it_was(tmp_path: Path) -> None:
    before = dict(mpl.rcParams)
    save_figures(figures(trials.single()), tmp_path)
    assert dict(mpl.rcParams) == before


TELEPHONE_PX = 371
"""Of 390 px, less the page's margins."""
LEAST_LETTERS_PX = 12


def test_words_can_be_read_at_a_telephones_width(results) -> None:
    for name, figure in figures(results).items():
        scale = TELEPHONE_PX / (72.0 * figure.get_figwidth())
        for words in figure.findobj(Text):
            if words.get_text():
                assert words.get_fontsize() * scale >= LEAST_LETTERS_PX, (name, words.get_text())
