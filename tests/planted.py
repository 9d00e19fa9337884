"""Clean simulated trials of every kind, and the same with one slip planted."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import datetime, timedelta

import numpy as np

from bmp.atmosphere import standard_atmosphere_kPa
from bmp.trial import FloatArray, Readings, Trial
from tests import simulate as sim
from tests.simulate_trials import CELLULOSE, DAILY, SPARSE, Feed, Noise, Simulated, simulate_trial

WAYS = ("volume", "counter", "kept", "methane volume", "pressure", "mass")
PRESSURE_VENTING = (0.0, 0.0, 0.3, 1.0)


def random_feeds(rng) -> tuple[Feed, ...]:
    """Cellulose and one to three feeds, first order or modified Gompertz."""
    k = None if rng.random() < 0.4 else rng.uniform(0.18, 0.35)
    B0, Rm, lag = rng.uniform(350, 385), rng.uniform(35, 70), rng.uniform(0.3, 3)
    feeds = [replace(CELLULOSE, k=k, B0=B0, Rm=Rm, lag=lag)]
    for n in range(rng.integers(1, 4)):
        B0 = rng.uniform(180, 600)
        solids = rng.uniform(0.08, 0.9)
        feeds.append(
            Feed(
                f"feed {n + 1}", B0,
                rng.uniform(0.06, 0.5) if rng.random() < 0.5 else None,
                Rm=B0 * rng.uniform(0.06, 0.15), lag=rng.uniform(0.0, 5.0),
                TS=solids, VS=solids * rng.uniform(0.7, 0.97),
                methane_share=rng.uniform(0.5, 0.7),
            )
        )  # fmt: skip
    return tuple(feeds)


def random_noise(rng) -> Noise:
    return Noise(
        relative=rng.uniform(0.003, 0.02),
        volume_mL=rng.uniform(0.3, 2.0),
        pressure_kPa=rng.uniform(0.05, 0.3),
        mass_g=rng.uniform(0.002, 0.01),
        share=rng.uniform(0.002, 0.01),
        between_jars=rng.uniform(0.01, 0.05),
    )


def options(rng, way: str) -> dict:
    """Random choices of one simulated trial."""
    kind = {"counter": "volume", "kept": "volume"}.get(way, way)
    cold = way != "mass" and rng.random() < 0.3
    chosen = {
        "way": kind,
        "feeds": random_feeds(rng),
        "time_d": DAILY if rng.random() < 0.6 else SPARSE,
        "jars_per_material": int(rng.integers(3, 5)),
        "blanks": int(rng.integers(3, 5)),
        "noise": random_noise(rng),
        "cumulative": way in ("counter", "kept"),
        "gas_kept": way == "kept",
        "blank_yield": rng.uniform(30, 90),
        "blank_k": rng.uniform(0.02, 0.15),
        "ambient_kPa": rng.uniform(94, 102),
        "closing_C": 20.0 if cold else None,
        "inoculum_to_substrate": rng.uniform(1.5, 4.0),
        "shares": way != "methane volume" and rng.random() < 0.8,
    }
    if way == "pressure":
        chosen["left_gauge_share"] = float(rng.choice(PRESSURE_VENTING))
        chosen["gauge"] = bool(rng.random() < 0.5)
    if way == "mass":
        chosen["dummies"] = int(rng.integers(0, 4))
        chosen["with_volume"] = bool(rng.random() < 0.5)
        chosen["drift_g"] = rng.normal(0, 0.05, len(chosen["time_d"]))
    return chosen


def rounded(rng, trial: Trial) -> Trial:
    """Round volumes as they are read off a scale."""
    step = rng.choice([0.1, 0.5, 1.0, 5.0])
    if "volume_mL" not in trial.readings.columns:
        return trial
    return with_column(
        trial, "volume_mL", np.round(trial.readings.columns["volume_mL"] / step) * step
    )


def dated(rng, trial: Trial) -> Trial:
    """Give the readings dates."""
    start = datetime(2026, int(rng.integers(1, 13)), int(rng.integers(1, 29)), 9)
    taken = tuple(start + timedelta(days=float(t)) for t in trial.readings.time_d)
    setup = replace(trial.setup, started=start)
    return replace(trial, setup=setup, readings=replace(trial.readings, taken=taken))


def clean(rng, way: str | None = None, **changes) -> Simulated:
    """A trial without any slip."""
    chosen = options(rng, way or str(rng.choice(WAYS))) | changes
    made = simulate_trial(rng, **chosen)
    trial = made.trial
    if rng.random() < 0.5:
        trial = rounded(rng, trial)
    if rng.random() < 0.5:
        trial = dated(rng, trial)
    if rng.random() < 0.5:
        altitude = 44330 * (1 - (chosen["ambient_kPa"] / 101.325) ** 0.1903)
        weather = rng.uniform(-150, 150)
        trial = replace(trial, setup=replace(trial.setup, altitude_m=max(0, altitude + weather)))
    return replace(made, trial=trial)


def kept_readings(trial: Trial, keep: np.ndarray) -> Trial:
    """The trial with some of its readings only."""
    return replace(trial, readings=trial.readings.where(keep))


def unfinished(rng) -> Trial:
    """A trial without any slip, looked at while it runs."""
    trial = clean(rng).trial
    times = np.unique(trial.readings.time_d)
    last = times[int(rng.integers(1, len(times) - 1))]
    return kept_readings(trial, trial.readings.time_d <= last)


def with_column(trial: Trial, name: str, values: FloatArray) -> Trial:
    columns = dict(trial.readings.columns) | {name: values}
    return replace(trial, readings=replace(trial.readings, columns=columns))


def with_setup(trial: Trial, **changes) -> Trial:
    return replace(trial, setup=replace(trial.setup, **changes))


def value_name(trial: Trial) -> str:
    names = ("volume_mL", "gauge_before_kPa", "absolute_before_kPa", "mass_before_g")
    if trial.setup.measured == "mass":
        return "mass_before_g"
    return next(n for n in names if n in trial.readings.columns)


def jar_values(trial: Trial, j: int) -> np.ndarray:
    """Indices of one jar's readings."""
    return np.flatnonzero(trial.readings.jar == j)


