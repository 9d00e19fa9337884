"""While the trial runs: the yield at its end and the day when it may stop.

From each jar's last reading on, the curve is carried forward by its tail (`bmp.fit.tail`), with the
blank's own gas, until the stop rule is met. How far such a tail misleads was learnt from real
curves; that, the errors that the last readings show and the scatter between jars make the
intervals. A second phase that has not begun cannot be seen: early in a trial the interval allows
for one, unless the feed is known to have none.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from bmp.estimate import Estimate
from bmp.fit.common_errors import Factor, common_parts
from bmp.fit.curves import Curves
from bmp.fit.engine import fit_curves
from bmp.fit.interval import FEWEST_JARS, between_jars
from bmp.fit.models import MODELS
from bmp.fit.results import Forecast
from bmp.fit.tail import Spread, Tail, fit_tail, reading_noise, spread
from bmp.statistics import critical_value
from bmp.stop_rule import stop_days, stop_days_read_together
from bmp.trial import FloatArray, IntArray

FEWEST_READINGS: Final = 4
"""One more than the tail's two and the last. Common practice, no source."""
WIDEST_RATIO: Final = 2.0
"""Upper over lower limit of the yield, without a second phase, above which no number is given.
Common practice, no source."""
LATEST_SECOND_PHASE_D: Final = 17.0
"""By this day a second phase shows in the readings. Common practice, no source; the plan lets fat
and unknown feeds start as late as day 10."""
SECOND_PHASE_SHARE: Final = 0.45
"""The part of all gas that a second phase may bring. Common practice, no source."""
FUTURES: Final = 200
LONGEST_AHEAD_D: Final = 100.0
STOP_QUANTILES: Final = (0.025, 0.99)
"""Of the futures' stop days; with the upper one at 97.5 % feeds of two pools stopped later
than said in a fifth of trials."""
FROM_TAILS: Final = "tails of real curves"
FROM_SECOND_PHASE: Final = "tails of real curves, and a second phase"


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


def blank_gas(past: Curves) -> BlankGas:
    """Return the blanks' gas with its first-order fit, by which it is carried forward."""
    level = np.zeros((len(past.value), 2))
    given = past.value[:, -1] > 0.0
    if given.any():
        level[given] = np.nan_to_num(fit_curves(_FIRST_ORDER, past.rows(given)).named)
    return BlankGas(past, level)


def forecast(
    curves: Curves,
    blank: BlankGas,
    unit: str,
    *,
    one_phase: bool = False,
    highest: float | None = None,
    shape: Spread | None = None,
    blank_moves: FloatArray | None = None,
    factors: Sequence[Factor] = (),
) -> Forecast | None:
    """Return what the readings to date say about the end, `None` once the stop rule is met.

    Parameters
    ----------
    curves, blank
        The jars of one material, and what was taken off their curves.
    unit
        Unit of the curves.
    one_phase
        Whether the feed is known to give its gas in one phase.
    highest
        The most that literature or theory allow the feed; `None`: not known.
    shape
        How far real tails differ from the expected one; `None`: as all real curves showed.
    blank_moves, factors
        What the jars have in common, as `bmp.fit.common_errors.mean_over_jars` takes it; the blanks
        by the last reading.
    """
    run = np.nonzero(curves.valid)[0]
    net = curves.value[curves.valid]
    met = stop_days(run, curves.time_d[curves.valid], net + blank.past.value[curves.valid], net)
    if np.isfinite(met).all():
        return None
    if curves.count.min() < FEWEST_READINGS:
        return _no_number(unit, f"fewer than {FEWEST_READINGS} readings")
    if (curves.value[:, -1] <= 0).any():
        return _no_number(unit, "a jar has no net gas yet")
    tail = fit_tail(curves)
    ahead = _look_ahead(curves, tail, met, blank, shape or spread())
    if not np.isfinite(ahead.stop_d[0]):
        return _no_number(unit, f"the stop rule will not be met within {LONGEST_AHEAD_D:.0f} days")
    value = float(ahead.yields[:, 0].mean())
    low, high = _yield_limits(ahead, value, _common_half(value, blank_moves, factors))
    if low <= 0 or high > WIDEST_RATIO * low:
        return _no_number(unit, "the readings do not yet show where the curve is heading")
    with_second = value / (1 - SECOND_PHASE_SHARE)
    most = max(high, with_second if highest is None else min(with_second, highest))
    today_d = float(tail.day.max())
    none_to_come = one_phase or today_d >= LATEST_SECOND_PHASE_D or most == high
    stop = _stop_day(ahead, today_d, none_to_come)
    if none_to_come:
        final = Estimate(value, unit, (low, high), FROM_TAILS)
        return Forecast(final, stop, _words(final, stop, one_phase))
    final = Estimate(value, unit, (low, most), FROM_SECOND_PHASE)
    return Forecast(final, stop, _words_of_two_phases(final, high, stop))


@dataclass(frozen=True, eq=False)
class _Ahead:
    """Simulated futures; the first follows the expected tails without noise."""

    yields: FloatArray
    """Each jar's yield on the day when the last of them meets the stop rule (jars, futures)."""
    stop_d: FloatArray
    """That day, shape (futures,); infinite where it is not met in time."""
    step_d: float
    """How far apart the readings ahead are taken to be."""


