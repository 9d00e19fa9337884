"""Which model serves: AICc from the readings that count as independent, and plain words.

Burnham & Anderson 2002, Model Selection and Multimodel Inference (2nd ed.), ch. 2: AICc and
evidence ratio. Residuals of cumulative readings are correlated, so n of them hold less than n
readings' worth of evidence: n (1 − ρ)/(1 + ρ) for a first-order autoregression with correlation ρ
of neighbours (Bayley & Hammersley 1946, J. R. Stat. Soc. Suppl. 8:184).
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

import numpy as np

from bmp.fit.jarwise import Jarwise
from bmp.fit.models import MODELS
from bmp.fit.results import Choice
from bmp.trial import BoolArray, FloatArray, IntArray

TOO_CLOSE: Final = 2.0
"""AICc differences up to this leave substantial support (Burnham & Anderson 2002, p. 70)."""
FAR_APART: Final = 10.0
"""Above this the other model has essentially no support (the same page)."""
POOREST_FIT: Final = 0.05
"""RMSE over the last yield above which a line is not called a fit. Common practice, no source."""
INDEPENDENT_ABOVE: Final = 1.5
"""Durbin-Watson figure: the middle of what simulated noise of both kinds gives."""


def effective_readings(jarwise: Mapping[str, Jarwise]) -> FloatArray:
    """Return the number of independent readings that each jar's best fit leaves. Shape (jars,).

    The same number serves all models of a jar, so that their AICc compare.
    """
    rmse = np.stack([np.where(fits.fitted, fits.rmse, np.inf) for fits in jarwise.values()])
    rho = np.stack([fits.autocorrelation for fits in jarwise.values()])
    best = rmse.argmin(axis=0)
    correlation = np.clip(rho[best, np.arange(rho.shape[1])], 0.0, 0.95)
    count = next(iter(jarwise.values())).curves.count
    effective: FloatArray = count * (1 - correlation) / (1 + correlation)
    return effective


def aicc(fits: Jarwise, effective: FloatArray) -> FloatArray:
    """Return AICc of each jar; NaN where too few independent readings are left. Shape (jars,).

    n ln(RSS/n) + 2K + 2K(K + 1)/(n − K − 1), K counting the error variance, with the effective n
    for n and the mean square of the residuals for RSS/n.
    """
    k = len(fits.model.names) + 1
    spare = effective - k - 1
    enough = (spare > 0) & fits.fitted & (fits.rmse > 0)
    safe = np.where(enough, spare, 1.0)
    value = (
        2 * effective * np.log(np.where(enough, fits.rmse, 1.0)) + 2 * k + 2 * k * (k + 1) / safe
    )
    return np.where(enough, value, np.nan)


def summed(jars: FloatArray, rows: IntArray) -> float | None:
    """Return the sum over a material's jars, `None` if any of them has no value."""
    total = float(jars[rows].sum())
    return total if np.isfinite(total) else None


def choose(
    jarwise: Mapping[str, Jarwise],
    scores: Mapping[str, float | None],
    rows: IntArray,
    effective: FloatArray,
) -> Choice:
    """Choose among the candidates of `MODELS` for one material and say how sure that is.

    Parameters
    ----------
    jarwise, effective
        Fits and effective readings of all jars.
    scores
        AICc of the material by model.
    rows
        The material's jars.
    """
    usable = [name for name in jarwise if jarwise[name].fitted[rows].all()]
    candidates = [name for name in usable if MODELS[name].candidate]
    noise = noise_words([jarwise[name] for name in candidates], rows)
    independent = float(effective[rows].mean())
    if not candidates:
        return Choice(None, None, independent, "No model could be fitted: too few readings.", noise)
    scored = {name: s for name in candidates if (s := scores[name]) is not None}
    if len(scored) < len(candidates):
        words = "The readings hold too few independent ones to tell the models apart; " + (
            f"the one with the fewest parameters, {candidates[0]}, is shown."
        )
        return Choice(_simplest(candidates), None, independent, words, noise)
    ranked = sorted(scored, key=scored.__getitem__)
    gap = scored[ranked[1]] - scored[ranked[0]] if len(ranked) > 1 else np.inf
    close = [name for name in ranked if scored[name] - scored[ranked[0]] <= TOO_CLOSE]
    chosen = _simplest(close)
    ratio = float(np.exp(min(gap / 2, 50.0))) if len(ranked) > 1 else None
    words = _words(jarwise, scores, rows, ranked, chosen, gap)
    return Choice(chosen, ratio, independent, words, noise)


def _simplest(names: list[str]) -> str:
    return min(names, key=lambda name: len(MODELS[name].names))


def _words(
    jarwise: Mapping[str, Jarwise],
    scores: Mapping[str, float | None],
    rows: IntArray,
    ranked: list[str],
    chosen: str,
    gap: float,
) -> str:
    best = scores[ranked[0]]
    assert best is not None
    others = {n: s for n, s in scores.items() if s is not None and not MODELS[n].candidate}
    better = min(others, key=others.__getitem__, default=None)
    if better is not None and best - others[better] > FAR_APART and MODELS[better].phases > 1:
        return (
            f"Neither {' nor '.join(ranked)} follows the curve: it has two phases, a quick and a "
            f"slow one. The rate of {chosen} mixes the two."
        )
    if _misses(jarwise[ranked[0]], rows).any():
        return f"No model follows the curve: even {ranked[0]} misses it by more than 5 %."
    if len(ranked) < 2 or gap <= TOO_CLOSE:
        return f"Both models serve; {chosen} is shown because it has fewer parameters."
    words = f"{ranked[0][0].upper()}{ranked[0][1:]} fits better ({_odds(gap)} against {ranked[1]})."
    if better is not None and best - others[better] > FAR_APART:
        words += f" {better[0].upper()}{better[1:]} would fit better still."
    return words


def _odds(gap: float) -> str:
    ratio = np.exp(min(gap / 2, 50.0))
    return "more than 1,000 to 1" if ratio > 1000 else f"{ratio:.0f} to 1"


def _misses(fits: Jarwise, rows: IntArray) -> BoolArray:
    last = np.maximum(fits.curves.value[rows, -1], 1e-300)
    missed: BoolArray = fits.rmse[rows] / last > POOREST_FIT
    return missed


def noise_words(fits: list[Jarwise], rows: IntArray) -> str:
    """Say which kind of noise the readings show, from the best fit's Durbin-Watson figure."""
    if not fits:
        return ""
    best = min(fits, key=lambda f: float(f.rmse[rows].mean()))
    figure = float(np.median(best.durbin_watson[rows]))
    if figure < INDEPENDENT_ABOVE:
        return (
            f"Errors add up from reading to reading (Durbin-Watson {figure:.2f}; 2 would be "
            "independent), or the model bends differently from the curve: an interval taken from "
            "one curve's fit alone would be far too narrow."
        )
    return f"Errors of neighbouring readings look independent (Durbin-Watson {figure:.2f})."