def own_jars(trial: Trial) -> list[int]:
    return [j for j, jar in enumerate(trial.jars) if jar.role != "weight check"]


# --- planted slips ------------------------------------------------------------------------------


def interval_for_cumulative(rng) -> Trial:
    way = str(rng.choice(["volume", "methane volume"]))
    return with_setup(clean(rng, way).trial, cumulative=True)


def cumulative_for_interval(rng) -> Trial:
    return with_setup(clean(rng, str(rng.choice(["counter", "kept"]))).trial, cumulative=False)


def counter_reset(rng) -> Trial:
    trial = clean(rng, "counter").trial
    value = trial.readings.columns["volume_mL"].copy()
    one = jar_values(trial, int(rng.integers(len(trial.jars))))
    own = value[one]
    can = np.flatnonzero((own[:-1] > 0.15 * own[-1]) & (np.arange(len(own) - 1) >= 1))
    at = int(rng.choice(can))
    value[one[at + 1 :]] = own[at + 1 :] - own[at]
    return with_column(trial, "volume_mL", value)


def counter_rollover(rng) -> Trial:
    trial = clean(rng, "counter").trial
    value = trial.readings.columns["volume_mL"].copy()
    if rng.random() < 0.5:
        return with_column(trial, "volume_mL", np.where(value > 0, value % 1000.0, value))
    tops = [value[jar_values(trial, j)].max() for j in range(len(trial.jars))]
    one = jar_values(trial, int(np.argmax(tops)))
    value[one] = value[one] % 1000.0
    return with_column(trial, "volume_mL", value)


