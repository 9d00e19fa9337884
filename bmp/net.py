"""The third step: take the inoculum's own methane off, jar by jar, and average the jars.

Standard BMP Methods 200 v1.7 (2020), with the error of VS as document 100 v1.9 asks.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from bmp.normalise import JarGas
from bmp.runs import first, interpolate
from bmp.statistics import critical_t
from bmp.stop_rule import finished, lowest_rates_percent
from bmp.trial import BoolArray, FloatArray, IntArray, Jar, Material, Trial

# A jar read some hours after the last blank takes that blank's last value: at the end of a trial
# the inoculum gives next to nothing in that time (common practice, no source).
SAME_ROUND_D = 0.5


@dataclass(frozen=True, eq=False)
class BlankMean:
    """Mean methane of the blanks of one inoculum per g of inoculum."""

    inoculum: str
    jars: tuple[str, ...]
    time_d: FloatArray
    mean_NmL_per_g: FloatArray
    standard_error: FloatArray | None
    """Of the mean over blanks, at `time_d`; `None` with a single blank."""
    end_d: float
    """Where the first of the blanks ends."""


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


@dataclass(frozen=True)
class MaterialYield:
    """The measured yield of one series of jars at their common end."""

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
    """Between jars, the blank's and the VS's error included; document 200, Eq. 7."""
    u: float | None
    """Standard uncertainty of the mean; with what an assumed methane share adds."""
    freedom: float | None
    """Welch-Satterthwaite degrees of freedom (JCGM 100:2008, G.4)."""
    ci95: tuple[float, float] | None
    why_no_interval: str
    between_jars: float | None
    """s1: standard error over jars."""
    from_blank: float | None
    """s2: from the standard error of the blank."""
    from_solids: float | None
    """s3: from the standard error of VS (or TS); `None` where none was given."""
    from_share: float
    """s4: from an assumed methane share."""
    blank_percent: float | None
    """The inoculum's part of the jars' methane, in percent."""
    per_fresh: float | None
    """Yield per g of fresh mass."""
    jar_values: tuple[float, ...]
    """Net yield of each counted jar at `time_d`."""
    three_day_rate_percent: float | None = None
    """Lowest three-day rate that the slowest counted jar has reached (`bmp.stop_rule`)."""

    @property
    def finished(self) -> bool | None:
        """Return whether every counted jar has met the stop rule; `None`: cannot be told."""
        return finished(self.three_day_rate_percent)

    @property
    def unit(self) -> str:
        """Return the yield's unit."""
        return yield_unit(self.per)


def yield_unit(per: str) -> str:
    """Return the unit of a yield that is counted per gram of `per`."""
    return "NmL CH4/g " + ("fresh mass" if per == "fresh" else per)


def counted_per(material: Material, trial: Trial) -> str:
    """Return what a material's yield is counted per: VS where it is known, else fresh mass."""
    if trial.setup.measured == "net yield":
        return trial.setup.basis
    return "VS" if material.VS is not None else "fresh"


def sample_g(jar: Jar, trial: Trial) -> float:
    """Return the mass that the jar's yield is counted per [g of VS, or fresh]."""
    material = trial.material(jar.material)
    if counted_per(material, trial) == "VS":
        return jar.sample_g * float(material.VS or np.nan)
    return jar.sample_g


def blank_means(gas: JarGas, trial: Trial, subtract: bool = True) -> dict[str, BlankMean]:
    """Return the mean blank of each inoculum that has blanks.

    Each blank's methane is divided by its own inoculum mass and interpolated linearly to the times
    of all blanks; the mean ends where the first blank ends.
    """
    if not (trial.setup.blank and subtract):
        return {}
    means = {}
    for inoculum in sorted({jar.inoculum for jar in trial.jars if jar.role == "blank"}):
        numbers = [
            index
            for index, jar in enumerate(trial.jars)
            if jar.role == "blank" and jar.inoculum == inoculum and jar.left_out is None
        ]
        if numbers:
            means[inoculum] = _blank_mean(gas, trial, inoculum, numbers)
    return means


def _blank_mean(gas: JarGas, trial: Trial, inoculum: str, numbers: list[int]) -> BlankMean:
    runs = [gas.jar == number for number in numbers]
    end_d = min(float(gas.time_d[here].max()) for here in runs)
    times = np.unique(np.concatenate([[0.0], *(gas.time_d[here] for here in runs)]))
    times = times[times <= end_d]
    specific = np.stack(
        [
            np.interp(
                times,
                np.concatenate([[0.0], gas.time_d[here]]),
                np.concatenate([[0.0], gas.methane_NmL[here]]),
            )
            / trial.jars[number].inoculum_g
            for number, here in zip(numbers, runs, strict=True)
        ]
    )
    count = len(numbers)
    error = specific.std(axis=0, ddof=1) / np.sqrt(count) if count > 1 else None
    names = tuple(trial.jars[number].name for number in numbers)
    return BlankMean(inoculum, names, times, specific.mean(axis=0), error, end_d)


