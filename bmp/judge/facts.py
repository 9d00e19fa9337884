"""From yields and curves to the facts that criteria are held against, over columns of jars."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from bmp.jar_columns import JarColumns, own_name
from bmp.judge.criteria import Criterion, Facts
from bmp.judge.diagnosis import FeedCurve
from bmp.net import Blanks, MaterialYield, NetCurves, Yields, blank_curves, last_time
from bmp.normalise import JarGas
from bmp.runs import interpolate
from bmp.trial import BoolArray, FloatArray, IntArray, Jar, Material, Trial

# Cellulose (C6H10O5)n by Buswell & Boyle with the ideal molar volume.
CELLULOSE_NML_PER_G_VS = 414.7


@dataclass(frozen=True, eq=False)
class Measured:
    """What was measured, of one trial or of several that share a setup."""

    jars: JarColumns
    gas: JarGas
    blanks: Blanks
    curves: NetCurves
    yields: Yields
    theoretical: FloatArray | None = None
    """Highest yield of each series that its composition allows [NmL CH4/g VS]; NaN: not known."""


def facts_of(measured: Measured, criteria: Sequence[Criterion]) -> tuple[Facts, ...]:
    """Return the facts that some criteria ask for, of trials, inocula, blanks and series."""
    asked = {criterion.value for criterion in criteria}
    return (
        _trial_facts(measured),
        *([_inoculum_facts(measured)] if any(c.of == "inoculum" for c in criteria) else []),
        _blank_facts(measured, asked),
        *_series_facts(measured, asked),
    )


def is_cellulose(material: Material) -> bool:
    """Tell whether a control is cellulose, by its formula or its name."""
    formula = (material.formula or "").replace(" ", "").upper()
    return "C6H10O5" in formula or "cellulos" in material.name.lower()


# --- series --------------------------------------------------------------------------------------


def _series_facts(measured: Measured, asked: set[str]) -> tuple[Facts, ...]:
    """Return the facts of cellulose controls and of substrates."""
    jars, yields = measured.jars, measured.yields
    values = {name: rule(measured) for name, rule in SERIES_FACTS.items() if name in asked}
    tables = []
    for role in ("control", "substrate"):
        rows = [
            index
            for index, material in enumerate(jars.material_of)
            if material.role == role
            and yields.count[index] > 0
            and (role != "control" or is_cellulose(material))
        ]
        tables.append(
            Facts(
                role,
                [jars.series_names[index] for index in rows],
                {name: column[rows] for name, column in values.items()},
                jars.series_trial[rows],
            )
        )
    return tuple(tables)


def _mean_yield(measured: Measured) -> FloatArray:
    """With the inoculum's own gas still in it a yield is not what the limits speak of."""
    by_VS = np.array([per == "VS" for per in measured.jars.per], dtype=bool)
    told = by_VS & (not measured.jars.of.setup.gross)
    return np.where(told, measured.yields.value, np.nan)


def _rsd_percent(measured: Measured) -> FloatArray:
    value = measured.yields.value
    told = (value > 0.0) & ~mostly_copied(measured)
    return np.where(told, 100.0 * measured.yields.sd / np.where(told, value, 1.0), np.nan)


def _rsd_jars_percent(measured: Measured) -> FloatArray:
    yields = measured.yields
    error = yields.parts["jars"].u * np.sqrt(yields.count)
    told = (yields.value > 0.0) & ~mostly_copied(measured)
    return np.where(told, 100.0 * error / np.where(told, yields.value, 1.0), np.nan)


def _percent_of_theoretical(measured: Measured) -> FloatArray:
    materials = measured.jars.material_of
    own = np.full(len(materials), np.nan)
    most = own if measured.theoretical is None else measured.theoretical
    cellulose = np.array([is_cellulose(material) for material in materials], dtype=bool)
    most = np.where(np.isnan(most) & cellulose, CELLULOSE_NML_PER_G_VS, most)
    told = most > 0.0
    return np.where(told, 100.0 * _mean_yield(measured) / np.where(told, most, 1.0), np.nan)


def _blank_shorter_d(measured: Measured) -> FloatArray:
    """Return by how much the blanks end before each series' jars: none within the same round."""
    jars, blanks, yields = measured.jars, measured.blanks, measured.yields
    jar, series = yields.jar, yields.series
    size, inoculum = yields.value.size, jars.inoculum[yields.jar]
    blank = blanks.has(inoculum) & ~jars.typed[jar]
    first_end, latest = np.full(size, np.inf), np.full(size, -np.inf)
    np.minimum.at(first_end, series[blank], blanks.end_d[inoculum[blank]])
    np.maximum.at(latest, series, last_time(measured.gas.jar, measured.gas.time_d, jar))
    cut = np.bincount(series, measured.curves.cut[jar], minlength=size) > 0
    known = np.bincount(series, blank, minlength=size) > 0
    shorter = np.full(size, np.nan)
    shorter[known] = np.where(cut, latest - first_end, 0.0)[known]
    return shorter


