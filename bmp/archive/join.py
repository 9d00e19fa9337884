"""Trials that are read alike, joined into one, so that each step goes over all their jars at once.

A trial's setup holds for the whole of it, so only trials with the same setup are joined; what
differs from trial to trial most (air pressure, temperature of the gas) is first written into the
readings, where it means the same.
"""

from __future__ import annotations

from collections.abc import Hashable, Mapping, Sequence, Set
from dataclasses import replace

import numpy as np

from bmp.jar_columns import SEPARATOR, JarColumns, jar_columns
from bmp.trial import FloatArray, Jar, Readings, Setup, Trial

# Ways of measuring in which no step looks at more than one jar or series at a time. Weighed jars
# share the drift and the scatter of their balance, so such a trial is worked on alone.
_JAR_BY_JAR = {"volume", "methane volume", "pressure", "net yield"}
_MASSES = {"mass_g", "mass_before_g", "mass_after_g"}
_SHARES = {"methane_share", "syringe_gas_left_mL"}


def alike(trial: Trial) -> Hashable:
    """Return what trials must share to be joined; `None`: to be worked on alone."""
    filled = {name for name, values in trial.readings.columns.items() if _any(values)}
    ways = {jar.measured for jar in trial.jars}
    if any(jar.role == "weight check" for jar in trial.jars):
        return None
    return kind_of(trial.setup, ways, filled)


def kind_of(setup: Setup, ways: Set[str], filled: Set[str]) -> Hashable:
    """Return what trials must share to be joined; `None`: to be worked on alone.

    Parameters
    ----------
    setup
        As `plain_setup` returns it.
    ways
        Ways of measuring of the trial's jars.
    filled
        Columns of its readings in which anything stands.
    """
    if len(ways) != 1 or not ways <= _JAR_BY_JAR or _MASSES & filled:
        return None
    items = [
        tuple(sorted(value.items())) if isinstance(value, dict) else value
        for value in vars(setup).values()
    ]
    return *ways, *items, "water_head_cm" in filled, bool(_SHARES & filled)


def _any(column: FloatArray) -> bool:
    return bool(np.any(~np.isnan(column)))


def moved_constants(setup: Setup, ways: Set[str], filled: Set[str]) -> dict[str, float]:
    """Return constants of a setup that mean the same in each reading, by column.

    Only where no reading has its own, so that nothing changes its meaning.
    """
    if not ways <= {"volume", "methane volume"}:
        return {}
    given = {"ambient_kPa": setup.ambient_kPa, "temperature_C": setup.gas_temperature_C}
    known = {column: value for column, value in given.items() if value is not None}
    return {column: value for column, value in known.items() if column not in filled}


def plain_setup(setup: Setup, moved: Mapping[str, float]) -> Setup:
    """Return a setup without what was moved into the readings and what no figure rests on."""
    return replace(
        setup,
        title="",
        started=None,
        laboratory=None,
        operator=None,
        mixing=None,
        altitude_m=None,
        ambient_reduced=False,
        ambient_kPa=None if "ambient_kPa" in moved else setup.ambient_kPa,
        gas_temperature_C=None if "temperature_C" in moved else setup.gas_temperature_C,
    )


def plainer(trial: Trial) -> Trial:
    """Return the trial with its constant air pressure and gas temperature in the readings."""
    columns = trial.readings.columns
    filled = {name for name, values in columns.items() if _any(values)}
    moved = moved_constants(trial.setup, {jar.measured for jar in trial.jars}, filled)
    size = trial.readings.jar.size
    with_them = {**columns, **{name: np.full(size, value) for name, value in moved.items()}}
    readings = replace(trial.readings, columns=with_them, note=())
    return replace(trial, setup=plain_setup(trial.setup, moved), readings=readings)


def join(names: Sequence[str], trials: Sequence[Trial]) -> JarColumns:
    """Return trials of one kind (see `alike`) as one."""
    materials = [
        tuple(replace(m, name=f"{number}{SEPARATOR}{m.name}") for m in trial.materials)
        for number, trial in enumerate(trials)
    ]
    jars = [jar for number, trial in enumerate(trials) for jar in _renamed(trial.jars, number)]
    whole = Trial(
        setup=trials[0].setup,
        materials=tuple(m for some in materials for m in some),
        jars=tuple(jars),
        readings=_joined_readings([t.readings for t in trials], [len(t.jars) for t in trials]),
    )
    jar_trial = np.repeat(np.arange(len(trials)), [len(trial.jars) for trial in trials])
    return jar_columns(whole, tuple(names), jar_trial.astype(np.int64), by_name=True)


def _renamed(jars: Sequence[Jar], number: int) -> list[Jar]:
    front = f"{number}{SEPARATOR}"
    return [
        Jar(
            jar.name, front + jar.material, jar.role, front + jar.inoculum if jar.inoculum else "",
            jar.inoculum_g, jar.sample_g, jar.water_g, jar.headspace_mL, jar.group, jar.measured,
            jar.left_out,
        )
        for jar in jars
    ]  # fmt: skip


def _joined_readings(parts: Sequence[Readings], jars: Sequence[int]) -> Readings:
    if len(parts) == 1:
        return parts[0]
    before = np.cumsum([0, *jars[:-1]])
    fields = sorted({name for part in parts for name in part.columns})
    return Readings(
        jar=np.concatenate([part.jar + b for part, b in zip(parts, before, strict=True)]),
        time_d=np.concatenate([part.time_d for part in parts]),
        row=np.concatenate([part.row for part in parts]),
        columns={name: np.concatenate([part.column(name) for part in parts]) for name in fields},
        not_vented=np.concatenate([part.not_vented for part in parts]),
        emptied=np.concatenate([part.emptied for part in parts]),
        note=(),
        table=parts[0].table,
    )
