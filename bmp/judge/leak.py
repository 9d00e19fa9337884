"""Jars that lost mass between a venting and the next weighing."""

from __future__ import annotations

from statistics import NormalDist

import numpy as np

from bmp.finding import Finding
from bmp.normalise import JarGas
from bmp.trial import Trial

# Standard BMP Methods, protocol draft of 2020 and document 204: a jar that lost more is discarded.
LARGEST_LEAK_SHARE = 0.20


def leak_findings(trial: Trial, gas: JarGas) -> tuple[Finding, ...]:
    """Return what the scale says of leaks: each leaking jar, or that none could be seen.

    An open jar loses its gas between weighings, and must: there its first weighing is judged.
    """
    if trial.setup.closed_between_readings is False:
        return _weighed_late(trial)
    leaks = gas.leaks
    if leaks is None:
        return ()
    if np.isnan(leaks.detectable_g).any():
        return (_unknown(float(leaks.leaked_g.max())),)
    factor = _for_all(leaks.jar.size)
    found = [
        _leak(trial.jars[jar].name, float(leaked), float(share), float(least))
        for jar, leaked, share, least in zip(
            leaks.jar, leaks.leaked_g, leaks.share_of_loss, leaks.detectable_g, strict=True
        )
        if leaked > factor * least
    ]
    return tuple(found) or (_none(float(leaks.detectable_g.max())),)


def _for_all(jars: int) -> float:
    """Return by how much the limit of one jar rises, so that as few trials are accused falsely.

    Three standard deviations are passed by chance once in 740 jars; the same chance for all jars
    together (Bonferroni).
    """
    normal = NormalDist()
    return normal.inv_cdf(1.0 - (1.0 - normal.cdf(3.0)) / max(jars, 1)) / 3.0


def _weighed_late(trial: Trial) -> tuple[Finding, ...]:
    """Find open jars that were first weighed after gas had left them."""
    readings = trial.readings
    weighed = ~np.isnan(readings.column("mass_g")) | ~np.isnan(readings.column("mass_before_g"))
    first_d = np.full(len(trial.jars), np.inf)
    np.minimum.at(first_d, readings.jar[weighed], readings.time_d[weighed])
    late = [
        (jar.name, float(day))
        for jar, day in zip(trial.jars, first_d, strict=True)
        if 0.0 < day < np.inf and jar.role != "weight check" and jar.measured == "mass"
    ]
    if not late:
        return ()
    last = max(day for _, day in late)
    names = ", ".join(name for name, _ in late)
    return (
        Finding(
            check="open jars weighed when closed",
            outcome="fail",
            value=last,
            limit="first weighing on day 0",
            source="mass balance",
            meaning=(
                f"These open jars were first weighed on day {last:.3g}: {names}. The gas that left "
                "before is in no reading, so their yields come out too low."
            ),
            advice=(
                "If they were weighed when they were closed, add that weighing with time 0 to the "
                "readings. If not, weigh at closing next time."
            ),
            where=names,
        ),
    )


SOURCE = (
    "Standard BMP Methods, document 204 (2020); Hafner et al. 2018, Water Pract. Technol. 13:52"
)


def _leak(jar: str, leaked_g: float, share: float, least_g: float) -> Finding:
    grave = share > LARGEST_LEAK_SHARE
    return Finding(
        check="leak between ventings",
        outcome="fail" if grave else "caution",
        value=100.0 * share,
        limit=f"at most {100 * LARGEST_LEAK_SHARE:.0f} % of the mass lost",
        source=SOURCE,
        meaning=(
            f"Jar {jar} lost {leaked_g:.3g} g between ventings, {100 * share:.0f} % of all it "
            f"lost; the scale could show {least_g:.2g} g. The lost gas is counted as the jar's."
        ),
        advice=(
            "Leave the jar out with this reason, and repair its closure before the next trial."
            if grave
            else "Look at the jar's closure."
        ),
        where=jar,
    )


def _none(least_g: float) -> Finding:
    meaning = f"No jar lost more between ventings than the scale could show, {least_g:.2g} g."
    return Finding("leak between ventings", "pass", 0.0, "what the scale can show", SOURCE, meaning)


def _unknown(most_g: float) -> Finding:
    return Finding(
        check="leak between ventings",
        outcome="not judged",
        value=None,
        limit="what the scale can show",
        source=SOURCE,
        meaning=f"At most {most_g:.3g} g were lost between ventings, and how exact the scale is "
        "is not known.",
        advice="Add “balance uncertainty [g]” to the table trial, or jars of constant mass with "
        "the role weight check.",
    )
