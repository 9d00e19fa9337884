"""Every model fitted to every jar of every series, and the model chosen for each series.

A series is the jars whose values are put together. Jars are rows, all jars in one go; a trial has a
few series, an archive thousands.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from bmp.fit.choice import Scores, choose, score
from bmp.fit.curves import Curves, joined
from bmp.fit.engine import fit_curves
from bmp.fit.identify import TextArray, left_open, reasons
from bmp.fit.jarwise import Jarwise, fit_jarwise
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
    curves: Curves, series: IntArray, models: Sequence[str], pooled: Collection[str] | None = None
) -> SeriesFits:
    """Fit models to all jars and choose one for each series.

    Parameters
    ----------
    curves, series
        The jars, each with a reading after day 0, and the series of each, rising from 0.
    models
        Names of `bmp.fit.models.MODELS`, all candidates among them. The choice does not depend on
        the others.
    pooled
        Names of those whose curve through all jars is wanted too; all by default.
    """
    jarwise = {name: fit_jarwise(MODELS[name], curves) for name in models}
    why = {name: reasons(fits) for name, fits in jarwise.items()}
    open_ones = {name: left_open(fits, why[name], series) for name, fits in jarwise.items()}
    scores = score(jarwise, open_ones, series)
    return SeriesFits(
        curves=curves,
        series=series,
        jarwise=jarwise,
        why=why,
        left_open=open_ones,
        pooled={
            name: _pooled(fits, series)
            for name, fits in jarwise.items()
            if pooled is None or name in pooled
        },
        scores=scores,
        chosen=choose(scores),
    )


def _pooled(fits: Jarwise, series: IntArray) -> FloatArray:
    """Fit one curve through all jars of each series; a single jar's own fit is that already."""
    named = fits.named[np.flatnonzero(first(series))].copy()
    for index, together in joined(fits.curves, series):
        named[index] = fit_curves(fits.model, together).named
    return named
