"""Whether each trial is validated: the criteria of `bmp.judge.criteria` over many trials."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache

import numpy as np

from bmp.archive.batch import Batch
from bmp.archive.jars import own_name
from bmp.archive.net import Blanks, Curves, Yields, last_time
from bmp.judge.criteria import CURRENT, Criterion, Facts, judge, read_criteria, verdict
from bmp.judge.facts import COPY, is_cellulose, mostly_copies
from bmp.normalise import JarGas
from bmp.runs import first
from bmp.stop_rule import lowest_rates_percent
from bmp.trial import BoolArray, FloatArray, IntArray

VALIDATED, NOT_VALIDATED = "validated", "not validated"


@dataclass(frozen=True, eq=False)
class FactTable:
    """What is known of all things of one role: one row a thing, NaN where it is not known."""

    trial: IntArray
    """Index of the trial that each belongs to."""
    names: list[str]
    """As a reason names them; empty for the trial itself."""
    values: Mapping[str, FloatArray]
    """By field of `bmp.judge.criteria.Facts`; a field that is missing is not known."""


def verdicts(
    batch: Batch, gas: JarGas, curves: Curves, yields: Yields, blanks: Blanks
) -> list[tuple[str, ...]]:
    """Return for each trial why it is not validated; an empty tuple where it is."""
    tables = {
        "trial": _trial_facts(batch, yields, blanks),
        "blank": _blank_facts(batch, blanks),
        **_series_facts(batch, gas, curves, yields, blanks),
    }
    because: list[list[str]] = [[] for _ in batch.names]
    for criterion in _current():
        facts = tables.get(criterion.of)
        if facts is None:
            continue
        value = facts.values.get(criterion.value, np.full(facts.trial.size, np.nan))
        for row in np.flatnonzero(~_holds(criterion, value)):
            because[facts.trial[row]].append(_reason(criterion, facts.names[row], value[row]))
    return [tuple(reasons) for reasons in because]


@cache
def _current() -> tuple[Criterion, ...]:
    return tuple(one for one in read_criteria() if one.rule_set == CURRENT)


def _holds(criterion: Criterion, value: FloatArray) -> np.ndarray:
    held = ~np.isnan(value)
    if criterion.low is not None:
        held &= value >= criterion.low if criterion.inclusive else value > criterion.low
    if criterion.high is not None:
        held &= value <= criterion.high if criterion.inclusive else value < criterion.high
    return held


def _reason(criterion: Criterion, name: str, value: float) -> str:
    """Return why a criterion does not hold, in the words of a single trial's verdict."""
    known = {} if np.isnan(value) else {criterion.value: float(value)}
    fact = Facts(name, criterion.of, **known)  # type: ignore[arg-type]
    return verdict(judge([fact], [criterion])).because[0]


def _trial_facts(batch: Batch, yields: Yields, blanks: Blanks) -> FactTable:
    """Return the facts of every trial, one row an inoculum that its counted substrates use."""
    size = len(batch.names)
    jars, trial_of = batch.trial.jars, batch.jar_trial.tolist()
    used: list[dict[str, None]] = [{} for _ in range(size)]
    cellulose: dict[tuple[int, str], set[str]] = {}
    for material, members in zip(batch.material_of, yields.jars, strict=True):
        for jar in members.tolist():
            if material.role == "substrate":
                used[trial_of[jar]][jars[jar].inoculum] = None
            elif material.role == "control" and is_cellulose(material):
                key = trial_of[jar], jars[jar].inoculum
                cellulose.setdefault(key, set()).add(material.name)
    blank = np.flatnonzero((batch.role == "blank") & batch.counted & batch.trial.setup.blank)
    blanks_of = Counter((trial_of[jar], jars[jar].inoculum) for jar in blank.tolist())
    held: list[set[str]] = [set() for _ in range(size)]
    for trial, one in zip(trial_of, jars, strict=True):
        if one.role != "weight check":
            held[trial].add(one.inoculum)
    trials, names, controls, counts = [], [], [], []
    for trial in range(size):
        for inocula in [{one} for one in used[trial]] or [held[trial]]:
            single = len(held[trial]) < 2 or len(inocula) != 1
            trials.append(trial)
            names.append("" if single else own_name(next(iter(inocula))))
            kinds = [cellulose.get((trial, one), set()) for one in inocula]
            controls.append(len(set().union(*kinds)))
            counts.append(sum(blanks_of[trial, one] for one in inocula))
    return FactTable(
        np.array(trials, dtype=np.int64),
        names,
        {"cellulose_controls": np.array(controls, float), "blank_jars": np.array(counts, float)},
    )


