"""The inoculum's methane off and the jars averaged: `bmp.net` over the jars of many trials.

The same equations (Standard BMP Methods 200 v1.7) on flat arrays; `None` there is NaN here.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from bmp.archive.batch import Batch
from bmp.net import SAME_ROUND_D
from bmp.normalise import JarGas
from bmp.runs import first, interpolate, last
from bmp.statistics import critical_t
from bmp.trial import BoolArray, FloatArray, IntArray


@dataclass(frozen=True, eq=False)
class Blanks:
    """The mean blank of every inoculum. Flat arrays over inocula and times, sorted so."""

    inoculum: IntArray
    time_d: FloatArray
    mean: FloatArray
    """Methane per g of inoculum [NmL/g]."""
    standard_error: FloatArray
    """NaN with a single blank."""
    end_d: FloatArray
    """Where the first blank of each inoculum ends, shape (inocula,); infinite without blanks."""
    jars: IntArray
    """Blanks that count, shape (inocula,)."""


@dataclass(frozen=True, eq=False)
class Curves:
    """Net yield of every jar with a sample. Flat arrays, sorted by jar and time."""

    jar: IntArray
    time_d: FloatArray
    net: FloatArray
    from_blank: FloatArray
    cut: BoolArray
    """Shape (jars,): readings after the end of the blanks were left out."""


@dataclass(frozen=True, eq=False)
class Yields:
    """The yield of every series. Arrays of shape (series,); NaN where there is none."""

    jars: list[IntArray]
    """Those counted, by series; empty where none is."""
    count: IntArray
    value: FloatArray
    time_d: FloatArray
    sd: FloatArray
    u: FloatArray
    low: FloatArray
    high: FloatArray


def blank_means(gas: JarGas, batch: Batch) -> Blanks:
    """Return the mean blank of each inoculum, as `bmp.net.blank_means`."""
    inocula = int(batch.inoculum.max(initial=-1)) + 1
    blank = (batch.role == "blank") & batch.counted & batch.trial.setup.blank
    jars = np.bincount(batch.inoculum[blank], minlength=inocula)
    here = blank[gas.jar]
    jar, time_d = gas.jar[here], gas.time_d[here]
    specific = gas.methane_NmL[here] / batch.inoculum_g[jar]
    own = np.flatnonzero(blank)
    end_d = np.full(inocula, np.inf)
    np.minimum.at(end_d, batch.inoculum[own], last_time(jar, time_d, own))
    # every curve begins with nothing at closing
    at_jar, at_d, value = _from_nothing(jar, time_d, specific, own)
    knot_of, knot_d = _distinct(batch.inoculum[at_jar], at_d)
    kept = knot_d <= end_d[knot_of]
    knot_of, knot_d = knot_of[kept], knot_d[kept]
    order = np.argsort(batch.inoculum[own], kind="stable")
    by_inoculum = own[order]
    starts = np.concatenate([[0], np.cumsum(jars)])
    count = jars[knot_of]
    knot = np.repeat(np.arange(knot_of.size), count)
    nth = np.arange(knot.size) - np.repeat(np.cumsum(count) - count, count)
    pair = by_inoculum[starts[knot_of[knot]] + nth]
    seen, _ = interpolate(pair, knot_d[knot], at_jar, at_d, value)
    mean = np.bincount(knot, seen, minlength=knot_of.size) / np.maximum(count, 1)
    square = np.bincount(knot, (seen - mean[knot]) ** 2, minlength=knot_of.size)
    single = count < 2
    error = np.sqrt(square / np.where(single, 1, count - 1) / np.maximum(count, 1))
    return Blanks(knot_of, knot_d, mean, np.where(single, np.nan, error), end_d, jars)


def last_time(jar: IntArray, time_d: FloatArray, jars: IntArray) -> FloatArray:
    """Return the time of the last reading of the jars named; minus infinity without one."""
    last_d = np.full(int(max(jars.max(initial=-1), jar.max(initial=-1))) + 1, -np.inf)
    ends = last(jar)
    last_d[jar[ends]] = time_d[ends]
    return last_d[jars]


def _from_nothing(
    jar: IntArray, time_d: FloatArray, value: FloatArray, jars: IntArray
) -> tuple[IntArray, FloatArray, FloatArray]:
    """Return curves with the point (0, 0) in front of those that do not begin at time 0.

    Both the curves' `jar` and `jars` rise.
    """
    has_zero = np.isin(jars, jar[time_d == 0.0])
    new = jars[~has_zero]
    at = np.searchsorted(jar, new)
    return np.insert(jar, at, new), np.insert(time_d, at, 0.0), np.insert(value, at, 0.0)


def _distinct(run: IntArray, time_d: FloatArray) -> tuple[IntArray, FloatArray]:
    order = np.lexsort((time_d, run))
    run, time_d = run[order], time_d[order]
    new = first(run)
    new[1:] |= time_d[1:] != time_d[:-1]
    return run[new], time_d[new]


def net_curves(gas: JarGas, batch: Batch, blanks: Blanks) -> Curves:
    """Return the net yield of every jar that holds a sample, as `bmp.net.net_curves`."""
    sampled = batch.series >= 0
    named = batch.inoculum >= 0
    place = np.maximum(batch.inoculum, 0)
    has_blank = named & (blanks.jars[place] > 0) if blanks.jars.size else np.zeros_like(named)
    ends = np.full(sampled.size, np.inf)
    ends[has_blank] = blanks.end_d[batch.inoculum[has_blank]]
    ends[batch.typed] = np.inf
    late = gas.time_d > ends[gas.jar] + SAME_ROUND_D
    here = sampled[gas.jar] & ~late
    jar, time_d = gas.jar[here], gas.time_d[here]
    which = np.where(has_blank, batch.inoculum, -1)[jar]
    mean = np.nan_to_num(interpolate(which, time_d, blanks.inoculum, blanks.time_d, blanks.mean)[0])
    from_blank = mean * batch.inoculum_g[jar] / batch.own_g[jar]
    net = gas.methane_NmL[here] / batch.own_g[jar] - from_blank
    typed = batch.typed[jar]
    if typed.any():
        net = np.where(typed, batch.trial.readings.column("net_yield_mL_per_g")[here], net)
        from_blank = np.where(typed, 0.0, from_blank)
    cut = np.bincount(gas.jar[late & sampled[gas.jar]], minlength=sampled.size) > 0
    return Curves(jar, time_d, net, from_blank, cut)


def material_yields(gas: JarGas, curves: Curves, batch: Batch, blanks: Blanks) -> Yields:
    """Return the yield of every series at its jars' common end, as `bmp.net.material_yields`."""
    size = len(batch.series_names)
    read = np.bincount(curves.jar, minlength=batch.series.size) > 0
    jars = np.flatnonzero((batch.series >= 0) & batch.counted & read)
    jars = jars[np.argsort(batch.series[jars], kind="stable")]
    series = batch.series[jars]
    count = np.bincount(series, minlength=size)
    end_d = np.full(size, np.inf)
    np.minimum.at(end_d, series, last_time(curves.jar, curves.time_d, jars))
    own = curves.jar[first(curves.jar)]
    at_jar, at_d, net = _from_nothing(curves.jar, curves.time_d, curves.net, own)
    values, _ = interpolate(jars, end_d[series], at_jar, at_d, net)
    some = np.maximum(count, 1)
    mean = np.where(count > 0, np.bincount(series, values, minlength=size) / some, np.nan)
    square = np.bincount(series, (values - mean[series]) ** 2, minlength=size)
    between = np.where(count > 1, np.sqrt(square / np.maximum(count - 1, 1) / some), np.nan)
    from_blank, freedom = _blank_error(jars, series, end_d, batch, blanks)
    solids = np.array(
        [
            m.VS_u / m.VS if m.VS and m.VS_u is not None and per == "VS" and not typed else 0.0
            for m, per, typed in zip(
                batch.material_of, batch.per, _typed_series(batch, size), strict=True
            )
        ]
    )
    from_solids = solids * np.sqrt(np.bincount(series, values**2, minlength=size) / some)
    share = gas.share_u[jars] * np.abs(values)
    from_share = np.sqrt(np.bincount(series, share**2, minlength=size) / some)
    common = np.bincount(series, gas.share_u_common[jars], minlength=size) > 0
    from_share = np.where(common, from_share, from_share / np.sqrt(some))
    sd, u, half = _combined(between, from_blank, freedom, from_solids, from_share, count)
    ends = np.cumsum(count)
    return Yields(
        jars=[jars[a:b] for a, b in zip(ends - count, ends, strict=True)],
        count=count,
        value=mean,
        time_d=np.where(count > 0, end_d, np.nan),
        sd=sd,
        u=u,
        low=mean - half,
        high=mean + half,
    )