def _mean_of_jars(measured: Measured, of_jar: Callable[[Jar, Trial], float | None]) -> FloatArray:
    """Return the mean over each series' jars that count; a jar without a value does not."""
    trial, yields = measured.jars.of, measured.yields
    found = [of_jar(trial.jars[jar], trial) for jar in yields.jar.tolist()]
    value = np.array([np.nan if one is None else one for one in found], dtype=np.float64)
    told = ~np.isnan(value)
    size = yields.value.size
    count = np.bincount(yields.series[told], minlength=size)
    total = np.bincount(yields.series[told], value[told], minlength=size)
    return np.where(count > 0, total / np.maximum(count, 1), np.nan)


def inoculum_to_substrate(jar: Jar, trial: Trial) -> float | None:
    """Return grams of inoculum VS per gram of sample VS."""
    if jar.sample_g <= 0 or not jar.inoculum:
        return None
    own, other = trial.material(jar.material).VS, trial.material(jar.inoculum).VS
    return jar.inoculum_g * other / (jar.sample_g * own) if own and other else None


def _sample_gVS(jar: Jar, trial: Trial) -> float | None:
    VS = trial.material(jar.material).VS
    return jar.sample_g * VS if VS and not jar.given_net else None


def _headspace_mL_per_gVS(jar: Jar, trial: Trial) -> float | None:
    VS = trial.material(jar.material).VS
    closed = jar.measured in ("pressure", "mass") and jar.headspace_mL
    if not (closed and VS) or jar.sample_g <= 0:
        return None
    return (jar.headspace_mL or 0.0) / (jar.sample_g * VS)


SERIES_FACTS: Final[dict[str, Callable[[Measured], FloatArray]]] = {
    "jars": lambda m: m.yields.count.astype(float),
    "mean_yield": _mean_yield,
    "any_yield": lambda m: m.yields.value,
    "rsd_percent": _rsd_percent,
    "rsd_jars_percent": _rsd_jars_percent,
    "percent_of_theoretical": _percent_of_theoretical,
    "three_day_rate_percent": lambda m: m.yields.three_day_rate_percent,
    "blank_shorter_d": _blank_shorter_d,
    "blank_share_percent": lambda m: m.yields.blank_percent,
    "inoculum_to_substrate": lambda m: _mean_of_jars(m, inoculum_to_substrate),
    "sample_gVS": lambda m: _mean_of_jars(m, _sample_gVS),
    "headspace_mL_per_gVS": lambda m: _mean_of_jars(m, _headspace_mL_per_gVS),
}


COPY: Final = 1e-9
"""Relative difference up to which a curve is that of another jar."""


def mostly_copied(measured: Measured) -> BoolArray:
    """Tell of which series half or more of the replicate jars repeat the curve of another.

    Copies have no scatter of their own, so nothing can be said of how well they repeat.
    """
    curves, yields = measured.curves, measured.yields
    count = np.bincount(curves.jar, minlength=measured.jars.series.size)
    end = np.cumsum(count)
    begin = end - count
    # what ends differently is no copy: few series have to be looked at more closely
    at_end = curves.net[end[yields.jar] - 1]
    order = np.lexsort((at_end, yields.series))
    near = np.abs(np.diff(at_end[order])) <= 2.0 * COPY * np.abs(at_end[order][1:])
    near &= np.diff(yields.series[order]) == 0
    copied = np.zeros(yields.value.size, dtype=bool)
    jars = yields.jars
    for index in np.unique(yields.series[order][1:][near]).tolist():
        drawn = [curves.net[begin[jar] : end[jar]] for jar in jars[index].tolist()]
        copied[index] = mostly_copies(drawn)
    return copied


def mostly_copies(drawn: Sequence[FloatArray]) -> bool:
    """Tell it of one series by the net yields of each jar, whenever they were read."""
    copies = sum(any(_alike(drawn[k], other) for other in drawn[:k]) for k in range(1, len(drawn)))
    return copies > 0 and 2 * copies >= len(drawn) - 1


def _alike(values: FloatArray, others: FloatArray) -> bool:
    """Tell whether two curves hold the same values; nought is none."""
    return (
        values.size == others.size >= 3
        and bool(np.any(values != 0.0))
        and bool(np.allclose(values, others, rtol=COPY, atol=0.0))
    )


# --- blanks, inocula, trials ---------------------------------------------------------------------


def _blank_facts(measured: Measured, asked: set[str]) -> Facts:
    """Return the facts of the blanks of each inoculum."""
    jars, blanks = measured.jars, measured.blanks
    inocula = np.flatnonzero(blanks.jars > 0)
    own = np.flatnonzero((jars.role == "blank") & jars.counted)
    of = np.full(len(jars.inocula), 0)
    of[jars.inoculum[own[::-1]]] = jars.trial[own[::-1]]
    values = {"jars": blanks.jars[inocula].astype(float)}
    if "rsd_jars_percent" in asked and inocula.size:
        values["rsd_jars_percent"] = _scatter_of_blanks(measured, own)[inocula]
    names = [f"blank of {blanks.names[index]}" for index in inocula.tolist()]
    return Facts("blank", names, values, of[inocula])


