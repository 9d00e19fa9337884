"""Jars with an exact mass balance, read in every way of measuring.

Written from the gas laws alone and independent of the code that is checked with it.

What holds in these jars
* The headspace is well mixed and saturated with water vapour; gas is counted as NmL: dry gas at
  0 °C and 101.325 kPa. Between states the ideal gas law holds (p V / T of the dry gas is constant).
* Where gas is weighed, its density at the reference state is molar mass over molar volume: CH4
  16.043 g/mol and 22,360 mL/mol, CO2 44.009 and 22,260 (`bmp.constants`, real gas), nitrogen, air
  and water vapour over the ideal 22,414 mL/mol. Shares are shares of NmL.
* Vapour pressure: Wagner & Pruss, IAPWS SR1-86 (1992), unless another function is handed in.
* Carbon dioxide does not dissolve, oxygen is not used up, balances feel no buoyancy.

Gas that is made mixes into the headspace and leaves with its composition x. With g made and the
headspace holding C NmL, dx/dt = (g/C)(y - x), y the composition of the gas made: whatever C does
while temperature and pressure change. With C linear in g over a step this has the exact solution
x1 = y + (x0 - y) exp(-G ln(C1/C0)/(C1 - C0)), y constant over an interval (it may change
from one interval to the next).
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from bmp import constants as c
from bmp.trial import FloatArray, Readings

GASES = ("CH4", "CO2", "flush")
INERT_MOLAR_MASS = {"N2": 28.014, "air": 28.965}  # g/mol: IUPAC 2021; dry air
VapourPressure = Callable[[FloatArray], FloatArray]


def iapws_saturation_kPa(temperature_C: FloatArray) -> FloatArray:
    """Vapour pressure of water: Wagner & Pruss, IAPWS SR1-86 (1992), eq. 1."""
    T = np.asarray(temperature_C, float) + 273.15
    v = 1.0 - T / 647.096
    a = (-7.85951783, 1.84408259, -11.7866497, 22.6807411, -15.9618719, 1.80122502)
    s = sum(ai * v**e for ai, e in zip(a, (1, 1.5, 3, 3.5, 4, 7.5), strict=True))
    return np.asarray(22_064.0 * np.exp(647.096 / T * s))


def magnus_saturation_kPa(temperature_C: FloatArray) -> FloatArray:
    """Vapour pressure of water: Alduchov & Eskridge 1996, J. Appl. Meteorol. 35:601, eq. 21."""
    T = np.asarray(temperature_C, float)
    return np.asarray(0.61094 * np.exp(17.625 * T / (243.04 + T)))


@dataclass(frozen=True)
class Surroundings:
    """What the jars feel at each reading. Arrays of shape (times,); closing is before the first."""

    time_d: FloatArray
    ambient_kPa: FloatArray
    headspace_C: FloatArray
    gas_C: FloatArray
    """Temperature at which an outside volume is read."""
    closing_kPa: float
    closing_C: float
    water_head_cm: FloatArray | None = None
    """Liquid standing higher inside the gas tube than outside."""
    tube_reaches_jar: bool = False
    """The headspace is at the tube's pressure; otherwise a seal keeps it at ambient."""
    saturation_kPa: VapourPressure = iapws_saturation_kPa

    @classmethod
    def steady(
        cls, time_d: Sequence[float], kPa: float = 101.325, C: float = 37.0, gas_C: float = 22.0
    ) -> Surroundings:
        """Nothing changes; closed at incubation temperature and ambient pressure."""
        t = np.asarray(time_d, float)
        one = np.ones_like(t)
        return cls(t, kPa * one, C * one, gas_C * one, kPa, C)

    @property
    def gas_kPa(self) -> FloatArray:
        """Absolute pressure of the gas in the tube."""
        if self.water_head_cm is None:
            return self.ambient_kPa
        head = c.WATER_DENSITY_KG_PER_M3 * c.STANDARD_GRAVITY_M_PER_S2 * self.water_head_cm
        return np.asarray(self.ambient_kPa - head / 100.0 / 1000.0)


