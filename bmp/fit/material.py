"""Kinetics of a material: the one door through which the rest of the project comes to the fits.

Every jar of every material is fitted in bulk, each model once; what differs from material to
material is only how the jars' values are put together.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from bmp.estimate import Estimate
from bmp.fit.choice import supported_models
from bmp.fit.choice_words import NONE_FOLLOWS, describe
from bmp.fit.common_errors import Factor, mean_moves, packed_shifts
from bmp.fit.curves import Curves, pack
from bmp.fit.forecast import BlankGas, blank_gas, forecast
from bmp.fit.identify import TextArray, jars_agree
from bmp.fit.interval import estimate
from bmp.fit.jarwise import Jarwise
from bmp.fit.model import Model, Parameter
from bmp.fit.models import MODELS
from bmp.fit.reported import least_yield, reported_fit
from bmp.fit.results import JarFit, MaterialFits, ModelFit
from bmp.fit.series import SeriesFits, fit_series
from bmp.fit.times import NO_MODEL, moves_of_days, peak, share_days, time_to_share
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
    from_blank: Sequence[FloatArray] | None = None
    """What was taken off for the inoculum at those times; `None`: nothing."""
    blank_moves: Sequence[FloatArray] | None = None
    """How far each blank moves the readings of each jar, one array (blanks, readings) a jar;
    `None`: fewer than two blanks."""
    factors: Sequence[Factor] = ()
    """Relative errors that all jars have in common, such as that of VS."""
    one_phase: bool = False
    """Whether it is known to give its gas in one phase, as cellulose does."""
    highest: float | None = None
    """The most that literature or theory allow it; `None`: not known."""


def fit_materials(
    materials: Sequence[MaterialCurves], *, reported: bool = True
) -> list[MaterialFits]:
    """Fit every model to every material, all jars in one go.

    Parameters
    ----------
    materials
        The materials of a trial. Readings at or before day 0 are not counted: nothing was measured
        there.
    reported
        Let lmfit settle the curve through all jars. Without it the batched engine's own optimum
        stands (the same to 1e-6), which is what work in bulk takes.

    Raises
    ------
    ValueError
        If there is no jar, or a jar has no finite reading after day 0.
    """
    if not materials:
        return []
    work, blank = _fit(materials)
    return [_material(work, blank, i, one, reported) for i, one in enumerate(materials)]


def _fit(materials: Sequence[MaterialCurves]) -> tuple[SeriesFits, BlankGas]:
    times: list[FloatArray] = []
    values: list[FloatArray] = []
    blank: list[FloatArray] = []
    for material in materials:
        if not material.time_d:
            raise ValueError("a material without a jar cannot be fitted")
        taken_off = material.from_blank or [np.zeros(len(t)) for t in material.time_d]
        for t, v, b in zip(material.time_d, material.net, taken_off, strict=True):
            after = np.asarray(t) > 0
            times.append(np.asarray(t)[after])
            values.append(np.asarray(v)[after])
            blank.append(np.where(np.isfinite(v), b, np.nan)[after])
    series = np.repeat(np.arange(len(materials)), [len(one.time_d) for one in materials])
    fits = fit_series(pack(times, values), series, tuple(MODELS))
    return fits, blank_gas(pack(times, blank))


def _material(
    work: SeriesFits, blank: BlankGas, index: int, material: MaterialCurves, reported: bool
) -> MaterialFits:
    rows = np.flatnonzero(work.series == index)
    unit = material.unit
    shifts = (
        packed_shifts(
            material.time_d, material.net, material.blank_moves, work.curves.value.shape[1]
        )
        if material.blank_moves is not None
        else []
    )
    common = _Common(shifts, material.factors)
    models = {name: _model_fit(work, index, rows, name, unit, reported, common) for name in MODELS}
    choice = describe(
        work.chosen[index], work.scores, index, work.jarwise, work.why, work.left_open, rows
    )
    chosen = None if choice.model is None else work.jarwise[choice.model]
    curves = work.curves.rows(rows)
    no_rate = NO_MODEL if all(fit.aicc is None for fit in models.values()) else NONE_FOLLOWS
    supported = [] if choice.model is None else supported_models(work.scores, index, choice.model)
    peak_rate, peak_d = peak(
        [work.jarwise[name] for name in supported],
        rows,
        unit_per_day(unit),
        no_rate,
        shifts,
        material.factors,
    )
    days = share_days(curves, 0.9, chosen, rows)
    ended = curves.value[:, -1] > 0
    t90_by_jar = tuple(float(d) if e else None for d, e in zip(days, ended, strict=True))
    return MaterialFits(
        models=models,
        choice=choice,
        t50_d=time_to_share(curves, 0.5, chosen, rows, shifts),
        t90_d=time_to_share(curves, 0.9, chosen, rows, shifts),
        t90_by_jar=t90_by_jar,
        t90_blank_moves=moves_of_days(curves, 0.9, chosen, rows, shifts),
        peak_rate=peak_rate,
        peak_d=peak_d,
        forecast=forecast(
            curves,
            blank.rows(rows),
            unit,
            one_phase=material.one_phase,
            highest=material.highest,
            blank_moves=_moves_by_the_end(shifts, curves),
            factors=material.factors,
        ),
    )


def _moves_by_the_end(shifts: Sequence[FloatArray], curves: Curves) -> FloatArray | None:
    """Return how far each blank moves the mean of the jars' last readings. Shape (blanks,)."""
    if not shifts:
        return None
    last = curves.count - 1
    return np.array([shift[np.arange(last.size), last].mean() for shift in shifts])


