"""The comparison as a section of the report, and as a page and JSON of its own."""

from __future__ import annotations

import io
import json
from collections.abc import Sequence
from importlib.resources import files
from typing import TYPE_CHECKING, Any

from bmp.compare import (
    BASES,
    Comparison,
    OverTrials,
    TrialsCompared,
    as_record,
    bases_sentence,
    inocula_sentence,
    mixture_sentence,
    school_table,
    sentence,
    trials_sentence,
)
from bmp.compare.whole import TrialComparisons
from bmp.compare.words import number, rounded
from bmp.report.compare_figures import (
    draw_bases,
    draw_differences,
    draw_means,
    draw_over_trials,
    height_inch,
)

if TYPE_CHECKING:
    from collections.abc import Callable

    from matplotlib.axes import Axes

COMPARISON_FORMAT = "bmp-comparison-1"
MOST_BASE_FIGURES = 3
WIDTH_INCH = 7.5


def comparison_section(
    found: TrialComparisons, heading: str = "Which feed is better", key: str = "trial"
) -> str:
    """Return one trial's comparisons as an HTML section with its figures inside.

    Parameters
    ----------
    found : TrialComparisons
    heading : str
    key : str
        Keeps the names inside the figures apart where a page holds several sections.
    """
    template = _environment().get_template("comparison_section.html")
    family = found.first
    if family is None:
        return str(template.render(heading=heading, why_none=found.why_none))
    return str(
        template.render(
            heading=heading,
            why_none="",
            question=_question(found),
            figures=_section_figures(found, key),
            yield_words=[sentence(c) for c in family.comparisons],
            method=family.why,
            bases=[b.words.format(bucket_L=found.bucket_L) for b in BASES.values()],
            base_rows=[
                {"pair": f"{b.a.name} against {b.b.name}", "cells": _base_cells(b.by_basis)}
                for b in found.all_bases
            ],
            base_words=[bases_sentence(b) for b in found.all_bases],
            kinetic_words=_kinetic_words(found),
            mixture_words=[mixture_sentence(c) for c in found.mixtures],
            school=school_table(found.feeds, family, found.basis, found.bucket_L),
        )
    )


def comparison_page(
    trials: Sequence[TrialComparisons], names: Sequence[str], across: TrialsCompared | None
) -> str:
    """Return the page of one or several trials, self-contained.

    Parameters
    ----------
    trials : sequence of TrialComparisons
    names : sequence of str
        What each trial is called.
    across : TrialsCompared or None
        What the trials say together; `None` with a single one.
    """
    sections = [
        comparison_section(found, f"{name}: which feed is better", f"trial{index}")
        for index, (found, name) in enumerate(zip(trials, names, strict=True))
    ]
    title = f"Comparison of {number(len(names))} trials" if across else f"Comparison: {names[0]}"
    return str(
        _environment()
        .get_template("comparison.html")
        .render(title=title, sections=sections, across=_across(across) if across else None)
    )


def comparison_text(
    trials: Sequence[TrialComparisons], names: Sequence[str], across: TrialsCompared | None
) -> str:
    """Return `comparison.json`: numbers at full precision, what is not known is null."""
    record = {
        "format": COMPARISON_FORMAT,
        "reference": {"temperature_C": 0.0, "pressure_kPa": 101.325, "gas": "dry"},
        "trials": [
            {
                "trial": name,
                "against": found.against,
                "why_none": found.why_none or None,
                "chosen": found.first.why if found.first else None,
                "comparisons": [as_record(c) for c in found.records],
            }
            for found, name in zip(trials, names, strict=True)
        ],
        "across": None if across is None else _across_record(across),
    }
    return json.dumps(record, indent=1, ensure_ascii=False, allow_nan=False) + "\n"


def _environment() -> Any:
    from jinja2 import DictLoader, Environment, StrictUndefined

    texts = {
        file.name: file.read_text(encoding="utf-8")
        for file in files("bmp.report").joinpath("templates").iterdir()
        if file.name.startswith("comparison")
    }
    return Environment(loader=DictLoader(texts), autoescape=True, undefined=StrictUndefined)


def _question(found: TrialComparisons) -> str:
    if found.against is not None:
        return f"Every other feed is set against {found.against}."
    return "Every feed is set against every other."


def _kinetic_words(found: TrialComparisons) -> list[str]:
    families = (found.kinetics or {}).values()
    return [sentence(c) for family in families for c in family.comparisons]


def _base_cells(by_basis: Sequence[Comparison]) -> list[str]:
    ordered = {c.basis: c for c in by_basis}
    return [_base_cell(ordered[basis]) for basis in BASES]


