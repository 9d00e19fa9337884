"""The feeds of an analysed trial as the comparison sees them: one value a jar, and the blank."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np

from bmp.compare.feed import Feed, TrialBlanks
from bmp.fit.results import MaterialFits
from bmp.jar_columns import jar_columns
from bmp.judge.control import why_control_fails
from bmp.net import MaterialYield, NetCurves, blank_curves
from bmp.normalise import JarGas
from bmp.normalise.jars import SHARE_ORIGINS
from bmp.runs import interpolate
from bmp.solids import solids_error
from bmp.trial import Trial

# Which model a kinetic quantity is read from: one and the same for all feeds, or they would not
# be comparable.
KINETIC_QUANTITIES: Mapping[str, tuple[str, str]] = {
    "rate constant": ("first order", "k"),
    "peak rate": ("modified Gompertz", "Rm"),
    "lag": ("modified Gompertz", "lag"),
}

# A share that nobody measured is wrong by as much as this feed's gas differs; a meter's error is
# the same for all feeds.
SHARES_OF_A_FEED = [SHARE_ORIGINS.index(word) for word in ("assumed", "absorber")]

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
    feeds = []
    for one in yields:
        bare = _feed(trial, gas, one, name or trial.setup.title)
        values = {"yield": one.jar_values, **_kinetics(one, fits.get(one.series))}
        feeds.append(
            replace(
                bare,
                values=values,
                time_d=one.time_d,
                finished=one.finished,
                still_runs=not one.finished,
                blank_influence=_blank_moves(one, fits.get(one.series)),
            )
        )
    return tuple(feeds)


def _feed(trial: Trial, gas: JarGas, one: MaterialYield, name: str) -> Feed:
    material = trial.material(one.material)
    jars = [trial.jars[index] for index in one.jars]
    typed = jars[0].given_net
    columns = jar_columns(trial)
    common = gas.share_u_common[list(one.jars)]
    share_u = gas.share_u[list(one.jars)]
    common_u = float(share_u.mean()) if common.any() else 0.0
    of_jars = np.isin(gas.jar, one.jars)
    of_feed = bool(np.isin(gas.share_origin[of_jars], SHARES_OF_A_FEED).any())
    VS, TS = solids_error(material, "VS"), solids_error(material, "TS")
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
        TS_relative_u=TS.relative_u if material.TS else None,
        VS_relative_u=VS.relative_u if material.VS else None,
        TS_dof=TS.dof,
        VS_dof=VS.dof,
        bulk_density_kg_per_L=material.bulk_density_kg_per_L,
        bulk_density_relative_u=_relative(material.bulk_density_u, material.bulk_density_kg_per_L),
        methane_share_relative_u=common_u if of_feed else 0.0,
        meter_relative_u=0.0 if of_feed else common_u,
        lent=one.lent,
        material=one.material,
        no_bridge=why_control_fails(one, trial) if one.role == "control" else "",
    )


def _relative(u: float | None, value: float | None) -> float | None:
    return u / value if u is not None and value else None


def _blanks_at(trial: Trial, gas: JarGas, inoculum: str, time_d: float) -> TrialBlanks | None:
    """Return each blank's methane per gram of inoculum on the day that the feed's yield is of."""
    if not trial.setup.blank:
        return None
    own = np.array(_blank_jars(trial, inoculum), dtype=np.int64)
    at_day = np.full(own.size, time_d)
    methane, _ = interpolate(own, at_day, *blank_curves(gas, jar_columns(trial), own))
    return TrialBlanks(tuple(methane.tolist()), inoculum) if own.size else None


def _blank_jars(trial: Trial, inoculum: str) -> list[int]:
    return [
        number
        for number, jar in enumerate(trial.jars)
        if jar.role == "blank" and jar.inoculum == inoculum and jar.counted
    ]


def _kinetics(one: MaterialYield, fits: MaterialFits | None) -> JarValues:
    """Rates and times of each jar; `None` where the readings do not determine them."""
    if fits is None:
        return {}
    found: JarValues = {
        quantity: tuple(jar.parameters[parameter].value for jar in fits.models[model].jars)
        for quantity, (model, parameter) in KINETIC_QUANTITIES.items()
    }
    if one.finished:
        # a share of what has come so far says nothing of how soon the feed is done
        found["t90"] = fits.t90_by_jar
    return found


def _blank_moves(one: MaterialYield, fits: MaterialFits | None) -> dict[str, tuple[float, ...]]:
    """Return how far each blank moves the mean of each kinetic quantity that is known."""
    if fits is None:
        return {}
    found = {
        quantity: fits.models[model].blank_moves.get(parameter, ())
        for quantity, (model, parameter) in KINETIC_QUANTITIES.items()
    }
    found["t90"] = fits.t90_blank_moves
    return {quantity: moves for quantity, moves in found.items() if moves}
