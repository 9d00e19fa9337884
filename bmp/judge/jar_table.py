"""Masses and headspaces of the table of jars that cannot be those of a replicate jar."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from bmp.judge.cause import ONE_OF, Cause, digits_exchanged, with_jar
from bmp.judge.reading_error import jar_names
from bmp.judge.rough_gas import RoughGas, median
from bmp.trial import FloatArray, Trial

NAME = "mass or headspace of a jar"
FAR = 4.0
"""Jars that differ by more than this factor hold a typing error."""
LEAST_OFF = 0.04
"""Samples that differ by less (logarithm) are portions as people weigh them."""
LEAST_SCATTER = 0.02
"""Replicate jars never lie nearer to each other in their gas than this."""
LEAST_PORTION = 0.004
"""Portions are never taken to be weighed more nearly alike than this (logarithm)."""
LEAST_GAIN = 14.0
"""What another mass must explain (squared standard deviations)."""
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
    gas = _Gas(trial, seen, list(sets.values()))
    for field, name, unit in _FIELDS:
        for jars in sets.values():
            for j in jars:
                own = getattr(trial.jars[j], field)
                around = jars if field == "sample_g" else every
                others = [getattr(trial.jars[k], field) or np.nan for k in around if k != j]
                known = [v for v in others if v > 0.0]
                if not own or own < 0.0 or not known:
                    continue
                usual = median(known)
                ratio = own / usual
                if max(ratio, 1 / ratio) < FAR or field == "sample_g":
                    if field == "sample_g" and gas.denies(jars, j, own, usual):
                        return _sample_told(trial, jars, j, own, usual)
                    continue
                if np.quantile(np.abs(np.log(np.array(known) / usual)), 0.8) > 1.0:
                    continue  # jars of many sizes
                return _told(trial, j, field, name, unit, own, usual)
    return None


class _Gas:
    """Gas of the jars, held against the masses of their samples."""

    def __init__(self, trial: Trial, seen: RoughGas, sets: list[list[int]]) -> None:
        jars = trial.jars
        self.sample = np.array([jar.sample_g or np.nan for jar in jars])
        inoculum = np.array([jar.inoculum_g or np.nan for jar in jars])
        self.gas = np.full(len(jars), np.nan)
        for own in sets:
            self.gas[own] = _gas(seen, own)
        own = [j for j, jar in enumerate(jars) if jar.role == "blank"]
        per_g = self.gas[own] / inoculum[own]
        per_g = per_g[np.isfinite(per_g)]
        self.net = self.gas - (median(per_g) * inoculum if per_g.size else 0.0)
        self.portion = np.where(self.sample > 0, self.sample, inoculum)
        self.sets = sets

    def _apart(self, jars: list[int], values: FloatArray) -> float:
        """Return how far the jars of a set lie apart (logarithms); NaN where they cannot."""
        with np.errstate(invalid="ignore", divide="ignore"):
            value = np.log(values[jars])
        if len(jars) < 2 or not np.isfinite(value).all():
            return float("nan")
        most = np.sqrt(len(jars) / (len(jars) - 1))
        return 1.4826 * float(median(np.abs(value - median(value))) * most)

    def _usual(self, jars: list[int], j: int, values: FloatArray, least: float) -> float:
        """Return how far jars lie apart, by the other sets and by the set without the jar."""
        rest = [[k for k in jars if k != j], *(s for s in self.sets if s is not jars)]
        apart = np.array([self._apart(one, values) for one in rest])
        known = apart[np.isfinite(apart)]
        return max(median(known) if known.size else 2.0 * least, least)

    def denies(self, jars: list[int], j: int, own: float, usual: float) -> bool:
        """Tell whether the jar's gas is that of a sample as heavy as its replicates'.

        Its yield must lie far from theirs with the mass of the table, and near with theirs. Where
        portions are weighed alike and exchanged digits explain the one that is not, it is enough
        that the gas does not follow it.
        """
        off = np.log(own / usual)
        others = [k for k in jars if k != j]
        if abs(off) < LEAST_OFF:
            return False
        alike = self._usual(jars, j, self.portion, LEAST_PORTION)
        apart = np.ptp(np.log(self.sample[others]))
        if abs(off) < 6.0 * alike or not apart < 0.3 * abs(off):
            return False
        if not (np.all(self.net[jars] > 0.05 * self.gas[jars])):
            return False
        near = np.log(self.net[j] / usual) - median(np.log(self.net[others] / self.sample[others]))
        gas = self._usual(jars, j, self.gas / self.portion, LEAST_SCATTER)
        sd = gas * np.sqrt(1 + 1 / len(others)) * self.gas[j] / self.net[j]
        gain = ((near - off) ** 2 - near**2) / sd**2
        swapped = digits_exchanged(own, usual, max(2.0 * alike, 0.005) * usual, 3) is not None
        least = -4.0 if swapped else LEAST_GAIN
        return bool(gain > least and abs(near) < max(2.5 * sd, 0.3 * abs(off)))


def _gas(seen: RoughGas, jars: list[int]) -> FloatArray:
    """Return each jar's gas up to the end of the jar of its set that ends first."""
    ends = [row[np.isfinite(row)] for row in seen.gas_NmL[jars]]
    length = min((len(row) for row in ends if len(row) > 1), default=0)
    return np.array([row[length - 1] if len(row) >= length > 1 else np.nan for row in ends])


def _sample_told(trial: Trial, jars: list[int], j: int, own: float, usual: float) -> Cause:
    """Of two jars, name the one whose sample is unlike those of all other feeds, or both."""
    cause = _told(trial, j, "sample_g", "sample", "g", own, usual)
    if len(jars) > 2:
        return cause
    k = next(n for n in jars if n != j)
    VS = trial.material(trial.jars[j].material).VS or 1.0
    ratio = np.array(
        [
            jar.sample_g * (trial.material(jar.material).VS or 1.0) / jar.inoculum_g
            for n, jar in enumerate(trial.jars)
            if n not in jars and jar.sample_g > 0 and jar.inoculum_g
        ]
    )
    middle = median(ratio) if ratio.size else np.nan
    away = [
        abs(np.log(trial.jars[n].sample_g * VS / (trial.jars[n].inoculum_g or np.nan) / middle))
        for n in (j, k)
    ]
    if away[1] > 2.0 * away[0]:
        return _told(trial, k, "sample_g", "sample", "g", usual, own)
    if away[0] > 2.0 * away[1]:
        return cause
    names = f"{trial.jars[j].name}, {trial.jars[k].name}"
    text = f"{cause.detail} It may as well be that of {trial.jars[k].name}: nothing tells which."
    return replace(cause, where=f"{ONE_OF}{names}", detail=text)


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
