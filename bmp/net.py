"""The third step: take the inoculum's own methane off, jar by jar, and average the jars.

Standard BMP Methods 200 v1.7 (2020), with the error of VS as document 100 v1.9 asks. Everything
goes over columns of jars, of one trial or of many; NaN stands for what is not known.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Final, NamedTuple

import numpy as np

from bmp.borrowed_scatter import Lent, borrowed_scatter
from bmp.jar_columns import JarColumns, own_name, yield_unit
from bmp.normalise import JarGas
from bmp.runs import first, interpolate, last
from bmp.solids import SolidsError, solids_error
from bmp.statistics import critical_value, satterthwaite
from bmp.stop_rule import finished, lowest_rates_percent
from bmp.trial import BoolArray, FloatArray, IntArray

# A jar read some hours after the last blank takes that blank's last value: at the end of a trial
# the inoculum gives next to nothing in that time (common practice, no source).
LATEST_AFTER_BLANK_D = 0.5


@dataclass(frozen=True, eq=False)
class Blanks:
    """The mean blank of every inoculum: methane per g of inoculum. Knots sorted by inoculum, time.

    An inoculum is an index into `JarColumns.inocula`.
    """

    inoculum: IntArray
    """Of each knot."""
    time_d: FloatArray
    mean: FloatArray
    """[NmL/g]."""
    standard_error: FloatArray
    """Of the mean over blanks; NaN with a single blank."""
    names: tuple[str, ...]
    """Of the inocula, as their trials have them."""
    end_d: FloatArray
    """Where the first blank of each inoculum ends, shape (inocula,); infinite without blanks."""
    jars: IntArray
    """Blanks that count, shape (inocula,)."""

    @property
    def count(self) -> dict[str, int]:
        """Return how many blanks each inoculum has, by name; those without are left out."""
        return {
            name: jars for name, jars in zip(self.names, self.jars.tolist(), strict=True) if jars
        }

    def has(self, inoculum: IntArray) -> BoolArray:
        """Tell which inocula have a blank; -1 has none."""
        found: BoolArray = np.append(self.jars > 0, False)[inoculum]
        return found

    def of(self, name: str) -> tuple[FloatArray, FloatArray]:
        """Return times and mean of one inoculum's blanks."""
        here = self.inoculum == self.names.index(name)
        return self.time_d[here], self.mean[here]


@dataclass(frozen=True, eq=False)
class NetCurves:
    """Net methane of every jar that holds a sample. Flat arrays, sorted by jar and time."""

    jar: IntArray
    time_d: FloatArray
    net: FloatArray
    """Per g of what the material's yield is counted per (`MaterialYield.per`)."""
    from_blank: FloatArray
    """What was taken off for the inoculum, in the same unit."""
    cut: BoolArray
    """Shape (jars,): readings after the end of the blanks were left out."""

    def of(self, jar: int) -> tuple[FloatArray, FloatArray]:
        """Return time and net yield of one jar."""
        here = self.jar == jar
        return self.time_d[here], self.net[here]


class ErrorPart(NamedTuple):
    """One part of a mean yield's standard uncertainty: numbers, or arrays of shape (series,)."""

    u: FloatArray
    """Standard uncertainty; nought where the part does not touch the yield, NaN where it cannot be
    told."""
    freedom: FloatArray
    """Degrees of freedom behind it; infinite: taken as known."""


PARTS: Final = ("jars", "blank", "solids", "assumed solids", "share")
"""Scatter between jars (s1 of document 200, Eqs. 4 to 6), the blank (s2), the VS or TS of the feed
as its error was given (s3) or, where none was, by published repeatability (`bmp.solids`), and the
methane share."""
COMMON_FACTORS: Final = ("solids", "assumed solids", "share")
"""Parts that multiply the yields of all jars of a series alike."""
IN_SD: Final = ("jars", "blank", "solids")
"""What document 200 counts in the standard deviation, by which a control is judged."""


