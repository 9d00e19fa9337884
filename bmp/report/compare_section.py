"""What the comparison says on a page: the content of its section, and the records of its JSON."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any, Final

from bmp.compare import (
    BASES,
    QUANTITIES,
    AllBases,
    Comparison,
    OverTrials,
    TrialsCompared,
    as_record,
    borrowed_sentences,
    inocula_sentence,
    mixture_sentence,
    sentence,
    trials_sentence,
)
from bmp.compare.within_trial import TrialComparisons
from bmp.compare.words import rounded
from bmp.report.base_figures import base_figure_names, repeated_figure_name
from bmp.report.ranking import ranked
from bmp.report.rounding import MINUS, short, signed_change

MOST_FEEDS_IN_PAIRS: Final = 6
"""With more feeds than this the page ranks them; the pairs are in the workbook."""
SPEED: Final = {"rate constant": "first-order rate", "t90": "time to 90 % of the yield (t90)"}
"""Quantities that the page compares besides the yield; the workbook has all."""


def comparison_content(found: TrialComparisons) -> Mapping[str, Any]:
    """Return what the section of one trial shows."""
    family = found.first
    if family is None:
        return {"why_none": found.why_none, "equal_jars": found.equal_jars}
    kinetic = found.kinetics or {}
    return {
        "why_none": "",
        "question": _question(found),
        "ranking": ranked(found) if len(found.feeds) > MOST_FEEDS_IN_PAIRS else None,
        "method": family.why,
        "bases": [b.words.format(bucket_L=found.bucket_L) for b in BASES.values()],
        "base_rows": [
            {"pair": _pair(pair.a.name, pair.b.name), "cells": _base_cells(pair.by_basis)}
            for pair in found.all_bases
        ],
        "base_words": [why_order_changes(b) for b in found.all_bases if b.order_changes],
        "base_figures": list(base_figure_names(found)),
        "speed_columns": [words for name, words in SPEED.items() if name in kinetic],
        "speed_rows": [
            {"pair": _pair(row[0].a, row[0].b), "cells": [_speed_cell(c) for c in row]}
            for row in zip(
                *(kinetic[name].comparisons for name in SPEED if name in kinetic), strict=True
            )
        ],
        "borrowed_words": _borrowed_words(found),
        "mixture_words": [mixture_sentence(c) for c in found.mixtures],
    }


def _borrowed_words(found: TrialComparisons) -> Sequence[str]:
    lent = found.borrowed
    if lent is None or lent.first is None or len(found.feeds) > MOST_FEEDS_IN_PAIRS:
        return ()
    return borrowed_sentences(lent.first.comparisons)


def _pair(a: str, b: str) -> str:
    return f"{a} compared with {b}"


def across_content(found: TrialsCompared) -> Mapping[str, Any]:
    """Return what the page shows of several trials together."""
    bridge = [inocula_sentence(one) for one in found.inocula]
    if found.control is not None:
        bridge.insert(0, trials_sentence(found.control))
    bridge = [*found.unsound, *bridge]
    return {
        "words": [sentence(c) for c in found.family.comparisons]
        or ["Every pair of feeds is in one trial together, and compared there."],
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
        return f"Every other feed is compared with {found.against}."
    return "Every feed is compared with every other."


def why_order_changes(pair: AllBases) -> str:
    """Say which solids and which weight of a heaped litre turn the order of two feeds."""
    a, b = pair.a, pair.b
    reasons = [
        f"{words} {short(100 * x)} and {short(100 * y)} % of the fresh mass"
        for words, x, y in (("TS (dry matter) is", a.TS, b.TS), ("VS is", a.VS, b.VS))
        if x is not None and y is not None
    ]
    if a.bulk_density_kg_per_L is not None and b.bulk_density_kg_per_L is not None:
        weights = (a.bulk_density_kg_per_L, b.bulk_density_kg_per_L)
        reasons.append(f"a heaped litre weighs {weights[0]:.2f} and {weights[1]:.2f} kg")
    head = f"The order of {a.name} and {b.name} depends on the measure"
    return f"{head}: {'; '.join(reasons)}." if reasons else f"{head}."


def _base_cells(by_basis: Sequence[Comparison]) -> list[str]:
    ordered = {c.basis: c for c in by_basis}
    return [change_cell(ordered[basis]) for basis in BASES]


def change_cell(c: Comparison) -> str:
    """Return a difference in percent of the second feed with its interval, or what is lacking."""
    if c.difference.value is None:
        return "not known"
    if c.ratio.value is None or c.ratio.value <= 0:
        return f"{rounded(c.difference.value, 3)} {c.unit}"
    change = signed_change(c.ratio.value)
    low, high = c.ratio.ci95 or (None, None)
    if low is None or high is None:
        return f"{change} (no interval)"
    note = ", no difference shown" if c.verdict == "not shown" else ""
    return f"{change} ({signed_change(low)} to {signed_change(high)}){note}"


def _speed_cell(c: Comparison) -> str:
    if c.no_verdict or c.difference.value is None:
        return "not determined"
    if QUANTITIES[c.quantity].by_ratio:
        return change_cell(c)
    low, high = c.difference.ci95 or (None, None)
    signed = ["" if x is None else f"{x:+.1f}".replace("-", MINUS) for x in (low, high)]
    value = f"{c.difference.value:+.1f}".replace("-", MINUS)
    span = f" ({signed[0]} to {signed[1]})" if all(signed) else " (no interval)"
    return f"{value} {c.unit}{span}"
