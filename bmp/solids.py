"""TS and VS of a material from crucible weights, with their standard uncertainty.

A crucible is weighed four times: empty, with the fresh sample, after drying at 105 °C and after
ignition at 550 °C. All fractions here are 0 to 1; VS is per fresh mass unless its name says
otherwise, because that is what a jar is dosed by.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from bmp.trial import FloatArray, Material

# Standard BMP Methods document 100 v1.9 (2021): TS and VS of every material in triplicate.
ADVISED_REPLICATES = 3
# Largest relative standard deviation of replicates: laboratory manual of the New England Water
# Environment Association, which cites Standard Methods 2540 G.
LARGEST_REPLICATE_RSD = 0.05


# Where no error of the solids is given: relative standard uncertainty of one replicate, by role.
# Feeds: the most that replicates may differ by (above), so that a mean of three is within 2.9 %; a
# control is a dry powder, whose crucibles differed by 0.6 % at most (Justesen et al. 2019, Water
# 11(12):2431, open data; VS of a ground feed).
ASSUMED_REPLICATE_RSD = {"control": 0.006}
SOLIDS_SOURCE = (
    "replicates within 5 %: New England Water Environment Association after Standard Methods 2540 "
    "G; dry powders 0.6 %: Justesen et al. 2019"
)


@dataclass(frozen=True)
class SolidsError:
    """The error of what a yield is counted per gram of."""

    relative_u: float
    dof: float
    """Infinite: taken as known."""
    assumed: bool
    """Nobody gave it: published repeatability."""


def solids_error(material: Material, per: str) -> SolidsError:
    """Return the relative standard uncertainty of the solids that a yield is counted per.

    Parameters
    ----------
    material : Material
        Its uncertainty as given; nought counts as exact.
    per : str
        `VS`, `TS` or `fresh` (which has none).
    """
    value = {"VS": material.VS, "TS": material.TS}.get(per)
    if not value:
        return SolidsError(0.0, math.inf, False)
    u, dof = (material.VS_u, material.VS_dof) if per == "VS" else (material.TS_u, material.TS_dof)
    if u is not None:
        return SolidsError(u / value, math.inf if dof is None else dof, False)
    replicates = material.solids_replicates or ADVISED_REPLICATES
    rsd = ASSUMED_REPLICATE_RSD.get(material.role, LARGEST_REPLICATE_RSD)
    return SolidsError(rsd / math.sqrt(replicates), math.inf, True)


class CrucibleError(ValueError):
    """Crucible weights that cannot be right.

    `faults` holds the crucible's place, from 0 (`None`: all of them), and what is wrong.
    """

    def __init__(self, faults: Sequence[tuple[int | None, str]]) -> None:
        self.faults = tuple(faults)
        super().__init__("\n".join(self.problems))

    @property
    def problems(self) -> tuple[str, ...]:
        """One line for each fault."""
        return tuple(w if i is None else f"crucible {i + 1}: {w}" for i, w in self.faults)


@dataclass(frozen=True)
class Fraction:
    """The mean of a mass fraction over crucibles and its standard uncertainty, both 0 to 1."""

    value: float
    u: float | None
    """Standard uncertainty of the mean; `None` where nothing tells it."""
    u_from: str
    """What `u` is made of, or why there is none."""
    n: int
    """Crucibles it was taken from."""
    dof: float | None = None
    """Degrees of freedom of `u`; `None`: taken as known, or there is none."""


@dataclass(frozen=True)
class Solids:
    """TS and VS of one material."""

    TS: Fraction
    """Dry mass per fresh mass."""
    VS: Fraction | None
    """Volatile solids per fresh mass; `None` where nothing was ignited."""
    VS_of_TS: Fraction | None
    """Volatile solids per dry mass."""
    cautions: tuple[str, ...] = ()


def solids_from_crucibles(
    tare_g: Sequence[float] | FloatArray,
    wet_g: Sequence[float] | FloatArray,
    dry_g: Sequence[float] | FloatArray,
    ash_g: Sequence[float] | FloatArray | None = None,
    *,
    balance_u_g: float | FloatArray | None = None,
) -> Solids:
    """Return TS and VS from weighings of one crucible a replicate.

    Parameters
    ----------
    tare_g, wet_g, dry_g, ash_g
        Mass of the empty crucible, with fresh sample, after 105 °C and after 550 °C [g], each with
        the crucible. Shape (replicates,). No `ash_g`: TS only.
    balance_u_g
        Standard uncertainty of one weighing [g], one for all or one a crucible; not given:
        only the replicates' scatter counts.

    Raises
    ------
    CrucibleError
        Where the weights contradict each other; one line for each crucible and fault.

    Notes
    -----
    TS = (dry - tare)/(wet - tare), VS = (dry - ash)/(wet - tare), VS of TS = (dry - ash)/(dry -
    tare): EPA method 1684 (2001; formulae from memory). The standard uncertainty of a mean is the
    larger of the replicates' standard error and what the balance alone gives (JCGM 100:2008,
    5.1.2): scatter already holds the balance's share, but a lucky agreement must not hide it.
    """
    tare, wet, dry, ash = _checked(tare_g, wet_g, dry_g, ash_g)
    fresh = wet - tare
    TS = (dry - tare) / fresh
    ts_balance = (
        None if balance_u_g is None else balance_u_g / fresh * np.sqrt(1 + TS**2 + (1 - TS) ** 2)
    )
    ts = _mean(TS, ts_balance)
    if ash is None:
        return Solids(ts, None, None, _cautions({"TS": TS}))
    VS = (dry - ash) / fresh
    share = (dry - ash) / (dry - tare)
    vs_balance = None if balance_u_g is None else balance_u_g / fresh * np.sqrt(2 + 2 * VS**2)
    share_balance = (
        None
        if balance_u_g is None
        else balance_u_g / (dry - tare) * np.sqrt(1 + share**2 + (1 - share) ** 2)
    )
    cautions = _cautions({"TS": TS, "VS": VS})
    return Solids(ts, _mean(VS, vs_balance), _mean(share, share_balance), cautions)


def _checked(
    tare_g: Sequence[float] | FloatArray,
    wet_g: Sequence[float] | FloatArray,
    dry_g: Sequence[float] | FloatArray,
    ash_g: Sequence[float] | FloatArray | None,
) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray | None]:
    """Return the weights as arrays, or raise naming every crucible that cannot be right."""
    tare, wet, dry = (np.asarray(w, dtype=np.float64) for w in (tare_g, wet_g, dry_g))
    ash = None if ash_g is None else np.asarray(ash_g, dtype=np.float64)
    weights = [tare, wet, dry] + ([] if ash is None else [ash])
    if tare.ndim != 1 or tare.size == 0 or any(w.shape != tare.shape for w in weights):
        counts = ", ".join(str(w.size) for w in weights)
        what = f"every crucible needs each of its weights, found {counts} of them"
        raise CrucibleError([(None, what)])
    faults: list[tuple[int | None, str]] = []
    rules = [
        (~np.isfinite(np.stack(weights)).all(axis=0), "a weight is missing"),
        (tare <= 0, "the empty crucible must weigh more than nothing"),
        (wet <= tare, "with sample it must weigh more than empty"),
        (dry <= tare, "after 105 °C it must weigh more than empty"),
        (dry > wet, "drying cannot make it heavier"),
    ]
    if ash is not None:
        rules.append((ash > dry, "ignition cannot make it heavier"))
        rules.append((ash < tare, "after 550 °C it cannot weigh less than empty"))
    for wrong, words in rules:
        faults += [(int(i), words) for i in np.flatnonzero(wrong)]
    if faults:
        raise CrucibleError(faults)
    return tare, wet, dry, ash


def _mean(replicates: FloatArray, balance_u: FloatArray | float | None) -> Fraction:
    """Return the mean with the larger of scatter's and balance's standard uncertainty."""
    n = int(replicates.size)
    value = float(replicates.mean())
    scatter = float(replicates.std(ddof=1)) / math.sqrt(n) if n > 1 else None
    balance = None
    if balance_u is not None:
        balance = float(np.sqrt(np.sum(np.square(np.broadcast_to(balance_u, n)))) / n)
    if scatter is None and balance is None:
        return Fraction(
            value, None, "one crucible and no balance uncertainty: the scatter is unknown", n
        )
    if scatter is None:
        return Fraction(value, balance, "balance only: one crucible does not show the scatter", n)
    if balance is not None and balance > scatter:
        return Fraction(value, balance, "balance (larger than the scatter of the crucibles)", n)
    return Fraction(value, scatter, f"scatter of {n} crucibles", n, float(n - 1))


def _cautions(replicates: dict[str, FloatArray]) -> tuple[str, ...]:
    said = []
    for name, values in replicates.items():
        mean = float(values.mean())
        rsd = float(values.std(ddof=1)) / mean if values.size > 1 and mean > 0 else 0.0
        if rsd > LARGEST_REPLICATE_RSD:
            said.append(
                f"{name}: the crucibles differ by {100 * rsd:.1f} % (relative SD); they should "
                f"agree within {100 * LARGEST_REPLICATE_RSD:.0f} %: mix the sample and repeat"
            )
    n = next(iter(replicates.values())).size
    if n < ADVISED_REPLICATES:
        said.append(f"{n} of the {ADVISED_REPLICATES} crucibles that the BMP requirements ask for")
    return tuple(said)