@dataclass(frozen=True, eq=False)
class Yields:
    """The yield of every series. Arrays of shape (series,) but for the first three.

    NaN where there is none, or where it cannot be told.
    """

    jar: IntArray
    """Jars that count, series by series, shape (counted jars,)."""
    series: IntArray
    """The series of each."""
    jar_value: FloatArray
    """Net yield of each at the end of its series."""
    count: IntArray
    value: FloatArray
    time_d: FloatArray
    """Common end of the jars."""
    parts: Mapping[str, ErrorPart]
    """By name (`PARTS`)."""
    sd: FloatArray
    """Between jars, the blank's and the VS's error included; document 200, Eq. 7."""
    u: FloatArray
    """Standard uncertainty of the mean; with what the methane share and assumed solids add."""
    freedom: FloatArray
    """Welch-Satterthwaite degrees of freedom (JCGM 100:2008, G.4)."""
    blank_percent: FloatArray
    """The inoculum's part of the jars' methane."""
    three_day_rate_percent: FloatArray
    """Lowest three-day rate that the slowest counted jar has reached (`bmp.stop_rule`)."""

    trial: IntArray
    """The trial of each series."""
    taken_off: FloatArray
    """The inoculum's part, in the unit of `value`."""

    # what needs a distribution function is worked out where it is asked for: a check asks for none

    @cached_property
    def reach(self) -> FloatArray:
        """Half the 95 % interval of the mean."""
        return _reach(self.parts)

    @property
    def low(self) -> FloatArray:
        """Lower end of the 95 % interval of the mean."""
        return self.value - self.reach

    @property
    def high(self) -> FloatArray:
        """Upper end."""
        return self.value + self.reach

    @cached_property
    def lent(self) -> Mapping[str, ErrorPart]:
        """What is borrowed, as parts: `jars`, and `blank` where there is a single one, else nought.

        The scatter between jars that the trial and published trials lend (`bmp.borrowed_scatter`).
        """
        return _lent(self.parts, self.value, self.taken_off, self.count, self.trial)

    @cached_property
    def borrowed_reach(self) -> FloatArray:
        """Half the 95 % interval of the mean with what is borrowed."""
        return _borrowed_reach(self.parts, self.lent)

    @property
    def borrowed_low(self) -> FloatArray:
        """Lower end of the 95 % interval with what is borrowed."""
        return self.value - self.borrowed_reach

    @property
    def borrowed_high(self) -> FloatArray:
        """Upper end."""
        return self.value + self.borrowed_reach

    @cached_property
    def jars(self) -> list[IntArray]:
        """Return the jars that count, a list entry a series."""
        ends = np.cumsum(self.count)
        return [self.jar[a:b] for a, b in zip(ends - self.count, ends, strict=True)]


@dataclass(frozen=True)
class MaterialYield:
    """The measured yield of one series of jars at their common end: one row of `Yields`."""

    series: str
    material: str
    role: str
    per: str
    """`VS`, `TS` or `fresh`: what a gram of the yield is a gram of."""
    jars: tuple[int, ...]
    """Those counted."""
    value: float
    time_d: float
    sd: float | None
    u: float | None
    freedom: float | None
    ci95: tuple[float, float] | None
    why_no_interval: str
    ci95_borrowed: tuple[float, float] | None
    """With borrowed scatter between the jars, and of a single blank (`bmp.borrowed_scatter`)."""
    lent: Lent | None
    """That scatter; `None` without an interval."""
    parts: Mapping[str, tuple[float, float]]
    """Standard uncertainty and degrees of freedom by part (`PARTS`); one that is not known is not
    there."""
    blank_percent: float | None
    """The inoculum's part of the jars' methane, in percent."""
    per_fresh: float | None
    """Yield per g of fresh mass."""
    jar_values: tuple[float, ...]
    """Net yield of each counted jar at `time_d`."""
    three_day_rate_percent: float | None = None

    @property
    def unit(self) -> str:
        """Return the yield's unit."""
        return yield_unit(self.per)

    @property
    def finished(self) -> bool | None:
        """Return whether every counted jar has met the stop rule; `None`: cannot be told."""
        return finished(self.three_day_rate_percent)