@dataclass(frozen=True)
class Vessels:
    """The jars themselves. Arrays of shape (jars,)."""

    headspace_mL: FloatArray
    flush: Mapping[str, float] = field(default_factory=lambda: {"N2": 1.0})
    """Share of each of N2, air, CO2 at closing."""
    leak_share: FloatArray | float = 0.0
    """Share of the gas that leaves (open) or stands above ambient (closed) lost unseen."""


@dataclass(frozen=True)
class Gas:
    """Where the gas is. First axis: `GASES`; then (jars, times). NmL unless named otherwise."""

    metered: FloatArray
    """Left through the outlet or the vent since the last reading."""
    leaked: FloatArray
    before: FloatArray
    """Under the lid just before venting (open outlet: at the reading)."""
    after: FloatArray
    before_kPa: FloatArray
    """Absolute pressure under the lid; shape (jars, times) as the next."""
    after_kPa: FloatArray
    metered_g: FloatArray
    """Dry gas and the vapour that left with it; shape (jars, times) as the next."""
    leaked_g: FloatArray
    vented: bool


def to_NmL(volume_mL: FloatArray, T_C: FloatArray, kPa: FloatArray, vapour_kPa: FloatArray):
    """Dry gas at the reference state in a wet volume."""
    return volume_mL * (kPa - vapour_kPa) / 101.325 * 273.15 / (T_C + 273.15)


def densities_g_per_NmL(flush: Mapping[str, float]) -> FloatArray:
    """Density of each of `GASES` at the reference state."""
    inert = {g: s for g, s in flush.items() if g != "CO2"}
    total = sum(inert.values()) or 1.0
    molar = sum(INERT_MOLAR_MASS[g] * s for g, s in inert.items()) / total
    return np.array(
        [
            c.MOLAR_MASS_CH4 / c.MOLAR_VOLUME_CH4_ML,
            c.MOLAR_MASS_CO2 / c.MOLAR_VOLUME_CO2_ML,
            molar / c.MOLAR_VOLUME_IDEAL_ML,
        ]
    )


def made_gas(methane_NmL: FloatArray, methane_share: FloatArray | float) -> FloatArray:
    """CH4, CO2 and flush gas made in each interval, from cumulative methane (jars, times)."""
    methane = np.diff(methane_NmL, axis=1, prepend=0.0)
    share = np.broadcast_to(np.asarray(methane_share, float), methane.shape)
    return np.stack([methane, methane * (1.0 - share) / share, np.zeros_like(methane)])


def _closing(vessels: Vessels, around: Surroundings) -> FloatArray:
    """NmL of `GASES` under each lid at closing, shape (gases, jars)."""
    vapour = around.saturation_kPa(np.asarray(around.closing_C))
    held = to_NmL(
        np.asarray(vessels.headspace_mL, float),
        np.asarray(around.closing_C),
        np.asarray(around.closing_kPa),
        vapour,
    )
    co2 = vessels.flush.get("CO2", 0.0)
    return np.array([0.0, co2, 1.0 - co2])[:, None] * held


def _vapour_g(dry_NmL: FloatArray, vapour_kPa: FloatArray, kPa: FloatArray) -> FloatArray:
    """Vapour that leaves in `dry_NmL` of saturated gas at the total pressure `kPa`."""
    moles = dry_NmL / c.MOLAR_VOLUME_IDEAL_ML * vapour_kPa / (kPa - vapour_kPa)
    return np.asarray(moles * c.MOLAR_MASS_H2O)


def open_outlet(made_NmL: FloatArray, vessels: Vessels, around: Surroundings) -> Gas:
    """Gas leaves as it is made, at ambient pressure (or the tube's), with what lies under the lid.

    `made_NmL` has shape (gases, jars, times). Its composition is constant within an interval and
    may differ from one to the next, so that the solution is exact.
    """
    jars, times = made_NmL.shape[1:]
    kPa = around.gas_kPa if around.tube_reaches_jar else around.ambient_kPa
    vapour = around.saturation_kPa(around.headspace_C)
    volume = np.asarray(vessels.headspace_mL, float)
    held = to_NmL(volume[:, None], around.headspace_C, kPa, vapour)
    left = np.empty_like(made_NmL)
    under = np.empty_like(made_NmL)
    now = _closing(vessels, around)
    for i in range(times):
        made, c0, c1 = made_NmL[:, :, i], now.sum(axis=0), held[:, i]
        total = made.sum(axis=0)
        y = np.divide(made, total, out=np.zeros_like(made), where=total > 0)
        grows = np.abs(c1 - c0) > 1e-9 * c0
        per = np.where(grows, np.log(c1 / c0) / np.where(grows, c1 - c0, 1.0), 1.0 / c0)
        then = (y + (now / c0 - y) * np.exp(-total * per)) * c1
        left[:, :, i] = now + made - then
        under[:, :, i] = then
        now = then
    return _open_result(left, under, vessels, around, kPa, vapour, (jars, times))


