"""Raw gas of each jar while nobody knows its methane: what can be said before a share is told."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from bmp.normalise.jars import normalise
from bmp.runs import last
from bmp.trial import Trial

MEANING: Final = (
    "Methane is not known yet, so this is raw gas: methane and carbon dioxide together. It is dry, "
    "at 0 °C and 101.325 kPa, with the inoculum's own gas still in it."
)
# Biogas of most feeds holds 50 to 70 % methane (common practice, no source).
TO_ADD: Final = (
    "For methane, type a meter's share at some readings, or a syringe's two readings. Or take a "
    "usual share: most feeds give 50 to 70 %. Write 60 and 10 under “methane [%]” and “methane "
    "uncertainty [%]” in the table materials, for the inoculum too."
)


@dataclass(frozen=True)
class RawGas:
    """Gas that a jar formed since closing, methane not told."""

    jar: str
    series: str
    time_d: float
    """Day of its last reading."""
    gas_NmL: float


def raw_gas(trial: Trial) -> tuple[RawGas, ...]:
    """Return the gas of every jar whose methane share nothing tells; empty where any share is told.

    Jars that were weighed are left out: the gas in a mass follows from its methane share.

    Parameters
    ----------
    trial : Trial
    """
    if not trial.jars or not trial.readings.jar.size or _some_share(trial):
        return ()
    with np.errstate(all="ignore"):
        # readings that no gas can have come out as no number, and are left out
        gas = normalise(trial)
    ends = np.flatnonzero(last(gas.jar) & np.isnan(gas.share) & np.isfinite(gas.gas_NmL))
    jars = [trial.jars[gas.jar[end]] for end in ends]
    return tuple(
        RawGas(jar.name, jar.series, float(gas.time_d[end]), float(gas.gas_NmL[end]))
        for jar, end in zip(jars, ends, strict=True)
        if jar.measured in ("volume", "pressure") and jar.role != "weight check"
    )


def _some_share(trial: Trial) -> bool:
    told = [trial.readings.column(name) for name in ("methane_share", "syringe_gas_left_mL")]
    assumed = [trial.setup.methane_share, *(m.methane_share for m in trial.materials)]
    return not np.isnan(told).all() or any(share is not None for share in assumed)


def raw_gas_words(found: Sequence[RawGas]) -> Iterator[str]:
    """Yield the raw gas in lines: what it is, one line a series, what to add."""
    if not found:
        return
    yield MEANING
    for series in dict.fromkeys(one.series for one in found):
        own = [one for one in found if one.series == series]
        until = f"{max(one.time_d for one in own):.3g}"
        yield (
            f"{series or 'blank'}: "
            + ", ".join(f"{one.jar} {one.gas_NmL:.0f} NmL" for one in own)
            + f" by day {until}"
        )
    yield TO_ADD
