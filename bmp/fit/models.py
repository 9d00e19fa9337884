"""The kinetic models, each in one definition, and the table `MODELS` that the rest goes by.

Sources
-------
Zwietering, Jongenburger, Rombouts & van 't Riet 1990, Appl. Environ. Microbiol. 56(6):1875, give
the Gompertz and logistic curves in the form in which rate and lag are parameters; Lay, Li & Noike
1997, Water Sci. Technol. 36(6-7):493, carried the first to methane. First order: Standard form,
for example VDI 4630. The transference form B0 (1 − exp(−Rm (t − lag)/B0)) is first order with lag
under k = Rm/B0, the same curve, and so has no definition of its own. Cone: Groot, Cone, Williams,
Debersaques & Lantinga 1996, Anim. Feed Sci. Technol. 64(1):77 (from memory).
"""

from __future__ import annotations

from typing import Final

import numpy as np

from bmp.fit.curves import Curves, crossing, plateau
from bmp.fit.model import Model, Parameter, Starts
from bmp.runs import lengths, padded
from bmp.trial import FloatArray, IntArray

# How far a rate constant may go: below the first, the curve has not bent over the whole test;
# above the second, it is over before the first reading.
SLOWEST_BEND: Final = 1e-4
FASTEST_BEND: Final = 60.0
# exp of more than this comes near the largest number there is; a search that steps wildly there
# must still get numbers back
HIGHEST_POWER: Final = 600.0

_B0 = Parameter("B0", "yield", "ultimate yield, the level that the model runs towards")
_K = Parameter("k", "1/d", "rate constant: share of the remaining yield released per day")
_RM = Parameter("Rm", "yield/d", "highest rate, at the steepest point of the curve")
_LAG = Parameter(
    "lag",
    "d",
    "time at which the tangent of the steepest point starts from zero",
    positive=False,
    decides=False,
)


def _exp(power: FloatArray) -> FloatArray:
    value: FloatArray = np.exp(np.minimum(power, HIGHEST_POWER))
    return value


def _first_reading(curves: Curves) -> FloatArray:
    """Return the first time above zero. Shape (jars,)."""
    first = np.where(curves.time_d > 0, curves.time_d, np.inf).min(axis=1)
    return np.where(np.isfinite(first), first, 1.0)


def _rate_limits(curves: Curves) -> tuple[FloatArray, FloatArray]:
    """Return the logarithms of the slowest and fastest rate constants. Shape (jars,) each."""
    end = np.maximum(curves.end_d, _first_reading(curves))
    return np.log(SLOWEST_BEND / end), np.log(FASTEST_BEND / _first_reading(curves))


def _start_rate(curves: Curves) -> FloatArray:
    """Return ln 2 over the time to half of the plateau. Shape (jars,)."""
    half = crossing(curves, plateau(curves) / 2)
    rate: FloatArray = np.log(2) / np.maximum(half, 0.1 * _first_reading(curves))
    return rate


def _one_start(*columns: FloatArray) -> FloatArray:
    return np.stack(columns, axis=1)[None]


# --- first order -------------------------------------------------------------------------------


def _first_order(t: FloatArray, u: FloatArray) -> tuple[FloatArray, list[FloatArray]]:
    x = t * _exp(u[:, :1])
    # not expm1, which takes three times as long and gains digits only where f is next to nothing
    left = np.negative(x)
    np.exp(left, out=left)
    x *= left
    return np.subtract(1.0, left, out=left), [x]


def _first_order_slope(t: FloatArray, u: FloatArray) -> FloatArray:
    k = _exp(u[:, :1])
    slope: FloatArray = k * np.exp(-k * t)
    return slope


def _log_second(search: FloatArray) -> FloatArray:
    named = search.copy()
    named[:, 1] = np.exp(search[:, 1])
    return named


def _exp_second(named: FloatArray) -> FloatArray:
    search = named.copy()
    search[:, 1] = np.log(np.maximum(named[:, 1], 1e-300))
    return search


def _exp_second_jacobian(named: FloatArray) -> FloatArray:
    jacobian = _identity(named)
    jacobian[:, 1, 1] = 1.0 / named[:, 1]
    return jacobian


