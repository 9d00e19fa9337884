"""While the trial runs: the yield at its end and the day when it may stop.

From each jar's last reading on, the curve is carried forward by the fitted model. The yield's
interval is the one between jars where there are three; the stop day, and the yield of one or two
jars, come from simulated futures in which the parameters differ as their errors allow and every
day has the noise that the last readings showed. All models that the readings do not yet rule out
count: the interval spans what they say.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

import numpy as np

from bmp.estimate import Estimate
from bmp.fit.choice import FAR_APART
from bmp.fit.choice_words import NONE_FOLLOWS
from bmp.fit.curves import Curves
from bmp.fit.engine import fit_curves
from bmp.fit.identify import TextArray
from bmp.fit.interval import BETWEEN, FEWEST_JARS, WITHIN, between_jars
from bmp.fit.jarwise import Jarwise
from bmp.fit.models import MODELS
from bmp.fit.results import Choice, Forecast
from bmp.stop_rule import stop_days, stop_days_read_together
from bmp.trial import FloatArray, IntArray

FEWEST_READINGS: Final = 8
"""With fewer, a second slower phase cannot be told (simulated, no source)."""
WIDEST_ERROR: Final = 0.15
"""Relative standard error of B0 in any jar above which no number is given: a looser limit lets
through mostly the trials that by chance look bent too early (simulated, no source)."""
FUTURES: Final = 200
LONGEST_AHEAD_D: Final = 100
WIDEST_RATIO: Final = 2.0
"""Upper over lower limit of the yield above which no number is given."""


@dataclass(frozen=True, eq=False)
class _Ahead:
    """What one model says of one material."""

    yields: FloatArray
    """Each jar's yield on the stop day, from its own best curve. Shape (jars,)."""
    stop_d: float
    stop_futures_d: FloatArray
    """Shape (futures,)."""
    mean_futures: FloatArray
    """Mean yield over the jars on the stop day, shape (futures,)."""


@dataclass(frozen=True, eq=False)
class BlankGas:
    """What the blanks take off each jar's curve, and how it goes on."""

    past: Curves
    level: FloatArray
    """First-order level and rate of each jar's, shape (jars, 2); nought where there is none."""

    def rows(self, index: IntArray) -> BlankGas:
        """Return that of some jars."""
        return BlankGas(self.past.rows(index), self.level[index])

    def at(self, row: int, time_d: FloatArray) -> FloatArray:
        """Return it at times that begin with the jar's readings; from the last one by the fit."""
        count = int(self.past.count[row])
        read = self.past.value[row, :count]
        made = _FIRST_ORDER.value(time_d[count - 1 :], self.level[row : row + 1])[0]
        return np.concatenate([read, read[-1] + made[1:] - made[0]])


_FIRST_ORDER: Final = MODELS["first order"]


def no_blank_gas(curves: Curves) -> BlankGas:
    """Return the blanks' gas of jars from whose curves none was taken off."""
    none = Curves(curves.time_d, np.zeros_like(curves.value), curves.valid)
    return BlankGas(none, np.zeros((len(curves.value), 2)))


def blank_gas(past: Curves) -> BlankGas:
    """Return the blanks' gas with its first-order fit, by which it is carried forward."""
    level = np.zeros((len(past.value), 2))
    given = past.value[:, -1] > 0.0
    if given.any():
        level[given] = np.nan_to_num(fit_curves(_FIRST_ORDER, past.rows(given)).named)
    return BlankGas(past, level)


