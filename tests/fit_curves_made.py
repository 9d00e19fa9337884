"""Jars made from a model with a little noise, for the tests of the fits."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from bmp.fit.material import YIELD_UNIT, MaterialCurves, fit_materials
from bmp.fit.models import MODELS
from bmp.fit.results import MaterialFits
from bmp.trial import FloatArray


def made_jars(
    model: str,
    named: tuple[float, ...],
    *,
    jars: int = 3,
    days: FloatArray | None = None,
    noise: float = 1.0,
    scatter: float = 0.03,
    seed: int = 0,
) -> tuple[list[FloatArray], list[FloatArray]]:
    """Return times and curves of jars; errors of the interval gas add up."""
    rng = np.random.default_rng(seed)
    when = np.arange(1.0, 46.0) if days is None else days
    curves = []
    for _ in range(jars):
        own = np.array([named]) * (1 + scatter * rng.standard_normal(len(named)))
        gas = np.diff(MODELS[model].value(when, own)[0], prepend=0.0)
        curves.append(np.cumsum(gas + noise * rng.standard_normal(when.size)))
    return [when] * jars, curves


def fits_of(
    time_d: Sequence[FloatArray],
    net: Sequence[FloatArray],
    unit: str = YIELD_UNIT,
    reported: bool = True,
) -> MaterialFits:
    """Return the fits of one material."""
    return fit_materials([MaterialCurves(time_d, net, unit)], reported=reported)[0]