def overflow(rng) -> Trial:
    while True:
        way = str(rng.choice(["volume", "methane volume", "counter", "pressure"]))
        changes = {"left_gauge_share": 0.0} if way == "pressure" else {}
        trial = clean(rng, way, **changes).trial
        name = value_name(trial)
        value = trial.readings.columns[name]
        low = 0.0 if "absolute" not in name else 101.0
        cap = low + rng.uniform(0.55, 0.85) * (value.max() - low)
        if (value > cap).sum() >= 4:
            cap = max(1.0, np.round(cap, -1)) if name == "volume_mL" else cap
            return with_column(trial, name, np.minimum(value, cap))


def gauge_for_absolute(rng) -> Trial:
    trial = clean(rng, "pressure", gauge=True).trial
    return _renamed(trial, "gauge", "absolute")


def absolute_for_gauge(rng) -> Trial:
    trial = clean(rng, "pressure", gauge=False).trial
    return _renamed(trial, "absolute", "gauge")


def _renamed(trial: Trial, old: str, new: str) -> Trial:
    columns = {k.replace(old, new): v for k, v in trial.readings.columns.items()}
    return replace(trial, readings=replace(trial.readings, columns=columns))


def _times(trial: Trial, factor: float, names: tuple[str, ...]) -> Trial:
    columns = {
        k: v * factor if k.startswith(names) else v for k, v in trial.readings.columns.items()
    }
    return replace(trial, readings=replace(trial.readings, columns=columns))


def kPa_for_mbar(rng) -> Trial:
    trial = clean(rng, "pressure").trial
    factor = float(rng.choice([10.0, 0.1]))
    which = ("ambient",) if rng.random() < 0.3 else ("gauge", "absolute")
    return _times(trial, factor, which)


def psi_for_bar(rng) -> Trial:
    trial = clean(rng, "pressure").trial
    factor = float(rng.choice([14.504, 1 / 14.504]))
    return _times(trial, factor, ("gauge", "absolute"))


def sea_level_pressure(rng) -> Trial:
    altitude = rng.uniform(500, 3500)
    here = standard_atmosphere_kPa(altitude) + rng.normal(0, 0.8)
    trial = clean(rng, ambient_kPa=here).trial
    gap = 101.325 - standard_atmosphere_kPa(altitude)
    trial = with_column(trial, "ambient_kPa", trial.readings.columns["ambient_kPa"] + gap)
    return with_setup(trial, altitude_m=altitude, ambient_kPa=trial.setup.ambient_kPa + gap)


def share_unit(rng) -> Trial:
    way = str(rng.choice(["volume", "counter", "pressure", "mass"]))
    trial = clean(rng, way, shares=True).trial
    share = trial.readings.columns["methane_share"].copy()
    factor = float(rng.choice([100.0, 0.01, 1e4, 1e-4, 1e-6]))
    if rng.random() < 0.3:
        factor = float(rng.choice([100.0, 0.01]))
        some = rng.random(share.shape) < 0.1
        some[rng.integers(len(share))] = True
        share[some] *= factor
    else:
        share *= factor
    return with_column(trial, "methane_share", share)


def share_over_hundred(rng) -> Trial:
    way = str(rng.choice(["volume", "counter", "pressure", "mass"]))
    trial = clean(rng, way, shares=True).trial
    share = trial.readings.columns["methane_share"].copy()
    known = np.flatnonzero(np.isfinite(share))
    share[rng.choice(known, int(rng.integers(1, 6)))] = rng.uniform(1.005, 1.4)
    return with_column(trial, "methane_share", share)


def solids_basis(rng) -> Trial:
    trial = clean(rng).trial
    wet = [i for i, m in enumerate(trial.materials) if m.TS is not None and m.TS < 0.38]
    which = int(rng.choice(wet))
    m = trial.materials[which]
    VS = m.VS / m.TS if rng.random() < 0.5 else m.VS * m.TS
    materials = (*trial.materials[:which], replace(m, VS=VS), *trial.materials[which + 1 :])
    return replace(trial, materials=materials)


