"""Whole invented trials: an inoculum, its blanks, cellulose controls and feeds, with known truth.

Built on the jars of `tests/simulate.py`. Everything is drawn from the generator that is handed in.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from bmp.trial import FloatArray, Jar, Material, Readings, Setup, Trial
from tests import simulate as sim

INOCULUM_VS = 0.02
DAILY = tuple(float(d) for d in range(1, 46))
SPARSE = (1.0, 2.0, 3.0, 5.0, 7.0, 9.0, 12.0, 15.0, 18.0, 22.0, 26.0, 30.0, 35.0, 40.0, 45.0)


@dataclass(frozen=True)
class Feed:
    """One material with its true kinetics (net of the blank)."""

    name: str
    B0: float
    """Ultimate yield, NmL CH4 per g VS."""
    k: float | None = 0.2
    """First order, 1/d; `None`: modified Gompertz with `Rm` and `lag`."""
    Rm: float = 40.0
    lag: float = 1.0
    role: str = "substrate"
    VS: float = 0.2
    TS: float = 0.22
    methane_share: float = 0.58

    def yield_at(self, t: FloatArray) -> FloatArray:
        """Net yield at the times `t` (days), 0 at time 0."""
        if self.k is not None:
            return np.asarray(self.B0 * (1 - np.exp(-self.k * t)))
        curve = np.exp(-np.exp(self.Rm * np.e / self.B0 * (self.lag - t) + 1))
        start = np.exp(-np.exp(self.Rm * np.e / self.B0 * self.lag + 1))
        return np.asarray(self.B0 * (curve - start) / (1 - start))


CELLULOSE = Feed("cellulose", 372.0, 0.25, role="control", VS=0.955, TS=0.96, methane_share=0.52)
FEEDS = (
    Feed("maize silage", 340.0, 0.18, VS=0.31, TS=0.33, methane_share=0.54),
    Feed("food waste", 450.0, None, Rm=60.0, lag=1.0, VS=0.22, TS=0.24, methane_share=0.61),
)


@dataclass(frozen=True)
class Noise:
    """Random errors of one reading (standard deviations)."""

    relative: float = 0.01
    """Of an interval's volume, and of a pressure's gauge part."""
    volume_mL: float = 1.0
    pressure_kPa: float = 0.15
    mass_g: float = 0.005
    share: float = 0.004
    between_jars: float = 0.025
    ambient_kPa: float = 0.8
    headspace_C: float = 0.15
    gas_C: float = 1.5


@dataclass(frozen=True, eq=False)
class Simulated:
    """A trial as it would be handed in, and what truly happened in its jars."""

    trial: Trial
    time_d: FloatArray
    methane_NmL: FloatArray
    """True cumulative methane made in each jar, shape (jars, times), blank gas included."""
    net_NmL_per_gVS: FloatArray
    """True net yield of each jar (its own), shape (jars, times); NaN for blanks."""
    gas: sim.Gas
    around: sim.Surroundings


def _surroundings(rng, time_d, noise, kPa, closing_C, incubation_C) -> sim.Surroundings:
    n = len(time_d)
    return sim.Surroundings(
        time_d,
        kPa + noise.ambient_kPa * rng.standard_normal(n),
        incubation_C + noise.headspace_C * rng.standard_normal(n),
        22.0 + noise.gas_C * rng.standard_normal(n),
        kPa,
        incubation_C if closing_C is None else closing_C,
    )


def _jars(feeds, per_material, blanks, scale, ratio, rng, way, headspace) -> list[Jar]:
    """Jars of a trial: `scale` g of inoculum, sample by the inoculum to substrate VS `ratio`."""
    out = []
    for i in range(blanks):
        g = scale * (1 + 0.002 * rng.standard_normal())
        out.append(Jar(f"B{i + 1}", "digestate", "blank", "digestate", g, 0.0, 0.0, headspace))
    for number, feed in enumerate(feeds):
        letter = "C" if feed.role == "control" else f"S{number}-"
        for i in range(per_material):
            g = scale * (1 + 0.002 * rng.standard_normal())
            sample = g * INOCULUM_VS / ratio / feed.VS * (1 + 0.003 * rng.standard_normal())
            name = f"{letter}{i + 1}"
            out.append(Jar(name, feed.name, feed.role, "digestate", g, sample, 0.0, headspace))
    return [replace(jar, measured=way) for jar in out]


def _truth(jars, feeds, read_d, rng, between, blank_yield, blank_k, between_lags_d):
    """True cumulative methane, net yield and methane share of each jar at its times `read_d`."""
    by_name = {f.name: f for f in feeds}
    methane = np.zeros(read_d.shape)
    net = np.full(read_d.shape, np.nan)
    made = np.zeros((3, *read_d.shape))
    for j, jar in enumerate(jars):
        t = read_d[j]
        factor = 1 + between * rng.standard_normal()
        blank_curve = blank_yield * (1 - np.exp(-blank_k * t)) / (1 - np.exp(-blank_k * 45.0))
        own = jar.inoculum_g * INOCULUM_VS * blank_curve
        if jar.role == "blank":
            methane[j] = own * factor
            made[:, j] = sim.made_gas(methane[j][None], 0.60)[:, 0]
            continue
        feed = by_name[jar.material]
        late = between_lags_d * abs(rng.standard_normal()) if between_lags_d else 0.0
        net[j] = feed.yield_at(np.maximum(t - late, 0.0)) * factor
        more = jar.sample_g * feed.VS * net[j]
        methane[j] = own + more
        made[:, j] = (sim.made_gas(own[None], 0.60) + sim.made_gas(more[None], feed.methane_share))[
            :, 0
        ]
    return methane, net, made


def _queue_d(rng, jars: int, times: int, minutes_apart: float) -> FloatArray:
    """How long after the round's first reading each jar is read, shape (jars, times) [d]."""
    if not minutes_apart:
        return np.zeros((jars, times))
    place = np.stack([rng.permutation(jars) for _ in range(times)], axis=1)
    return place * minutes_apart / 1440.0


