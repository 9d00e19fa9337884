"""Sentences that several places of the report share."""

from __future__ import annotations

from bmp.estimate import Estimate
from bmp.report.rounding import interval_words, with_interval
from bmp.results import Results


def meaning_of_numbers(results: Results) -> str:
    """Return once what the key terms and `±` mean on the page, in a line a pupil understands."""
    words = []
    if any(one.per == "VS" for one in results.yields):
        words.append(
            "VS (volatile solids): the part of the dry feed that burns; methane comes from it."
        )
    words.append("Inoculum: the digested sludge that brings the microbes into the jars.")
    if results.tank is not None:
        words.append("C:N: carbon to nitrogen, by mass.")
    if any(one.ci95 is not None for one in results.yields):
        words.append("Of 20 such intervals about 19 hold the true mean.")
    return " ".join(words)


def estimate_words(estimate: Estimate) -> str:
    """Return an estimate with its interval, or that it is not determined and why."""
    if estimate.value is None:
        words = f"not determined: {estimate.why}" if estimate.why else "not determined"
        bound = estimate.ci95
        if bound is not None and (bound[0] is None) != (bound[1] is None):
            words += f" ({interval_words(bound)} {estimate.unit})"
        return words
    words = with_interval(estimate.value, estimate.ci95)
    return words if estimate.ci95 is not None or not estimate.why else f"{words}; {estimate.why}"
