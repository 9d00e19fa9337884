"""The feeds of an analysed trial as the comparison sees them: one value a jar, and the blank."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np

from bmp.compare.feed import Blanks, Feed
from bmp.fit.curves import Curves, crossing, pack
from bmp.fit.identify import reasons
from bmp.fit.jarwise import fit_jarwise
from bmp.fit.models import MODELS
from bmp.fit.results import MaterialFits
from bmp.jar_columns import jar_columns
from bmp.judge.control import why_control_fails
from bmp.net import MaterialYield, NetCurves, blank_curves, blank_means, net_curves
from bmp.normalise import JarGas
from bmp.runs import interpolate
from bmp.statistics import jackknife_influence
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
        feeds.append(
            replace(
                bare,
                values=values,
                still_runs=not one.finished,
                blank_influence=influences.get(one.series, {}),
            )
        )
    return tuple(feeds)


def days_to_90_percent(curves: Curves) -> FloatArray:
    """Return when each jar first reached 90 % of its last reading. Shape (jars,).

    NaN for a jar whose last reading is not above zero.
    """
    last = curves.value[:, -1]
    return np.where(last > 0, crossing(curves, 0.9 * np.maximum(last, 1e-300)), np.nan)


def _feed(trial: Trial, gas: JarGas, one: MaterialYield, name: str) -> Feed:
    material = trial.material(one.material)
    jars = [trial.jars[index] for index in one.jars]
    typed = jars[0].measured == "net yield"
    columns = jar_columns(trial)
    common = gas.share_u_common[list(one.jars)]
    share_u = gas.share_u[list(one.jars)]
    return Feed(
        name=one.series,
        trial=name,
        jars=tuple(jar.name for jar in jars),
        values={},
        inoculum_g_per_g=None
        if typed
        else tuple((columns.inoculum_g / columns.own_g)[list(one.jars)].tolist()),
        blanks=None if typed else _blanks_at(trial, gas, jars[0].inoculum, one.time_d),
        basis=one.per,
        TS=material.TS,
        VS=material.VS,
        TS_relative_u=_relative(material.TS_u, material.TS),
        VS_relative_u=_relative(material.VS_u, material.VS),
        bulk_density_kg_per_L=material.bulk_density_kg_per_L,
        bulk_density_relative_u=_relative(material.bulk_density_u, material.bulk_density_kg_per_L),
        methane_share_relative_u=float(share_u.mean()) if common.any() else 0.0,
        material=one.material,
        no_bridge=why_control_fails(one, trial) if one.role == "control" else "",
    )


def _relative(u: float | None, value: float | None) -> float | None:
    return u / value if u is not None and value else None


def _blanks_at(trial: Trial, gas: JarGas, inoculum: str, time_d: float) -> Blanks | None:
    """Return each blank's methane per gram of inoculum on the day that the feed's yield is of."""
    if not trial.setup.blank:
        return None
    own = np.array(_blank_jars(trial, inoculum), dtype=np.int64)
    at_day = np.full(own.size, time_d)
    methane, _ = interpolate(own, at_day, *blank_curves(gas, jar_columns(trial), own))
    return Blanks(tuple(methane.tolist()), inoculum) if own.size else None


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
    if not one.finished:
        # a share of what has come so far says nothing of how soon the feed is done
        return found
    some = [curves.of(jar) for jar in one.jars]
    days = days_to_90_percent(pack([t for t, _ in some], [net for _, net in some]))
    found["t90"] = tuple(float(day) if np.isfinite(day) else None for day in days)
    return found


def _influences(
    trial: Trial, gas: JarGas, curves: NetCurves, yields: Sequence[MaterialYield]
) -> dict[str, dict[str, tuple[float, ...]]]:
    """How far each blank moves every feed's kinetics, by series: the curves without it, refitted.

    A quantity that one of these curves does not determine has no influence.
    """
    found: dict[str, dict[str, tuple[float, ...]]] = {}
    if not trial.setup.blank:
        return found
    for inoculum in dict.fromkeys(trial.jars[one.jars[0]].inoculum for one in yields):
        numbers = _blank_jars(trial, inoculum)
        series = [one for one in yields if _can_be_refitted(trial, curves, one, inoculum)]
        if len(numbers) < 2 or not series:
            continue
        jars = [jar for one in series for jar in one.jars]
        without = _without_each_blank(trial, gas, curves, jars, numbers)
        for one in series:
            rows = [jars.index(jar) for jar in one.jars]
            means = {name: values[:, rows].mean(axis=1) for name, values in without.items()}
            found[one.series] = {
                name: tuple(float(x) for x in jackknife_influence(mean))
                for name, mean in means.items()
                if np.isfinite(mean).all()
            }
    return found


def _can_be_refitted(trial: Trial, curves: NetCurves, one: MaterialYield, inoculum: str) -> bool:
    first = trial.jars[one.jars[0]]
    return (
        first.inoculum == inoculum
        and first.measured != "net yield"
        and all(np.any(curves.of(jar)[0] > 0) for jar in one.jars)
    )


def _without_each_blank(
    trial: Trial, gas: JarGas, curves: NetCurves, jars: Sequence[int], blanks: Sequence[int]
) -> dict[str, FloatArray]:
    """Return each kinetic quantity of each jar without each blank; NaN: not determined.

    Arrays have shape (blanks, jars). All curves are fitted in one go, each model once.
    """
    times, values = [], []
    for blank in blanks:
        anew = _net_without(trial, gas, blank)
        for jar in jars:
            time_d, net = anew.of(jar)
            # the blank that is not there may have been the first to end
            keep = (time_d > 0) & (time_d <= curves.of(jar)[0].max())
            times.append(time_d[keep])
            values.append(net[keep])
    packed = pack(times, values)
    found = {"t90": days_to_90_percent(packed)}
    fits = {m: fit_jarwise(MODELS[m], packed) for m, _ in KINETIC_QUANTITIES.values()}
    why = {model: reasons(fit) for model, fit in fits.items()}
    for quantity, (model, parameter) in KINETIC_QUANTITIES.items():
        place = MODELS[model].names.index(parameter)
        open_ = np.array([bool(row[place]) for row in why[model]])
        found[quantity] = np.where(open_, np.nan, fits[model].named[:, place])
    return {name: each.reshape(len(blanks), len(jars)) for name, each in found.items()}


def _net_without(trial: Trial, gas: JarGas, blank: int) -> NetCurves:
    jars = jar_columns(trial)
    fewer = replace(jars, counted=jars.counted & (np.arange(jars.counted.size) != blank))
    return net_curves(gas, fewer, blank_means(gas, fewer))