def simulate_trial(
    rng: np.random.Generator,
    way: str = "volume",
    feeds: Sequence[Feed] = (CELLULOSE, *FEEDS),
    time_d: Sequence[float] = DAILY,
    *,
    jars_per_material: int = 3,
    blanks: int = 3,
    cumulative: bool = False,
    gas_kept: bool = False,
    noise: Noise | None = None,
    inoculum_to_substrate: float = 2.0,
    blank_yield: float = 60.0,
    blank_k: float = 0.08,
    ambient_kPa: float = 100.5,
    closing_C: float | None = None,
    incubation_C: float = 37.0,
    outlet: str = "open",
    left_gauge_share: float = 0.0,
    gauge: bool = True,
    with_volume: bool = False,
    shares: bool = True,
    flush_excluded: bool = True,
    headspace_mL: float | None = None,
    leak_share: dict[str, float] | None = None,
    drift_g: FloatArray | float = 0.0,
    dummies: int = 0,
    minutes_apart: float = 0.0,
    between_lags_d: float = 0.0,
) -> Simulated:
    """Draw one trial and read it in one way of measuring.

    `way`: `volume`, `methane volume` (open outlet), `pressure`, `mass` (closed, vented at
    readings); `mass` with `with_volume` also reads the vented gas' volume, at 22 °C.
    `blank_yield`: NmL CH4 per g VS of inoculum in 45 d. `leak_share`: by jar name.
    Volumes `cumulative` are counters (`gas_kept` False) or one vessel.
    `dummies`: jars of constant mass for the scale. `minutes_apart`: jars are read one after the
    other in a random order each round; `between_lags_d`: scatter of the jars' lags.
    """
    noise = Noise() if noise is None else noise
    closed = way in ("pressure", "mass") or outlet == "closed"
    scale = 100.0 if closed else 300.0
    headspace = headspace_mL or (400.0 if closed else 200.0)
    t = np.asarray(time_d, float)
    around = _surroundings(rng, t, noise, ambient_kPa, closing_C, incubation_C)
    jars = _jars(
        feeds, jars_per_material, blanks, scale, inoculum_to_substrate, rng, way, headspace
    )
    read_d = t + _queue_d(rng, len(jars) + dummies, len(t), minutes_apart)
    methane, net, made = _truth(
        jars, feeds, read_d[: len(jars)], rng, noise.between_jars, blank_yield, blank_k,
        between_lags_d,
    )  # fmt: skip
    leak = np.array([(leak_share or {}).get(j.name, 0.0) for j in jars])
    vessels = sim.Vessels(np.full(len(jars), headspace), leak_share=leak)
    gas = (
        sim.closed_jar(made, vessels, around, left_gauge_share)
        if closed
        else sim.open_outlet(made, vessels, around)
    )
    options = {
        "cumulative": cumulative,
        "gas_kept": gas_kept,
        "gauge": gauge,
        "with_volume": with_volume,
        "left_gauge_share": left_gauge_share,
    }
    columns = _columns(way, gas, around, noise, rng, drift_g, options)
    if shares and way != "methane volume":
        read = sim.share_read(gas, flush_excluded)
        columns["methane_share"] = read + noise.share * rng.standard_normal(read.shape)
    not_vented = np.full(len(t), left_gauge_share == 1.0) if way == "pressure" else None
    readings = sim.readings_of(columns, t, len(jars), not_vented)
    if dummies:
        jars, readings = _with_dummies(jars, readings, t, dummies, noise, drift_g, rng)
    readings = replace(readings, time_d=read_d.ravel())
    trial = Trial(_setup(way, around, incubation_C, closing_C, cumulative, gas_kept,
                         flush_excluded), _materials(feeds), tuple(jars), readings)  # fmt: skip
    return Simulated(trial, t, methane, net, gas, around)


