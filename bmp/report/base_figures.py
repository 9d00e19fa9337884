"""Names of the pictures of a comparison, for those who draw them and those who show them."""

from __future__ import annotations

from bmp.compare import AllBases
from bmp.compare.within_trial import TrialComparisons

MOST_BASE_FIGURES = 3


def base_figure_names(found: TrialComparisons) -> dict[str, AllBases]:
    """Return which pairs get a figure of all bases, by its name: those whose order changes."""
    changing = [pair for pair in found.all_bases if pair.order_changes]
    return {
        f"comparison-bases-{index + 1}": pair
        for index, pair in enumerate(changing[:MOST_BASE_FIGURES])
    }


def repeated_figure_name(index: int) -> str:
    """Return the name of the figure of a feed in several trials."""
    return f"repeated-{index + 1}"
