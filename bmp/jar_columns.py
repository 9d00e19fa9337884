"""The jars of a trial as columns, so that every later step takes all jars at once.

Many trials are a trial with more rows: `trial` says which of them a jar belongs to. In joined
trials the names of materials have their trial's number and `SEPARATOR` in front.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from bmp.trial import BoolArray, FloatArray, IntArray, Jar, Material, Setup, Trial

SEPARATOR = "\x1f"


def own_name(name: str) -> str:
    """Return the name of a material or series as its trial has it."""
    return name.rpartition(SEPARATOR)[2]


@dataclass(frozen=True, eq=False)
class JarColumns:
    """The jars of one trial or of several that share a setup. Arrays have shape (jars,)."""

    of: Trial
    """The trial, or all of them as one."""
    trials: tuple[str, ...]
    """Their names; a single one without a name for a trial by itself."""
    trial: IntArray
    """Index into `trials`."""
    role: np.ndarray
    """Roles as text."""
    counted: BoolArray
    """Not left out."""
    typed: BoolArray
    """The jar's yields were handed in net."""
    inoculum: IntArray
    """Index into `inocula`; -1 where none is named."""
    inocula: tuple[str, ...]
    inoculum_g: FloatArray
    own_g: FloatArray
    """What the jar's yield is counted per [g of VS, or fresh]; NaN for a jar without a sample."""
    series: IntArray
    """Index into `series_names`; -1 for a jar without a sample."""
    series_names: tuple[str, ...]
    """In the order of the jars."""
    series_trial: IntArray
    """Index into `trials` of each series."""
    material_of: tuple[Material, ...]
    """The material of each series."""
    per: tuple[str, ...]
    """What the yield of each series is counted per: `VS`, `TS` or `fresh`."""


def jar_columns(
    trial: Trial,
    trials: tuple[str, ...] = ("",),
    trial_of: IntArray | None = None,
    by_name: bool = False,
) -> JarColumns:
    """Return the jars of a trial as columns.

    Parameters
    ----------
    trials, trial_of
        Of joined trials: their names, and which of them each jar belongs to.
    by_name
        Sort series by trial and name, so that the order of the jars does not matter.
    """
    jars = trial.jars
    number = np.zeros(len(jars), dtype=np.int64) if trial_of is None else trial_of
    material = {m.name: m for m in trial.materials}
    sampled = [jar.role in ("substrate", "control") for jar in jars]
    per = {name: counted_per(m, trial.setup) for name, m in material.items()}
    keys = [
        (int(of), own_name(jar.series)) if flag else None
        for jar, flag, of in zip(jars, sampled, number, strict=True)
    ]
    first_jar = {key: jar for key, jar in zip(keys[::-1], jars[::-1], strict=True) if key}
    found = dict.fromkeys(key for key in keys if key is not None)
    series = sorted(found) if by_name else list(found)
    place = {key: index for index, key in enumerate(series)}
    material_of = tuple(material[first_jar[key].material] for key in series)
    inocula = tuple(sorted({jar.inoculum for jar in jars if jar.inoculum}))
    which = {name: index for index, name in enumerate(inocula)}
    own_g = [
        _sample_g(jar, material[jar.material], per[jar.material]) if flag else np.nan
        for jar, flag in zip(jars, sampled, strict=True)
    ]
    return JarColumns(
        of=trial,
        trials=trials,
        trial=number,
        role=np.array([jar.role for jar in jars]),
        counted=np.array([jar.counted for jar in jars], dtype=bool),
        typed=np.array([jar.given_net for jar in jars], dtype=bool),
        inoculum=np.array([which.get(jar.inoculum, -1) for jar in jars], dtype=np.int64),
        inocula=inocula,
        inoculum_g=np.array([jar.inoculum_g for jar in jars], dtype=np.float64),
        own_g=np.array(own_g, dtype=np.float64),
        series=np.array([-1 if key is None else place[key] for key in keys], dtype=np.int64),
        series_names=tuple(name for _, name in series),
        series_trial=np.array([of for of, _ in series], dtype=np.int64),
        material_of=material_of,
        per=tuple(per[m.name] for m in material_of),
    )


def counted_per(material: Material, setup: Setup) -> str:
    """Return what a material's yield is counted per: VS where it is known, else fresh mass."""
    if setup.given_net:
        return setup.basis
    return "VS" if material.VS is not None else "fresh"


def _sample_g(jar: Jar, material: Material, per: str) -> float:
    return jar.sample_g * float(material.VS or np.nan) if per == "VS" else jar.sample_g


def yield_unit(per: str) -> str:
    """Return the unit of a yield that is counted per gram of `per`."""
    return "NmL CH4/g " + ("fresh mass" if per == "fresh" else per)
