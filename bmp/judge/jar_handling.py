"""What the readings imply of how jars were handled: pressure in shut jars, syringes that clash."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from bmp.finding import Finding
from bmp.normalise import JarGas
from bmp.runs import previous
from bmp.trial import Trial

# Highest gauge pressure that the published protocols allow in a bottle.
HIGHEST_GAUGE_KPA = 200.0
PRESSURE_SOURCE = "Standard BMP Methods, documents 303 and 304 (200 kPa, cautious 100 kPa)"


def handling_findings(trial: Trial, gas: JarGas) -> tuple[Finding, ...]:
    """Return cautions about the pressure that shut jars came under, and about syringes."""
    return (*_pressure(trial, gas), *_syringes(trial, gas))


def _pressure(trial: Trial, gas: JarGas) -> Iterator[Finding]:
    """Gas of an interval over the gas under the lid tells the pressure before venting."""
    shut = np.array([_is_shut(trial, jar.measured) for jar in trial.jars], dtype=bool)
    if not shut.any():
        return
    formed = gas.gas_NmL - previous(gas.gas_NmL, gas.jar, np.zeros_like(gas.gas_NmL))
    held = gas.state.under_lid_NmL(gas.state.ambient_kPa, gas.state.headspace_C)
    gauge_kPa = np.where(shut[gas.jar], gas.state.ambient_kPa * formed / held, np.nan)
    for measured in ("gauge_before_kPa", "absolute_before_kPa"):
        read = trial.readings.column(measured)
        less = gas.state.ambient_kPa if measured.startswith("absolute") else 0.0
        gauge_kPa = np.where(np.isnan(read), gauge_kPa, read - less)
    if not np.any(gauge_kPa > HIGHEST_GAUGE_KPA):
        return
    worst = int(np.nanargmax(gauge_kPa))
    jar = trial.jars[gas.jar[worst]]
    yield Finding(
        check="pressure in shut jars",
        outcome="caution",
        value=float(gauge_kPa[worst]),
        limit=f"at most {HIGHEST_GAUGE_KPA:.0f} kPa over air pressure",
        source=PRESSURE_SOURCE,
        meaning=(
            f"Shut until day {gas.time_d[worst]:.3g}, jar {jar.name} would have stood at "
            f"{gauge_kPa[worst]:,.0f} kPa over air pressure. Glass bursts at less."
        ),
        advice=(
            "If gas could leave as it formed, write in the table trial: outlet, open. If not, vent "
            "more often, within the vessel's own rating."
        ),
        where=jar.name,
    )


def _is_shut(trial: Trial, measured: str) -> bool:
    stated = trial.setup.closed_between_readings
    return measured in ("pressure", "mass") if stated is None else stated


def _syringes(trial: Trial, gas: JarGas) -> Iterator[Finding]:
    """Find syringes that left less than the flush gas that must still be under the lid."""
    drawn = trial.readings.column("syringe_gas_mL")
    clash = ~np.isnan(drawn) & (gas.share <= 0.0)
    if not clash.any():
        return
    names = dict.fromkeys(trial.jars[index].name for index in gas.jar[clash])
    rows = ", ".join(str(row) for row in trial.readings.row[clash][:8])
    yield Finding(
        check="syringe against flush gas",
        outcome="fail",
        value=int(clash.sum()),
        limit="what caustic leaves is at least the flush gas still under the lid",
        source="mass balance",
        meaning=(
            f"In jars {', '.join(names)} (rows {rows}) the syringe held less gas than the flush "
            "gas that was still under the lid. No methane can be worked out from it."
        ),
        advice=(
            "Check what was drawn and left, the headspace and the item flush gas; draw when more "
            "gas has formed."
        ),
        where=", ".join(names),
    )
