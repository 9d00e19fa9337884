"""Every model fitted to every jar of every series, and the model chosen for each series.

A series is the jars whose values are put together. Jars are rows, all jars in one go; a trial has a
few series, an archive thousands.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from bmp.fit.choice import Scores, choose, determined, may_be_chosen, score
from bmp.fit.curves import Curves, joined
from bmp.fit.engine import fit_curves
from bmp.fit.identify import TextArray, left_open, reasons
from bmp.fit.jarwise import Jarwise, fit_jarwise, with_errors
from bmp.fit.models import MODELS
from bmp.runs import first
from bmp.trial import BoolArray, FloatArray, IntArray


@dataclass(frozen=True, eq=False)
class SeriesFits:
    """Fits of all jars and what they come to by series. Mappings are by name of the model."""

    curves: Curves
    series: IntArray
    """The series of each jar, shape (jars,), rising from 0."""
    jarwise: Mapping[str, Jarwise]
    why: Mapping[str, TextArray]
    """Why a jar does not determine a parameter, shape (jars, p); empty where it does."""
    left_open: Mapping[str, BoolArray]
    """Whether the jars together leave a parameter open, shape (series, p)."""
    pooled: Mapping[str, FloatArray]
    """Parameters of the curve through all jars, shape (series, p), of the models asked for."""
    scores: Scores
    chosen: list[str | None]
    """The model chosen for each series; `None` where none follows its curve."""


def fit_series(
    curves: Curves, series: IntArray, models: Sequence[str], shown: Collection[str] | None = None
) -> SeriesFits:
    """Fit models to all jars and choose one for each series.

    Parameters
    ----------
    curves, series
        The jars, each with a reading after day 0, and the series of each, rising from 0.
    models
        Names of `bmp.fit.models.MODELS`, all candidates among them. The choice does not depend on
        the others.
    shown
        Names of those whose parameters are wanted; all by default. Of the others there is no curve
        through all jars, and errors only where they may be chosen: elsewhere they count as open.
    """
    shown = models if shown is None else shown
    bare = {name: fit_jarwise(MODELS[name], curves, errors=False) for name in models}
    scores = score(bare, series)
    jarwise: dict[str, Jarwise] = {}
    why: dict[str, TextArray] = {}
    open_ones: dict[str, BoolArray] = {}
    sure: dict[str, BoolArray] = {}
    for name in sorted(models, key=lambda one: one not in shown):
        every = np.ones(scores.independent.size, dtype=np.bool_)
        wanted = every if name in shown else may_be_chosen(replace(scores, determined=sure), name)
        jarwise[name] = with_errors(bare[name], wanted[series])
        why[name] = reasons(jarwise[name])
        why[name][~wanted[series]] = ""
        open_ones[name] = left_open(jarwise[name], why[name], series) | ~wanted[:, None]
        sure[name] = determined(scores, name, open_ones[name])
    scores = replace(scores, determined=sure)
    return SeriesFits(
        curves=curves,
        series=series,
        jarwise=jarwise,
        why=why,
        left_open=open_ones,
        pooled={name: _pooled(jarwise[name], series) for name in shown},
        scores=scores,
        chosen=choose(scores),
    )


def _pooled(fits: Jarwise, series: IntArray) -> FloatArray:
    """Fit one curve through all jars of each series; a single jar's own fit is that already."""
    named = fits.named[np.flatnonzero(first(series))].copy()
    for index, together in joined(fits.curves, series):
        named[index] = fit_curves(fits.model, together).named
    return named
