"""Masses and headspaces of the table of jars that cannot be those of a replicate jar."""

from __future__ import annotations

import numpy as np

from bmp.judge.cause import Cause, digits_exchanged, with_jar
from bmp.judge.reading_error import jar_names
from bmp.judge.rough_gas import RoughGas
from bmp.trial import FloatArray, Trial

NAME = "mass or headspace of a jar"
FAR = 4.0
"""Replicate jars that differ by more than this factor hold a typing error."""
_FIELDS = (
    ("sample_g", "sample", "g"),
    ("inoculum_g", "inoculum", "g"),
    ("headspace_mL", "headspace", "mL"),
)


def jar_table(trial: Trial, seen: RoughGas) -> Cause | None:
    """Return a mass or headspace that is far from the replicate jars' and that the gas denies."""
    sets: dict[str, list[int]] = {}
    for j, jar in enumerate(trial.jars):
        if jar.role != "weight check" and jar.counted:
            name = f"blank {jar.inoculum}" if jar.role == "blank" else jar.series
            sets.setdefault(name, []).append(j)
    every = [j for jars in sets.values() for j in jars]
    gas = _gas(trial, seen)
    for field, name, unit in _FIELDS:
        for jars in sets.values():
            for j in jars:
                own = getattr(trial.jars[j], field)
                around = jars if field == "sample_g" else every
                others = [getattr(trial.jars[k], field) or np.nan for k in around if k != j]
                known = [v for v in others if v > 0.0]
                if not own or own < 0.0 or not known:
                    continue
                usual = float(np.median(known))
                ratio = own / usual
                if max(ratio, 1 / ratio) < FAR:
                    cause = None
                    if field == "sample_g" and trial.setup.measured != "mass":
                        cause = _denied_by_gas(trial, gas, jars, j, own, usual)
                    if cause is not None:
                        return cause
                    continue
                if len(known) == 1 and field == "sample_g":
                    j, own, usual = _the_odd_one(trial, gas, jars, field)
                    if min(own, usual) <= 0.0:
                        continue
                    ratio = own / usual
                if np.quantile(np.abs(np.log(np.array(known) / usual)), 0.8) > 1.0:
                    continue  # jars of many sizes
                return _told(trial, j, field, name, unit, own, usual)
    return None


def _the_odd_one(
    trial: Trial, gas: FloatArray, jars: list[int], field: str
) -> tuple[int, float, float]:
    """Of two jars, return the one whose mass is unlike those of all other jars with a sample."""
    others = [
        jar.sample_g * (trial.material(jar.material).VS or 1.0)
        for k, jar in enumerate(trial.jars)
        if k not in jars and jar.sample_g > 0
    ]
    middle = float(np.median(others)) if others else 0.0
    own = [getattr(trial.jars[k], field) for k in jars]
    VS = trial.material(trial.jars[jars[0]].material).VS or 1.0
    away = [abs(np.log(v * VS / middle)) if middle > 0 else 0.0 for v in own]
    k = int(np.argmax(away))
    return jars[k], own[k], own[1 - k]


def _gas(trial: Trial, seen: RoughGas) -> FloatArray:
    """Return each jar's gas up to the end of the jar that ends first."""
    ends = [row[np.isfinite(row)] for row in seen.gas_NmL]
    length = min((len(row) for row in ends if len(row) > 1), default=0)
    return np.array([row[length - 1] if len(row) >= length > 1 else np.nan for row in ends])


def _denied_by_gas(
    trial: Trial, gas: FloatArray, jars: list[int], j: int, own: float, usual: float
) -> Cause | None:
    """Find a mass unlike its replicates' where the jar's gas is like theirs."""
    ratio = own / usual
    if abs(np.log(ratio)) < 0.05:
        return None
    others = [k for k in jars if k != j]
    alike = np.array([trial.jars[k].sample_g for k in others])
    if len(others) < 2 or np.ptp(np.log(alike)) > 0.5 * abs(np.log(ratio)):
        return None
    beside = gas[others]
    if not (np.isfinite(gas[j]) and gas[j] > 0 and np.all(beside > 0)):
        return None
    follows = np.log(gas[j] / np.median(beside)) / np.log(ratio)
    scatter = float(np.ptp(np.log(beside)))
    if abs(follows) > 0.35 or scatter > 0.7 * abs(np.log(ratio)):
        return None
    return _told(trial, j, "sample_g", "sample", "g", own, usual)


def _told(
    trial: Trial, j: int, field: str, name: str, unit: str, own: float, usual: float
) -> Cause:
    swapped = digits_exchanged(own, usual, 0.03 * usual, 3)
    factor = own / usual
    ten = min((10.0, 0.1, 100.0, 0.01, 1000.0, 0.001), key=lambda f: abs(np.log(factor / f)))
    hint = ""
    if abs(np.log(factor / ten)) < 0.25:
        hint = f" Probably {_size(ten)}: the point or the unit."
    elif swapped is not None:
        hint = f" Probably two digits are exchanged: {swapped:g}."
    text = (
        f"The table of jars gives {own:.4g} {unit} of {name}, its replicate jars have "
        f"{usual:.4g} {unit}, and their gas is alike.{hint}"
        if field != "headspace_mL"
        else f"The table of jars gives a headspace of {own:.4g} mL, the others have {usual:.4g} mL."
        f"{hint}"
    )
    return Cause(NAME, round(own, 6), jar_names(trial, [j]), text,
                 with_jar(trial, j, **{field: usual}))  # fmt: skip


def _size(factor: float) -> str:
    return f"{factor:g} times too large" if factor > 1 else f"{1 / factor:g} times too small"