def net_curves(gas: JarGas, trial: Trial, blanks: dict[str, BlankMean]) -> NetCurves:
    """Return the net yield of every jar that holds a sample, at its own times.

    y_j(t) = (M_j(t) - m_inoculum,j b(t)) / m_j; document 200, Eqs. 1 to 3. Readings after the end
    of the blanks (and of the round of readings that they end in) are left out, never extrapolated.
    A yield below zero stays as it is.
    """
    sampled = np.array([jar.role in ("substrate", "control") for jar in trial.jars], dtype=bool)
    inocula = sorted(blanks)
    which = np.array(
        [inocula.index(j.inoculum) if j.inoculum in blanks else -1 for j in trial.jars]
    )
    ends = np.array(
        [blanks[j.inoculum].end_d if j.inoculum in blanks else np.inf for j in trial.jars]
    )
    given = np.array([jar.measured == "net yield" for jar in trial.jars], dtype=bool)
    ends[given] = np.inf
    late = gas.time_d > ends[gas.jar] + SAME_ROUND_D
    here = sampled[gas.jar] & ~late
    jar, time_d = gas.jar[here], gas.time_d[here]
    own_g = np.array(
        [sample_g(j, trial) if s else np.nan for j, s in zip(trial.jars, sampled, strict=True)]
    )
    inoculum_g = np.array([j.inoculum_g for j in trial.jars])
    mean = _blank_at(which[jar], time_d, [blanks[name] for name in inocula])
    from_blank = mean * inoculum_g[jar] / own_g[jar]
    net = gas.methane_NmL[here] / own_g[jar] - from_blank
    typed = given[jar]
    net = np.where(typed, trial.readings.column("net_yield_mL_per_g")[here], net)
    cut = np.bincount(gas.jar[late & sampled[gas.jar]], minlength=len(trial.jars)) > 0
    return NetCurves(jar, time_d, net, np.where(typed, 0.0, from_blank), cut)


def _blank_at(which: IntArray, time_d: FloatArray, blanks: list[BlankMean]) -> FloatArray:
    """Return the blank's mean at each time; nought where a jar has none."""
    if not blanks:
        return np.zeros(time_d.shape)
    runs = np.repeat(np.arange(len(blanks)), [blank.time_d.size for blank in blanks])
    times = np.concatenate([blank.time_d for blank in blanks])
    means = np.concatenate([blank.mean_NmL_per_g for blank in blanks])
    return np.nan_to_num(interpolate(which, time_d, runs, times, means)[0])


def value_at(curves: NetCurves, jar: int, time_d: float) -> float:
    """Return a jar's net yield at a time within its readings, interpolated."""
    times, net = curves.of(jar)
    return float(np.interp(time_d, np.concatenate([[0.0], times]), np.concatenate([[0.0], net])))


def material_yields(
    gas: JarGas, curves: NetCurves, trial: Trial, blanks: dict[str, BlankMean]
) -> tuple[MaterialYield, ...]:
    """Return the yield of every series of jars, in the order of the table of jars."""
    series: dict[str, list[int]] = {}
    for index, jar in enumerate(trial.jars):
        if jar.role in ("substrate", "control"):
            counted = series.setdefault(jar.series, [])
            if jar.left_out is None and np.any(curves.jar == index):
                counted.append(index)
    rates = np.full(len(trial.jars), np.inf)
    rates[curves.jar[first(curves.jar)]] = lowest_rates_percent(
        curves.jar, curves.time_d, curves.net + curves.from_blank, curves.net
    )
    return tuple(
        _material_yield(name, jars, gas, curves, trial, blanks, float(rates[jars].max()))
        for name, jars in series.items()
        if jars
    )