def net_yield_trial(made: Simulated, factor: float) -> Trial:
    """The same trial as a published table of net yields."""
    trial = made.trial
    keep = [j for j, jar in enumerate(trial.jars) if jar.sample_g > 0]
    jars = tuple(replace(trial.jars[j], measured="net yield") for j in keep)
    readings = sim.readings_of(
        {"net_yield_mL_per_g": made.net_NmL_per_gVS[keep] * factor}, made.time_d, len(keep)
    )
    return replace(with_setup(trial, measured="net yield"), jars=jars, readings=readings)


def yield_unit(rng) -> Trial:
    factor = float(rng.choice([1e-3, 1e3]))
    if rng.random() < 0.6:
        return net_yield_trial(clean(rng, "volume"), factor)
    trial = clean(rng, str(rng.choice(["volume", "counter", "kept", "methane volume"]))).trial
    return _times(trial, factor, ("volume",))


def normalised_already(rng) -> Trial:
    noise = replace(random_noise(rng), relative=rng.uniform(0.003, 0.012))
    way = str(rng.choice(["volume", "methane volume", "counter"]))
    made = clean(rng, way, noise=noise, time_d=DAILY)
    trial, around = made.trial, made.around
    passed = made.gas.metered.sum(axis=0) if way != "methane volume" else sim.absorbed_NmL(made.gas)
    passed = passed * (1 + noise.relative * rng.standard_normal(passed.shape))
    if way == "counter":
        passed = np.cumsum(passed, axis=1)
    passed = passed + noise.volume_mL * rng.standard_normal(passed.shape)
    assert len(around.time_d) == passed.shape[1]
    return with_column(trial, "volume_mL", passed.ravel())


def scrubbed_twice(rng) -> Trial:
    if rng.random() < 0.5:
        made = clean(rng, "methane volume")
        if rng.random() < 0.5:
            return with_setup(made.trial, methane_share=0.58)
        return with_column(made.trial, "methane_share", sim.share_read(made.gas).ravel())
    made = clean(rng, "methane volume", feeds=(CELLULOSE, *random_feeds(rng)[1:]))
    share = sim.share_read(made.gas).ravel()
    return with_setup(with_column(made.trial, "methane_share", share), measured="volume")


def warming_headspace(rng) -> Trial:
    way = str(rng.choice(["volume", "counter", "kept", "pressure"]))
    trial = clean(rng, way, closing_C=rng.uniform(15, 22)).trial
    return with_setup(trial, closing_temperature_C=None)


