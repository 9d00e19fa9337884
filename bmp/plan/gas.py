"""Gas that a planned jar will give, and what it does in a vessel: pressure, volume, warming.

Amounts of gas are dry mL at 0 °C and 101.325 kPa. Carbon dioxide that stays in the liquid is not
taken off, so pressures and volumes err on the high side.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import numpy as np

from bmp.constants import (
    REFERENCE_PRESSURE_KPA,
    REFERENCE_TEMPERATURE_K,
    ZERO_CELSIUS_K,
)
from bmp.normalise.gas import saturation_pressure_kPa
from bmp.plan.dosing import Dose
from bmp.plan.literature import LiteratureFeed
from bmp.stop_rule import stop_days_read_together
from bmp.trial import FloatArray


@dataclass(frozen=True)
class GasCurve:
    """First-order biogas of one jar: its feed and its inoculum, each with total [NmL] and rate."""

    feed_total_NmL: float
    feed_k_per_d: float
    inoculum_total_NmL: float
    inoculum_k_per_d: float

    def biogas_NmL(self, time_d: FloatArray | float) -> FloatArray:
        """Return the biogas given until each time. Shape of `time_d`."""
        time = np.asarray(time_d, dtype=np.float64)
        return self.feed_total_NmL * -np.expm1(
            -self.feed_k_per_d * time
        ) + self.inoculum_total_NmL * -np.expm1(-self.inoculum_k_per_d * time)


def _vapour_kPa(temperature_C: float) -> float:
    return float(saturation_pressure_kPa(temperature_C))


def gas_curve(
    dose: Dose, feed: LiteratureFeed | None, inoculum: LiteratureFeed, level: str
) -> GasCurve:
    """Return the jar's biogas from closing on, at the `middle` or `high` end of the literature.

    Biogas is methane over the methane share; the middle takes the middle yield and share and the
    geometric mean of the rates, the high end the highest yield and rate, the lowest share.
    """
    feed_yield, feed_k = (0.0, 0.0) if feed is None else _biogas(feed, level)
    inoculum_yield, inoculum_k = _biogas(inoculum, level)
    return GasCurve(
        dose.sample_VS_g * feed_yield, feed_k, dose.inoculum_VS_g * inoculum_yield, inoculum_k
    )


def _biogas(feed: LiteratureFeed, level: str) -> tuple[float, float]:
    methane, share, k = feed.methane_NmL_per_gVS, feed.methane_share, feed.k_per_d
    if level == "high":
        return methane.high / share.low, k.high
    return methane.middle / share.middle, math.sqrt(k.low * k.high)


def interval_biogas_NmL(
    VS_g: float, feed: LiteratureFeed, from_d: float, to_d: float
) -> tuple[float, float, float]:
    """Return the least, middle and most biogas that a mass of VS gives between two times.

    Early on the fastest rate gives most, later a slower one that has more left: exp(-k a) -
    exp(-k b) is largest at k = ln(b/a)/(b - a), within the literature's range of rates.
    """
    rates = feed.k_per_d
    best = math.log(to_d / from_d) / (to_d - from_d) if from_d > 0 else math.inf
    best = min(max(best, rates.low), rates.high)
    least_yield = feed.methane_NmL_per_gVS.low / feed.methane_share.high
    most_yield = feed.methane_NmL_per_gVS.high / feed.methane_share.low
    middle_yield, middle_k = _biogas(feed, "middle")
    low = min(_given(k, from_d, to_d) for k in (rates.low, rates.high))
    middle = _given(middle_k, from_d, to_d)
    return (
        VS_g * least_yield * low,
        VS_g * middle_yield * middle,
        VS_g * most_yield * _given(best, from_d, to_d),
    )


def _given(k_per_d: float, from_d: float, to_d: float) -> float:
    """Return the share of a first-order total that comes between two times."""
    return math.exp(-k_per_d * from_d) * -math.expm1(-k_per_d * (to_d - from_d))


def warming_kPa(ambient_kPa: float, closed_C: float, warm_C: float) -> float:
    """Return the gauge pressure that warming alone gives a jar closed with moist gas.

    The dry gas follows its temperature, the vapour its saturation pressure.
    """
    ratio = (warm_C + ZERO_CELSIUS_K) / (closed_C + ZERO_CELSIUS_K)
    dry = (ambient_kPa - _vapour_kPa(closed_C)) * ratio
    return dry + _vapour_kPa(warm_C) - ambient_kPa


def gauge_kPa(
    biogas_NmL: FloatArray, headspace_mL: FloatArray | float, warm_C: float, start_kPa: float = 0.0
) -> FloatArray:
    """Return the gauge pressure after gas has gathered in a closed headspace.

    Parameters
    ----------
    biogas_NmL
        Dry gas at the reference state since the headspace was last at air pressure.
    start_kPa
        Gauge pressure that was there before it (warming).

    Notes
    -----
    Ideal gas; saturated before and after, so the vapour pressure cancels:
    p0 V (T / T0) / Vh.
    """
    temperature_K = warm_C + ZERO_CELSIUS_K
    per_mL = REFERENCE_PRESSURE_KPA * temperature_K / REFERENCE_TEMPERATURE_K
    return np.asarray(start_kPa + biogas_NmL * per_mL / headspace_mL, dtype=np.float64)


def wet_volume_mL(biogas_NmL: FloatArray, ambient_kPa: float, room_C: float) -> FloatArray:
    """Return the volume over water that dry gas at the reference state takes in the room."""
    dry_kPa = ambient_kPa - _vapour_kPa(room_C)
    temperature = (room_C + ZERO_CELSIUS_K) / REFERENCE_TEMPERATURE_K
    return np.asarray(biogas_NmL * REFERENCE_PRESSURE_KPA / dry_kPa * temperature, dtype=np.float64)


def pushed_out_mL(
    headspace_mL: float, ambient_kPa: float, closed_C: float, warm_C: float, read_C: float
) -> float:
    """Return the moist gas that warming pushes out of an open jar, as read at `read_C`.

    It is no biogas: the headspace's own gas, which expands and takes up vapour.
    """
    kept = (ambient_kPa - _vapour_kPa(warm_C)) / (warm_C + ZERO_CELSIUS_K)
    first = (ambient_kPa - _vapour_kPa(closed_C)) / (closed_C + ZERO_CELSIUS_K)
    moles = (first - kept) * headspace_mL
    return moles * (read_C + ZERO_CELSIUS_K) / (ambient_kPa - _vapour_kPa(read_C))


LONGEST_TRIAL_D: Final = 1000


def stop_day(dose: Dose, feed: LiteratureFeed, inoculum: LiteratureFeed, k_per_d: float) -> float:
    """Return the day on which a jar that is read daily may stop; infinite beyond 1000 days.

    Its feed and its inoculum give their middle yields by first order, the feed at the rate named:
    as long as the inoculum gives gas of its own, the jar goes on.
    """
    days = np.arange(1.0, LONGEST_TRIAL_D + 1)
    net = dose.sample_VS_g * feed.methane_NmL_per_gVS.middle * -np.expm1(-k_per_d * days)
    inoculum_k = math.sqrt(inoculum.k_per_d.low * inoculum.k_per_d.high)
    blank = dose.inoculum_VS_g * inoculum.methane_NmL_per_gVS.middle
    own = net + blank * -np.expm1(-inoculum_k * days)
    return float(stop_days_read_together(days, own[None], net[None])[0])