def forecast(
    jarwise: Mapping[str, Jarwise],
    why: Mapping[str, TextArray],
    scores: Mapping[str, float | None],
    choice: Choice,
    rows: IntArray,
    unit: str,
    from_blank: BlankGas | None = None,
) -> Forecast | None:
    """Return what the readings to date say about the end, `None` once the stop rule is met.

    Parameters
    ----------
    jarwise, why
        Fits of all jars, and why a parameter of theirs is not determined.
    scores
        AICc of the material by model.
    choice
        The model chosen for it.
    rows
        The material's jars.
    unit
        Unit of the curve.
    from_blank
        What was taken off all jars' curves; `None`: nothing.
    """
    curves = next(iter(jarwise.values())).curves.rows(rows)
    blank = (from_blank or no_blank_gas(next(iter(jarwise.values())).curves)).rows(rows)
    run = np.nonzero(curves.valid)[0]
    net = curves.value[curves.valid]
    own = net + blank.past.value[curves.valid]
    met = stop_days(run, curves.time_d[curves.valid], own, net)
    if np.isfinite(met).all():
        return None
    serving = _serving(why, scores, choice, rows)
    if not serving:
        return _no_number(choice.model, unit, "no model could be fitted yet")
    if choice.model is None:
        return _no_number(None, unit, NONE_FOLLOWS)
    obstacle = _obstacle(serving, jarwise, why, rows)
    if obstacle:
        return _no_number(choice.model, unit, obstacle)
    ahead = {name: _look_ahead(jarwise[name], rows, met, blank) for name in serving}
    final, stop = _final_yield(ahead, serving[0], unit), _stop_day(ahead, serving[0])
    if final.value is None:
        return _no_number(serving[0], unit, final.why)
    return Forecast(final, stop, serving[0], _words(final, stop))


def _serving(
    why: Mapping[str, TextArray],
    scores: Mapping[str, float | None],
    choice: Choice,
    rows: IntArray,
) -> list[str]:
    """Return the models that the readings do not rule out, the one that gives the value first.

    A candidate, or a second phase, counts even where it leaves the level open; the other models
    only where they determine it.
    """
    usable = {
        name: score
        for name, score in scores.items()
        if score is not None and (_weighty(name) or not any(why[name][row][0] for row in rows))
    }
    best = min((s for name, s in usable.items() if MODELS[name].candidate), default=0.0)
    kept = [name for name in usable if usable[name] - best <= FAR_APART]
    return sorted(kept, key=lambda name: name != choice.model)


def _weighty(name: str) -> bool:
    return MODELS[name].candidate or MODELS[name].phases > 1


def _obstacle(
    serving: list[str],
    jarwise: Mapping[str, Jarwise],
    why: Mapping[str, TextArray],
    rows: IntArray,
) -> str:
    """Say what stands against a number: a level that such a model leaves open or half open."""
    if jarwise[serving[0]].curves.count[rows].min() < FEWEST_READINGS:
        return f"fewer than {FEWEST_READINGS} readings"
    for name in serving:
        if not _weighty(name):
            continue
        open_jars = [text for row in rows if (text := why[name][row][0])]
        if open_jars:
            return f"by {name}, {open_jars[0]}"
        fits = jarwise[name]
        if (fits.standard_error[rows, 0] > WIDEST_ERROR * fits.named[rows, 0]).any():
            return f"by {name}, the readings do not yet show where the curve is heading"
    return ""


def _look_ahead(fits: Jarwise, rows: IntArray, met: FloatArray, blank: BlankGas) -> _Ahead:
    jars = len(rows)
    days = np.empty((jars, FUTURES + 1))
    paths, starts = [], []
    for i, row in enumerate(rows):
        time, path = _futures(fits, int(row), seed=i)
        if np.isfinite(met[i]):
            days[i] = met[i]
        else:
            days[i] = stop_days_read_together(time, path + blank.at(i, time), path)
        paths.append(path)
        starts.append(time)
    stop = days.max(axis=0)
    yields = np.stack([_at(t, p, stop) for t, p in zip(starts, paths, strict=True)])
    return _Ahead(yields[:, 0], float(stop[0]), stop[1:], yields[:, 1:].mean(axis=0))


def _at(time: FloatArray, path: FloatArray, day: FloatArray) -> FloatArray:
    """Return each future's yield on its own day, or on the last day that is looked at."""
    index = np.minimum(np.searchsorted(time, np.minimum(day, time[-1])), len(time) - 1)
    return np.asarray(path[np.arange(len(path)), index], dtype=np.float64)