def swapped_labels(rng) -> Trial:
    """Two jars of sets whose curves lie at least a quarter apart somewhere."""
    while True:
        made = clean(rng, str(rng.choice(["volume", "counter", "kept", "pressure", "mass"])))
        trial = made.trial
        series = sorted({jar.series for jar in trial.jars if jar.role != "weight check"})
        first, second = rng.choice(series, 2, replace=False)
        a, b = (
            int(rng.choice([j for j, jar in enumerate(trial.jars) if jar.series == name]))
            for name in (first, second)
        )
        total = made.gas.metered.sum(axis=0) if trial.setup.measured != "pressure" else None
        total = made.methane_NmL if total is None else np.cumsum(total, axis=1)
        late = total[:, total.shape[1] // 6 :]
        apart = np.abs(np.log(np.maximum(late[a], 1) / np.maximum(late[b], 1)))
        if np.sqrt(np.mean(apart**2)) > 0.25:
            break
    one, two = jar_values(trial, a), jar_values(trial, b)
    columns = {}
    for name, old in trial.readings.columns.items():
        new = old.copy()
        new[one], new[two] = old[two], old[one]
        columns[name] = new
    return replace(trial, readings=replace(trial.readings, columns=columns))


def day_and_month(rng) -> Trial:
    """Dates written day first that a reader took month first where it could."""
    while True:
        trial = dated(rng, clean(rng).trial)
        taken = trial.readings.taken
        read = [t.replace(day=t.month, month=t.day) if t.day <= 12 else t for t in taken]
        start = trial.setup.started
        if sum(a != b for a, b in zip(taken, read, strict=True)) >= 3 * len(trial.jars):
            break
    time = np.array([(t - start).total_seconds() / 86_400 for t in read])
    order = np.lexsort((time, trial.readings.jar))
    old: Readings = trial.readings
    readings = replace(
        old,
        time_d=time[order],
        row=old.row[order],
        columns={k: v[order] for k, v in old.columns.items()},
        not_vented=old.not_vented[order],
        emptied=old.emptied[order],
        taken=tuple(read[i] for i in order),
    )
    return replace(trial, readings=readings)


def duplicate_reading(rng) -> Trial:
    """A row with the same jar and time, a row repeated, or a jar copied to another."""
    trial = clean(rng).trial
    r = trial.readings
    kind = rng.integers(3)
    if kind == 0:
        i = int(rng.integers(1, len(r.time_d)))
        columns = {k: np.insert(v, i, v[i - 1] * 1.001) for k, v in r.columns.items()}
        readings = replace(
            r,
            jar=np.insert(r.jar, i, r.jar[i - 1]),
            time_d=np.insert(r.time_d, i, r.time_d[i - 1]),
            row=np.append(r.row, r.row[-1] + 1),
            columns=columns,
            not_vented=np.insert(r.not_vented, i, False),
            emptied=np.insert(r.emptied, i, False),
            note=(*r.note, ""),
            taken=None if r.taken is None else (*r.taken[:i], r.taken[i - 1], *r.taken[i:]),
        )
        return replace(trial, readings=readings)
    if kind == 1:
        choice = np.flatnonzero(np.diff(r.jar, prepend=-1) == 0)
        i = int(rng.choice(choice))
        columns = {k: v.copy() for k, v in r.columns.items()}
        for v in columns.values():
            v[i] = v[i - 1]
        return replace(trial, readings=replace(r, columns=columns))
    a, b = rng.choice(own_jars(trial), 2, replace=False)
    name = value_name(trial)
    value = r.columns[name].copy()
    value[jar_values(trial, int(a))] = value[jar_values(trial, int(b))]
    return with_column(trial, name, value)


def zero_for_not_read(rng) -> Trial:
    """A zero in place of a reading that was far from it (amid gas that flows)."""
    way = str(rng.choice(["volume", "counter", "kept", "methane volume", "pressure"]))
    trial = clean(rng, way).trial
    name = value_name(trial)
    value = trial.readings.columns[name].copy()
    least = 8.0 if name != "volume_mL" else 15.0
    while True:
        one = jar_values(trial, int(rng.choice(own_jars(trial))))
        own = value[one]
        high = np.minimum(own[:-2], own[2:]) > max(least, 0.3 * np.median(own[own > 0]))
        if high.any():
            break
    at = int(rng.choice(np.flatnonzero(high))) + 1
    value[one[at]] = 0.0
    return with_column(trial, name, value)


def sample_below_blank(rng) -> Trial:
    bad = Feed("poison", -rng.uniform(0.25, 0.7) * 60, rng.uniform(0.1, 0.3), VS=0.5, TS=0.6)
    feeds = (*random_feeds(rng), bad)
    noise = replace(random_noise(rng), between_jars=rng.uniform(0.01, 0.03))
    return clean(
        rng, str(rng.choice(["volume", "counter", "pressure"])), feeds=feeds, blank_yield=60.0,
        noise=noise, blank_k=rng.uniform(0.05, 0.15), inoculum_to_substrate=rng.uniform(1.2, 2.0),
    ).trial  # fmt: skip


def leaking_jar(rng) -> Trial:
    way = str(rng.choice(WAYS))
    chosen = options(rng, way)
    # A scale does not see a third of the little gas of a blank.
    blanks = way != "mass" and rng.random() < 0.2
    names = [f"B{i + 1}" for i in range(chosen["blanks"])] if blanks else []
    names = names or [f"C{i + 1}" for i in range(chosen["jars_per_material"])]
    chosen["leak_share"] = {str(rng.choice(names)): rng.uniform(0.3, 0.6)}
    return simulate_trial(rng, **chosen).trial


def odd_interval(rng) -> Trial:
    """A jump of several percent of all gas in one interval of one jar."""
    trial = clean(rng, "volume").trial
    value = trial.readings.columns["volume_mL"].copy()
    one = jar_values(trial, int(rng.choice(own_jars(trial))))
    at = one[int(rng.integers(len(one) // 2, len(one)))]
    value[at] = value[at] * 5 + rng.uniform(0.06, 0.15) * value[one].sum()
    return with_column(trial, "volume_mL", value)


def missing_readings(rng) -> Trial:
    trial = clean(rng).trial
    r = trial.readings
    one = jar_values(trial, int(rng.choice(own_jars(trial))))
    start = int(rng.integers(0, len(one) - 5))
    keep = np.ones(len(r.time_d), bool)
    keep[one[start : start + int(rng.integers(3, 5))]] = False
    return kept_readings(trial, keep)


def pressure_fell(rng) -> Trial:
    """A jar opened once without a line in the log."""
    trial = clean(rng, "pressure", left_gauge_share=1.0).trial
    name = value_name(trial)
    value = trial.readings.columns[name].copy()
    one = jar_values(trial, int(rng.choice(own_jars(trial))))
    low = 0.0 if name.startswith("gauge") else 101.0
    can = np.flatnonzero(value[one] - low > 25.0)
    if not can.size:
        return pressure_fell(rng)
    at = int(rng.choice(can))
    value[one[at:]] -= rng.uniform(0.5, 0.9) * (value[one[at]] - low)
    lost = value[one[at]] - value[one[at - 1]] if at else 0.0
    return with_column(trial, name, value) if lost < -8.0 else pressure_fell(rng)


def share_unlike(rng) -> Trial:
    trial = clean(rng, str(rng.choice(["volume", "pressure"])), shares=True).trial
    share = trial.readings.columns["methane_share"].copy()
    name = str(rng.choice([jar.material for jar in trial.jars if jar.sample_g > 0]))
    of = np.array([jar.material == name for jar in trial.jars])[trial.readings.jar]
    share[of] = rng.uniform(0.94, 0.98) + 0.005 * rng.standard_normal(of.sum())
    return with_column(trial, "methane_share", share)


PLANTED: dict[str, tuple[str, Callable[..., Trial]]] = {
    "interval for cumulative": ("interval taken for cumulative", interval_for_cumulative),
    "cumulative for interval": ("cumulative taken for interval", cumulative_for_interval),
    "counter reset": ("counter reset", counter_reset),
    "counter rollover": ("counter rollover", counter_rollover),
    "overflow": ("overflow", overflow),
    "gauge for absolute": ("gauge and absolute pressure", gauge_for_absolute),
    "absolute for gauge": ("gauge and absolute pressure", absolute_for_gauge),
    "kPa and mbar": ("unit of pressure", kPa_for_mbar),
    "psi and bar": ("unit of pressure", psi_for_bar),
    "sea-level pressure": ("sea-level pressure at altitude", sea_level_pressure),
    "fraction, percent, ppm": ("unit of the methane share", share_unit),
    "share over 100 %": ("methane share over 100 %", share_over_hundred),
    "VS of fresh or dry": ("VS of fresh or of dry matter", solids_basis),
    "L/kg and m³/kg": ("litres and cubic metres", yield_unit),
    "normalised already (daily)": ("normalised twice", normalised_already),
    "scrubbed and multiplied": ("scrubbed gas multiplied again", scrubbed_twice),
    "warming headspace": ("warming headspace", warming_headspace),
    "swapped labels": ("swapped labels", swapped_labels),
    "day and month": ("day and month", day_and_month),
    "duplicate reading": ("duplicate reading", duplicate_reading),
    "zero for not read": ("zero for not read", zero_for_not_read),
    "sample below blank": ("sample below blank", sample_below_blank),
    "leaking jar (30 to 60 %)": ("leaking jar", leaking_jar),
    "odd interval": ("odd interval", odd_interval),
    "missing readings": ("missing readings", missing_readings),
    "pressure fell": ("pressure fell while closed", pressure_fell),
    "share unlike biogas": ("methane share unlike biogas", share_unlike),
}
