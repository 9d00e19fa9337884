"""What is said about the choice of the model, one or two plain sentences a series."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

import numpy as np

from bmp.fit.choice import CANDIDATES, FAR_APART, POOREST_FIT, TOO_CLOSE, Scores
from bmp.fit.identify import EARLY_LAG, NO_LAG, WIDE_LAG, TextArray
from bmp.fit.jarwise import Jarwise
from bmp.fit.models import MODELS
from bmp.fit.results import Choice
from bmp.trial import BoolArray, IntArray

_LAG_WORDS: Final = {
    EARLY_LAG: "Its lag is shorter than the first interval, so no number is given for it.",
    NO_LAG: "The curve starts at once: its lag is none.",
    WIDE_LAG: "The readings leave its lag open.",
}
NONE_FOLLOWS: Final = "no model follows the curve"
SAME_CURVE: Final = 1e-3
"""Twice the logarithm of the likelihood by which two fits differ that draw the same curve, such as
first order and first order with a lag of nought."""
INDEPENDENT_ABOVE: Final = 1.5
"""Durbin-Watson figure: the middle of what simulated noise of both kinds gives."""


def describe(
    chosen: str | None,
    scores: Scores,
    index: int,
    jarwise: Mapping[str, Jarwise],
    why_open: Mapping[str, TextArray],
    left_open: Mapping[str, BoolArray],
    rows: IntArray,
) -> Choice:
    """Return the choice for one series and how sure it is.

    Parameters
    ----------
    chosen, scores, index
        The model chosen, and what it was chosen by, with the place of the series in it.
    jarwise, left_open
        As in `bmp.fit.choice.score`.
    why_open
        Why each jar leaves a parameter open, by model.
    rows
        The jars of the series.
    """
    ranked = sorted(
        (name for name in CANDIDATES if np.isfinite(scores.aicc[name][index])),
        key=lambda name: float(scores.aicc[name][index]),
    )
    noise = noise_words([jarwise[name] for name in ranked], rows)
    independent = float(scores.independent[index])
    if not ranked:
        no_fit = "No model could be fitted: too few readings."
        return Choice(None, None, independent, no_fit, noise)
    two = _two_phases(scores, index, ranked[0])
    if chosen is None:
        return Choice(None, None, independent, _none_follows(two), noise)
    rival, gap = _rival(scores, index, ranked) if ranked[0] == chosen else ("", 0.0)
    why = _why(chosen, scores, index, ranked, rival, gap)
    words = [why, _lag_words(chosen, why_open[chosen][rows], left_open[chosen][index])]
    if two:
        words.append(
            "The curve has two phases, a quick and a slow one, and the model's rate mixes them."
        )
    ratio = float(np.exp(min(gap / 2, 50.0))) if gap else None
    return Choice(chosen, ratio, independent, " ".join(filter(None, words)), noise)


def _two_phases(scores: Scores, index: int, best: str) -> bool:
    """Tell whether a model of two phases, all of it determined, is far better supported."""
    return any(
        scores.determined[name][index]
        and scores.aicc[best][index] - scores.aicc[name][index] > FAR_APART
        for name in scores.aicc
        if MODELS[name].phases > 1
    )


def _none_follows(two_phases: bool) -> str:
    if two_phases:
        return (
            "No model of one phase follows the curve. It has two phases, a quick and a slow one, "
            "and one rate would mix them."
        )
    return f"No model fits within {100 * POOREST_FIT:.0f} % of the yield."


def _rival(scores: Scores, index: int, ranked: list[str]) -> tuple[str, float]:
    """Return the next model that draws another curve, and by how much AICc prefers the first.

    0 where the first owes its place to having fewer parameters, not to its better fit.
    """
    first = float(scores.likelihood[ranked[0]][index])
    for name in ranked[1:]:
        further = float(scores.likelihood[name][index]) - first
        if abs(further) > SAME_CURVE:
            gap = float(scores.aicc[name][index] - scores.aicc[ranked[0]][index])
            return name, gap if gap > TOO_CLOSE and further > 0 else 0.0
    return "", 0.0


def _why(chosen: str, scores: Scores, index: int, ranked: list[str], rival: str, gap: float) -> str:
    following = [name for name in ranked if scores.follows[name][index]]
    if len(ranked) < 2:
        return f"Only {chosen} could be fitted."
    if gap:
        return f"{_start(chosen)} fits better ({_odds(gap)} against {rival})."
    if len(following) < 2:
        return f"Only {chosen} follows the curve."
    best = float(scores.aicc[chosen][index])
    above = [name for name in following if scores.aicc[name][index] < best - TOO_CLOSE]
    if above:
        return f"{_start(chosen)} is shown: the readings do not determine {above[0]}."
    size = len(MODELS[chosen].names)
    if all(len(MODELS[name].names) > size for name in following if name != chosen):
        return f"Several models fit equally well; {chosen} is the simplest of them."
    return f"Several models fit about equally well, {chosen} slightly best."


def _lag_words(chosen: str, why_open: TextArray, left_open: BoolArray) -> str:
    """Say why the model's lag is no number, where it is none."""
    for place, parameter in enumerate(MODELS[chosen].parameters):
        given = [text for text in why_open[:, place] if text]
        if left_open[place] and not parameter.decides and given:
            return _LAG_WORDS.get(max(given, key=given.count), "")
    return ""


def _start(name: str) -> str:
    return name[0].upper() + name[1:]


def _odds(gap: float) -> str:
    ratio = np.exp(min(gap / 2, 50.0))
    return "more than 1,000 to 1" if ratio > 1000 else f"{ratio:.0f} to 1"


def noise_words(fits: list[Jarwise], rows: IntArray) -> str:
    """Say which kind of noise the readings show, from the best fit's Durbin-Watson figure."""
    if not fits:
        return ""
    best = min(fits, key=lambda f: float(f.rmse[rows].mean()))
    figure = float(np.median(best.durbin_watson[rows]))
    if figure < INDEPENDENT_ABOVE:
        return (
            f"Errors add up from reading to reading (Durbin-Watson {figure:.2f}; 2 would be "
            "independent), or the model bends differently from the curve. An interval from one "
            "curve's fit alone would be far too narrow."
        )
    return f"Errors of neighbouring readings look independent (Durbin-Watson {figure:.2f})."