def blank_means(gas: JarGas, jars: JarColumns, subtract: bool = True) -> Blanks:
    """Return the mean blank of each inoculum.

    Each blank's methane is divided by its own inoculum mass and interpolated linearly to the times
    of all blanks of its inoculum; the mean ends where the first of them ends.
    """
    inocula = len(jars.inocula)
    blank = (jars.role == "blank") & jars.counted & (jars.of.setup.blank and subtract)
    count = np.bincount(jars.inoculum[blank], minlength=inocula)
    own = np.flatnonzero(blank)
    at_jar, at_d, value = blank_curves(gas, jars, own)
    end_d = np.full(inocula, np.inf)
    np.minimum.at(end_d, jars.inoculum[own], last_time(at_jar, at_d, own))
    knot_of, knot_d = _distinct(jars.inoculum[at_jar], at_d)
    kept = knot_d <= end_d[knot_of]
    knot_of, knot_d = knot_of[kept], knot_d[kept]
    by_inoculum = own[np.argsort(jars.inoculum[own], kind="stable")]
    starts = np.concatenate([[0], np.cumsum(count)])
    here = count[knot_of]
    knot = np.repeat(np.arange(knot_of.size), here)
    nth = np.arange(knot.size) - np.repeat(np.cumsum(here) - here, here)
    pair = by_inoculum[starts[knot_of[knot]] + nth]
    seen, _ = interpolate(pair, knot_d[knot], at_jar, at_d, value)
    mean = np.bincount(knot, seen, minlength=knot_of.size) / np.maximum(here, 1)
    square = np.bincount(knot, (seen - mean[knot]) ** 2, minlength=knot_of.size)
    single = here < 2
    error = np.sqrt(square / np.where(single, 1, here - 1) / np.maximum(here, 1))
    names = tuple(own_name(name) for name in jars.inocula)
    return Blanks(
        knot_of, knot_d, mean, np.where(single, np.nan, error), names, end_d, count
    )  # fmt: skip


def blank_curves(
    gas: JarGas, jars: JarColumns, own: IntArray
) -> tuple[IntArray, FloatArray, FloatArray]:
    """Return jar, time and methane per g of inoculum of some jars, from nothing at closing on."""
    here = np.isin(gas.jar, own)
    jar = gas.jar[here]
    specific = gas.methane_NmL[here] / jars.inoculum_g[jar]
    return _from_nothing(jar, gas.time_d[here], specific, own)


def blank_moves(
    gas: JarGas, jars: JarColumns, curves: NetCurves, some: Sequence[int]
) -> list[FloatArray] | None:
    """Return how far each blank moves the net yield of each of some jars of one series.

    Returns
    -------
    list of numpy.ndarray or None
        One array a jar, shape (blanks, readings): -(inoculum per gram) (b_i - b) at its readings,
        which adds to nought over the blanks; `None` with fewer than two blanks.
    """
    inoculum = jars.inoculum[some[0]]
    blank = (jars.role == "blank") & jars.counted & (jars.inoculum == inoculum)
    own = np.flatnonzero(blank & jars.of.setup.blank)
    if own.size < 2 or jars.typed[some[0]]:
        return None
    of_blank = blank_curves(gas, jars, own)
    moves = []
    for jar in some:
        time_d = curves.of(jar)[0]
        pair, at = np.repeat(own, time_d.size), np.tile(time_d, own.size)
        seen = interpolate(pair, at, *of_blank)[0].reshape(own.size, -1)
        ratio = jars.inoculum_g[jar] / jars.own_g[jar]
        moves.append(-ratio * (seen - seen.mean(axis=0)))
    return moves


