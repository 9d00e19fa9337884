"""Which model serves: AICc from the readings that count as independent, for all series at once.

Burnham & Anderson 2002, Model Selection and Multimodel Inference (2nd ed.), ch. 2: AICc and
evidence ratio. Residuals of cumulative readings are correlated, so n of them hold less than n
readings' worth of evidence: n (1 − ρ)/(1 + ρ) for a first-order autoregression with correlation ρ
of neighbours (Bayley & Hammersley 1946, J. R. Stat. Soc. Suppl. 8:184).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

import numpy as np

from bmp.fit.jarwise import Jarwise
from bmp.fit.models import MODELS
from bmp.trial import BoolArray, FloatArray, IntArray

TOO_CLOSE: Final = 2.0
"""AICc differences up to this leave substantial support (Burnham & Anderson 2002, p. 70)."""
FAR_APART: Final = 10.0
"""Above this the other model has essentially no support (the same page)."""
LEAST_SPARE: Final = 3.0
"""Independent readings less K less one below which AICc's correction runs away: from simulated
curves, the value at which the wrong model was chosen least often (no source)."""
POOREST_FIT: Final = 0.05
"""RMSE over the last yield, mean over the jars, above which a line is not called a fit. Common
practice, no source."""
CANDIDATES: Final = tuple(name for name, model in MODELS.items() if model.candidate)


@dataclass(frozen=True, eq=False)
class Scores:
    """What the choice goes by. Arrays by model have shape (series,)."""

    independent: FloatArray
    """Independent readings a jar, mean over the jars. Shape (series,)."""
    aicc: Mapping[str, FloatArray]
    """Summed over the jars; infinite where a jar could not be fitted."""
    likelihood: Mapping[str, FloatArray]
    """The part of it that speaks of the fit alone."""
    determined: Mapping[str, BoolArray]
    """Whether the readings determine level and rate; of the models for which it was asked."""
    follows: Mapping[str, BoolArray]
    """Whether the model comes near enough to the curve."""


def score(jarwise: Mapping[str, Jarwise], series: IntArray) -> Scores:
    """Return what the choice goes by, but for what the readings determine.

    Parameters
    ----------
    jarwise
        Fits of all jars by model, all candidates among them.
    series
        The series of each jar, shape (jars,), from 0 on.
    """
    effective = effective_readings(jarwise, series)
    fitted = {name: _mean(~fits.fitted, series) == 0 for name, fits in jarwise.items()}
    return Scores(
        independent=_mean(effective, series),
        aicc={
            name: np.where(fitted[name], _sum(aicc(fits, effective), series), np.inf)
            for name, fits in jarwise.items()
        },
        likelihood={
            name: _sum(_likelihood(fits, effective), series) for name, fits in jarwise.items()
        },
        determined={},
        follows={
            name: fitted[name] & (_mean(_missed(fits), series) <= POOREST_FIT)
            for name, fits in jarwise.items()
        },
    )


def determined(scores: Scores, name: str, left_open: BoolArray) -> BoolArray:
    """Tell for which series the readings determine a model's level and rate.

    Parameters
    ----------
    left_open
        Which parameters the jars of a series leave open, shape (series, p).
    """
    decides = np.array([parameter.decides for parameter in MODELS[name].parameters])
    found: BoolArray = np.isfinite(scores.aicc[name]) & ~left_open[:, decides].any(axis=1)
    return found


def may_be_chosen(scores: Scores, name: str) -> BoolArray:
    """Tell for which series a model may be chosen, beside those known to be determined or not."""
    best = np.full(scores.independent.shape, np.inf)
    for other, sure in scores.determined.items():
        best = np.minimum(best, np.where(sure & scores.follows[other], scores.aicc[other], np.inf))
    # two that are infinite: none is known to be determined
    return scores.follows[name] & (scores.aicc[name] <= best + TOO_CLOSE)


def effective_readings(jarwise: Mapping[str, Jarwise], series: IntArray) -> FloatArray:
    """Return the number of independent readings that each jar's best fit leaves. Shape (jars,).

    The correlation is the mean over a series' jars of that about their best candidate, and the same
    number serves all models of a jar, so that their AICc compare.

    Parameters
    ----------
    jarwise, series
        As in `score`.
    """
    fits = [jarwise[name] for name in CANDIDATES]
    rmse = np.stack([np.where(one.fitted, one.rmse, np.inf) for one in fits])
    rho = np.stack([one.autocorrelation for one in fits])
    best = rho[rmse.argmin(axis=0), np.arange(rho.shape[1])]
    correlation = np.clip(_mean(best, series), 0.0, 0.95)[series]
    effective: FloatArray = fits[0].curves.count * (1 - correlation) / (1 + correlation)
    return effective


def aicc(fits: Jarwise, effective: FloatArray) -> FloatArray:
    """Return AICc of each jar; what it is where the model could not be fitted means nothing.

    n ln(RSS/n) + 2K + 2K(K + 1)/(n − K − 1), K counting the error variance, with the effective n
    for n and the mean square of the residuals for RSS/n. The last denominator is never taken
    below `LEAST_SPARE`. Shape (jars,).
    """
    k = len(fits.model.names) + 1
    spare = np.maximum(effective - k - 1, LEAST_SPARE)
    return _likelihood(fits, effective) + 2 * k + 2 * k * (k + 1) / spare


def choose(scores: Scores) -> list[str | None]:
    """Return the candidate chosen for each series; `None` only where none follows its curve.

    Among those that follow it, one whose level or rate the readings leave open ranks below all that
    are determined. Of those that AICc leaves close together it is the simplest.
    """
    aicc = np.stack([scores.aicc[name] for name in CANDIDATES])
    follows = np.stack([scores.follows[name] for name in CANDIDATES])
    sure = np.stack([scores.determined[name] for name in CANDIDATES])
    some_sure = (follows & sure).any(axis=0)
    ranked = np.where(follows & (sure | ~some_sure), aicc, np.inf)
    best = ranked.min(axis=0)
    close = ranked <= np.where(np.isfinite(best), best, 0.0) + TOO_CLOSE
    size = np.array([len(MODELS[name].names) for name in CANDIDATES])[:, None]
    fewest = np.where(close, size, np.iinfo(np.int64).max).min(axis=0)
    chosen = np.where(close & (size == fewest), ranked, np.inf).argmin(axis=0)
    found = np.isfinite(best).tolist()
    return [CANDIDATES[i] if any_ else None for i, any_ in zip(chosen.tolist(), found, strict=True)]


def supported_models(scores: Scores, index: int, chosen: str) -> list[str]:
    """Return the candidates that the readings of a series do not rule out, the chosen one first."""
    limit = scores.aicc[chosen][index] + FAR_APART
    others = (
        name
        for name in CANDIDATES
        if name != chosen
        and scores.aicc[name][index] <= limit
        and scores.follows[name][index]
        and scores.determined[name][index]
    )
    return [chosen, *others]


def _likelihood(fits: Jarwise, effective: FloatArray) -> FloatArray:
    """Return n ln(RSS/n) of each jar. Shape (jars,)."""
    last = np.abs(fits.curves.value).max(axis=1)
    part: FloatArray = 2 * effective * np.log(np.maximum(fits.rmse, 1e-12 * last + 1e-300))
    return part


def _missed(fits: Jarwise) -> FloatArray:
    """Return by how much of its last yield each jar's curve is missed. Shape (jars,)."""
    last = np.maximum(fits.curves.value[:, -1], 1e-300)
    return np.minimum(fits.rmse / last, 1e9)


def _sum(jars: FloatArray, series: IntArray) -> FloatArray:
    total: FloatArray = np.bincount(series, np.where(np.isfinite(jars), jars, 0.0)).astype(float)
    return total


def _mean(jars: FloatArray | BoolArray, series: IntArray) -> FloatArray:
    mean: FloatArray = np.bincount(series, jars) / np.bincount(series)
    return mean
