"""Kinetics of a material: the one door through which the rest of the project comes to the fits.

Every jar of every material is fitted in bulk, each model once; what differs from material to
material is only how the jars' values are put together.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from bmp.estimate import Estimate
from bmp.fit.choice import aicc, choose, effective_readings, summed
from bmp.fit.curves import Curves, joined, pack
from bmp.fit.engine import fit_curves
from bmp.fit.identify import reasons
from bmp.fit.interval import BETWEEN, WITHIN, between_jars, t_quantile, within_jar
from bmp.fit.jarwise import Jarwise, fit_jarwise
from bmp.fit.model import Model
from bmp.fit.models import MODELS
from bmp.fit.results import Choice, JarFit, MaterialFits, ModelFit
from bmp.fit.times import time_to_share
from bmp.trial import FloatArray, IntArray

YIELD_UNIT = "NmL CH4/g VS"


@dataclass(frozen=True, eq=False)
class MaterialCurves:
    """Net curves of one material's counted jars."""

    time_d: Sequence[FloatArray]
    """Days of each jar's readings, one array a jar; jars may differ."""
    net: Sequence[FloatArray]
    """Cumulative net yield at those times."""
    unit: str = YIELD_UNIT


def fit_material(
    time_d: Sequence[FloatArray],
    net: Sequence[FloatArray],
    *,
    unit: str = YIELD_UNIT,
    reported: bool = True,
) -> MaterialFits:
    """Fit every model to one material.

    Parameters
    ----------
    time_d, net
        Days and cumulative net yield, one pair of one-dimensional arrays a counted jar. Readings
        at or before day 0 are not counted: nothing was measured there.
    unit
        Unit of `net`.
    reported
        Let lmfit settle the curve through all jars. Without it the batched engine's own optimum
        stands (the same to 1e-6), which is what work in bulk takes.

    Raises
    ------
    ValueError
        If there is no jar, or a jar has no finite reading after day 0.
    """
    return fit_materials([MaterialCurves(time_d, net, unit)], reported=reported)[0]


def fit_materials(
    materials: Sequence[MaterialCurves], *, reported: bool = True
) -> list[MaterialFits]:
    """Fit every model to every material, all jars in one go.

    Parameters
    ----------
    materials
        The materials of a trial, or of a whole archive.
    reported
        As in `fit_material`.

    Raises
    ------
    ValueError
        As in `fit_material`.
    """
    if not materials:
        return []
    work = _prepare(materials)
    return [_material(work, index, reported) for index in range(len(materials))]


@dataclass(frozen=True, eq=False)
class _Work:
    """Every fit of every jar, and the curve through all jars of each material."""

    materials: Sequence[MaterialCurves]
    rows: list[IntArray]
    """The jars of each material."""
    curves: Curves
    jarwise: Mapping[str, Jarwise]
    why: Mapping[str, list[tuple[str, ...]]]
    pooled: Mapping[str, FloatArray]
    """Named parameters of the curve through all jars by model, shape (materials, p)."""
    effective: FloatArray
    scores: Mapping[str, FloatArray]


def _prepare(materials: Sequence[MaterialCurves]) -> _Work:
    times: list[FloatArray] = []
    values: list[FloatArray] = []
    rows: list[IntArray] = []
    for material in materials:
        if not material.time_d:
            raise ValueError("a material without a jar cannot be fitted")
        rows.append(np.arange(len(times), len(times) + len(material.time_d)))
        for t, v in zip(material.time_d, material.net, strict=True):
            after = np.asarray(t) > 0
            times.append(np.asarray(t)[after])
            values.append(np.asarray(v)[after])
    curves = pack(times, values)
    jarwise = {name: fit_jarwise(model, curves) for name, model in MODELS.items()}
    effective = effective_readings(jarwise)
    return _Work(
        materials=materials,
        rows=rows,
        curves=curves,
        jarwise=jarwise,
        why={name: reasons(fits) for name, fits in jarwise.items()},
        pooled={name: _pooled(fits, curves, rows) for name, fits in jarwise.items()},
        effective=effective,
        scores={name: aicc(fits, effective) for name, fits in jarwise.items()},
    )


def _pooled(fits: Jarwise, curves: Curves, rows: list[IntArray]) -> FloatArray:
    """Fit one curve through all jars of each material; a single jar's own fit is that already."""
    named = np.stack([fits.named[index[0]] for index in rows])
    several = [i for i, index in enumerate(rows) if len(index) > 1]
    if several:
        alone = [joined(curves.rows(rows[i])) for i in several]
        packed = pack([c.time_d[0] for c in alone], [c.value[0] for c in alone])
        named[several] = fit_curves(fits.model, packed).named
    return named


def _material(work: _Work, index: int, reported: bool) -> MaterialFits:
    rows = work.rows[index]
    scores = {name: summed(work.scores[name], rows) for name in MODELS}
    models = {
        name: _model_fit(work, index, model, scores[name], reported)
        for name, model in MODELS.items()
    }
    choice = choose(work.jarwise, scores, rows, work.effective)
    unit = work.materials[index].unit
    peak_rate, peak_d = _peak(work, rows, choice, unit)
    return MaterialFits(
        models=models,
        choice=choice,
        t50_d=_time(work.curves.rows(rows), 0.5),
        t90_d=_time(work.curves.rows(rows), 0.9),
        peak_rate=peak_rate,
        peak_d=peak_d,
        forecast=None,
    )