def blank_moves_of_rows(
    gas: JarGas, jars: JarColumns, jar: IntArray, time_d: FloatArray
) -> tuple[FloatArray, IntArray]:
    """Return how far each blank moves the net yield of many jars, as `blank_moves` of one series.

    Parameters
    ----------
    jar
        The jar of each row.
    time_d
        Times of its readings, shape (rows, readings).

    Returns
    -------
    moves : numpy.ndarray
        Shape (blanks, rows, readings) with the most blanks of an inoculum; nought beyond a row's
        own ones.
    blanks : numpy.ndarray
        Number of blanks of each row, shape (rows,); nought where none, or only one, was taken off.
    """
    blank = (jars.role == "blank") & jars.counted & (jars.inoculum >= 0) & jars.of.setup.blank
    own = np.flatnonzero(blank)
    own = own[np.argsort(jars.inoculum[own], kind="stable")]
    count = np.bincount(jars.inoculum[own], minlength=len(jars.inocula) + 1)
    starts = np.concatenate([[0], np.cumsum(count)])[:-1]
    inoculum = jars.inoculum[jar]
    blanks = np.where(jars.typed[jar] | (count[inoculum] < 2), 0, count[inoculum])
    # jars of an inoculum that were read at the same times share what the blanks gave
    again = np.zeros(jar.size, dtype=bool)
    again[1:] = (inoculum[1:] == inoculum[:-1]) & (time_d[1:] == time_d[:-1]).all(axis=1)
    leads, lead = np.flatnonzero(~again), np.cumsum(~again) - 1
    number = count[inoculum[leads]]
    seen = np.zeros((int(blanks.max(initial=0)), leads.size, time_d.shape[1]))
    of_blank = blank_curves(gas, jars, np.sort(own))
    for i in range(len(seen)):
        rows = np.flatnonzero(number > i)
        pair = np.repeat(own[starts[inoculum[leads[rows]]] + i], time_d.shape[1])
        values = interpolate(pair, time_d[leads[rows]].ravel(), *of_blank)[0]
        seen[i, rows] = values.reshape(rows.size, -1)
    seen -= seen.sum(axis=0) / np.maximum(number, 1)[:, None]
    here = np.arange(len(seen))[:, None] < blanks
    ratio = jars.inoculum_g[jar] / jars.own_g[jar]
    return np.where(here[..., None], -ratio[:, None] * seen[:, lead], 0.0), blanks


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


def net_curves(gas: JarGas, jars: JarColumns, blanks: Blanks) -> NetCurves:
    """Return the net yield of every jar that holds a sample, at its own times.

    y_j(t) = (M_j(t) - m_inoculum,j b(t)) / m_j; document 200, Eqs. 1 to 3. Readings well
    after the end of the blanks (`LATEST_AFTER_BLANK_D`) are left out, never extrapolated.
    A yield below zero stays as it is.
    """
    sampled = jars.series >= 0
    with_blank = blanks.has(jars.inoculum)
    ends = np.full(sampled.size, np.inf)
    ends[with_blank] = blanks.end_d[jars.inoculum[with_blank]]
    ends[jars.typed] = np.inf
    late = gas.time_d > ends[gas.jar] + LATEST_AFTER_BLANK_D
    here = sampled[gas.jar] & ~late
    jar, time_d = gas.jar[here], gas.time_d[here]
    which = np.where(with_blank, jars.inoculum, -1)[jar]
    mean = np.nan_to_num(interpolate(which, time_d, blanks.inoculum, blanks.time_d, blanks.mean)[0])
    from_blank = mean * jars.inoculum_g[jar] / jars.own_g[jar]
    net = gas.methane_NmL[here] / jars.own_g[jar] - from_blank
    typed = jars.typed[jar]
    if typed.any():
        net = np.where(typed, jars.of.readings.column("net_yield_mL_per_g")[here], net)
        from_blank = np.where(typed, 0.0, from_blank)
    cut = np.bincount(gas.jar[late & sampled[gas.jar]], minlength=sampled.size) > 0
    return NetCurves(jar, time_d, net, from_blank, cut)