def _blank_facts(batch: Batch, blanks: Blanks) -> FactTable:
    own = np.flatnonzero((batch.role == "blank") & batch.counted & batch.trial.setup.blank)
    inocula, lead = np.unique(batch.inoculum[own], return_index=True)
    jars = own[lead]
    names = [f"blank of {own_name(batch.trial.jars[j].inoculum)}" for j in jars]
    count = blanks.jars[inocula].astype(float) if inocula.size else np.zeros(0)
    return FactTable(batch.jar_trial[jars], names, {"jars": count})


def _series_facts(
    batch: Batch, gas: JarGas, curves: Curves, yields: Yields, blanks: Blanks
) -> dict[str, FactTable]:
    """Return the facts of substrates and of cellulose controls."""
    size = len(batch.series_names)
    by_VS = np.array([per == "VS" for per in batch.per], dtype=bool)
    told = (yields.value > 0.0) & ~_mostly_copies(curves, yields, batch.series.size)
    values = {
        "jars": yields.count.astype(float),
        "mean_yield": np.where(by_VS & (not batch.trial.setup.gross), yields.value, np.nan),
        "rsd_percent": np.where(told, 100.0 * yields.sd / np.where(told, yields.value, 1), np.nan),
        "three_day_rate_percent": _slowest(curves, yields, batch.series.size),
        "blank_shorter_d": _blank_shorter_d(batch, gas, curves, yields, blanks),
    }
    tables = {}
    for role in ("control", "substrate"):
        here = np.array(
            [
                material.role == role
                and yields.count[index] > 0
                and (role != "control" or is_cellulose(material))
                for index, material in enumerate(batch.material_of)
            ],
            dtype=bool,
        )
        rows = np.flatnonzero(here) if size else np.zeros(0, dtype=np.int64)
        tables[role] = FactTable(
            np.array([batch.series_names[i][0] for i in rows], dtype=np.int64),
            [batch.series_names[i][1] for i in rows],
            {name: column[rows] for name, column in values.items()},
        )
    return tables


def _slowest(curves: Curves, yields: Yields, jars: int) -> FloatArray:
    """Return the rate of the slowest jar of each series; NaN where one cannot be told."""
    rates = np.full(jars, np.inf)
    present = curves.jar[first(curves.jar)]
    rates[present] = lowest_rates_percent(
        curves.jar, curves.time_d, curves.net + curves.from_blank, curves.net
    )
    series, jar = _members(yields)
    slowest = np.full(len(yields.jars), -np.inf)
    np.maximum.at(slowest, series, rates[jar])
    return np.where(np.isfinite(slowest), slowest, np.nan)


def _mostly_copies(curves: Curves, yields: Yields, jars: int) -> BoolArray:
    """Tell of which series half or more of the jars repeat another; see `bmp.judge.facts`."""
    count = np.bincount(curves.jar, minlength=jars)
    end = np.cumsum(count)
    begin = end - count
    # what ends differently is no copy: few series have to be looked at more closely
    series, jar = _members(yields)
    at_end = curves.net[end[jar] - 1]
    order = np.lexsort((at_end, series))
    near = np.abs(np.diff(at_end[order])) <= 2.0 * COPY * np.abs(at_end[order][1:])
    near &= np.diff(series[order]) == 0
    copied = np.zeros(len(yields.jars), dtype=bool)
    for index in np.unique(series[order][1:][near]).tolist():
        drawn = [curves.net[begin[jar] : end[jar]] for jar in yields.jars[index].tolist()]
        copied[index] = mostly_copies(drawn)
    return copied


def _members(yields: Yields) -> tuple[IntArray, IntArray]:
    """Return series and jar of all that count, series by series."""
    series = np.repeat(np.arange(len(yields.jars)), yields.count)
    return series, np.concatenate([*yields.jars, np.zeros(0, dtype=np.int64)])


def _blank_shorter_d(
    batch: Batch, gas: JarGas, curves: Curves, yields: Yields, blanks: Blanks
) -> FloatArray:
    """Return by how much the blanks end before each series' jars; NaN without a blank."""
    series, jar = _members(yields)
    size, inoculum = len(yields.jars), batch.inoculum[jar]
    blank = (inoculum >= 0) & ~batch.typed[jar]
    blank[blank] = blanks.jars[inoculum[blank]] > 0
    first_end, latest = np.full(size, np.inf), np.full(size, -np.inf)
    np.minimum.at(first_end, series[blank], blanks.end_d[inoculum[blank]])
    np.maximum.at(latest, series, last_time(gas.jar, gas.time_d, jar))
    cut = np.bincount(series, curves.cut[jar], minlength=size) > 0
    known = np.bincount(series, blank, minlength=size) > 0
    shorter = np.full(size, np.nan)
    shorter[known] = np.where(cut, latest - first_end, 0.0)[known]
    return shorter