def _base_cell(c: Comparison) -> str:
    if c.difference.value is None:
        return "not known"
    if c.ratio.value is None or c.ratio.value <= 0:
        return f"{rounded(c.difference.value, 3)} {c.unit}"
    ahead = c.a if c.ratio.value >= 1 else c.b
    ratio = max(c.ratio.value, 1 / c.ratio.value)
    note = {"not shown": " (not shown)", "no verdict": " (no verdict)"}.get(c.verdict, "")
    return f"{ahead} by {rounded(100 * (ratio - 1))} %{note}"


def _section_figures(found: TrialComparisons, key: str) -> dict[str, Any]:
    family = found.first
    assert family is not None
    changing = [b for b in found.all_bases if b.order_changes][:MOST_BASE_FIGURES]
    return {
        "means": _svg(
            lambda ax: draw_means(ax, found.feeds, "yield", found.basis, found.bucket_L),
            len(found.feeds),
            f"{key}-means",
            "Mean yield of each feed with its interval and every jar",
        ),
        "differences": _svg(
            lambda ax: draw_differences(ax, family.comparisons),
            len(family.comparisons),
            f"{key}-differences",
            "Difference of each pair of feeds with its interval",
        ),
        "bases": [
            _svg(
                lambda ax, pair=pair: draw_bases(ax, pair),  # type: ignore[misc]
                len(pair.by_basis),
                f"{key}-bases{index}",
                f"{pair.a.name} against {pair.b.name} on every basis",
            )
            for index, pair in enumerate(changing)
        ],
    }


def _across(found: TrialsCompared) -> dict[str, Any]:
    apart = found.family.comparisons
    drawn = [c for c in apart if c.difference.value is not None]
    names = [f"{c.a} ({c.trial_a})\nagainst {c.b} ({c.trial_b})" for c in drawn]
    bridge = [inocula_sentence(one) for one in found.inocula]
    if found.control is not None:
        bridge.insert(0, trials_sentence(found.control))
    return {
        "figure": _svg(
            lambda ax: draw_differences(ax, drawn, names),
            len(drawn),
            "across",
            "Difference of feeds of different trials with its interval",
        )
        if drawn
        else "",
        "words": [sentence(c) for c in apart]
        or ["No two feeds stand in different trials only: each pair is told in its own trial."],
        "method": found.family.why,
        "bridge": bridge or ["There is neither a common control nor a measured blank."],
        "repeated": [trials_sentence(one) for one in found.repeated],
        "repeated_figures": [_trials_figure(one, i) for i, one in enumerate(found.repeated)],
    }


def _trials_figure(one: OverTrials, index: int) -> str:
    return _svg(
        lambda ax: draw_over_trials(ax, one),
        len(one.trials) + 1,
        f"repeated{index}",
        f"{one.feed} in each trial, and the mean of the trials",
    )


def _across_record(found: TrialsCompared) -> dict[str, Any]:
    return {
        "chosen": found.family.why,
        "comparisons": [as_record(c) for c in found.family.comparisons],
        "repeated": [_over_trials_record(one) for one in found.repeated],
        "control": None if found.control is None else _over_trials_record(found.control),
        "inocula": [
            {
                "a": one.trial_a,
                "b": one.trial_b,
                "ratio": one.ratio.to_dict(),
                "alike": one.alike,
                "words": inocula_sentence(one),
            }
            for one in found.inocula
        ],
    }


def _over_trials_record(one: OverTrials) -> dict[str, Any]:
    return {
        "feed": one.feed,
        "trials": list(one.trials),
        "relative_to_control": one.relative_to_control,
        "values": [value.to_dict() for value in one.values],
        "mean": one.mean.to_dict(),
        "between_sd": one.between_sd.to_dict(),
        "next_trial": one.next_trial.to_dict(),
        "words": trials_sentence(one),
    }


def _svg(draw: Callable[[Axes], Axes], rows: int, key: str, label: str) -> str:
    """Return one figure as an inline SVG whose inner names begin with its key."""
    from html import escape

    from matplotlib import rc_context
    from matplotlib.figure import Figure

    with rc_context({"svg.hashsalt": key, "font.size": 10}):
        figure = Figure(figsize=(WIDTH_INCH, height_inch(rows)), layout="constrained")
        draw(figure.add_subplot())
        out = io.StringIO()
        figure.savefig(out, format="svg", metadata={"Date": None, "Creator": None})
    text = out.getvalue()
    body = text[text.index("<svg ") :]
    for mark in ('id="', "url(#", 'href="#'):
        body = body.replace(mark, f"{mark}{key}-")
    return body.replace("<svg ", f'<svg role="img" aria-label="{escape(label, quote=True)}" ', 1)
