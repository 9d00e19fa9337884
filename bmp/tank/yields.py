"""What a feed gives in the main tank: its jar curve weighed with the time it stays there.

In a well-mixed tank with retention time θ a share exp(-t/θ) of any day's feed is still inside
after t days, so the yield is ∫ r(t) exp(-t/θ) dt with r the rate in the jar; for first order this
is B0 k θ/(1 + k θ). In plug flow every part stays θ days: B(θ). A colder tank runs the same curve
slower by a factor f, which is the same as a retention time of f θ.
"""

from __future__ import annotations

from typing import Final

import numpy as np

from bmp.tank.result import Span
from bmp.trial import FloatArray

# Change of rate per kelvin: pairs of first-order rates of cattle dung at 16, 25 and 34 °C, in
# batch and semi-continuous tanks (Fulford 2018; reference_data/digester_temperature_rates). The
# pairs give 1.021 to 1.074; the middle is their geometric mean. The growth rates of Hashimoto et
# al. 1981 (0.013 T - 0.129 per day, from memory) lie inside from 20 to 37 °C.
RATE_PER_KELVIN: Final = Span(1.047, 1.021, 1.074)
RATE_SOURCE: Final = (
    "first-order rates of cattle dung at 16, 25 and 34 °C (Fulford 2018): "
    "4.7 % a kelvin, between 2.1 and 7.4 %"
)
RATE_VALID_C: Final = (16.0, 40.0)


def well_mixed_yield(time_d: FloatArray, net_NmL_per_g: FloatArray, retention_d: float) -> float:
    """Return the yield in a well-mixed tank from a curve, NmL per g.

    The curve is joined by straight lines, on which the integral is exact. It starts at (0, 0)
    where no earlier time is given, and is flat after its last time: gas that would have come
    later is not counted.

    Parameters
    ----------
    time_d, net_NmL_per_g
        The curve, times rising. Shape (times,) each.
    retention_d
        Retention time, positive; after a change of rate by f, f times that.
    """
    if time_d[0] > 0:
        time_d, net_NmL_per_g = np.append(0.0, time_d), np.append(0.0, net_NmL_per_g)
    rate = np.diff(net_NmL_per_g) / np.diff(time_d)
    left = np.exp(-time_d / retention_d)
    return float(retention_d * np.sum(rate * (left[:-1] - left[1:])))


def plug_flow_yield(time_d: FloatArray, net_NmL_per_g: FloatArray, retention_d: float) -> float:
    """Return the yield in plug flow, B(θ), NmL per g; after the last time, the last value."""
    if time_d[0] > 0:
        time_d, net_NmL_per_g = np.append(0.0, time_d), np.append(0.0, net_NmL_per_g)
    return float(np.interp(retention_d, time_d, net_NmL_per_g))


def tank_yield(
    time_d: FloatArray, net_NmL_per_g: FloatArray, retention_d: float, mixing: str
) -> float:
    """Return the yield by the tank's way of mixing, NmL per g."""
    way = plug_flow_yield if mixing == "plug flow" else well_mixed_yield
    return way(time_d, net_NmL_per_g, retention_d)


def going_on(
    time_d: FloatArray, net_NmL_per_g: FloatArray, ceiling_NmL_per_g: float
) -> tuple[FloatArray, FloatArray]:
    """Return a curve that was cut short, with the most that may still come.

    From its end it rises at the highest rate of its second half until it meets the ceiling. A
    curve past its peak rate rises slower than that.

    Parameters
    ----------
    time_d, net_NmL_per_g
        The curve. Shape (times,) each.
    ceiling_NmL_per_g
        The most that mass balance allows.
    """
    end, last = float(time_d[-1]), float(net_NmL_per_g[-1])
    late = time_d >= end / 2
    times, values = time_d[late], net_NmL_per_g[late]
    rates = np.diff(values) / np.diff(times) if times.size > 1 else np.array([last / end])
    rate = float(rates.max(initial=0.0))
    if rate <= 0.0 or last >= ceiling_NmL_per_g:
        return time_d, net_NmL_per_g
    full = end + (ceiling_NmL_per_g - last) / rate
    return np.append(time_d, full), np.append(net_NmL_per_g, ceiling_NmL_per_g)


def temperature_factor(tank_C: float, jar_C: float) -> Span:
    """Return by how much the gas forms slower in the tank than in the jars.

    A tank warmer than the jars gets 1: nothing is promised on warmth that was not tested.
    """
    colder = max(0.0, jar_C - tank_C)
    return Span(
        RATE_PER_KELVIN.value**-colder,
        RATE_PER_KELVIN.high**-colder,
        RATE_PER_KELVIN.low**-colder,
    )


def daily_methane(
    fed_kg_per_d: FloatArray,
    staying_d: FloatArray,
    time_d: FloatArray,
    net_NL_per_kg: FloatArray,
    factor: float = 1.0,
    mixing: str = "well mixed",
) -> FloatArray:
    """Return the methane of a tank that is fed once a day, NL in each day.

    Parameters
    ----------
    fed_kg_per_d
        Feed at the start of each day. Shape (days,).
    staying_d
        Retention time on each day. Shape (days,).
    time_d, net_NL_per_kg
        The jar curve per kg of feed. Shape (times,) each.
    factor
        Rate in the tank over rate in the jars.
    mixing
        `well mixed`: any part leaves at any time; `plug flow`: each leaves after its time.
    """
    days = fed_kg_per_d.size
    ages = np.arange(days + 1, dtype=np.float64) * factor
    curve = np.interp(ages, np.append(0.0, time_d), np.append(0.0, net_NL_per_kg))
    released = np.diff(curve)
    washed_out = np.append(0.0, np.cumsum(1.0 / staying_d))
    age = np.subtract.outer(np.arange(days), np.arange(days))
    middle = (washed_out[:-1] + washed_out[1:]) / 2
    passed = np.maximum(0.0, middle[:, None] - washed_out[None, :-1])
    still_in = passed < 1.0 if mixing == "plug flow" else np.exp(-passed)
    weights = np.where(age >= 0, released[np.clip(age, 0, None)] * still_in, 0.0)
    return np.asarray(weights @ fed_kg_per_d)
