"""From yields and curves to the facts that criteria are held against."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Final

import numpy as np

from bmp.judge.criteria import Facts
from bmp.judge.diagnosis import FeedCurve
from bmp.net import BlankMean, MaterialYield, NetCurves
from bmp.normalise import JarGas
from bmp.trial import FloatArray, Jar, Material, Trial

# Cellulose (C6H10O5)n by Buswell & Boyle with the ideal molar volume.
CELLULOSE_NML_PER_G_VS = 414.7


def is_cellulose(material: Material) -> bool:
    """Tell whether a control is cellulose, by its formula or its name."""
    formula = (material.formula or "").replace(" ", "").upper()
    return "C6H10O5" in formula or "cellulos" in material.name.lower()


def inoculum_to_substrate(jar: Jar, trial: Trial) -> float | None:
    """Return grams of inoculum VS per gram of sample VS."""
    if jar.sample_g <= 0 or not jar.inoculum:
        return None
    own, other = trial.material(jar.material).VS, trial.material(jar.inoculum).VS
    return jar.inoculum_g * other / (jar.sample_g * own) if own and other else None


def series_facts(
    one: MaterialYield,
    trial: Trial,
    curves: NetCurves,
    blanks: Mapping[str, BlankMean],
    gas: JarGas,
    theoretical: float | None = None,
) -> Facts:
    """Return the facts of one series of jars; `theoretical` in NmL CH4 per g VS."""
    material = trial.material(one.material)
    jars = [trial.jars[j] for j in one.jars]
    by_VS = one.per == "VS"
    # with the inoculum's own gas still in it a yield is not what the limits speak of
    mean = one.value if by_VS and not trial.setup.gross else None
    if theoretical is None and is_cellulose(material):
        theoretical = CELLULOSE_NML_PER_G_VS
    ratios = [r for r in (inoculum_to_substrate(jar, trial) for jar in jars) if r is not None]
    grams = [jar.sample_g * material.VS for jar in jars if material.VS]
    closed = [jar for jar in jars if jar.measured in ("pressure", "mass") and jar.headspace_mL]
    typed = jars[0].measured == "net yield"
    copied = mostly_copies([curves.of(j)[1] for j in one.jars])
    return Facts(
        name=one.series,
        role=one.role,
        jars=len(jars),
        mean_yield=mean,
        any_yield=one.value,
        rsd_percent=None if copied else _percent(one.sd, one.value),
        rsd_jars_percent=None if copied else _scatter_percent(one.jar_values),
        percent_of_theoretical=_percent(mean, theoretical),
        three_day_rate_percent=one.three_day_rate_percent,
        blank_shorter_d=None if typed else _blank_shorter_d(one, jars, curves, blanks, gas),
        blank_share_percent=one.blank_percent,
        inoculum_to_substrate=float(np.mean(ratios)) if ratios else None,
        sample_gVS=float(np.mean(grams)) if grams and not typed else None,
        headspace_mL_per_gVS=float(
            np.mean([(jar.headspace_mL or 0.0) / (jar.sample_g * material.VS) for jar in closed])
        )
        if closed and material.VS
        else None,
    )


COPY: Final = 1e-9
"""Relative difference up to which a curve is that of another jar."""


def mostly_copies(drawn: Sequence[FloatArray]) -> bool:
    """Tell whether half or more of a series' replicate jars repeat the curve of another.

    Copies have no scatter of their own, so nothing can be said of how well they repeat.

    Parameters
    ----------
    drawn
        The net yields of each jar, whenever they were read.
    """
    copies = sum(any(_alike(drawn[k], other) for other in drawn[:k]) for k in range(1, len(drawn)))
    return copies > 0 and 2 * copies >= len(drawn) - 1


def _alike(values: FloatArray, others: FloatArray) -> bool:
    """Tell whether two curves hold the same values; nought is none."""
    return (
        values.size == others.size >= 3
        and bool(np.any(values != 0.0))
        and bool(np.allclose(values, others, rtol=COPY, atol=0.0))
    )


def _percent(part: float | None, whole: float | None) -> float | None:
    return None if part is None or not whole or whole <= 0 else 100.0 * part / whole


def _scatter_percent(values: Sequence[float]) -> float | None:
    if len(values) < 2:
        return None
    return _percent(float(np.std(values, ddof=1)), float(np.mean(values)))


def _blank_shorter_d(
    one: MaterialYield,
    jars: Sequence[Jar],
    curves: NetCurves,
    blanks: Mapping[str, BlankMean],
    gas: JarGas,
) -> float | None:
    """Return by how much the blank ends before the jars: none within the same round."""
    inocula = {jar.inoculum for jar in jars} & set(blanks)
    if not inocula:
        return None
    if not curves.cut[list(one.jars)].any():
        return 0.0
    end = max(float(gas.time_d[gas.jar == j].max()) for j in one.jars)
    return end - min(blanks[name].end_d for name in inocula)


def blank_facts(blank: BlankMean, trial: Trial, gas: JarGas) -> Facts:
    """Return the facts of the blanks of one inoculum."""
    ends = []
    for j, jar in enumerate(trial.jars):
        if jar.name in blank.jars and jar.role == "blank":
            here = gas.jar == j
            made = float(np.interp(blank.end_d, gas.time_d[here], gas.methane_NmL[here]))
            ends.append(made / jar.inoculum_g)
    return Facts(
        name=f"blank of {blank.inoculum}",
        role="blank",
        jars=len(blank.jars),
        rsd_jars_percent=_scatter_percent(ends),
    )


def inoculum_facts(material: Material) -> Facts:
    """Return the facts of an inoculum as they were typed in."""
    return Facts(
        name=material.name,
        role="inoculum",
        pH=material.pH,
        ammonium_N_g_per_kg=material.ammonium_N_g_per_kg,
        volatile_acids_g_per_kg=material.volatile_acids_g_per_kg,
        TS_percent=None if material.TS is None else 100.0 * material.TS,
    )


def trial_facts(
    trial: Trial, yields: Sequence[MaterialYield], blanks: Mapping[str, BlankMean]
) -> tuple[Facts, ...]:
    """Return the facts of the whole trial: one an inoculum that the counted substrates use.

    A control says nothing of an inoculum that it was not run on. With one inoculum (or where no
    substrate counts) there is one, named `trial`.
    """
    several = len({jar.inoculum for jar in trial.jars if jar.role != "weight check"}) > 1
    used = {
        trial.jars[j].inoculum: None for one in yields if one.role == "substrate" for j in one.jars
    }
    inocula: list[str | None] = list(used) or [None]
    return tuple(
        Facts(
            name=inoculum if several and inoculum else "trial",
            role="trial",
            incubation_temperature_C=_incubation_C(trial) if inoculum == inocula[0] else None,
            cellulose_controls=len(_cellulose_controls(trial, yields, inoculum)),
            blank_jars=sum(
                len(blank.jars) for name, blank in blanks.items() if inoculum in (None, name)
            ),
        )
        for inoculum in inocula
    )


def _cellulose_controls(
    trial: Trial, yields: Sequence[MaterialYield], inoculum: str | None
) -> set[str]:
    """Return the cellulose controls that ran on an inoculum; on any where it is `None`."""
    return {
        one.material
        for one in yields
        if one.role == "control"
        and is_cellulose(trial.material(one.material))
        and any(inoculum in (None, trial.jars[j].inoculum) for j in one.jars)
    }


def _incubation_C(trial: Trial) -> float | None:
    """Return the jars' temperature; `None` for net curves, which are not corrected by it."""
    if all(jar.measured == "net yield" for jar in trial.jars):
        return None
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