@dataclass(frozen=True, eq=False)
class _Common:
    """What the jars of one material have in common."""

    shifts: Sequence[FloatArray]
    """How far each blank moves each reading, shape (jars, readings) each."""
    factors: Sequence[Factor]


def _model_fit(
    work: SeriesFits,
    index: int,
    rows: IntArray,
    name: str,
    unit: str,
    reported: bool,
    common: _Common,
) -> ModelFit:
    """Put together what one model says of one material."""
    model, fits, why = MODELS[name], work.jarwise[name], work.why[name]
    curves = work.curves.rows(rows)
    fitted = bool(fits.fitted[rows].all())
    identified = _identified(model, why[rows])
    named = work.pooled[name][index]
    if reported and identified:
        named = reported_fit(model, curves, named)
    rmse, r2 = _about(model, curves, named)
    moves = mean_moves(fits, rows, curves, common.shifts) if fitted and common.shifts else None
    return ModelFit(
        model=name,
        parameters=_estimates(fits, rows, why, named, unit, reported, moves, common.factors),
        blank_moves={}
        if moves is None
        else {one: tuple(moves[:, i].tolist()) for i, one in enumerate(model.names)},
        curve=_as_mapping(model, named) if fitted else None,
        rmse=rmse if fitted else None,
        r2=r2 if fitted else None,
        aicc=float(work.scores.aicc[name][index]) if fitted else None,
        durbin_watson=float(np.median(fits.durbin_watson[rows])) if fitted else None,
        identified=identified,
        jars=tuple(_jar_fit(fits, int(row), why[row], unit) for row in rows),
    )


def _as_mapping(model: Model, named: FloatArray) -> dict[str, float]:
    return dict(zip(model.names, map(float, named), strict=True))


def _about(model: Model, curves: Curves, named: FloatArray) -> tuple[float, float | None]:
    """Return root mean square residual and R² of all jars' readings about one curve."""
    line = model.value(curves.time_d, np.repeat(named[None], len(curves.value), axis=0))
    value = curves.value[curves.valid]
    residual = value - line[curves.valid]
    rss, total = float(residual @ residual), float(value.var() * value.size)
    return float(np.sqrt(rss / value.size)), 1.0 - rss / total if total > 0 else None


def _estimates(
    fits: Jarwise,
    rows: IntArray,
    why: TextArray,
    named: FloatArray,
    unit: str,
    reported: bool,
    moves: FloatArray | None,
    factors: Sequence[Factor],
) -> dict[str, Estimate]:
    """Return one estimate a parameter, from the curve through all jars and the jars' values."""
    result = {}
    for i, parameter in enumerate(fits.model.parameters):
        own_unit = parameter.unit_for(unit)
        given = [why[row][i] for row in rows]
        reason = _common_reason(given)
        if reason and not jars_agree(given, fits.named[rows, i]):
            bound = _yield_bound(fits, rows, reported) if i == 0 else None
            source = "" if bound is None else "least that the readings allow"
            result[parameter.name] = Estimate(None, own_unit, bound, source, reason)
            continue
        result[parameter.name] = estimate(
            float(named[i]),
            own_unit,
            fits.named[rows, i],
            fits.standard_error[rows, i],
            fits.degrees[rows],
            positive=parameter.positive,
            blank_moves=None if moves is None else moves[:, i],
            factors=factors if parameter.unit.startswith("yield") else (),
        )
    return result


def _common_reason(why: list[str]) -> str:
    """Return why a parameter is open, with the number of jars where it is not all of them."""
    given = [text for text in why if text]
    if not given:
        return ""
    most = max(given, key=given.count)
    return most if len(given) == len(why) else f"in {len(given)} of {len(why)} jars: {most}"


def _yield_bound(fits: Jarwise, rows: IntArray, reported: bool) -> tuple[float, None] | None:
    """Return what B0 is at least: the mean over the jars of each jar's own lower limit."""
    if not fits.fitted[rows].all():
        return None
    limits = fits.curves.value[rows, -1].copy()
    if reported and fits.model.candidate:
        for i, row in enumerate(rows):
            limits[i] = max(limits[i], least_yield(fits, int(row)))
    return (float(limits.mean()), None) if limits.mean() > 0 else None


def _identified(model: Model, why: TextArray) -> bool:
    """Tell whether jars determine level and rate, whether or not their lag can be told."""
    decides = np.array([parameter.decides for parameter in model.parameters])
    return bool((why[..., decides] == "").all())


def _jar_fit(fits: Jarwise, row: int, why: TextArray, unit: str) -> JarFit:
    fitted = bool(fits.fitted[row])
    one = slice(row, row + 1)
    parameters = {}
    for i, parameter in enumerate(fits.model.parameters):
        own_unit = parameter.unit_for(unit)
        if why[i]:
            parameters[parameter.name] = Estimate(None, own_unit, why=why[i])
            continue
        values, errors = fits.named[one, i], fits.standard_error[one, i]
        parameters[parameter.name] = estimate(
            float(values[0]),
            own_unit,
            values,
            errors,
            fits.degrees[one],
            positive=parameter.positive,
        )
    return JarFit(
        parameters=parameters,
        curve=_as_mapping(fits.model, fits.named[row]) if fitted else None,
        rmse=float(fits.rmse[row]) if fitted else None,
        r2=float(fits.r2[row]) if fitted else None,
        durbin_watson=float(fits.durbin_watson[row]) if fitted else None,
        identified=_identified(fits.model, why),
    )


def unit_per_day(unit: str) -> str:
    """Return the unit of a daily rate of that yield."""
    return Parameter("", "yield/d", "").unit_for(unit)