def _identity(named: FloatArray) -> FloatArray:
    return np.repeat(np.eye(named.shape[1])[None], named.shape[0], axis=0)


def _first_order_starts(curves: Curves) -> Starts:
    low, high = _rate_limits(curves)
    start = np.clip(np.log(_start_rate(curves)), low, high)
    return Starts(_one_start(start), _one_start(low), _one_start(high))


def _at_once(named: FloatArray) -> FloatArray:
    return np.zeros(named.shape[0])


FIRST_ORDER: Final = Model(
    name="first order",
    equation="B = B0 (1 − exp(−k t))",
    source="standard form; VDI 4630 (from memory)",
    parameters=(_B0, _K),
    shape=_first_order,
    slope=_first_order_slope,
    to_named=_log_second,
    to_search=_exp_second,
    search_jacobian=_exp_second_jacobian,
    starts=_first_order_starts,
    steepest_d=_at_once,
    candidate=True,
    quoted=True,
)


# --- first order with lag ----------------------------------------------------------------------


def _lagged(t: FloatArray, u: FloatArray) -> tuple[FloatArray, list[FloatArray]]:
    k, late = _exp(u[:, :1]), t - u[:, 1:2]
    x = k * np.maximum(late, 0.0)
    left = np.exp(-x)
    x *= left
    by_lag = -k * left
    by_lag *= late > 0
    return np.subtract(1.0, left, out=left), [x, by_lag]


def _lagged_slope(t: FloatArray, u: FloatArray) -> FloatArray:
    k, late = _exp(u[:, :1]), t - u[:, 1:2]
    slope: FloatArray = np.where(late >= 0, k * np.exp(-k * np.maximum(late, 0.0)), 0.0)
    return slope


LAG_RATES: Final = (-3.0, -1.7, -0.8, -0.4, -0.2, 0.0, 0.2, 0.4, 0.8, 1.3)
"""Rate constants that a lag is looked for with: logarithms of their ratio to one told from the
time between 50 and 80 % of the plateau."""


def _lagged_starts(curves: Curves) -> Starts:
    """Start without a lag, from the best of all lags, and from the best between other readings.

    The readings are kinks of the sum of squares, and there may be a valley between each two. Given
    k, what follows a lag is a straight line in exp(−k t), so that the best lag between each two
    readings, up to half of the plateau, is known at once.
    """
    half, eighty = (crossing(curves, share * plateau(curves)) for share in (0.5, 0.8))
    guess = np.log(np.log(2.5) / np.maximum(eighty - half, 0.2 * _first_reading(curves)))
    low_k, high_k = _rate_limits(curves)
    jar, after, begin, end = _between_readings(curves, half)
    late = curves.valid & (curves.time_d > 0)
    time, y = np.where(late, curves.time_d, np.inf), np.where(late, curves.value, 0.0)
    n, sum_y = _sums_from(late.astype(np.float64), jar, after), _sums_from(y, jar, after)
    lag, log_k, inside = np.zeros_like(begin), np.zeros_like(begin), np.zeros(begin.size, np.bool_)
    explained = np.full_like(begin, -np.inf)
    for ratio in LAG_RATES:
        tried = np.clip(guess + ratio, low_k, high_k)
        k = np.exp(tried)
        left = np.exp(-k[:, None] * time)
        e, ee, ye = (_sums_from(of, jar, after) for of in (left, left * left, left * y))
        k, tried = k[jar], tried[jar]
        with np.errstate(all="ignore"):
            # y = a − b exp(−k t) by least squares, and b/a = exp(k lag)
            b_over_a = (e * sum_y - n * ye) / (ee * sum_y - e * ye)
            free = np.log(b_over_a) / k
            best = np.clip(np.where(np.isfinite(free), free, begin), begin, end)
            b_over_a = np.exp(k * best)
            gain = (sum_y - b_over_a * ye) ** 2 / (n - b_over_a * (2 * e - b_over_a * ee))
            better = gain > explained
        for of, new in ((lag, best), (log_k, tried), (inside, free == best), (explained, gain)):
            np.copyto(of, new, where=better)
    every, columns = np.arange(half.size), lengths(jar)
    begins = np.cumsum(columns) - columns
    gains = padded(explained, jar, -np.inf)
    first = gains.argmax(axis=1)
    gains = padded(np.where(inside, explained, -np.inf), jar, -np.inf)
    gains[every, first] = -np.inf
    second = np.where(np.isfinite(gains).any(axis=1), gains.argmax(axis=1), first)
    at = np.stack([begins, begins + first, begins + second])
    low = np.stack([low_k, np.zeros_like(half)], axis=1)
    high = np.stack([high_k, np.maximum.reduceat(end, begins)], axis=1)
    return Starts(
        np.stack([log_k[at], lag[at]], axis=2),
        *(np.repeat(limit[None], len(at), axis=0) for limit in (low, high)),
    )