def _columns(way, gas, around, noise, rng, drift_g, o) -> dict[str, FloatArray]:
    """The columns that this way of measuring fills, with reading noise."""
    out: dict[str, FloatArray] = {
        "ambient_kPa": around.ambient_kPa,
        "temperature_C": around.headspace_C,
    }
    shape = gas.before_kPa.shape
    if way in ("volume", "methane volume"):
        out["temperature_C"] = around.gas_C
        passed = gas.metered.sum(axis=0) if way == "volume" else sim.absorbed_NmL(gas)
        passed = passed * (1 + noise.relative * rng.standard_normal(shape))
        read = sim.volume_read_mL(passed, around, o["cumulative"], o["gas_kept"])
        out["volume_mL"] = read + noise.volume_mL * rng.standard_normal(shape)
    elif way == "pressure":
        before = gas.before_kPa + noise.pressure_kPa * rng.standard_normal(shape)
        name, less = ("gauge", around.ambient_kPa) if o["gauge"] else ("absolute", 0.0)
        out[f"{name}_before_kPa"] = before - less
        if 0.0 < o["left_gauge_share"] < 1.0:
            after = gas.after_kPa + noise.pressure_kPa * rng.standard_normal(shape)
            out[f"{name}_after_kPa"] = after - less
    else:
        empty = 500.0 + 0.1 * rng.standard_normal(shape[0])
        before, after = sim.mass_read_g(gas, empty, drift_g)
        out["mass_before_g"] = before + noise.mass_g * rng.standard_normal(shape)
        out["mass_after_g"] = after + noise.mass_g * rng.standard_normal(shape)
        if o["with_volume"]:
            passed = gas.metered.sum(axis=0) * (1 + noise.relative * rng.standard_normal(shape))
            bench = replace(around, gas_C=np.full(shape[1], 22.0))
            out["volume_mL"] = sim.volume_read_mL(passed, bench)
    return out


def _setup(way, around, incubation_C, closing_C, cumulative, gas_kept, flush_excluded) -> Setup:
    return Setup(
        title="Simulated trial",
        measured=way,
        cumulative=cumulative,
        gas_kept=gas_kept,
        gas_temperature_C=22.0,
        ambient_kPa=around.closing_kPa,
        flush_excluded=flush_excluded,
        incubation_temperature_C=incubation_C,
        closing_temperature_C=closing_C,
        closing_kPa=around.closing_kPa,
        share_before_absorber=0.56 if way == "methane volume" else None,
    )


def _materials(feeds) -> tuple[Material, ...]:
    return (
        Material("digestate", "inoculum", TS=0.03, VS=INOCULUM_VS, VS_u=0.0002),
        *(Material(f.name, f.role, TS=f.TS, VS=f.VS, VS_u=f.VS * 0.008) for f in feeds),
    )


def _with_dummies(jars, readings: Readings, t, dummies, noise, drift_g, rng):
    """Add closed jars of constant mass (role `weight check`)."""
    names = [f"W{i + 1}" for i in range(dummies)]
    more = [Jar(n, "weight check", "weight check", "", measured="mass") for n in names]
    shape = (dummies, len(t))
    mass = 480.0 + drift_g + noise.mass_g * rng.standard_normal(shape)
    n_old = len(jars)
    columns = {}
    for name, old in readings.columns.items():
        new = mass if name in ("mass_before_g", "mass_after_g") else np.full(shape, np.nan)
        columns[name] = np.concatenate([old, new.ravel()])
    joined = sim.readings_of({}, t, n_old + dummies)
    vented = np.concatenate([readings.not_vented, np.zeros(mass.size, bool)])
    return [*jars, *more], replace(joined, columns=columns, not_vented=vented)
