"""The comparison of one or several trials as a page and JSON of its own."""

from __future__ import annotations

import io
import json
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

from bmp.compare import TrialsCompared
from bmp.compare.within_trial import TrialComparisons
from bmp.compare.words import number
from bmp.report.compare_figures import comparison_figures, trials_figures
from bmp.report.compare_section import (
    across_content,
    across_record,
    comparison_content,
    trial_record,
)
from bmp.report.results_json import plain

if TYPE_CHECKING:
    from matplotlib.figure import Figure

COMPARISON_FORMAT = "bmp-comparison-1"


def comparison_page(
    trials: Sequence[TrialComparisons],
    names: Sequence[str],
    across: TrialsCompared | None,
    units: Sequence[str] = (),
) -> str:
    """Return the page of one or several trials, self-contained.

    Parameters
    ----------
    trials : sequence of TrialComparisons
    names : sequence of str
        What each trial is called.
    across : TrialsCompared or None
        What the trials say together; `None` with a single one.
    units : sequence of str
        Those that are wanted beside the SI ones; pictures show them in their place.
    """
    from bmp.report.page import environment
    from bmp.report.page_beside import page_beside

    sections = [
        {
            "key": f"trial-{index}",
            "name": name,
            "content": comparison_content(found),
            "figures": _inline(comparison_figures, found, f"trial-{index}-", units),
        }
        for index, (found, name) in enumerate(zip(trials, names, strict=True))
    ]
    title = f"Comparison of {number(len(names))} trials" if across else f"Comparison: {names[0]}"
    page = str(
        environment()
        .get_template("comparisons.html")
        .render(
            title=title,
            sections=sections,
            across=across_content(across) if across else None,
            figures=_inline(trials_figures, across, "", units) if across else {},
        )
    )
    return page_beside(page, units)


def comparison_text(
    trials: Sequence[TrialComparisons], names: Sequence[str], across: TrialsCompared | None
) -> str:
    """Return `comparison.json`: numbers at full precision, what is not known is null."""
    record = {
        "format": COMPARISON_FORMAT,
        "reference": {"temperature_C": 0.0, "pressure_kPa": 101.325, "gas": "dry"},
        "trials": [trial_record(one, name) for one, name in zip(trials, names, strict=True)],
        "across": None if across is None else across_record(across),
    }
    return json.dumps(plain(record), indent=1, ensure_ascii=False, allow_nan=False) + "\n"


def _inline(draw: Any, found: Any, prefix: str, units: Sequence[str]) -> Mapping[str, Any]:
    """Return figures as inline SVG by name, the names inside them kept apart by the prefix."""
    import matplotlib as mpl

    from bmp.report.axes_in import axes_in
    from bmp.report.page import inline_svg
    from bmp.report.series_style import STYLE

    style: Any = STYLE
    with mpl.rc_context(style):
        drawn: Mapping[str, Figure] = draw(found)
        axes_in(drawn.values(), units)
        return {
            name: inline_svg(prefix + name, _svg_text(figure)) for name, figure in drawn.items()
        }


def _svg_text(figure: Figure) -> str:
    text = io.StringIO()
    figure.savefig(text, format="svg", metadata={"Date": None, "Creator": None})
    return text.getvalue()
