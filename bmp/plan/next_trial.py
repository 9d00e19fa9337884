"""What the next trial would be planned with, from what one trial found."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from bmp.error_sources import half_width, improvements
from bmp.net import MaterialYield
from bmp.plan.request_checks import LEAST_JARS, PLANNED_MEASURES
from bmp.trial import Jar, Material, Trial


@dataclass(frozen=True)
class NextTrial:
    """A plan request as far as a trial tells it."""

    items: Mapping[str, Any]
    """By field of `bmp.plan.items.ITEMS`, in the project's units; what is not known is missing."""
    materials: tuple[Material, ...]
    """The inoculum first."""
    why: tuple[str, ...]
    """Plain sentences: what is proposed and what it would bring."""


def next_trial(trial: Trial, yields: Sequence[MaterialYield]) -> NextTrial:
    """Return a plan request for the same feeds, with what would make their yields surer.

    The numbers of jars and blanks are those of the trial and what narrows a feed's interval by a
    twentieth or more (`bmp.error_sources`), at least three of each (document 100 v1.9).
    """
    feeds = [one for one in yields if one.role in ("substrate", "control")]
    jars = max((len(one.jars) for one in feeds), default=0)
    blanks = sum(jar.role == "blank" and jar.left_out is None for jar in trial.jars)
    wanted = {way.what for one in feeds for way in improvements(one.parts, len(one.jars))[:1]}
    rsd = pooled_rsd(feeds)
    items = {
        "title": f"Next trial after: {trial.setup.title}",
        "jars_per_material": max(LEAST_JARS, jars + 2 * ("two more jars" in wanted)),
        "blanks": max(LEAST_JARS, blanks + ("one more blank" in wanted)),
        "control": any(one.role == "control" for one in feeds) or None,
        "expected_rsd": None if rsd is None else round(rsd, 3),
        "days": round(max((one.time_d for one in feeds), default=0.0)) or None,
        **_as_set_up(trial),
    }
    kept = [m for m in trial.materials if m.role in ("inoculum", "substrate", "control")]
    return NextTrial(
        items={field: value for field, value in items.items() if value is not None},
        materials=tuple(sorted(kept, key=lambda one: one.role != "inoculum")),
        why=(*_scatter_words(rsd), *(words for one in feeds for words in _ways_words(one))),
    )


def pooled_rsd(feeds: Sequence[MaterialYield]) -> float | None:
    """Return the relative SD between jars, over all feeds; `None` where no feed has two jars."""
    told = [one for one in feeds if len(one.jar_values) > 1 and one.value > 0.0]
    freedom = sum(len(one.jar_values) - 1 for one in told)
    squares = sum(
        (len(one.jar_values) - 1) * float(np.var(one.jar_values, ddof=1)) / one.value**2
        for one in told
    )
    return float(np.sqrt(squares / freedom)) if freedom and squares > 0.0 else None


def _as_set_up(trial: Trial) -> dict[str, Any]:
    """Return masses, volumes and conditions as the trial had them."""
    setup = trial.setup
    fed = [jar for jar in trial.jars if jar.sample_g > 0.0 and jar.left_out is None]
    volumes = [volume for jar in fed if (volume := _volume_mL(jar)) is not None]
    ratios = [ratio for jar in fed if (ratio := _ratio(jar, trial)) is not None]
    loads = [
        jar.sample_g * VS for jar in fed if (VS := trial.material(jar.material).VS) is not None
    ]
    measured = next((jar.measured for jar in fed), setup.measured)
    return {
        "jar_volume_mL": _middle(volumes, 0),
        "inoculum_to_substrate": _middle(ratios, 1),
        "substrate_VS_g": _middle(loads, 2),
        "measured": measured if measured in PLANNED_MEASURES else None,
        "outlet": "closed" if measured == "pressure" else None,
        "ambient_kPa": setup.ambient_kPa,
        "altitude_m": setup.altitude_m if setup.ambient_kPa is None else None,
        "incubation_temperature_C": setup.incubation_temperature_C,
        "room_temperature_C": setup.gas_temperature_C,
    }


def _volume_mL(jar: Jar) -> float | None:
    """Return the inner volume of a jar, its mixture taken at 1 g/mL."""
    if jar.headspace_mL is None:
        return None
    return jar.headspace_mL + jar.inoculum_g + jar.sample_g + jar.water_g


def _ratio(jar: Jar, trial: Trial) -> float | None:
    """Return grams of VS of inoculum per gram of VS of feed."""
    feed, inoculum = trial.material(jar.material).VS, trial.material(jar.inoculum).VS
    if not feed or not inoculum:
        return None
    return jar.inoculum_g * inoculum / (jar.sample_g * feed)


def _middle(values: list[float], digits: int) -> float | None:
    return round(float(np.median(values)), digits) if values else None


def _scatter_words(rsd: float | None) -> tuple[str, ...]:
    if rsd is None:
        return ("no feed had two jars, so the scatter between jars is not known yet",)
    return (f"the jars scattered by {100 * rsd:.1f} % (relative SD): planned with that",)


def _ways_words(one: MaterialYield) -> tuple[str, ...]:
    """Say what would make a feed's yield surer, the best first."""
    ways = improvements(one.parts, len(one.jars))
    if not ways:
        return ()
    unit = one.unit.replace(" CH4", "")
    listed = ", ".join(f"{way.what} ± {way.half_width:.0f}" for way in ways)
    return (f"{one.series}, today ± {half_width(one.parts):.0f} {unit}: {listed}",)