def _typed_series(batch: Batch, size: int) -> BoolArray:
    typed = np.zeros(size, dtype=bool)
    typed[batch.series[batch.typed & (batch.series >= 0)]] = True
    return typed


def _blank_error(
    jars: IntArray, series: IntArray, end_d: FloatArray, batch: Batch, blanks: Blanks
) -> tuple[FloatArray, FloatArray]:
    """Return s2 of each series and its degrees of freedom; nought and infinite without blanks."""
    size = end_d.size
    error, freedom = np.zeros(size), np.full(size, np.inf)
    lead = np.full(size, -1)
    lead[series[::-1]] = jars[::-1]
    known = np.flatnonzero(lead >= 0)
    of = batch.inoculum[lead[known]]
    has = (of >= 0) & ~batch.typed[lead[known]]
    if blanks.jars.size:
        has &= blanks.jars[np.maximum(of, 0)] > 0
    else:
        has[:] = False
    known, of = known[has], of[has]
    at_end, _ = interpolate(of, end_d[known], blanks.inoculum, blanks.time_d, blanks.standard_error)
    ratio = np.bincount(series, (batch.inoculum_g[jars] / batch.own_g[jars]) ** 2, minlength=size)
    count = np.bincount(series, minlength=size)
    error[known] = at_end * np.sqrt(ratio[known] / np.maximum(count[known], 1))
    freedom[known] = blanks.jars[of] - 1.0
    return error, freedom


def _combined(
    between: FloatArray,
    from_blank: FloatArray,
    blank_freedom: FloatArray,
    from_solids: FloatArray,
    from_share: FloatArray,
    count: IntArray,
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return SD, standard uncertainty and the half width of the 95 % interval; NaN where none."""
    square = between**2 + from_blank**2 + from_solids**2
    whole = square + from_share**2
    spread = between**4 / np.maximum(count - 1.0, 1.0)
    spread = spread + from_blank**4 / np.where(blank_freedom > 0, blank_freedom, np.inf)
    freedom = np.where(spread > 0, whole**2 / np.where(spread > 0, spread, 1.0), np.inf)
    u = np.sqrt(whole)
    return np.sqrt(count * square), u, critical_t(np.minimum(freedom, 1e6)) * u