def _look_ahead(
    curves: Curves, tail: Tail, met: FloatArray, blank: BlankGas, shape: Spread
) -> _Ahead:
    """Carry every jar forward: the error of the tail's shape is common to all jars of a feed."""
    rng = np.random.default_rng(0)
    factor = np.exp(shape.mean + shape.sd * rng.standard_normal(FUTURES + 1))
    factor[0] = shape.factor(0.0)
    days = np.empty((len(met), FUTURES + 1))
    paths, times = [], []
    for jar in range(len(met)):
        time, path = _futures(curves, tail, jar, factor, rng)
        if np.isfinite(met[jar]):
            days[jar] = met[jar]
        else:
            days[jar] = stop_days_read_together(time, path + blank.at(jar, time), path)
        paths.append(path)
        times.append(time)
    stop = days.max(axis=0)
    yields = np.stack([_at(t, p, stop) for t, p in zip(times, paths, strict=True)])
    return _Ahead(yields, stop, max(float(time[-1] - time[-2]) for time in times))


def _futures(
    curves: Curves, tail: Tail, jar: int, factor: FloatArray, rng: np.random.Generator
) -> tuple[FloatArray, FloatArray]:
    """Return times and curves of one jar: readings to date, then readings ahead as far apart.

    Shapes (times,) and (futures, times).
    """
    count = int(curves.count[jar])
    past, value = curves.time_d[jar, :count], curves.value[jar, :count]
    step = max(1.0, float(np.median(np.diff(past)[-5:])))
    ahead = past[-1] + np.arange(step, LONGEST_AHEAD_D + step, step)
    away = rng.standard_normal(factor.size)
    away[0] = 0.0
    rest = np.maximum(tail.rest[jar] + tail.error[jar] * away, 0.0)
    gain = factor[:, None] * rest[:, None] * (1.0 - past[-1] / ahead)
    noise = reading_noise(curves, tail, jar) * np.sqrt(step)
    wander = np.cumsum(rng.normal(0.0, noise, gain.shape), axis=1)
    wander[0] = 0.0
    future = value[-1] * (1.0 + gain + wander)
    history = np.repeat(value[None], factor.size, axis=0)
    return np.concatenate([past, ahead]), np.concatenate([history, future], axis=1)


def _at(time: FloatArray, path: FloatArray, day: FloatArray) -> FloatArray:
    """Return each future's yield on its own day, or on the last day that is looked at."""
    index = np.minimum(np.searchsorted(time, np.minimum(day, time[-1])), len(time) - 1)
    return np.asarray(path[np.arange(len(path)), index], dtype=np.float64)


def _common_half(value: float, blank_moves: FloatArray | None, factors: Sequence[Factor]) -> float:
    """Return half the 95 % interval that blank, VS and methane share make by themselves."""
    parts, dof = common_parts(np.asarray(value), blank_moves, factors)
    variances = np.array(parts)
    if not variances.sum() > 0.0:
        return 0.0
    return float(critical_value(variances, np.array(dof)) * np.sqrt(variances.sum()))


def _yield_limits(ahead: _Ahead, value: float, common: float) -> tuple[float, float]:
    """Return the limits that futures, scatter between jars and common errors leave together."""
    low, high = (float(x) for x in np.quantile(ahead.yields[:, 1:].mean(axis=0), (0.025, 0.975)))
    below, above = max(value - low, 0.0), max(high - value, 0.0)
    if len(ahead.yields) >= FEWEST_JARS:
        least, most = between_jars(ahead.yields[:, 0])
        below, above = np.hypot(below, value - least), np.hypot(above, most - value)
    return value - float(np.hypot(below, common)), value + float(np.hypot(above, common))


def _stop_day(ahead: _Ahead, today_d: float, none_to_come: bool) -> Estimate:
    """Return the stop day; nobody knows on which days people will read, and what they skip.

    A jar can be read a step sooner than thought and its inoculum make less gas than the blanks, or
    a round be skipped. Where a second phase may still come there is no last day.
    """
    day = float(ahead.stop_d[0])
    low, high = (float(x) for x in np.quantile(ahead.stop_d[1:], STOP_QUANTILES, method="nearest"))
    earliest = min(max(low - 2 * ahead.step_d, today_d), day)
    latest = max(high + ahead.step_d, day)
    told = none_to_come and np.isfinite(latest)
    return Estimate(day, "d", (earliest, latest if told else None), FROM_TAILS)


def _words(final: Estimate, stop: Estimate, one_phase: bool) -> str:
    assert final.value is not None
    assert final.ci95 is not None
    low, high = final.ci95
    words = f"At the end about {final.value:.0f} ({low:.0f} to {high:.0f}) {final.unit}. "
    words += _stop_words(stop)
    return words if one_phase else f"{words} This holds as long as no second phase follows."


def _words_of_two_phases(final: Estimate, high: float, stop: Estimate) -> str:
    assert final.value is not None
    assert final.ci95 is not None
    low, most = final.ci95
    return (
        f"At the end at least {low:.0f} {final.unit}, and about {final.value:.0f} (up to "
        f"{high:.0f}) if the curve goes on as it does. {_stop_words(stop)} "
        f"A second phase that has not begun yet could raise the yield to {most:.0f}."
    )


def _stop_words(stop: Estimate) -> str:
    assert stop.ci95 is not None
    return f"The stop rule will be met about day {stop.value:.0f} ({span_of_days(stop.ci95)})."


def span_of_days(limits: tuple[float | None, float | None]) -> str:
    """Return the span of a stop day in words: `18 to 27`, or `18 or later`."""
    earliest, latest = limits
    return f"{earliest:.0f} or later" if latest is None else f"{earliest:.0f} to {latest:.0f}"


def _no_number(unit: str, why: str) -> Forecast:
    words = f"No forecast yet: {why}."
    return Forecast(Estimate(None, unit, why=why), Estimate(None, "d", why=why), words)
