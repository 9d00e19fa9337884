"""Errors as hands make them, each planted into a trial of `tests.worlds` in several variations.

Each planting returns the trial and the names of those it is about: jars, a material, or nothing
where a whole round or column is meant. It raises `NotHere` where the world does not allow it.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from itertools import pairwise

import numpy as np

from bmp.rounds import rounds
from bmp.trial import Trial
from tests.planted import jar_values, value_name, with_column
from tests.worlds import world


class NotHere(Exception):
    """This world has no place for the error."""


@dataclass(frozen=True)
class Error:
    """A trial with one error, and whom it is about."""

    trial: Trial
    jars: frozenset[str] = frozenset()
    """Names that may be accused; empty: the whole trial or a round."""
    sound: Trial | None = None


def _jar(rng, trial: Trial, *roles: str) -> int:
    roles = roles or ("substrate", "control", "blank")
    return int(rng.choice([j for j, jar in enumerate(trial.jars) if jar.role in roles]))


def _edit(trial: Trial, changes: dict[str, dict[int, float]]) -> Trial:
    for name, cells in changes.items():
        values = trial.readings.columns[name].copy()
        for i, value in cells.items():
            values[i] = value
        trial = with_column(trial, name, values)
    return trial


def _digits(value: float, places: int) -> str:
    return f"{abs(value):.{places}f}"


def _places(values: np.ndarray) -> int:
    known = values[np.isfinite(values)]
    return next((p for p in range(4) if np.allclose(known, np.round(known, p), atol=1e-9)), 2)


def exchanged_digits(rng, value: float, places: int) -> float:
    """Exchange two neighbouring digits among the first three."""
    text = list(_digits(value, places))
    spots = [k for k, c in enumerate(text) if c != "."][:3]
    pairs = [(a, b) for a, b in pairwise(spots) if text[a] != text[b]]
    if not pairs:
        raise NotHere
    a, b = pairs[int(rng.integers(len(pairs)))]
    text[a], text[b] = text[b], text[a]
    return float("".join(text)) * (-1 if value < 0 else 1)


def _main_values(trial: Trial) -> tuple[str, np.ndarray]:
    name = value_name(trial)
    return name, trial.readings.columns[name]


def _reading(rng, trial: Trial, *roles: str) -> int:
    """A reading of a sample jar that holds a good part of the gas, not the first one."""
    j = _jar(rng, trial, *(roles or ("substrate", "control")))
    one = jar_values(trial, j)
    return int(one[rng.integers(1, max(2, len(one) * 2 // 3))])


def one_factor(low: float, high: float, ways: tuple[str, ...] = ()) -> Callable:
    def plant(rng, minutes: float) -> Error:
        way = str(rng.choice(ways or ("volume", "counter", "pressure", "methane volume")))
        trial = world(rng, minutes, way).trial
        name, value = _main_values(trial)
        i = _reading(rng, trial)
        factor = float(np.exp(rng.uniform(np.log(low), np.log(high))))
        new = _edit(trial, {name: {i: value[i] * factor}})
        return Error(new, frozenset({trial.jars[trial.readings.jar[i]].name}), trial)

    return plant


def one_of_factors(*factors: float) -> Callable:
    def plant(rng, minutes: float) -> Error:
        way = str(rng.choice(["volume", "counter", "pressure", "methane volume"]))
        trial = world(rng, minutes, way).trial
        name, value = _main_values(trial)
        i = _reading(rng, trial)
        new = _edit(trial, {name: {i: value[i] * float(rng.choice(factors))}})
        return Error(new, frozenset({trial.jars[trial.readings.jar[i]].name}), trial)

    return plant


def digits_of_a_reading(rng, minutes: float) -> Error:
    way = str(rng.choice(["volume", "counter", "pressure", "methane volume"]))
    trial = world(rng, minutes, way).trial
    name, value = _main_values(trial)
    i = _reading(rng, trial)
    new = exchanged_digits(rng, float(value[i]), _places(value))
    return Error(_edit(trial, {name: {i: new}}),
                 frozenset({trial.jars[trial.readings.jar[i]].name}), trial)  # fmt: skip


def lost_interval(rng, minutes: float) -> Error:
    """The row of a round is missing although its gas was let go; or next to nothing was read."""
    way = str(rng.choice(["volume", "pressure", "methane volume"]))
    trial = world(
        rng, minutes, way, **({"left_gauge_share": 0.0} if way == "pressure" else {})
    ).trial
    name, value = _main_values(trial)
    i = _reading(rng, trial)
    jars = frozenset({trial.jars[trial.readings.jar[i]].name})
    if rng.random() < 0.5:
        keep = np.ones(len(value), bool)
        keep[i] = False
        return Error(replace(trial, readings=trial.readings.where(keep)), jars, trial)
    low = trial.readings.columns["ambient_kPa"][i] if name.startswith("absolute") else 0.0
    return Error(_edit(trial, {name: {i: low + 0.03 * (value[i] - low)}}), jars, trial)


# --- a whole round ------------------------------------------------------------------------------


def _round(rng, trial: Trial) -> np.ndarray:
    number = rounds(trial.readings.jar, trial.readings.time_d)
    chosen = int(rng.integers(1, max(2, number.max() * 2 // 3)))
    return np.flatnonzero(number == chosen)


def round_in_unit(way: str, name: str, *rules: Callable[[np.ndarray], np.ndarray]) -> Callable:
    def plant(rng, minutes: float) -> Error:
        trial = world(rng, minutes, way, gauge=True).trial
        here = _round(rng, trial)
        rule = rules[int(rng.integers(len(rules)))]
        new = rule(trial.readings.columns[name][here])
        return Error(_edit(trial, {name: dict(zip(here.tolist(), new, strict=True))}), sound=trial)

    return plant


def round_copied(rng, minutes: float) -> Error:
    trial = world(rng, minutes, str(rng.choice(["volume", "pressure"]))).trial
    name, value = _main_values(trial)
    here = [
        i for i in _round(rng, trial) if i and trial.readings.jar[i - 1] == trial.readings.jar[i]
    ]
    return Error(_edit(trial, {name: {int(i): value[i - 1] for i in here}}), sound=trial)


# --- pressure -----------------------------------------------------------------------------------


def gauge_in_one_row(rng, minutes: float) -> Error:
    trial = world(rng, minutes, "pressure").trial
    name, value = _main_values(trial)
    i = _reading(rng, trial)
    air = trial.readings.columns["ambient_kPa"][i]
    new = value[i] + (air if name.startswith("gauge") else -air)
    jars = frozenset({trial.jars[trial.readings.jar[i]].name})
    return Error(_edit(trial, {name: {i: new}}), jars, trial)


def before_and_after(rng, minutes: float) -> Error:
    trial = world(rng, minutes, "pressure", left_gauge_share=0.3).trial
    name, value = _main_values(trial)
    other = name.replace("before", "after")
    i = _reading(rng, trial)
    after = trial.readings.columns[other]
    jars = frozenset({trial.jars[trial.readings.jar[i]].name})
    return Error(_edit(trial, {name: {i: after[i]}, other: {i: value[i]}}), jars, trial)


def vented_unwritten(rng, minutes: float) -> Error:
    """A jar that is left closed all the time was vented once and nobody wrote it down."""
    trial = world(rng, minutes, "pressure", left_gauge_share=1.0).trial
    name, value = _main_values(trial)
    i = _reading(rng, trial)
    later = [k for k in jar_values(trial, int(trial.readings.jar[i])) if k > i]
    if not later:
        raise NotHere
    air = trial.readings.columns["ambient_kPa"][i] if name.startswith("absolute") else 0.0
    lost = value[i] - air
    jars = frozenset({trial.jars[trial.readings.jar[i]].name})
    return Error(_edit(trial, {name: {int(k): value[k] - lost for k in later}}), jars, trial)


def written_not_vented(rng, minutes: float) -> Error:
    """A jar was forgotten at one venting; its pressure stayed and stands in the next reading."""
    trial = world(rng, minutes, "pressure", left_gauge_share=0.0).trial
    name, value = _main_values(trial)
    i = _reading(rng, trial)
    if i + 1 >= len(value) or trial.readings.jar[i + 1] != trial.readings.jar[i]:
        raise NotHere
    air = trial.readings.columns["ambient_kPa"][i] if name.startswith("absolute") else 0.0
    jars = frozenset({trial.jars[trial.readings.jar[i]].name})
    return Error(_edit(trial, {name: {i + 1: value[i + 1] + value[i] - air}}), jars, trial)


# --- jars exchanged or counted twice ------------------------------------------------------------


def _two_jars(rng, trial: Trial, kinds: tuple[str, str] | None = None) -> tuple[int, int]:
    while True:
        a = _jar(rng, trial, *([kinds[0]] if kinds else ()))
        b = _jar(rng, trial, *([kinds[1]] if kinds else ()))
        if trial.jars[a].material != trial.jars[b].material:
            return a, b


def exchanged(when: str, kinds: tuple[str, str] | None = None) -> Callable:
    def plant(rng, minutes: float) -> Error:
        way = str(rng.choice(["volume", "counter", "pressure", "methane volume"]))
        trial = world(rng, minutes, way, skips=False).trial
        a, b = _two_jars(rng, trial, kinds)
        one, two = jar_values(trial, a), jar_values(trial, b)
        size = len(one)
        start = {"one round": int(rng.integers(1, size * 2 // 3)), "throughout": 0}.get(
            when, int(rng.integers(2, max(3, size // 2)))
        )
        stop = start + 1 if when == "one round" else size
        cells: dict[str, dict[int, float]] = {}
        for name, old in trial.readings.columns.items():
            if name in ("ambient_kPa", "temperature_C"):
                continue
            cells[name] = {}
            for i, k in zip(one[start:stop], two[start:stop], strict=True):
                cells[name][int(i)], cells[name][int(k)] = old[k], old[i]
        names = frozenset({trial.jars[a].name, trial.jars[b].name})
        return Error(_edit(trial, cells), names, trial)

    return plant


def jar_counted_twice(rng, minutes: float) -> Error:
    """A jar's readings stand under its replicate's name too, a third of the figures changed."""
    way = str(rng.choice(["volume", "counter", "pressure"]))
    trial = world(rng, minutes, way, skips=False).trial
    a = _jar(rng, trial, "substrate", "control")
    same = [
        j for j, jar in enumerate(trial.jars) if jar.material == trial.jars[a].material and j != a
    ]
    b = int(rng.choice(same))
    name, value = _main_values(trial)
    one, two = jar_values(trial, a), jar_values(trial, b)
    copied = value[one].copy()
    change = rng.random(len(copied)) < 0.3
    new = copied[change] * rng.uniform(0.97, 1.03, int(change.sum()))
    copied[change] = np.round(new, _places(value))
    if trial.setup.cumulative:
        copied = np.maximum.accumulate(copied)
    names = frozenset({trial.jars[a].name, trial.jars[b].name})
    return Error(_edit(trial, {name: dict(zip(two.tolist(), copied, strict=True))}), names, trial)


def _with_jar(trial: Trial, j: int, **changes) -> Trial:
    jars = list(trial.jars)
    jars[j] = replace(jars[j], **changes)
    return replace(trial, jars=tuple(jars))


def wrong_feed(rng, minutes: float) -> Error:
    trial = world(rng, minutes, jars_per_material=int(rng.integers(3, 6))).trial
    a, b = _two_jars(rng, trial, ("substrate", "substrate")) if len(
        {j.material for j in trial.jars if j.role == "substrate"}
    ) > 1 else _two_jars(rng, trial, ("substrate", "control"))  # fmt: skip
    other = trial.jars[b]
    new = _with_jar(trial, a, material=other.material, role=other.role)
    return Error(new, frozenset({trial.jars[a].name}), trial)


# --- the table of jars and materials ------------------------------------------------------------


def jar_field(field: str, *factors: float, role: str = "substrate") -> Callable:
    def plant(rng, minutes: float) -> Error:
        way = "pressure" if field == "headspace_mL" else None
        trial = world(rng, minutes, way).trial
        j = _jar(rng, trial, *(("substrate", "control") if role == "substrate" else (role,)))
        old = getattr(trial.jars[j], field)
        new = old * float(rng.choice(factors)) if factors else exchanged_digits(rng, old, 2)
        return Error(_with_jar(trial, j, **{field: new}), frozenset({trial.jars[j].name}), trial)

    return plant


def _with_material(trial: Trial, name: str, **changes) -> Trial:
    materials = tuple(replace(m, **changes) if m.name == name else m for m in trial.materials)
    return replace(trial, materials=materials)


def inoculum_solids(rng, minutes: float) -> Error:
    trial = world(rng, minutes).trial
    m = trial.materials[0]
    keep_TS = rng.random() < 0.7
    factor = float(rng.choice([10.0, 0.1]))
    new = _with_material(trial, m.name, VS=m.VS * factor, TS=m.TS if keep_TS else None)
    return Error(new, frozenset({m.name, *(j.name for j in trial.jars)}), trial)


def other_kind_of_solids(rng, minutes: float) -> Error:
    trial = world(rng, minutes).trial
    m = trial.materials[int(rng.integers(1, len(trial.materials)))]
    new = m.VS * m.TS if rng.random() < 0.5 else m.VS / m.TS
    names = frozenset({m.name, *(j.name for j in trial.jars if j.material == m.name)})
    return Error(_with_material(trial, m.name, VS=new), names, trial)


# --- dates, shares, weights ---------------------------------------------------------------------


def month_off(rng, minutes: float) -> Error:
    trial = world(rng, minutes).trial
    start = datetime(2026, int(rng.integers(3, 10)), int(rng.integers(1, 28)), 9)
    taken = [start + timedelta(days=float(t)) for t in trial.readings.time_d]
    i = _reading(rng, trial)
    if rng.random() < 0.5:
        here = np.array([i])
    else:
        here = np.flatnonzero(
            rounds(trial.readings.jar, trial.readings.time_d)
            == rounds(trial.readings.jar, trial.readings.time_d)[i]
        )
    step = 1 if trial.readings.time_d[i] < 32 or rng.random() < 0.5 else -1
    for k in here:
        month = taken[k].month + step
        year = taken[k].year + (month > 12) - (month < 1)
        taken[k] = taken[k].replace(
            year=year, month=(month - 1) % 12 + 1, day=min(taken[k].day, 28)
        )
    time = np.array([(t - start).total_seconds() / 86400 for t in taken])
    if (time < 0).any():
        raise NotHere
    r = trial.readings
    order = np.lexsort((time, r.jar))
    readings = replace(
        r.where(np.ones(r.jar.size, bool)),
        time_d=time[order],
        row=r.row[order],
        columns={name: values[order] for name, values in r.columns.items()},
        not_vented=r.not_vented[order],
        emptied=r.emptied[order],
        note=tuple(r.note[k] for k in order),
        taken=tuple(taken[k] for k in order),
    )
    setup = replace(trial.setup, started=start)
    jars = frozenset({trial.jars[r.jar[k]].name for k in here})
    return Error(replace(trial, setup=setup, readings=readings), jars, trial)


def share_far_off(rng, minutes: float) -> Error:
    trial = world(
        rng, minutes, str(rng.choice(["volume", "counter", "pressure"])), shares=True
    ).trial
    i = _reading(rng, trial)
    share = trial.readings.columns["methane_share"].copy()
    j = trial.readings.jar[i]
    # as most people do, shares are read now and then
    thin = (trial.readings.jar == j) & (np.arange(share.size) % 4 != i % 4)
    share[thin] = np.nan
    share[i] = share[i] * float(rng.choice([0.1, 0.4, 1.5]))
    return Error(with_column(trial, "methane_share", share), frozenset({trial.jars[j].name}), trial)


def _weights(rng, minutes: float) -> Trial:
    return world(rng, minutes, "mass", skips=bool(rng.random() < 0.5)).trial


def before_off(rng, minutes: float) -> Error:
    trial = _weights(rng, minutes)
    i = _reading(rng, trial)
    by = float(rng.choice([-1.0, 1.0, 10.0, -10.0, 0.5, -0.6]))
    value = trial.readings.columns["mass_before_g"]
    jars = frozenset({trial.jars[trial.readings.jar[i]].name})
    return Error(_edit(trial, {"mass_before_g": {i: value[i] + by}}), jars, trial)


def after_off(rng, minutes: float) -> Error:
    trial = _weights(rng, minutes)
    i = _reading(rng, trial)
    by = float(rng.choice([-1.0, 1.0, 10.0, -10.0, 0.5, -0.6]))
    value = trial.readings.columns["mass_after_g"]
    jars = frozenset({trial.jars[trial.readings.jar[i]].name})
    return Error(_edit(trial, {"mass_after_g": {i: value[i] + by}}), jars, trial)


def weighed_in_place_of_another(rng, minutes: float) -> Error:
    trial = world(rng, minutes, "mass", skips=False).trial
    a, b = _two_jars(rng, trial)
    one, two = jar_values(trial, a), jar_values(trial, b)
    k = int(rng.integers(1, len(one) - 1))
    i, m = int(one[k]), int(two[k])
    cells = {
        name: {i: trial.readings.columns[name][m], m: trial.readings.columns[name][i]}
        for name in ("mass_before_g", "mass_after_g")
    }
    names = frozenset({trial.jars[a].name, trial.jars[b].name})
    return Error(_edit(trial, cells), names, trial)


def whole_column_in_bar(rng, minutes: float) -> Error:
    trial = world(rng, minutes, "pressure", gauge=True).trial
    if rng.random() < 0.5:  # no control to tell it by
        kept = [j for j, jar in enumerate(trial.jars) if jar.role != "control"]
        r = trial.readings.where(np.isin(trial.readings.jar, kept))
        r = replace(r, jar=np.searchsorted(kept, r.jar))
        trial = replace(trial, jars=tuple(trial.jars[j] for j in kept), readings=r)
    columns = {
        name: values / 100.0 if name.startswith("gauge") else values
        for name, values in trial.readings.columns.items()
    }
    return Error(replace(trial, readings=replace(trial.readings, columns=columns)), sound=trial)


HANDS: dict[str, tuple[tuple[str, ...], Callable[..., Error]]] = {
    "one reading ten times": ((), one_of_factors(10.0, 0.1)),
    "one reading a hundred or thousand times": ((), one_of_factors(100.0, 0.01, 1000.0)),
    "one reading three to eight times too large": ((), one_factor(3.0, 8.0)),
    "one reading three to eight times too small": ((), one_factor(1 / 8.0, 1 / 3.0)),
    "digits of a reading exchanged": ((), digits_of_a_reading),
    "lost interval": ((), lost_interval),
    "round in mbar or psi": (
        (),
        round_in_unit(
            "pressure", "gauge_before_kPa", lambda v: v * 10, lambda v: v / 6.895, lambda v: v / 100
        ),
    ),
    "round in L": ((), round_in_unit("volume", "volume_mL", lambda v: v / 1000)),
    "round of counters in L": ((), round_in_unit("counter", "volume_mL", lambda v: v / 1000)),
    "round in °F": ((), round_in_unit("volume", "temperature_C", lambda v: v * 1.8 + 32)),
    "round's air pressure in mbar or mmHg": (
        (),
        round_in_unit(
            "volume", "ambient_kPa", lambda v: v * 10, lambda v: v * 7.5, lambda v: v / 100
        ),
    ),
    "round copied": ((), round_copied),
    "gauge for absolute in one row": ((), gauge_in_one_row),
    "before and after exchanged": ((), before_and_after),
    "vented, not written": ((), vented_unwritten),
    "written, not vented": ((), written_not_vented),
    "jars exchanged for one round": ((), exchanged("one round")),
    "jars exchanged from a day on": ((), exchanged("from a day on")),
    "jars exchanged throughout": ((), exchanged("throughout")),
    "blank and control exchanged": ((), exchanged("throughout", ("blank", "control"))),
    "blank and control exchanged once": ((), exchanged("one round", ("blank", "control"))),
    "jar counted twice, some digits changed": ((), jar_counted_twice),
    "jar under another feed's name": ((), wrong_feed),
    "sample's mass ten times": ((), jar_field("sample_g", 10.0, 0.1)),
    "digits of a sample's mass": ((), jar_field("sample_g")),
    "inoculum's mass ten times": ((), jar_field("inoculum_g", 10.0, 0.1)),
    "blank's inoculum ten times": ((), jar_field("inoculum_g", 10.0, 0.1, role="blank")),
    "headspace ten times": ((), jar_field("headspace_mL", 10.0, 0.1)),
    "date a month off": ((), month_off),
    "methane share far off": ((), share_far_off),
    "inoculum's VS ten times": ((), inoculum_solids),
    "solids of the other kind": ((), other_kind_of_solids),
    "weight before off": ((), before_off),
    "weight after off": ((), after_off),
    "two bottles exchanged in a weighing": ((), weighed_in_place_of_another),
    "whole column in bar": ((), whole_column_in_bar),
}