def _scatter_of_blanks(measured: Measured, own: IntArray) -> FloatArray:
    jars, blanks = measured.jars, measured.blanks
    of, size = jars.inoculum[own], blanks.jars.size
    curves = blank_curves(measured.gas, jars, own)
    made, _ = interpolate(own, blanks.end_d[of], *curves)
    count = np.bincount(of, minlength=size)
    mean = np.bincount(of, made, minlength=size) / np.maximum(count, 1)
    square = np.bincount(of, (made - mean[of]) ** 2, minlength=size)
    told = (count > 1) & (mean > 0.0)
    sd = np.sqrt(square / np.maximum(count - 1, 1))
    return np.where(told, 100.0 * sd / np.where(told, mean, 1.0), np.nan)


def _inoculum_facts(measured: Measured) -> Facts:
    """Return the facts of the inocula as they were typed in."""
    materials = [m for m in measured.jars.of.materials if m.role == "inoculum"]
    columns = {
        "pH": [m.pH for m in materials],
        "ammonium_N_g_per_kg": [m.ammonium_N_g_per_kg for m in materials],
        "volatile_acids_g_per_kg": [m.volatile_acids_g_per_kg for m in materials],
        "TS_percent": [None if m.TS is None else 100.0 * m.TS for m in materials],
    }
    values = {
        name: np.array([np.nan if one is None else one for one in column], dtype=np.float64)
        for name, column in columns.items()
    }
    trial = np.array([_trial_number(m.name) for m in materials], dtype=np.int64)
    return Facts("inoculum", [own_name(m.name) for m in materials], values, trial)


def _trial_number(name: str) -> int:
    number = name.removesuffix(own_name(name))[:-1]
    return int(number) if number else 0


def _trial_facts(measured: Measured) -> Facts:
    """Return the facts of each trial: one entry an inoculum that its counted substrates use.

    A control says nothing of an inoculum that it was not run on. With one inoculum (or where no
    substrate counts) there is one, which needs no name.
    """
    jars, size = measured.jars, len(measured.jars.trials)
    every, trial_of = jars.of.jars, jars.trial.tolist()
    used: list[dict[str, None]] = [{} for _ in range(size)]
    cellulose: dict[tuple[int, str], set[str]] = {}
    for material, members in zip(jars.material_of, measured.yields.jars, strict=True):
        for jar in members.tolist():
            if material.role == "substrate":
                used[trial_of[jar]][every[jar].inoculum] = None
            elif material.role == "control" and is_cellulose(material):
                key = trial_of[jar], every[jar].inoculum
                cellulose.setdefault(key, set()).add(material.name)
    blank = np.flatnonzero((jars.role == "blank") & jars.counted & jars.of.setup.blank)
    blanks_of = Counter((trial_of[jar], every[jar].inoculum) for jar in blank.tolist())
    held: list[dict[str, None]] = [{} for _ in range(size)]
    for trial, one in zip(trial_of, every, strict=True):
        if one.role != "weight check":
            held[trial][one.inoculum] = None
    trials, names, controls, counts, first = [], [], [], [], []
    for trial in range(size):
        for place, inocula in enumerate([[one] for one in used[trial]] or [list(held[trial])]):
            single = len(held[trial]) < 2 or len(inocula) != 1
            first.append(place == 0)
            trials.append(trial)
            names.append("" if single else own_name(inocula[0]))
            kinds = [cellulose.get((trial, one), set()) for one in inocula]
            controls.append(len(set().union(*kinds)))
            counts.append(sum(blanks_of[trial, one] for one in inocula))
    incubation_C = np.where(first, _incubation_C(jars.of), np.nan)
    values = {
        "cellulose_controls": np.array(controls, float),
        "blank_jars": np.array(counts, float),
        "incubation_temperature_C": incubation_C,
    }
    return Facts("trial", names, values, np.array(trials, dtype=np.int64))


def _incubation_C(trial: Trial) -> float:
    """Return the jars' temperature; NaN for net curves, which are not corrected by it."""
    if all(jar.given_net for jar in trial.jars):
        return np.nan
    return trial.setup.incubation_temperature_C


def feed_curve(one: MaterialYield, trial: Trial, curves: NetCurves) -> FeedCurve | None:
    """Return the net curves of a series at common times; `None` with fewer than five."""
    runs = [curves.of(j) for j in one.jars]
    end = min(float(times[-1]) for times, _ in runs)
    times = np.unique(np.concatenate([times for times, _ in runs]))
    times = times[(times > 0) & (times <= end)]
    if len(times) < 5:
        return None
    net = np.stack([np.interp(times, own, values) for own, values in runs])
    ratios = [inoculum_to_substrate(trial.jars[j], trial) for j in one.jars]
    known = [ratio for ratio in ratios if ratio is not None]
    names = tuple(trial.jars[j].name for j in one.jars)
    return FeedCurve(one.series, times, net, float(np.mean(known)) if known else None, names)