def series_yields(gas: JarGas, jars: JarColumns, curves: NetCurves, blanks: Blanks) -> Yields:
    """Return the yield of every series of jars at their common end."""
    size = len(jars.series_names)
    read = np.bincount(curves.jar, minlength=jars.series.size) > 0
    jar = np.flatnonzero((jars.series >= 0) & jars.counted & read)
    jar = jar[np.argsort(jars.series[jar], kind="stable")]
    series = jars.series[jar]
    count = np.bincount(series, minlength=size)
    end_d = np.full(size, np.inf)
    np.minimum.at(end_d, series, last_time(curves.jar, curves.time_d, jar))
    present = curves.jar[first(curves.jar)]
    net = _from_nothing(curves.jar, curves.time_d, curves.net, present)
    values, _ = interpolate(jar, end_d[series], *net)
    some = np.maximum(count, 1)
    mean = np.where(count > 0, np.bincount(series, values, minlength=size) / some, np.nan)
    off, _ = interpolate(jar, end_d[series], curves.jar, curves.time_d, curves.from_blank)
    taken_off = np.bincount(series, off, minlength=size) / some
    parts = _parts(gas, jars, blanks, jar, series, values, mean, end_d)
    sd, u, freedom = _combined(parts, count)
    return Yields(
        jar=jar,
        series=series,
        jar_value=values,
        count=count,
        value=mean,
        time_d=np.where(count > 0, end_d, np.nan),
        parts=parts,
        sd=sd,
        u=u,
        freedom=freedom,
        blank_percent=_blank_percent(jars, blanks, jar, series, mean, taken_off),
        three_day_rate_percent=_slowest(curves, jar, series, size),
        trial=jars.series_trial,
        taken_off=taken_off,
    )


def _parts(
    gas: JarGas,
    jars: JarColumns,
    blanks: Blanks,
    jar: IntArray,
    series: IntArray,
    values: FloatArray,
    mean: FloatArray,
    end_d: FloatArray,
) -> dict[str, ErrorPart]:
    """Return s1, s2 and s3 of document 200 (Eqs. 4 to 6) and what the methane share adds."""
    size = mean.size
    count = np.bincount(series, minlength=size)
    some = np.maximum(count, 1)
    square = np.bincount(series, (values - mean[series]) ** 2, minlength=size)
    between = np.where(count > 1, np.sqrt(square / np.maximum(count - 1, 1) / some), np.nan)
    solids = [
        SolidsError(0.0, np.inf, False) if typed else solids_error(material, per)
        for material, per, typed in zip(
            jars.material_of, jars.per, _typed_series(jars), strict=True
        )
    ]
    relative, solids_dof = (
        np.array([getattr(one, name) for one in solids]) for name in ("relative_u", "dof")
    )
    assumed = np.array([one.assumed for one in solids], dtype=bool)
    level = np.sqrt(np.bincount(series, values**2, minlength=size) / some)
    share = gas.share_u[jar] * np.abs(values)
    from_share = np.sqrt(np.bincount(series, share**2, minlength=size) / some)
    common = np.bincount(series, gas.share_u_common[jar], minlength=size) > 0
    known = np.full(size, np.inf)
    return {
        "jars": ErrorPart(between, (count - 1).astype(np.float64)),
        "blank": _blank_part(jars, blanks, jar, series, end_d),
        "solids": ErrorPart(np.where(assumed, 0.0, relative * level), solids_dof),
        "assumed solids": ErrorPart(np.where(assumed, relative * level, 0.0), known),
        "share": ErrorPart(np.where(common, from_share, from_share / np.sqrt(some)), known),
    }


def _typed_series(jars: JarColumns) -> list[bool]:
    """Tell of which series the first jar's yields were handed in net."""
    lead = _leads(np.flatnonzero(jars.series >= 0), jars)
    return [bool(jars.typed[jar]) for jar in lead.tolist()]


def _leads(jar: IntArray, jars: JarColumns) -> IntArray:
    """Return the first of some jars in each series; -1 without one."""
    lead = np.full(len(jars.series_names), -1)
    lead[jars.series[jar[::-1]]] = jar[::-1]
    return lead


