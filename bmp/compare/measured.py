"""The feeds of an analysed trial as the comparison sees them: one value a jar, and the blank."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np

from bmp.compare.feed import Blanks, Feed, jackknife_influence
from bmp.fit.curves import pack
from bmp.fit.material import MaterialCurves, fit_materials
from bmp.fit.results import MaterialFits
from bmp.fit.times import time_to_share
from bmp.net import (
    MaterialYield,
    NetCurves,
    blank_means,
    net_curves,
    sample_g,
    yield_unit,
)
from bmp.normalise import JarGas
from bmp.trial import FloatArray, Trial

# Which model a kinetic quantity is read from: one and the same for all feeds, or they would not
# be comparable.
KINETIC_QUANTITIES: Mapping[str, tuple[str, str]] = {
    "rate constant": ("first order", "k"),
    "peak rate": ("modified Gompertz", "Rm"),
    "lag": ("modified Gompertz", "lag"),
}

JarValues = dict[str, tuple[float | None, ...]]


def feeds_of(
    trial: Trial,
    gas: JarGas,
    curves: NetCurves,
    yields: Sequence[MaterialYield],
    fits: Mapping[str, MaterialFits],
    name: str = "",
) -> tuple[Feed, ...]:
    """Return every series of jars with a sample, controls included, as a feed.

    Parameters
    ----------
    trial, gas, curves, yields, fits
        The steps before, as `bmp.analyze` has them.
    name : str
        What the trial is called among others; default: its title.
    """
    influences = _influences(trial, gas, curves, yields)
    feeds = []
    for one in yields:
        bare = _feed(trial, gas, one, name or trial.setup.title)
        values = {"yield": one.jar_values, **_kinetics(curves, one, fits.get(one.series))}
        feeds.append(replace(bare, values=values, blank_influence=influences.get(one.series, {})))
    return tuple(feeds)


def _feed(trial: Trial, gas: JarGas, one: MaterialYield, name: str) -> Feed:
    material = trial.material(one.material)
    jars = [trial.jars[index] for index in one.jars]
    typed = jars[0].measured == "net yield"
    common = gas.share_u_common[list(one.jars)]
    share_u = gas.share_u[list(one.jars)]
    return Feed(
        name=one.series,
        trial=name,
        jars=tuple(jar.name for jar in jars),
        values={},
        inoculum_g_per_g=None
        if typed
        else tuple(jar.inoculum_g / sample_g(jar, trial) for jar in jars),
        blanks=None if typed else _blanks_at(trial, gas, jars[0].inoculum, one.time_d),
        basis=one.per,
        TS=material.TS,
        VS=material.VS,
        TS_relative_u=_relative(material.TS_u, material.TS),
        VS_relative_u=_relative(material.VS_u, material.VS),
        bulk_density_kg_per_L=material.bulk_density_kg_per_L,
        bulk_density_relative_u=_relative(
            material.bulk_density_u, material.bulk_density_kg_per_L
        ),
        methane_share_relative_u=float(share_u.mean()) if common.any() else 0.0,
        material=one.material,
    )


def _relative(u: float | None, value: float | None) -> float | None:
    return u / value if u is not None and value else None


def _blanks_at(trial: Trial, gas: JarGas, inoculum: str, time_d: float) -> Blanks | None:
    """Return each blank's methane per gram of inoculum on the day that the feed's yield is of."""
    if not trial.setup.blank:
        return None
    numbers = _blank_jars(trial, inoculum)
    methane = []
    for number in numbers:
        here = gas.jar == number
        times = np.concatenate([[0.0], gas.time_d[here]])
        volumes = np.concatenate([[0.0], gas.methane_NmL[here]])
        methane.append(float(np.interp(time_d, times, volumes)) / trial.jars[number].inoculum_g)
    return Blanks(tuple(methane), inoculum) if methane else None


def _blank_jars(trial: Trial, inoculum: str) -> list[int]:
    return [
        number
        for number, jar in enumerate(trial.jars)
        if jar.role == "blank" and jar.inoculum == inoculum and jar.left_out is None
    ]


def _kinetics(curves: NetCurves, one: MaterialYield, fits: MaterialFits | None) -> JarValues:
    """Rates and times of each jar; `None` where the readings do not determine them."""
    if fits is None:
        return {}
    found: JarValues = {
        quantity: tuple(jar.parameters[parameter].value for jar in fits.models[model].jars)
        for quantity, (model, parameter) in KINETIC_QUANTITIES.items()
    }
    some = [curves.of(jar) for jar in one.jars]
    days = time_to_share(pack([t for t, _ in some], [net for _, net in some]), 0.9)
    found["t90"] = tuple(float(day) if np.isfinite(day) else None for day in days)
    return found


def _influences(
    trial: Trial, gas: JarGas, curves: NetCurves, yields: Sequence[MaterialYield]
) -> dict[str, dict[str, tuple[float, ...]]]:
    """How far each blank moves every feed's kinetics: all fitted anew with that blank left out."""
    found: dict[str, dict[str, tuple[float, ...]]] = {}
    if not trial.setup.blank:
        return found
    for inoculum in dict.fromkeys(trial.jars[one.jars[0]].inoculum for one in yields):
        numbers = _blank_jars(trial, inoculum)
        measured = [
            one
            for one in yields
            if trial.jars[one.jars[0]].inoculum == inoculum
            and trial.jars[one.jars[0]].measured != "net yield"
            and all(np.any(curves.of(jar)[0] > 0) for jar in one.jars)
        ]
        if len(numbers) < 2 or not measured:
            continue
        without = [_means_without(trial, gas, curves, measured, number) for number in numbers]
        for one in measured:
            means = {name: [each[one.series][name] for each in without] for name in _NAMES}
            found[one.series] = {
                name: tuple(float(x) for x in jackknife_influence(np.array(values)))
                for name, values in means.items()
                if all(value is not None for value in values)
            }
    return found


_NAMES = (*KINETIC_QUANTITIES, "t90")


def _means_without(
    trial: Trial,
    gas: JarGas,
    curves: NetCurves,
    yields: Sequence[MaterialYield],
    blank: int,
) -> dict[str, dict[str, float | None]]:
    """Return the mean over jars of each kinetic quantity, by feed, without one blank."""
    jars = list(trial.jars)
    jars[blank] = replace(jars[blank], left_out="to see what this blank does")
    fewer = replace(trial, jars=tuple(jars))
    anew = _same_readings(net_curves(gas, fewer, blank_means(gas, fewer)), curves)
    materials = [
        MaterialCurves(
            [anew.of(jar)[0] for jar in one.jars],
            [anew.of(jar)[1] for jar in one.jars],
            yield_unit(one.per),
        )
        for one in yields
    ]
    fits = fit_materials(materials, reported=False)
    return {
        one.series: {name: _mean(values) for name, values in _kinetics(anew, one, fit).items()}
        for one, fit in zip(yields, fits, strict=True)
    }


def _same_readings(anew: NetCurves, curves: NetCurves) -> NetCurves:
    """Leave out readings after the end of the blank that is not there."""
    ends = np.full(int(anew.jar.max(initial=0)) + 1, -np.inf)
    np.maximum.at(ends, curves.jar, curves.time_d)
    keep = anew.time_d <= ends[anew.jar]
    return NetCurves(
        anew.jar[keep], anew.time_d[keep], anew.net[keep], anew.from_blank[keep], anew.cut
    )


def _mean(values: Sequence[float | None]) -> float | None:
    known: FloatArray = np.array([value for value in values if value is not None])
    return float(known.mean()) if known.size == len(values) else None