def _between_readings(
    curves: Curves, half: FloatArray
) -> tuple[IntArray, IntArray, FloatArray, FloatArray]:
    """Return where a lag may lie: not at all, then between each two readings up to half.

    Runs of places, a run a jar: the jar, the first reading after the lag, the days it may lie
    between.
    """
    start = (curves.time_d <= 0).sum(axis=1)
    early = curves.valid & (curves.time_d > 0) & (curves.time_d <= half[:, None])
    jar, place = np.nonzero(np.arange(early.shape[1] + 2) <= early.sum(axis=1)[:, None] + 1)
    after = np.minimum(start[jar] + np.maximum(place - 1, 0), early.shape[1] - 1)
    begin = np.where(place > 1, curves.time_d[jar, np.maximum(after - 1, 0)], 0.0)
    end = np.where(place > 0, np.maximum(curves.time_d[jar, after], begin), 0.0)
    return jar, after, begin, end


def _sums_from(values: FloatArray, jar: IntArray, after: IntArray) -> FloatArray:
    """Return the sums of a jar's readings from one on. Shape of `after`."""
    furthest = int(after.max(initial=0))
    sums = values[:, furthest::-1].copy()
    sums[:, 0] += values[:, furthest + 1 :].sum(axis=1)
    found: FloatArray = np.cumsum(sums, axis=1).ravel()[jar * (furthest + 1) + furthest - after]
    return found


