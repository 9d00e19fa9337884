"""From a trial's net curves to the yields that go into the tank."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np

from bmp.fit.results import MaterialFits, fitted_curve
from bmp.judge.overall import Judgement
from bmp.net import MaterialYield, NetCurves
from bmp.normalise import JarGas
from bmp.tank.from_tables import tank_from_tables
from bmp.tank.grounds import grounds_of
from bmp.tank.inputs import FeedYield
from bmp.tank.result import TankResult
from bmp.trial import FloatArray, Material, Trial

# The model is followed far beyond any retention time, close together where it is steep.
_MODEL_TIME_D: FloatArray = 3000.0 * np.linspace(0.0, 1.0, 3001) ** 2


def tank_of_trial(
    trial: Trial,
    gas: JarGas,
    curves: NetCurves,
    yields: Sequence[MaterialYield],
    fits: Mapping[str, MaterialFits],
    judged: Judgement,
    theory: Mapping[str, float],
) -> TankResult | None:
    """Return the tank's answer, or None where the trial has no table `tank`.

    `theory`: highest yield by series that the feed's composition allows, NmL CH4 per g VS.
    """
    if trial.tank is None:
        return None
    grounds = grounds_of(trial, yields, judged, theory)
    measured = [
        replace(
            _feed_yield(trial, gas, curves, one, fits.get(one.series)), grounds=grounds[one.series]
        )
        for one in yields
    ]
    return tank_from_tables(
        trial.tank, trial.tank_feeds, _materials(trial, yields), _by_name(measured, yields)
    )


def _materials(trial: Trial, yields: Sequence[MaterialYield]) -> tuple[Material, ...]:
    """Return the materials, and each group of one under its own name."""
    groups = [
        replace(trial.material(one.material), name=one.series)
        for one in yields
        if one.series != one.material
    ]
    return (*trial.materials, *groups)


def _by_name(
    measured: Sequence[FeedYield], yields: Sequence[MaterialYield]
) -> tuple[FeedYield, ...]:
    """Return the yields by series, and a material's only series under the material's name."""
    names = [one.material for one in yields]
    alone = [
        replace(curve, material=one.material)
        for curve, one in zip(measured, yields, strict=True)
        if one.series != one.material and names.count(one.material) == 1
    ]
    return (*measured, *alone)


def _feed_yield(
    trial: Trial,
    gas: JarGas,
    curves: NetCurves,
    one: MaterialYield,
    fits: MaterialFits | None,
) -> FeedYield:
    time_d, net = mean_curve([curves.of(jar) for jar in one.jars], one.time_d)
    model_time, model_net, name = _model(fits)
    return FeedYield(
        material=one.series,
        time_d=time_d,
        net_NmL_per_g=net,
        basis=one.per,
        final_ci95_NmL_per_g=one.ci95,
        methane_share=_methane_share(gas, one.jars),
        jar_temperature_C=trial.setup.incubation_temperature_C,
        model_time_d=model_time,
        model_net_NmL_per_g=model_net,
        model_name=name,
    )


def mean_curve(
    jars: Sequence[tuple[FloatArray, FloatArray]], end_d: float
) -> tuple[FloatArray, FloatArray]:
    """Return the mean of the jars' curves to their common end, at every time any was read.

    Between its readings a jar is interpolated; it starts from nothing at time 0.
    """
    times = np.unique(np.concatenate([[0.0, end_d], *(time for time, _ in jars)]))
    times = times[times <= end_d]
    each = [np.interp(times, np.append(0.0, time), np.append(0.0, net)) for time, net in jars]
    return times, np.mean(each, axis=0)


def _model(fits: MaterialFits | None) -> tuple[FloatArray | None, FloatArray | None, str]:
    """Return the chosen model's curve, where the readings determine it."""
    if fits is None or fits.choice.model is None:
        return None, None, ""
    name = fits.choice.model
    fit = fits.models[name]
    if not fit.identified or fit.curve is None:
        return None, None, ""
    return _MODEL_TIME_D, fitted_curve(name, fit.curve, _MODEL_TIME_D), name


def _methane_share(gas: JarGas, jars: Sequence[int]) -> float | None:
    """Return methane over all gas of the jars at their last readings, the inoculum's included."""
    ends = [np.flatnonzero(gas.jar == jar)[-1] for jar in jars]
    methane, whole = gas.methane_NmL[ends].sum(), gas.gas_NmL[ends].sum()
    share = float(methane / whole) if whole > 0 else np.nan
    return share if 0.0 < share <= 1.0 else None