def _model_fit(
    work: _Work, index: int, model: Model, score: float | None, reported: bool
) -> ModelFit:
    rows, fits = work.rows[index], work.jarwise[model.name]
    unit = work.materials[index].unit
    jars = tuple(_jar_fit(fits, row, work.why[model.name][row], unit) for row in rows)
    fitted = bool(fits.fitted[rows].all())
    part = work.curves.rows(rows)
    named = work.pooled[model.name][index]
    why = work.why[model.name]
    determined = not any(text for row in rows for text in why[row])
    if reported and determined:
        named = _settled(model, part, named)
    parameters = _estimates(model, fits, rows, why, named, unit)
    residual = (part.value - model.value(part.time_d, np.repeat(named[None], len(rows), 0)))[
        part.valid
    ]
    spread = part.value[part.valid].var() * residual.size
    rss = float(residual @ residual)
    return ModelFit(
        model=model.name,
        parameters=parameters,
        curve=dict(zip(model.names, map(float, named), strict=True)) if fitted else None,
        rmse=float(np.sqrt(rss / residual.size)) if fitted else None,
        r2=1.0 - rss / spread if fitted and spread > 0 else None,
        aicc=score,
        durbin_watson=float(np.median(fits.durbin_watson[rows])) if fitted else None,
        identified=all(p.value is not None for p in parameters.values()),
        jars=jars,
    )


def _settled(model: Model, curves: Curves, named: FloatArray) -> FloatArray:
    from bmp.fit.reported import reported_fit

    return reported_fit(model, curves, named)


def _estimates(
    model: Model,
    fits: Jarwise,
    rows: IntArray,
    why: list[tuple[str, ...]],
    named: FloatArray,
    unit: str,
) -> dict[str, Estimate]:
    """Put the jars' values together: one estimate a parameter."""
    few = len(rows) < 3 and bool(fits.fitted[rows].all())
    half = _within(model, fits, rows) if few else None
    result = {}
    for i, parameter in enumerate(model.parameters):
        own_unit = parameter.unit_for(unit)
        open_jars = [why[row][i] for row in rows if why[row][i]]
        if open_jars:
            result[parameter.name] = _open(parameter.name, own_unit, open_jars, rows, fits)
            continue
        width = between_jars(fits.named[rows, i]) if half is None else float(half[i])
        value = float(named[i])
        ci = None if width is None else (value - width, value + width)
        result[parameter.name] = Estimate(value, own_unit, ci, WITHIN if few else BETWEEN)
    return result


def _open(name: str, unit: str, why: list[str], rows: IntArray, fits: Jarwise) -> Estimate:
    """Return an estimate without a value: the reason, and for B0 the bound that is known."""
    reason = max(set(why), key=why.count)
    if len(why) < len(rows):
        reason = f"in {len(why)} of {len(rows)} jars: {reason}"
    bound = None
    if name == fits.model.names[0] and fits.fitted[rows].all():
        highest = float(fits.curves.value[rows, -1].mean())
        bound = (highest, None) if highest > 0 else None
    return Estimate(None, unit, bound, "last reading" if bound else "", reason)


def _within(model: Model, fits: Jarwise, rows: IntArray) -> FloatArray:
    """Return half the width of the interval of each parameter from one or two jars alone."""
    _, covariance, degrees = within_jar(model, fits.curves.rows(rows), fits.named[rows])
    variance = np.einsum("ijj->ij", covariance).sum(axis=0) / len(rows) ** 2
    half: FloatArray = t_quantile(degrees.sum()) * np.sqrt(variance)
    return half


def _jar_fit(fits: Jarwise, row: int, why: tuple[str, ...], unit: str) -> JarFit:
    model = fits.model
    fitted = bool(fits.fitted[row])
    width = 2.0 * fits.standard_error[row]
    parameters = {}
    for i, parameter in enumerate(model.parameters):
        value, own_unit = float(fits.named[row, i]), parameter.unit_for(unit)
        if why[i]:
            parameters[parameter.name] = Estimate(None, own_unit, why=why[i])
        else:
            ci = (value - float(width[i]), value + float(width[i]))
            parameters[parameter.name] = Estimate(value, own_unit, ci, WITHIN)
    curve = dict(zip(model.names, map(float, fits.named[row]), strict=True))
    return JarFit(
        parameters=parameters,
        curve=curve if fitted else None,
        rmse=float(fits.rmse[row]) if fitted else None,
        r2=float(fits.r2[row]) if fitted else None,
        durbin_watson=float(fits.durbin_watson[row]) if fitted else None,
        identified=not any(why),
    )


def _time(curves: Curves, share: float) -> Estimate:
    days = time_to_share(curves, share)
    if not np.isfinite(days).all():
        return Estimate(None, "d", why="a jar ended without net gas")
    return _over_jars(days, "d")


def _peak(work: _Work, rows: IntArray, choice: Choice, unit: str) -> tuple[Estimate, Estimate]:
    rate_unit = unit_per_day(unit)
    if choice.model is None:
        why = "no model could be fitted"
        return Estimate(None, rate_unit, why=why), Estimate(None, "d", why=why)
    fits = work.jarwise[choice.model]
    rate, day = fits.model.peak(fits.named[rows])
    return _over_jars(rate, rate_unit), _over_jars(day, "d")


def unit_per_day(unit: str) -> str:
    """Return the unit of a daily rate of that yield."""
    amount, slash, per = unit.partition("/")
    return f"{amount}/({per} d)" if slash else f"{unit}/d"


def _over_jars(values: FloatArray, unit: str) -> Estimate:
    mean = float(values.mean())
    half = between_jars(values)
    if half is None:
        return Estimate(mean, unit, why="fewer than three jars: no interval between jars")
    return Estimate(mean, unit, (mean - half, mean + half), BETWEEN)
