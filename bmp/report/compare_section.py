"""What the comparison says on a page: the content of its section, and the records of its JSON."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

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
from bmp.compare.words import rounded
from bmp.report.compare_figures import base_figure_names, repeated_figure_name


def comparison_content(found: TrialComparisons, trial: str = "") -> Mapping[str, Any]:
    """Return what the section of one trial shows; `trial` names it in each sentence."""
    family = found.first
    if family is None:
        return {"why_none": found.why_none}
    head = f"In {trial}: " if trial else ""
    return {
        "why_none": "",
        "question": _question(found),
        "yield_words": [head + sentence(c) for c in family.comparisons],
        "method": family.why,
        "bases": [b.words.format(bucket_L=found.bucket_L) for b in BASES.values()],
        "base_rows": [
            {"pair": f"{b.a.name} against {b.b.name}", "cells": _base_cells(b.by_basis)}
            for b in found.all_bases
        ],
        "base_words": [head + bases_sentence(b) for b in found.all_bases],
        "base_figures": list(base_figure_names(found)),
        "kinetic_words": [
            head + sentence(c) for f in (found.kinetics or {}).values() for c in f.comparisons
        ],
        "mixture_words": [head + mixture_sentence(c) for c in found.mixtures],
        "school": school_table(found.feeds, family, found.basis, found.bucket_L),
    }


def across_content(found: TrialsCompared) -> Mapping[str, Any]:
    """Return what the page shows of several trials together."""
    bridge = [inocula_sentence(one) for one in found.inocula]
    if found.control is not None:
        bridge.insert(0, trials_sentence(found.control))
    return {
        "words": [sentence(c) for c in found.family.comparisons]
        or ["Every pair of feeds stands in one trial together, and is told there."],
        "method": found.family.why,
        "bridge": bridge or ["There is neither a common control nor a measured blank."],
        "repeated": [
            (repeated_figure_name(index), trials_sentence(one))
            for index, one in enumerate(found.repeated)
        ],
    }


def trial_record(found: TrialComparisons, name: str) -> dict[str, Any]:
    """Return one trial's comparisons as `comparison.json` holds them."""
    return {
        "trial": name,
        "against": found.against,
        "why_none": found.why_none or None,
        "chosen": found.first.why if found.first else None,
        "comparisons": [as_record(c) for c in found.records],
    }


def across_record(found: TrialsCompared) -> dict[str, Any]:
    """Return what several trials say together as `comparison.json` holds it."""
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


def _question(found: TrialComparisons) -> str:
    if found.against is not None:
        return f"Every other feed is set against {found.against}."
    return "Every feed is set against every other."


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