def _open_result(left, under, vessels, around, kPa, vapour, shape) -> Gas:
    lost = np.broadcast_to(np.asarray(vessels.leak_share, float), shape[:1])[:, None]
    density = densities_g_per_NmL(vessels.flush)[:, None, None]
    weight = (left * density).sum(axis=0) + _vapour_g(left.sum(axis=0), vapour, kPa)
    pressure = np.broadcast_to(kPa, shape)
    return Gas(
        metered=left * (1 - lost),
        leaked=left * lost,
        before=under,
        after=under,
        before_kPa=pressure,
        after_kPa=pressure,
        metered_g=weight * (1 - lost),
        leaked_g=weight * lost,
        vented=False,
    )


def closed_jar(
    made_NmL: FloatArray,
    vessels: Vessels,
    around: Surroundings,
    left_gauge_share: FloatArray | float = 0.0,
    vapour_keeps_pace: bool = False,
) -> Gas:
    """Gas gathers under the lid and is vented at readings.

    `left_gauge_share`, shape (times,): 0 vents to ambient, 1 leaves the jar closed, between
    leaves that share of the gauge pressure. Venting is quick, so that the gas that leaves holds
    the vapour that it had before (its dry gas to vapour ratio does not change) and the liquid
    makes up the vapour afterwards; with `vapour_keeps_pace` it is saturated all the way down.
    """
    jars, times = made_NmL.shape[1:]
    keep = np.broadcast_to(np.asarray(left_gauge_share, float), (times,))
    leak = np.broadcast_to(np.asarray(vessels.leak_share, float), (jars,))
    volume = np.asarray(vessels.headspace_mL, float)
    vapour = around.saturation_kPa(around.headspace_C)
    per_NmL = 101.325 * (around.headspace_C + 273.15) / 273.15
    density = densities_g_per_NmL(vessels.flush)[:, None]
    out = {n: np.empty_like(made_NmL) for n in ("metered", "leaked", "before", "after")}
    flat = {n: np.empty((jars, times)) for n in ("before_kPa", "after_kPa", "m_g", "l_g")}
    now = _closing(vessels, around)
    for i in range(times):
        now = now + made_NmL[:, :, i]
        pressure = now.sum(axis=0) * per_NmL[i] / volume + vapour[i]
        gauge = pressure - around.ambient_kPa[i]
        loss = leak * np.maximum(gauge, 0.0) / (pressure - vapour[i])
        out["leaked"][:, :, i] = now * loss
        flat["l_g"][:, i] = (now * loss * density).sum(axis=0) + _vapour_g(
            (now * loss).sum(axis=0), vapour[i], pressure
        )
        now = now * (1 - loss)
        before = now.sum(axis=0) * per_NmL[i] / volume + vapour[i]
        after = around.ambient_kPa[i] + keep[i] * (before - around.ambient_kPa[i])
        stays = (after - vapour[i]) / (before - vapour[i])
        went = now * (1 - stays)
        out["before"][:, :, i], out["metered"][:, :, i] = now, went
        if vapour_keeps_pace:
            moles = volume * vapour[i] * np.log(1 / stays) / per_NmL[i] / c.MOLAR_VOLUME_IDEAL_ML
            steam = moles * c.MOLAR_MASS_H2O
        else:
            steam = _vapour_g(went.sum(axis=0), vapour[i], before)
        flat["m_g"][:, i] = (went * density).sum(axis=0) + steam
        now = now * stays
        out["after"][:, :, i] = now
        flat["before_kPa"][:, i], flat["after_kPa"][:, i] = before, after
    return Gas(
        **out,
        before_kPa=flat["before_kPa"],
        after_kPa=flat["after_kPa"],
        metered_g=flat["m_g"],
        leaked_g=flat["l_g"],
        vented=True,
    )