def _blanked(jars: JarColumns, blanks: Blanks, jar: IntArray) -> BoolArray:
    """Tell from which series a blank was taken off, by the first jar of each."""
    lead = _leads(jar, jars)
    found: BoolArray = (lead >= 0) & blanks.has(jars.inoculum[lead]) & ~jars.typed[lead]
    return found


def _blank_part(
    jars: JarColumns, blanks: Blanks, jar: IntArray, series: IntArray, end_d: FloatArray
) -> ErrorPart:
    """Return s2 of each series and its degrees of freedom; nought and infinite without blanks."""
    error, freedom = np.zeros(end_d.size), np.full(end_d.size, np.inf)
    known = np.flatnonzero(_blanked(jars, blanks, jar))
    of = jars.inoculum[_leads(jar, jars)[known]]
    at_end, _ = interpolate(of, end_d[known], blanks.inoculum, blanks.time_d, blanks.standard_error)
    square = (jars.inoculum_g[jar] / jars.own_g[jar]) ** 2
    count = np.bincount(series, minlength=end_d.size)
    mean_square = np.bincount(series, square, minlength=end_d.size) / np.maximum(count, 1)
    error[known] = at_end * np.sqrt(mean_square[known])
    freedom[known] = blanks.jars[of] - 1.0
    return ErrorPart(error, freedom)