def _material_yield(
    series: str,
    jars: list[int],
    gas: JarGas,
    curves: NetCurves,
    trial: Trial,
    blanks: dict[str, BlankMean],
    rate_percent: float,
) -> MaterialYield:
    first_jar = trial.jars[jars[0]]
    material = trial.material(first_jar.material)
    per = counted_per(material, trial)
    end_d = min(float(curves.of(jar)[0].max()) for jar in jars)
    values = np.array([value_at(curves, jar, end_d) for jar in jars])
    errors = _errors(jars, values, end_d, gas, trial, blanks)
    sd, u, freedom, why = _combined(errors, len(jars))
    mean = float(values.mean())
    taken_off = _taken_off(jars, end_d, curves)
    gross = mean + taken_off
    measured = first_jar.measured != "net yield"
    return MaterialYield(
        series=series,
        material=material.name,
        role=first_jar.role,
        per=per,
        jars=tuple(jars),
        value=mean,
        time_d=end_d,
        sd=sd,
        u=u,
        freedom=freedom,
        ci95=_interval(mean, u, freedom),
        why_no_interval=why,
        between_jars=errors.between_jars,
        from_blank=errors.from_blank,
        from_solids=errors.from_solids,
        from_share=errors.from_share,
        blank_percent=100.0 * taken_off / gross if measured and blanks and gross > 0.0 else None,
        per_fresh=_per_fresh(mean, per, material),
        jar_values=tuple(float(value) for value in values),
        three_day_rate_percent=rate_percent if np.isfinite(rate_percent) else None,
    )


def _taken_off(jars: list[int], end_d: float, curves: NetCurves) -> float:
    parts = [
        np.interp(end_d, curves.time_d[curves.jar == jar], curves.from_blank[curves.jar == jar])
        for jar in jars
    ]
    return float(np.mean(parts))


def _per_fresh(mean: float, per: str, material: Material) -> float | None:
    part = {"VS": material.VS, "TS": material.TS, "fresh": 1.0}[per]
    return None if part is None else mean * part


@dataclass(frozen=True)
class _Errors:
    """The parts of a mean yield's standard uncertainty; `None`: it cannot be told."""

    between_jars: float | None
    from_blank: float | None
    blank_freedom: float
    from_solids: float | None
    from_share: float


def _errors(
    jars: list[int],
    values: FloatArray,
    end_d: float,
    gas: JarGas,
    trial: Trial,
    blanks: dict[str, BlankMean],
) -> _Errors:
    """Return s1, s2 and s3 of document 200 (Eqs. 4 to 6) and what the methane share adds."""
    count = len(jars)
    between = float(values.std(ddof=1) / np.sqrt(count)) if count > 1 else None
    first_jar = trial.jars[jars[0]]
    typed = first_jar.measured == "net yield"
    blank = None if typed else blanks.get(first_jar.inoculum)
    from_blank, freedom = (
        (0.0, np.inf) if blank is None else _blank_error(jars, end_d, trial, blank)
    )
    material = trial.material(first_jar.material)
    relative = None
    if material.VS and material.VS_u is not None and counted_per(material, trial) == "VS":
        relative = material.VS_u / material.VS
    mean_square = float(np.sqrt(np.mean(values**2)))
    share_u = gas.share_u[jars] * np.abs(values)
    from_share = float(np.sqrt(np.mean(share_u**2)))
    if not gas.share_u_common[jars].any():
        from_share /= np.sqrt(count)
    return _Errors(
        between, from_blank, freedom, None if relative is None or typed else relative * mean_square,
        from_share,
    )  # fmt: skip


def _blank_error(
    jars: list[int], end_d: float, trial: Trial, blank: BlankMean
) -> tuple[float | None, float]:
    if blank.standard_error is None:
        return None, 0.0
    error = float(np.interp(end_d, blank.time_d, blank.standard_error))
    ratios = np.array([trial.jars[j].inoculum_g / sample_g(trial.jars[j], trial) for j in jars])
    return error * float(np.sqrt(np.mean(ratios**2))), len(blank.jars) - 1.0


def _combined(errors: _Errors, count: int) -> tuple[float | None, float | None, float | None, str]:
    """Return SD, u, degrees of freedom, and why there are none."""
    if errors.between_jars is None:
        return None, None, None, "one jar tells nothing of the scatter between jars"
    if errors.from_blank is None:
        return None, None, None, "one blank tells nothing of the scatter between blanks"
    # the error of VS was found from replicates whose number is not handed in: taken as well known
    parts = [
        (errors.between_jars, count - 1.0),
        (errors.from_blank, errors.blank_freedom),
        (errors.from_solids or 0.0, np.inf),
    ]
    square = sum(part**2 for part, _ in parts)
    sd = float(np.sqrt(count * square))
    whole = square + errors.from_share**2
    u = float(np.sqrt(whole))
    spread = sum(part**4 / freedom for part, freedom in parts if freedom > 0.0)
    freedom = whole**2 / spread if spread > 0.0 else np.inf
    return sd, u, float(min(freedom, 1e6)), ""


def _interval(mean: float, u: float | None, freedom: float | None) -> tuple[float, float] | None:
    if u is None or freedom is None:
        return None
    half = float(critical_t(freedom)) * u
    return mean - half, mean + half