def _lag_to_readings(time_d: FloatArray, u: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return the readings before and after each lag; the rate constant may go anywhere."""
    lag = u[:, 1:]
    before = np.where(time_d <= lag, time_d, 0.0).max(axis=1)
    after = np.where(time_d > lag, time_d, np.inf).min(axis=1)
    # just before the next reading: from there on the slope has another value
    after -= 1e-9 * (after - before)
    anywhere = np.full_like(after, np.inf)
    return np.stack([-anywhere, before], axis=1), np.stack([anywhere, after], axis=1)


FIRST_ORDER_LAG: Final = Model(
    name="first order with lag",
    equation="B = B0 (1 − exp(−k (t − lag))) from the lag on, 0 before",
    source="standard form; with Rm = k B0 the transference form (both from memory)",
    parameters=(
        _B0,
        _K,
        Parameter(
            "lag", "d", "time before the first gas", positive=False, at_least=0.0, decides=False
        ),
    ),
    shape=_lagged,
    slope=_lagged_slope,
    to_named=_log_second,
    to_search=_exp_second,
    search_jacobian=_exp_second_jacobian,
    starts=_lagged_starts,
    smooth=_lag_to_readings,
    steepest_d=lambda named: np.maximum(named[:, 2], 0.0),
    candidate=True,
)


# --- modified Gompertz and modified logistic ------------------------------------------------------
# Both are f(c − m t). With Rm = m B0/s and lag = (c − o)/m: s = e, o = 1 for Gompertz; s = 4,
# o = 2 for the logistic curve (Zwietering et al. 1990, Table 2).

_GOMPERTZ: Final = (float(np.e), 1.0)
_LOGISTIC: Final = (4.0, 2.0)


def _gompertz(t: FloatArray, u: FloatArray) -> tuple[FloatArray, list[FloatArray]]:
    x = t * _exp(u[:, :1])
    w = np.exp(np.minimum(u[:, 1:2], HIGHEST_POWER) - x)
    f = np.exp(-w)
    w *= f
    x *= w
    return f, [x, np.negative(w, out=w)]


def _gompertz_slope(t: FloatArray, u: FloatArray) -> FloatArray:
    m = _exp(u[:, :1])
    w = np.exp(np.minimum(u[:, 1:2], HIGHEST_POWER) - m * t)
    slope: FloatArray = m * w * np.exp(-w)
    return slope


def _logistic(t: FloatArray, u: FloatArray) -> tuple[FloatArray, list[FloatArray]]:
    x = t * _exp(u[:, :1])
    f = 1.0 / (1.0 + np.exp(np.minimum(u[:, 1:2], HIGHEST_POWER) - x))
    bell = f * (1.0 - f)
    return f, [x * bell, -bell]


def _logistic_slope(t: FloatArray, u: FloatArray) -> FloatArray:
    m = _exp(u[:, :1])
    f = 1.0 / (1.0 + np.exp(np.minimum(u[:, 1:2], HIGHEST_POWER) - m * t))
    slope: FloatArray = m * f * (1.0 - f)
    return slope


def _to_rate_and_lag(search: FloatArray, kind: tuple[float, float]) -> FloatArray:
    m = np.exp(search[:, 1])
    lag = (search[:, 2] - kind[1]) / m
    return np.stack([search[:, 0], m * search[:, 0] / kind[0], lag], axis=1)


def _from_rate_and_lag(named: FloatArray, kind: tuple[float, float]) -> FloatArray:
    b0, rate, lag = named.T
    m = np.maximum(rate * kind[0] / np.where(b0 == 0, 1.0, b0), 1e-300)
    return np.stack([b0, np.log(m), m * lag + kind[1]], axis=1)


def _rate_and_lag_jacobian(named: FloatArray, kind: tuple[float, float]) -> FloatArray:
    b0, rate, lag = named.T
    m = rate * kind[0] / b0
    jacobian = _identity(named)
    jacobian[:, 1, 0], jacobian[:, 1, 1], jacobian[:, 1, 2] = -1.0 / b0, 1.0 / rate, 0.0
    jacobian[:, 2, 0], jacobian[:, 2, 1], jacobian[:, 2, 2] = -m * lag / b0, m * lag / rate, m
    return jacobian


def _sigmoid_starts(curves: Curves, z10: float, z50: float, z80: float) -> Starts:
    """Start from the times to 10, 50 and 80 % of the plateau; z: where f has those values."""
    level = plateau(curves)
    t10, t50, t80 = (crossing(curves, share * level) for share in (0.1, 0.5, 0.8))
    first = _first_reading(curves)
    low, high = _rate_limits(curves)
    m = (z10 - z80) / np.maximum(t80 - t10, 0.2 * first)
    log_m = np.clip(np.log(m), low, high)
    c_low, c_high = np.full_like(low, -10.0), np.full_like(low, 80.0)
    c = np.clip(z50 + np.exp(log_m) * t50, c_low, c_high)
    return Starts(_one_start(log_m, c), _one_start(low, c_low), _one_start(high, c_high))


def _steepest(named: FloatArray, kind: tuple[float, float]) -> FloatArray:
    """Return the inflection, lag + offset/m with the offset 1 or 2 of the curve, from day 0 on."""
    b0, rate, lag = named.T
    day: FloatArray = np.maximum(lag + kind[1] * b0 / (kind[0] * rate), 0.0)
    return day


MODIFIED_GOMPERTZ: Final = Model(
    name="modified Gompertz",
    equation="B = B0 exp(−exp(Rm e/B0 (lag − t) + 1))",
    source="Zwietering et al. 1990; Lay et al. 1997",
    parameters=(_B0, _RM, _LAG),
    shape=_gompertz,
    slope=_gompertz_slope,
    to_named=lambda search: _to_rate_and_lag(search, _GOMPERTZ),
    to_search=lambda named: _from_rate_and_lag(named, _GOMPERTZ),
    search_jacobian=lambda named: _rate_and_lag_jacobian(named, _GOMPERTZ),
    starts=lambda curves: _sigmoid_starts(curves, 0.8340, -0.3665, -1.4999),
    steepest_d=lambda named: _steepest(named, _GOMPERTZ),
    candidate=True,
    quoted=True,
)

MODIFIED_LOGISTIC: Final = Model(
    name="modified logistic",
    equation="B = B0/(1 + exp(4 Rm/B0 (lag − t) + 2))",
    source="Zwietering et al. 1990",
    parameters=(_B0, _RM, _LAG),
    shape=_logistic,
    slope=_logistic_slope,
    to_named=lambda search: _to_rate_and_lag(search, _LOGISTIC),
    to_search=lambda named: _from_rate_and_lag(named, _LOGISTIC),
    search_jacobian=lambda named: _rate_and_lag_jacobian(named, _LOGISTIC),
    starts=lambda curves: _sigmoid_starts(curves, 2.1972, 0.0, -1.3863),
    steepest_d=lambda named: _steepest(named, _LOGISTIC),
)


# --- cone ----------------------------------------------------------------------------------------
# With z = n ln(k t) it is the logistic curve 1/(1 + exp(−z)) on a logarithmic time axis.

LARGEST_SHAPE: Final = 20.0
"""All of the gas between two readings; a shape below 1 would start with an infinite rate."""


def _log_time(t: FloatArray, u: FloatArray) -> FloatArray:
    """Return ln(k t). The start of the test, where it is −∞, stands at a number."""
    late: FloatArray = np.log(np.maximum(t, 1e-300)) + u[:, :1]
    return late


def _cone(t: FloatArray, u: FloatArray) -> tuple[FloatArray, list[FloatArray]]:
    n = _exp(u[:, 1:2])
    z = n * _log_time(t, u)
    f = 1.0 / (1.0 + _exp(-z))
    bell = f * (1.0 - f)
    z *= bell
    return f, [np.multiply(bell, n, out=bell), z]


def _cone_slope(t: FloatArray, u: FloatArray) -> FloatArray:
    n, late = _exp(u[:, 1:2]), _log_time(t, u)
    left = 1.0 / (1.0 + _exp(n * late))
    slope: FloatArray = n * _exp(u[:, :1] + (n - 1.0) * late) * left**2
    return slope


def _cone_named(search: FloatArray) -> FloatArray:
    return np.concatenate([search[:, :1], np.exp(search[:, 1:])], axis=1)


def _cone_search(named: FloatArray) -> FloatArray:
    return np.concatenate([named[:, :1], np.log(np.maximum(named[:, 1:], 1e-300))], axis=1)


def _cone_jacobian(named: FloatArray) -> FloatArray:
    jacobian = _identity(named)
    jacobian[:, 1, 1], jacobian[:, 2, 2] = 1.0 / named[:, 1], 1.0 / named[:, 2]
    return jacobian


def _cone_starts(curves: Curves) -> Starts:
    """Start from the times to 10, 50 and 80 % of the plateau, where (k t)^n is 1/9, 1 and 4."""
    level = plateau(curves)
    t10, t50, t80 = (crossing(curves, share * level) for share in (0.1, 0.5, 0.8))
    first = _first_reading(curves)
    low_k, high_k = _rate_limits(curves)
    k = np.clip(-np.log(np.maximum(t50, 0.1 * first)), low_k, high_k)
    spread = np.log(np.maximum(t80, 0.2 * first) / np.maximum(t10, 0.05 * first))
    low_n, high_n = np.zeros_like(k), np.full_like(k, np.log(LARGEST_SHAPE))
    n = np.clip(np.log(np.log(36.0) / np.maximum(spread, 0.1)), low_n + 0.05, high_n - 0.05)
    return Starts(_one_start(k, n), _one_start(low_k, low_n), _one_start(high_k, high_n))


def _cone_steepest(named: FloatArray) -> FloatArray:
    """Return where the second derivative is zero: (k t)^n = (n − 1)/(n + 1)."""
    k, n = named[:, 1], named[:, 2]
    day: FloatArray = (np.maximum(n - 1.0, 0.0) / (n + 1.0)) ** (1.0 / n) / k
    return day


CONE: Final = Model(
    name="cone",
    equation="B = B0/(1 + (k t)^−n)",
    source="Groot et al. 1996 (from memory)",
    parameters=(
        _B0,
        Parameter("k", "1/d", "one over the time to half of B0"),
        Parameter("n", "1", "shape: 1 bends from the start, the larger the more like an S"),
    ),
    shape=_cone,
    slope=_cone_slope,
    to_named=_cone_named,
    to_search=_cone_search,
    search_jacobian=_cone_jacobian,
    starts=_cone_starts,
    steepest_d=_cone_steepest,
    candidate=True,
)


# --- two pools -----------------------------------------------------------------------------------


def _two_pools(t: FloatArray, u: FloatArray) -> tuple[FloatArray, list[FloatArray]]:
    quick = 1.0 / (1.0 + _exp(-u[:, :1]))
    x1, x2 = t * _exp(u[:, 1:2]), t * _exp(u[:, 2:3])
    left1, left2 = np.exp(-x1), np.exp(-x2)
    f = -quick * np.expm1(-x1) - (1.0 - quick) * np.expm1(-x2)
    by_share = quick * (1.0 - quick) * (left2 - left1)
    return f, [by_share, quick * x1 * left1, (1.0 - quick) * x2 * left2]


def _two_pools_slope(t: FloatArray, u: FloatArray) -> FloatArray:
    quick = 1.0 / (1.0 + _exp(-u[:, :1]))
    k1, k2 = _exp(u[:, 1:2]), _exp(u[:, 2:3])
    slope: FloatArray = quick * k1 * np.exp(-k1 * t) + (1.0 - quick) * k2 * np.exp(-k2 * t)
    return slope


def _two_pools_named(search: FloatArray) -> FloatArray:
    quick = 1.0 / (1.0 + np.exp(-search[:, 1]))
    named = np.stack([search[:, 0], quick, np.exp(search[:, 2]), np.exp(search[:, 3])], axis=1)
    turned = named[:, 2] < named[:, 3]
    named[turned] = named[turned][:, [0, 1, 3, 2]]
    named[turned, 1] = 1.0 - named[turned, 1]
    return named


def _two_pools_search(named: FloatArray) -> FloatArray:
    share = np.clip(named[:, 1], 1e-12, 1.0 - 1e-12)
    rates = np.log(np.maximum(named[:, 2:], 1e-300))
    return np.concatenate([named[:, :1], np.log(share / (1 - share))[:, None], rates], axis=1)


def _two_pools_jacobian(named: FloatArray) -> FloatArray:
    share = np.clip(named[:, 1], 1e-12, 1.0 - 1e-12)
    jacobian = _identity(named)
    jacobian[:, 1, 1] = 1.0 / (share * (1.0 - share))
    jacobian[:, 2, 2], jacobian[:, 3, 3] = 1.0 / named[:, 2], 1.0 / named[:, 3]
    return jacobian


def _two_pools_starts(curves: Curves) -> Starts:
    low, high = _rate_limits(curves)
    k = np.log(_start_rate(curves))
    even, share = np.zeros_like(k), np.full_like(k, 7.0)
    starts = [
        np.stack([even + s, np.clip(k + a, low, high), np.clip(k - b, low, high)], axis=1)
        for s, a, b in ((0.0, 0.7, 0.7), (0.0, 1.5, 1.5), (1.4, 0.3, 2.5))
    ]
    limits = (np.stack([-share, low, low], axis=1), np.stack([share, high, high], axis=1))
    return Starts(np.stack(starts), *(np.repeat(x[None], len(starts), axis=0) for x in limits))


TWO_POOLS: Final = Model(
    name="two-pool first order",
    equation="B = B0 (s (1 − exp(−k1 t)) + (1 − s)(1 − exp(−k2 t))), k1 > k2",
    source="sum of two first-order pools (standard form, from memory)",
    parameters=(
        _B0,
        Parameter("quick_share", "1", "share of B0 that the quick pool holds"),
        Parameter("k_quick", "1/d", "rate constant of the quick pool"),
        Parameter("k_slow", "1/d", "rate constant of the slow pool"),
    ),
    shape=_two_pools,
    slope=_two_pools_slope,
    to_named=_two_pools_named,
    to_search=_two_pools_search,
    search_jacobian=_two_pools_jacobian,
    starts=_two_pools_starts,
    steepest_d=_at_once,
    phases=2,
)


MODELS: Final[dict[str, Model]] = {
    model.name: model
    for model in (
        FIRST_ORDER,
        FIRST_ORDER_LAG,
        MODIFIED_GOMPERTZ,
        CONE,
        MODIFIED_LOGISTIC,
        TWO_POOLS,
    )
}
"""Every model by name. Whatever fits, reports or draws goes through this table."""
