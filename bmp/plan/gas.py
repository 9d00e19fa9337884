"""Gas that a planned jar will give, and what it does in a vessel: pressure, volume, warming.

Amounts of gas are dry mL at 0 °C and 101.325 kPa. Carbon dioxide that stays in the liquid is not
taken off, so pressures and volumes err on the high side.

A vessel is sized by the fullest interval that jars have shown, whenever it comes: in the open data
of the ring test of Hafner et al. 2020 (Water 12:1752; 88 jars of four feeds, net of the blank) up
to 60 % of the final methane came in one day and up to 89 % in three, often on day 2 to 4.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache
from typing import Final

import numpy as np

from bmp.constants import (
    MOLAR_MASS_H2O,
    MOLAR_VOLUME_IDEAL_ML,
    REFERENCE_PRESSURE_KPA,
    REFERENCE_TEMPERATURE_K,
    ZERO_CELSIUS_K,
)
from bmp.normalise.gas import saturation_pressure_kPa
from bmp.plan.dosing import Dose
from bmp.plan.literature import INOCULUM, LiteratureFeed, LiteratureRange
from bmp.stop_rule import stop_days_read_together
from bmp.tank.yields import temperature_factor
from bmp.trial import FloatArray

# Fastest first-order rate after a lag in the same data: 63 % in a day and 95 % in three, a little
# above the fullest day and three days that were read.
FASTEST_PER_D = 1.0
# Longest lag of those 88 jars; sound inoculum at two to four times the feed's VS.
USUAL_LAG_D = 2.0
# Temperature at which the literature's rates were found, about: 34 to 38 °C.
RATES_AT_C = 37.0

Three = tuple[float, float, float]
"""Least, middle and most."""


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


@dataclass(frozen=True)
class Pace:
    """How fast one material's gas may come in these jars: rates [1/d] and the latest rush."""

    slowest_per_d: float
    middle_per_d: float
    fastest_per_d: float
    latest_start_d: float


def pace_of(feed: LiteratureFeed, warm_C: float) -> Pace:
    """Return how fast a feed's gas may come at a temperature.

    Rates fall with the cold as in a colder tank; the fastest is never taken slower, because a
    vessel must hold what may come. What lives on the inoculum's own stock is bounded by its
    literature, all feeds by the fastest rate that jars have shown.
    """
    factor = temperature_factor(warm_C, RATES_AT_C)
    rates = feed.k_per_d
    own = feed.name == INOCULUM
    return Pace(
        slowest_per_d=rates.low * factor.low,
        middle_per_d=math.sqrt(rates.low * rates.high) * factor.value,
        fastest_per_d=rates.high if own else max(rates.high, FASTEST_PER_D),
        latest_start_d=feed.latest_start_d,
    )


def gas_curve(
    dose: Dose, feed: LiteratureFeed | None, inoculum: LiteratureFeed, level: str, warm_C: float
) -> GasCurve:
    """Return the jar's biogas from closing on, at the `middle` or `high` end of the literature.

    Biogas is methane over the methane share; the middle takes the typical yield, the middle share
    and the geometric mean of the rates, the high end the highest VS, yield and rate, the lowest
    share.
    """
    fed = (0.0, 0.0) if feed is None else _total_and_rate(dose.sample_VS_range, feed, level, warm_C)
    own = _total_and_rate(dose.inoculum_VS_range, inoculum, level, warm_C)
    return GasCurve(*fed, *own)


def _total_and_rate(
    VS_g: LiteratureRange, feed: LiteratureFeed, level: str, warm_C: float
) -> tuple[float, float]:
    methane, share, pace = feed.methane_NmL_per_gVS, feed.methane_share, pace_of(feed, warm_C)
    if level == "high":
        return VS_g.high * methane.high / share.low, pace.fastest_per_d
    return VS_g.middle * methane.middle / share.middle, pace.middle_per_d


def total_methane_NmL(VS_g: LiteratureRange, feed: LiteratureFeed) -> Three:
    """Return the least, typical and most methane that a mass of VS gives in the end."""
    methane = feed.methane_NmL_per_gVS
    return VS_g.low * methane.low, VS_g.middle * methane.middle, VS_g.high * methane.high


def total_biogas_NmL(VS_g: LiteratureRange, feed: LiteratureFeed) -> Three:
    """Return the least, typical and most biogas that a mass of VS gives in the end."""
    low, middle, high = total_methane_NmL(VS_g, feed)
    share = feed.methane_share
    return low / share.high, middle / share.middle, high / share.low


@lru_cache(maxsize=4096)
def interval_shares(pace: Pace, from_d: float, to_d: float) -> Three:
    """Return the least, middle and largest share of the final gas between two times.

    The middle is first order without lag. The least allows for a lag of `USUAL_LAG_D`, the largest
    for a rush that starts on any day up to the latest: an interval that begins before it may meet
    the whole of it, a later one meets what is then left. Of that a slower rate may leave more:
    exp(-k a) - exp(-k b) is largest at k = ln(b/a)/(b - a).
    """
    slow, fast = pace.slowest_per_d, pace.fastest_per_d
    least = min(
        _given(k, max(from_d - lag, 0.0), max(to_d - lag, 0.0))
        for k in (slow, fast)
        for lag in (0.0, USUAL_LAG_D)
    )
    start = max(from_d - pace.latest_start_d, 0.0)
    end = to_d - min(from_d, pace.latest_start_d)
    best = math.log(end / start) / (end - start) if start > 0 else math.inf
    most = _given(min(max(best, slow), fast), start, end)
    middle = _given(pace.middle_per_d, from_d, to_d)
    return min(least, middle), middle, max(most, middle)


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


def vapour_g_per_NmL(pressure_kPa: float, warm_C: float) -> float:
    """Return the vapour that leaves with each mL of dry gas at the reference state [g]."""
    vapour = _vapour_kPa(warm_C)
    return MOLAR_MASS_H2O * vapour / (pressure_kPa - vapour) / MOLAR_VOLUME_IDEAL_ML


LONGEST_TRIAL_D: Final = 1000


def stop_day(
    dose: Dose,
    feed: LiteratureFeed,
    inoculum: LiteratureFeed,
    k_per_d: float,
    warm_C: float = RATES_AT_C,
) -> float:
    """Return the day on which a jar that is read daily may stop; infinite beyond 1000 days.

    Its feed and its inoculum give their middle yields by first order, the feed at the rate named:
    as long as the inoculum gives gas of its own, the jar goes on.
    """
    days = np.arange(1.0, LONGEST_TRIAL_D + 1)
    net = dose.sample_VS_g * feed.methane_NmL_per_gVS.middle * -np.expm1(-k_per_d * days)
    inoculum_k = pace_of(inoculum, warm_C).middle_per_d
    blank = dose.inoculum_VS_g * inoculum.methane_NmL_per_gVS.middle
    own = net + blank * -np.expm1(-inoculum_k * days)
    return float(stop_days_read_together(days, own[None], net[None])[0])


def stop_days(
    dose: Dose, feed: LiteratureFeed, inoculum: LiteratureFeed, warm_C: float
) -> tuple[float, float]:
    """Return the first and the last day on which a jar may stop at a temperature.

    The last allows for the lag of sound inoculum.
    """
    factor, rates = temperature_factor(warm_C, RATES_AT_C), feed.k_per_d
    early = stop_day(dose, feed, inoculum, rates.high * factor.high, warm_C)
    return early, stop_day(dose, feed, inoculum, rates.low * factor.low, warm_C) + USUAL_LAG_D