def _combined(
    parts: Mapping[str, ErrorPart], count: IntArray
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return SD, standard uncertainty and degrees of freedom of the means."""
    variance, freedom = _stacked(parts)
    whole = variance.sum(axis=-1)
    effective = np.where(np.isnan(whole), np.nan, satterthwaite(variance, freedom))
    in_sd = variance[:, [name in IN_SD for name in PARTS]].sum(axis=-1)
    return np.sqrt(count * in_sd), np.sqrt(whole), effective


def _stacked(parts: Mapping[str, ErrorPart]) -> tuple[FloatArray, FloatArray]:
    """Return variances and degrees of freedom by part, shape (series, `PARTS`)."""
    variance = np.stack([parts[name].u ** 2 for name in PARTS], axis=-1)
    return variance, np.stack([np.maximum(parts[name].freedom, 1.0) for name in PARTS], axis=-1)


def _reach(parts: Mapping[str, ErrorPart]) -> FloatArray:
    """Return half the 95 % interval of the means."""
    variance, freedom = _stacked(parts)
    reach: FloatArray = critical_value(variance, freedom) * np.sqrt(variance.sum(axis=-1))
    return reach


def _lent(
    parts: Mapping[str, ErrorPart],
    mean: FloatArray,
    taken_off: FloatArray,
    count: IntArray,
    trial: IntArray,
) -> dict[str, ErrorPart]:
    """Return the parts of jars and blank with borrowed scatter; NaN for a yield not above nought.

    A single blank borrows the published scatter; with more of them nothing is lent.
    """
    above, some = np.nan_to_num(mean) > 0, np.maximum(count, 1)
    with np.errstate(divide="ignore", invalid="ignore"):
        rsd = np.where(above, parts["jars"].u * np.sqrt(some) / mean, np.nan)
    lent, freedom = borrowed_scatter(rsd, count, trial)
    jars = ErrorPart(np.where(above, lent * mean / np.sqrt(some), np.nan), freedom)
    one, one_freedom = borrowed_scatter(np.full(1, np.nan), np.ones(1, np.int64), np.zeros(1, int))
    single = np.isnan(parts["blank"].u)
    blank = ErrorPart(
        np.where(single, one[0] * np.abs(taken_off), 0.0), np.where(single, one_freedom[0], np.inf)
    )
    return {"jars": jars, "blank": blank}


def _borrowed_reach(parts: Mapping[str, ErrorPart], lent: Mapping[str, ErrorPart]) -> FloatArray:
    """Return half the 95 % interval with what is lent."""
    single = np.isnan(parts["blank"].u)
    blank = ErrorPart(
        np.where(single, lent["blank"].u, parts["blank"].u),
        np.where(single, lent["blank"].freedom, parts["blank"].freedom),
    )
    return _reach({**parts, "jars": lent["jars"], "blank": blank})


def _blank_percent(
    jars: JarColumns,
    blanks: Blanks,
    jar: IntArray,
    series: IntArray,
    mean: FloatArray,
    taken_off: FloatArray,
) -> FloatArray:
    lead = _leads(jar, jars)
    gross = mean + taken_off
    told = (lead >= 0) & ~jars.typed[lead] & bool(blanks.count) & (gross > 0.0)
    part: FloatArray = np.where(told, 100.0 * taken_off / np.where(told, gross, 1.0), np.nan)
    return part


def _slowest(curves: NetCurves, jar: IntArray, series: IntArray, size: int) -> FloatArray:
    """Return the rate of the slowest jar of each series; NaN where one cannot be told."""
    rates = np.full(int(max(curves.jar.max(initial=-1), jar.max(initial=-1))) + 1, np.inf)
    rates[curves.jar[first(curves.jar)]] = lowest_rates_percent(
        curves.jar, curves.time_d, curves.net + curves.from_blank, curves.net
    )
    slowest = np.full(size, -np.inf)
    np.maximum.at(slowest, series, rates[jar])
    told: FloatArray = np.where(np.isfinite(slowest), slowest, np.nan)
    return told


def yield_records(yields: Yields, jars: JarColumns) -> tuple[MaterialYield, ...]:
    """Return every series that has a jar that counts, as a record each."""
    return tuple(
        _record(index, own, yields, jars) for index, own in enumerate(yields.jars) if own.size
    )


def _record(index: int, own: IntArray, yields: Yields, jars: JarColumns) -> MaterialYield:
    material, per = jars.material_of[index], jars.per[index]
    value, u = float(yields.value[index]), _known(yields.u[index])
    low, high = float(yields.low[index]), float(yields.high[index])
    part = {"VS": material.VS, "TS": material.TS, "fresh": 1.0}[per]
    return MaterialYield(
        series=jars.series_names[index],
        material=own_name(material.name),
        role=str(jars.role[own[0]]),
        per=per,
        jars=tuple(own.tolist()),
        value=value,
        time_d=float(yields.time_d[index]),
        sd=_known(yields.sd[index]),
        u=u,
        freedom=_known(yields.freedom[index]),
        ci95=None if u is None else (low, high),
        why_no_interval=_why(index, yields),
        ci95_borrowed=_limits(yields.borrowed_low[index], yields.borrowed_high[index]),
        lent=_lent_record(index, yields),
        parts={
            name: (float(one.u[index]), float(one.freedom[index]))
            for name, one in yields.parts.items()
            if np.isfinite(one.u[index])
        },
        blank_percent=_known(yields.blank_percent[index]),
        per_fresh=None if part is None else value * part,
        jar_values=tuple(yields.jar_value[yields.series == index].tolist()),
        three_day_rate_percent=_known(yields.three_day_rate_percent[index]),
    )


def _lent_record(index: int, yields: Yields) -> Lent | None:
    jars, blank, mean = yields.lent["jars"], yields.lent["blank"], float(yields.value[index])
    if not np.isfinite(jars.u[index]):
        return None
    return Lent(
        rsd=float(jars.u[index] * np.sqrt(yields.count[index]) / mean),
        freedom=float(jars.freedom[index]),
        blank_u=float(blank.u[index] / mean),
        blank_freedom=float(blank.freedom[index]),
    )


def _limits(low: float, high: float) -> tuple[float, float] | None:
    return (float(low), float(high)) if np.isfinite(low) and np.isfinite(high) else None


def _known(value: float) -> float | None:
    return float(value) if np.isfinite(value) else None


def _why(index: int, yields: Yields) -> str:
    if np.isnan(yields.parts["jars"].u[index]):
        return "one jar only: the scatter between jars is unknown"
    if np.isnan(yields.parts["blank"].u[index]):
        return "one blank only: the scatter between blanks is unknown"
    return ""
