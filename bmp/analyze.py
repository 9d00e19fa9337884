"""Where the steps meet: a trial goes in, all results come out. Nothing here touches a file."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np

from bmp.assumptions import assumptions
from bmp.compare.within_trial import compare_trial
from bmp.fit.common_errors import Factor
from bmp.fit.material import MaterialCurves, fit_materials
from bmp.fit.results import MaterialFits
from bmp.jar_columns import JarColumns, jar_columns, yield_unit
from bmp.judge.criteria import Criterion
from bmp.judge.facts import Measured, is_cellulose
from bmp.judge.overall import judge_trial
from bmp.net import (
    COMMON_FACTORS,
    MaterialYield,
    NetCurves,
    blank_means,
    blank_moves,
    net_curves,
    series_yields,
    yield_records,
)
from bmp.normalise import CORRECTIONS, JarGas, normalise
from bmp.normalise.gas_problems import impossible_falls, unknown_gas
from bmp.plan.literature import read_literature
from bmp.problem import UnusableInput
from bmp.results import CorrectionSize, Results
from bmp.tank.yields_of_trial import tank_of_trial
from bmp.theory import highest_yield_NmL_per_gVS
from bmp.trial import FloatArray, Material, Trial


def analyze(
    trial: Trial,
    progress: Callable[[str], None] = lambda step: None,
    criteria: Sequence[Criterion] | None = None,
) -> Results:
    """Carry a trial from its readings to its results.

    Parameters
    ----------
    trial : Trial
    progress : callable
        Called with the name of each step as it begins.
    criteria : sequence of Criterion, optional
        A laboratory's own validity criteria; the published ones by default.

    Raises
    ------
    UnusableInput
        A reading shows less gas than the one before, and nothing can explain it.
    """
    progress("bring the gas to dry gas at 0 °C and 101.325 kPa")
    gas = normalise(trial)
    problems = [*impossible_falls(trial, gas), *unknown_gas(trial, gas)]
    if problems:
        raise UnusableInput(problems)
    progress("subtract the inoculum's own gas")
    jars = jar_columns(trial)
    blanks = blank_means(gas, jars)
    curves = net_curves(gas, jars, blanks)
    columns = series_yields(gas, jars, curves, blanks)
    yields = yield_records(columns, jars)
    progress("fit the kinetics")
    fits = _fits(gas, jars, curves, yields)
    progress("judge the trial")
    theory = _theoretical(jars)
    measured = Measured(jars, gas, blanks, curves, columns, theory)
    judged = judge_trial(measured, yields, criteria)
    progress("compare the feeds")
    comparisons = compare_trial(trial, gas, curves, yields, fits)
    progress("carry the yields to the tank")
    tank = tank_of_trial(
        trial, gas, curves, yields, fits, judged, _known(jars.series_names, theory)
    )
    progress("see what each correction did")
    return Results(
        trial=trial,
        gas=gas,
        blanks=blanks,
        curves=curves,
        yields=yields,
        fits=fits,
        corrections=correction_sizes(jars, yields),
        comparisons=comparisons,
        assumed=(*trial.assumed, *assumptions(trial, gas, blanks, curves, yields)),
        ignored=trial.ignored,
        checks=judged.checks,
        verdict=judged.verdict,
        older_verdicts=judged.older,
        feed_verdicts=judged.feed_verdicts,
        doses=judged.doses,
        tank=tank,
    )


def _theoretical(jars: JarColumns) -> FloatArray:
    """Return the highest yield that mass balance allows, by series; NaN where no analysis tells."""
    highest = [highest_yield_NmL_per_gVS(material) for material in jars.material_of]
    return np.array([np.nan if one is None else one for one in highest], dtype=np.float64)


def _known(names: Sequence[str], values: FloatArray) -> dict[str, float]:
    """Return the values that are known, by name."""
    pairs = zip(names, values.tolist(), strict=True)
    return {name: value for name, value in pairs if not np.isnan(value)}


def _highest(material: Material) -> float | None:
    """Return the most that literature, or else theory, allows a feed [NmL/g VS]."""
    published = read_literature().get(material.name.lower())
    if published is not None:
        return published.methane_NmL_per_gVS.high
    return highest_yield_NmL_per_gVS(material)


def _fits(
    gas: JarGas, jars: JarColumns, curves: NetCurves, yields: tuple[MaterialYield, ...]
) -> dict[str, MaterialFits]:
    """Fit every series of jars that has a reading after closing."""
    some = [one for one in yields if all(np.any(curves.of(jar)[0] > 0.0) for jar in one.jars)]
    materials = [
        MaterialCurves(
            [curves.of(jar)[0] for jar in one.jars],
            [curves.of(jar)[1] for jar in one.jars],
            yield_unit(one.per),
            [curves.from_blank[curves.jar == jar] for jar in one.jars],
            blank_moves=blank_moves(gas, jars, curves, one.jars),
            factors=_factors(one),
            one_phase=is_cellulose(jars.of.material(one.material)),
            highest=_highest(jars.of.material(one.material)) if one.per == "VS" else None,
        )
        for one in some
    ]
    fitted = fit_materials(materials) if materials else []
    return {one.series: fit for one, fit in zip(some, fitted, strict=True)}


def _factors(one: MaterialYield) -> list[Factor]:
    """Return the relative errors that all jars of a series have in common."""
    return [
        Factor(name, u / abs(one.value), freedom)
        for name, (u, freedom) in one.parts.items()
        if name in COMMON_FACTORS and u > 0 and one.value
    ]


def correction_sizes(
    jars: JarColumns, yields: tuple[MaterialYield, ...]
) -> tuple[CorrectionSize, ...]:
    """Return what each correction did to the yields, by doing without one at a time."""
    if jars.typed.all():
        return ()
    sizes = [_size(jars, yields, name, words) for name, words in CORRECTIONS.items()]
    if jars.of.setup.blank:
        sizes.append(_size(jars, yields, "blank", "the inoculum's own methane is subtracted"))
    return tuple(size for size in sizes if _matters(size))


def _size(
    jars: JarColumns, yields: tuple[MaterialYield, ...], name: str, meaning: str
) -> CorrectionSize:
    gas = normalise(jars.of, without=name)
    blanks = blank_means(gas, jars, subtract=name != "blank")
    columns = series_yields(gas, jars, net_curves(gas, jars, blanks), blanks)
    without = dict(zip(jars.series_names, columns.value.tolist(), strict=True))
    percent = {
        one.series: 100.0 * (one.value / without[one.series] - 1.0)
        if without[one.series] > 0.0
        else None
        for one in yields
    }
    return CorrectionSize(name, meaning, percent)


def _matters(size: CorrectionSize) -> bool:
    return any(percent is None or abs(percent) >= 0.005 for percent in size.percent.values())