def _futures(fits: Jarwise, row: int, seed: int) -> tuple[FloatArray, FloatArray]:
    """Return times and curves of one jar: readings to date, then days ahead.

    The first curve follows the best parameters without noise; the others are simulated. Shapes
    (times,) and (1 + futures, times).
    """
    rng = np.random.default_rng(seed)
    count = int(fits.curves.count[row])
    past, value = fits.curves.time_d[row, :count], fits.curves.value[row, :count]
    ahead = past[-1] + np.arange(1.0, LONGEST_AHEAD_D + 1)
    named = np.concatenate([fits.named[row : row + 1], _draws(fits, row, rng)])
    level = fits.model.value(np.concatenate([past[-1:], ahead]), named)
    gas = np.diff(level, axis=1)
    spacing = past[-1] - past[-2] if count > 1 else 1.0
    daily = fits.variance[row, count - 1] / max(spacing, 1e-9)
    gas[1:] += rng.normal(0.0, np.sqrt(daily), gas[1:].shape)
    future = value[-1] + np.cumsum(gas, axis=1)
    history = np.repeat(value[None], len(named), axis=0)
    return np.concatenate([past, ahead]), np.concatenate([history, future], axis=1)


def _draws(fits: Jarwise, row: int, rng: np.random.Generator) -> FloatArray:
    """Draw parameters from their errors within the jar; positive ones on the logarithm."""
    best, covariance = fits.named[row], fits.covariance[row]
    logged = np.array([p.positive for p in fits.model.parameters])
    scale = np.where(logged, best, 1.0)
    relative = covariance / (scale[:, None] * scale[None, :])
    values, vectors = np.linalg.eigh(relative)
    root = vectors * np.sqrt(np.maximum(values, 0.0))
    away = rng.standard_normal((FUTURES, len(best))) @ root.T
    drawn: FloatArray = np.where(logged, best * np.exp(np.clip(away, -3.0, 3.0)), best + away)
    return drawn


def _final_yield(ahead: Mapping[str, _Ahead], chosen: str, unit: str) -> Estimate:
    jars = len(ahead[chosen].yields)
    limits = [_yield_limits(one) for one in ahead.values()]
    low, high = min(a for a, _ in limits), max(b for _, b in limits)
    if low <= 0 or high / low > WIDEST_RATIO:
        why = "too early: what the readings allow differs by more than a factor of two"
        return Estimate(None, unit, why=why)
    value = float(ahead[chosen].yields.mean())
    return Estimate(value, unit, (low, high), BETWEEN if jars >= FEWEST_JARS else WITHIN)


def _yield_limits(ahead: _Ahead) -> tuple[float, float]:
    """Return the wider of what the jars' own yields and the simulated futures allow."""
    low, high = (float(x) for x in np.quantile(ahead.mean_futures, (0.025, 0.975)))
    if len(ahead.yields) >= FEWEST_JARS and (ahead.yields > 0).all():
        least, most = between_jars(np.log(ahead.yields))
        low, high = min(low, float(np.exp(least))), max(high, float(np.exp(min(most, 700.0))))
    return low, high


def _stop_day(ahead: Mapping[str, _Ahead], chosen: str) -> Estimate:
    day = ahead[chosen].stop_d
    futures = [
        np.quantile(a.stop_futures_d, (0.025, 0.975), method="nearest") for a in ahead.values()
    ]
    low, high = min(float(f[0]) for f in futures), max(float(f[1]) for f in futures)
    if not np.isfinite(day):
        why = f"not within {LONGEST_AHEAD_D} days ahead"
        return Estimate(None, "d", (low, None) if np.isfinite(low) else None, "simulation", why)
    return Estimate(day, "d", (low, high if np.isfinite(high) else None), "simulation")


def _words(final: Estimate, stop: Estimate) -> str:
    assert final.value is not None
    assert final.ci95 is not None
    low, high = final.ci95
    text = f"At the end about {final.value:.0f} ({low:.0f} to {high:.0f}) {final.unit}; "
    if stop.value is None or stop.ci95 is None:
        text += f"the stop rule will not be met within {LONGEST_AHEAD_D} days"
    else:
        until = "open" if stop.ci95[1] is None else f"{stop.ci95[1]:.0f}"
        text += f"the stop rule will be met about day {stop.value:.0f} "
        text += f"({stop.ci95[0]:.0f} to {until})"
    return f"{text}; as long as no second, slower phase follows."


def _no_number(model: str | None, unit: str, why: str) -> Forecast:
    words = f"No forecast yet: {why}."
    return Forecast(Estimate(None, unit, why=why), Estimate(None, "d", why=why), model, words)
