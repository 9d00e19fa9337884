"""Which model serves: AICc from the readings that count as independent, and plain words.

Burnham & Anderson 2002, Model Selection and Multimodel Inference (2nd ed.), ch. 2: AICc and
evidence ratio. Residuals of cumulative readings are correlated, so n of them hold less than n
readings' worth of evidence: n (1 − ρ)/(1 + ρ) for a first-order autoregression with correlation ρ
of neighbours (Bayley & Hammersley 1946, J. R. Stat. Soc. Suppl. 8:184).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Final

import numpy as np

from bmp.fit.identify import determined
from bmp.fit.jarwise import Jarwise
from bmp.fit.models import MODELS
from bmp.fit.results import Choice
from bmp.trial import BoolArray, FloatArray, IntArray

TOO_CLOSE: Final = 2.0
"""AICc differences up to this leave substantial support (Burnham & Anderson 2002, p. 70)."""
FAR_APART: Final = 10.0
"""Above this the other model has essentially no support (the same page)."""
LEAST_SPARE: Final = 3.0
"""Independent readings less K less one below which AICc's correction runs away: from simulated
curves, the value at which the wrong model was chosen least often (no source)."""
POOREST_FIT: Final = 0.05
"""RMSE over the last yield above which a line is not called a fit. Common practice, no source."""
NONE_FOLLOWS: Final = "no model follows the curve"
INDEPENDENT_ABOVE: Final = 1.5
"""Durbin-Watson figure: the middle of what simulated noise of both kinds gives."""


def effective_readings(jarwise: Mapping[str, Jarwise], rows: Sequence[IntArray]) -> FloatArray:
    """Return the number of independent readings that each jar's best fit leaves. Shape (jars,).

    The correlation is the mean over a material's jars, and the same number serves all models of a
    jar, so that their AICc compare.

    Parameters
    ----------
    jarwise
        Fits of all jars by model.
    rows
        The jars of each material.
    """
    rmse = np.stack([np.where(fits.fitted, fits.rmse, np.inf) for fits in jarwise.values()])
    rho = np.stack([fits.autocorrelation for fits in jarwise.values()])
    best = rho[rmse.argmin(axis=0), np.arange(rho.shape[1])]
    mean = np.empty_like(best)
    for index in rows:
        mean[index] = best[index].mean()
    correlation = np.clip(mean, 0.0, 0.95)
    count = next(iter(jarwise.values())).curves.count
    effective: FloatArray = count * (1 - correlation) / (1 + correlation)
    return effective


def aicc(fits: Jarwise, effective: FloatArray) -> FloatArray:
    """Return AICc of each jar; NaN where the model could not be fitted. Shape (jars,).

    n ln(RSS/n) + 2K + 2K(K + 1)/(n − K − 1), K counting the error variance, with the effective n
    for n and the mean square of the residuals for RSS/n. The last denominator is never taken
    below `LEAST_SPARE`.
    """
    k = len(fits.model.names) + 1
    spare = np.maximum(effective - k - 1, LEAST_SPARE)
    value = likelihood_part(fits, effective) + 2 * k + 2 * k * (k + 1) / spare
    return np.where(fits.fitted, value, np.nan)


def likelihood_part(fits: Jarwise, effective: FloatArray) -> FloatArray:
    """Return n ln(RSS/n) of each jar. Shape (jars,)."""
    last = np.abs(fits.curves.value).max(axis=1)
    part: FloatArray = 2 * effective * np.log(np.maximum(fits.rmse, 1e-12 * last + 1e-300))
    return part


def summed(jars: FloatArray, rows: IntArray) -> float | None:
    """Return the sum over a material's jars, `None` if any of them has no value."""
    total = float(jars[rows].sum())
    return total if np.isfinite(total) else None


def choose(
    jarwise: Mapping[str, Jarwise],
    why: Mapping[str, list[tuple[str, ...]]],
    scores: Mapping[str, float | None],
    rows: IntArray,
    effective: FloatArray,
) -> Choice:
    """Choose among the candidates of `MODELS` for one material and say how sure that is.

    One that misses the curve is never chosen, and one that the readings leave open only where no
    other is determined.

    Parameters
    ----------
    jarwise, why, effective
        Fits, why a parameter of theirs is not determined, and effective readings of all jars.
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
    sure = [name for name in usable if determined(jarwise[name], why[name], rows)]
    better = _better_by_far(scores, sure, min(scored.values()))
    ranked = sorted(scored, key=scored.__getitem__)
    pool = [name for name in ranked if name in sure] or ranked
    if _misses(jarwise[pool[0]], rows).any():
        words = _none_follows(pool[0], better, len(pool) < len(ranked))
        return Choice(None, None, independent, words, noise)
    close = [
        name
        for name in pool
        if scored[name] - scored[pool[0]] <= TOO_CLOSE and not _misses(jarwise[name], rows).any()
    ]
    chosen = _simplest(close)
    clear = ranked[0] == pool[0] and _fits_better(jarwise, scored, rows, effective, ranked)
    gap = scored[ranked[1]] - scored[ranked[0]] if clear else 0.0
    ratio = float(np.exp(min(gap / 2, 50.0))) if clear else None
    words = _words(chosen, ranked, pool, better, gap)
    return Choice(chosen, ratio, independent, words, noise)


def _simplest(names: list[str]) -> str:
    return min(names, key=lambda name: len(MODELS[name].names))


def _fits_better(
    jarwise: Mapping[str, Jarwise],
    scored: Mapping[str, float],
    rows: IntArray,
    effective: FloatArray,
    ranked: list[str],
) -> bool:
    """Tell whether the best of the candidates owes its place to the fit, not to its fewness."""
    if len(ranked) < 2 or scored[ranked[1]] - scored[ranked[0]] <= TOO_CLOSE:
        return False
    first, second = (likelihood_part(jarwise[name], effective)[rows].sum() for name in ranked[:2])
    return bool(first <= second)


def _better_by_far(scores: Mapping[str, float | None], sure: list[str], best: float) -> list[str]:
    """Return the models beside the candidates that are far better supported, the best first."""
    others = {n: s for n in sure if (s := scores[n]) is not None and not MODELS[n].candidate}
    return [n for n in sorted(others, key=others.__getitem__) if best - others[n] > FAR_APART]


def _none_follows(best: str, better: list[str], left_open: bool) -> str:
    if better and MODELS[better[0]].phases > 1:
        return (
            "No model of one phase follows the curve: it has two phases, a quick and a slow "
            "one, and one rate would mix them."
        )
    model = "model that the readings determine" if left_open else "model"
    return f"No {model} follows the curve: even {best} misses it by more than 5 %."


def _words(chosen: str, ranked: list[str], pool: list[str], better: list[str], gap: float) -> str:
    """Say why a model was chosen; `gap` is 0 where it does not fit better than the others."""
    if better and MODELS[better[0]].phases > 1:
        return (
            f"Neither {' nor '.join(ranked)} fits: the curve has two phases, a quick and a slow "
            f"one. The rate of {chosen} mixes the two."
        )
    if len(ranked) < 2:
        return f"Only {chosen} could be fitted."
    if gap:
        words = f"{_start(chosen)} fits better ({_odds(gap)} against {ranked[1]})."
        return words + (f" {_start(better[0])} would fit better still." if better else "")
    if len(pool) < len(ranked):
        other = next(name for name in ranked if name not in pool)
        return f"{_start(chosen)} is shown: the readings do not determine {other}."
    return f"Both models serve; {chosen} is shown because it has fewer parameters."


def _start(name: str) -> str:
    return name[0].upper() + name[1:]


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