# --- what an instrument shows -------------------------------------------------------------------


def volume_read_mL(
    passed_NmL: FloatArray,
    around: Surroundings,
    cumulative: bool = False,
    gas_kept: bool = False,
    emptied: FloatArray | None = None,
    wet: bool = True,
) -> FloatArray:
    """Volumes outside the jar from the NmL that passed in each interval, shape (jars, times).

    Interval: the vessel is emptied at each reading. Cumulative: a counter that adds each
    interval's volume as it was (`gas_kept` False), or a vessel that keeps the gas, so that all
    of it is at the latest pressure and temperature. `emptied` (times,): set to zero after it.
    """
    vapour = around.saturation_kPa(around.gas_C) if wet else np.zeros_like(around.gas_C)
    per_NmL = 101.325 / 273.15 * (around.gas_C + 273.15) / (around.gas_kPa - vapour)
    if not cumulative:
        return np.asarray(passed_NmL * per_NmL)
    empty = np.zeros(passed_NmL.shape[1], bool) if emptied is None else np.asarray(emptied, bool)
    run = np.cumsum(passed_NmL if gas_kept else passed_NmL * per_NmL, axis=1)
    base = np.zeros_like(run)
    for i in np.flatnonzero(empty[:-1]):
        base[:, i + 1 :] = run[:, i : i + 1]
    return np.asarray((run - base) * per_NmL if gas_kept else run - base)


def absorbed_NmL(gas: Gas) -> FloatArray:
    """What is left of the metered gas after a CO2 absorber: methane and flush gas."""
    return np.asarray(gas.metered[0] + gas.metered[2])


def mass_read_g(gas: Gas, empty_g: FloatArray, drift_g: FloatArray | float = 0.0):
    """Mass of each jar (before venting, after venting), shape (jars, times) each.

    For an open outlet the two are alike. `drift_g` (times,): what the scale adds at that event.
    """
    lost = np.cumsum(gas.metered_g + gas.leaked_g, axis=1)
    after = empty_g[:, None] - lost + drift_g
    before = after + (gas.metered_g if gas.vented else 0.0)
    return before, after


def share_read(gas: Gas, flush_excluded: bool = True, sampled: str = "headspace") -> FloatArray:
    """Methane share of the gas, shape (jars, times).

    `sampled`: `headspace` (just before venting) or `collected` (what left since the last reading).
    """
    part = gas.before if sampled == "headspace" else gas.metered
    total = part[:2].sum(axis=0) if flush_excluded else part.sum(axis=0)
    return np.divide(part[0], total, out=np.full(total.shape, np.nan), where=np.abs(total) > 1e-9)


def syringe_read_mL(gas: Gas, drawn_mL: float = 20.0) -> tuple[FloatArray, FloatArray]:
    """Gas drawn from the headspace before venting and what caustic leaves of it."""
    left = 1.0 - gas.before[1] / gas.before.sum(axis=0)
    return np.full(left.shape, drawn_mL), drawn_mL * left


def readings_of(
    columns: Mapping[str, FloatArray],
    time_d: FloatArray,
    jars: int,
    not_vented: FloatArray | None = None,
    emptied: FloatArray | None = None,
) -> Readings:
    """Flatten columns of shape (jars, times) or (times,) into a `Readings`."""
    n = len(time_d)
    flat = {
        k: np.broadcast_to(np.asarray(v, float), (jars, n)).ravel().copy()
        for k, v in columns.items()
    }

    def marks(given: FloatArray | None):
        return np.tile(np.zeros(n, bool) if given is None else np.asarray(given, bool), jars)

    return Readings(
        jar=np.repeat(np.arange(jars), n),
        time_d=np.tile(np.asarray(time_d, float), jars),
        row=np.arange(2, jars * n + 2),
        columns=flat,
        not_vented=marks(not_vented),
        emptied=marks(emptied),
        note=("",) * (jars * n),
    )
