"""A whole archive: against reading its file alone, and against a loop of groupby and lmfit.

Run from the project root: `python -m tests.benchmarks.archive [jars] [workers]` (default 100,000
jars of 40 readings in 5,000 trials of 20; one process for each processor). Invented trials from a
seeded generator. Prints wall seconds, their ratio to `pandas.read_csv` of the same file in the same
run, the highest memory, the times for smaller archives, and the loop timed on a sample. Quote the
ratios: absolute times mean nothing on a shared machine.
"""

from __future__ import annotations

import os
import resource
import subprocess
import sys
import tempfile
import time
from datetime import date, timedelta
from pathlib import Path

import lmfit
import numpy as np
import pandas as pd
import pyarrow as pa
from pyarrow import csv

from bmp.trial import FloatArray

JARS_A_TRIAL = 20
SERIES = ("blank", "cellulose", "silage", "slops", "dung")
SOLIDS = {
    "digestate": ("inoculum", 2.9, 1.9), "cellulose": ("control", 95.2, 94.5),
    "silage": ("substrate", 33.0, 31.0), "slops": ("substrate", 24.0, 22.0),
    "dung": ("substrate", 20.0, 15.0),
}  # fmt: skip
DAYS = np.arange(1.0, 41.0)
LOOKED_AT = 10_000
SAMPLE = 240
"""Jars of the loop that is timed."""


def write_archive(place: Path, trials: int, seed: int = 5) -> None:
    """Write four tables of that many invented trials, four jars a series, interval volumes."""
    rng = np.random.default_rng(seed)
    place.mkdir(parents=True)
    names = [f"T{number:05d}" for number in range(trials)]
    items = ("title", "started", "measured", "readings are", "blank", "incubation temperature [°C]")
    lines = ["trial,item,value"]
    for number, name in enumerate(names):
        started = f"{date(2010, 1, 1) + timedelta(days=number)}T09:00"
        values = (f"Trial {name}", started, "volume", "interval", "measured", "37")
        lines += [f"{name},{item},{value}" for item, value in zip(items, values, strict=True)]
    (place / "trial.csv").write_text("\n".join(lines) + "\n", encoding="utf-8")
    # solids are measured anew for every trial
    moist = rng.normal(1.0, 0.04, (trials, len(SOLIDS)))
    lines = ["trial,material,role,TS [% of fresh mass],VS [% of fresh mass]"]
    jars = ["trial,jar,material,inoculum [g],sample [g],headspace [mL]"]
    for name, share in zip(names, moist, strict=True):
        volatile: dict[str, float] = {}
        for (material, (role, TS, VS)), own in zip(SOLIDS.items(), share, strict=True):
            volatile[material] = round(VS * min(own, 1.04), 2)
            lines.append(f"{name},{material},{role},{TS * min(own, 1.04):.2f},{volatile[material]}")
        for letter, series in zip("NCSFD", SERIES, strict=True):
            kind = "" if series == "blank" else series
            grams = f"{100.0 * 3.8 / volatile[kind]:.3f}" if kind else ""
            jars += [f"{name},{letter}{jar},{kind},400,{grams},520" for jar in range(1, 5)]
    (place / "materials.csv").write_text("\n".join(lines) + "\n", encoding="utf-8")
    (place / "jars.csv").write_text("\n".join(jars) + "\n", encoding="utf-8")
    csv.write_csv(_readings(names, rng), place / "readings.csv")


def _readings(names: list[str], rng: np.random.Generator) -> pa.Table:
    trials = len(names)
    per_trial = JARS_A_TRIAL * DAYS.size
    gas = _gas(trials, rng)
    gas = np.maximum(gas + rng.normal(0.0, 0.8, gas.shape), 0.0)
    jars = [f"{letter}{jar}" for letter in "NCSFD" for jar in range(1, 5)]
    trial = pa.DictionaryArray.from_arrays(
        np.repeat(np.arange(trials, dtype=np.int32), per_trial), pa.array(names)
    )
    jar = pa.DictionaryArray.from_arrays(
        np.tile(np.repeat(np.arange(JARS_A_TRIAL, dtype=np.int32), DAYS.size), trials),
        pa.array(jars),
    )
    days = np.tile(DAYS, trials * JARS_A_TRIAL)
    weather = np.repeat(rng.normal(99.0, 0.8, (trials, 1, DAYS.size)), JARS_A_TRIAL, axis=1)
    warmth = np.repeat(rng.normal(20.0, 0.7, (trials, 1, DAYS.size)), JARS_A_TRIAL, axis=1)
    columns = {
        "trial": trial.cast(pa.string()), "jar": jar.cast(pa.string()), "time [d]": days,
        "volume [mL]": np.round(gas.ravel(), 1), "temperature [°C]": np.round(warmth.ravel(), 1),
        "ambient [kPa]": np.round(weather.ravel(), 2),
        "methane [%]": np.round(rng.normal(57.0, 0.5, gas.size), 1),
    }  # fmt: skip
    return pa.table(columns)


def _gas(trials: int, rng: np.random.Generator) -> FloatArray:
    """Return the wet gas of each interval as read, shape (trials, jars, readings) [mL]."""
    shape = (trials, JARS_A_TRIAL, 1)
    start = np.concatenate([[0.0], DAYS])

    def share(k: FloatArray) -> FloatArray:
        return np.diff(1.0 - np.exp(-k * start), axis=-1)

    b0 = np.tile(np.repeat([0.0, 372.0, 330.0, 420.0, 230.0], 4)[None, :, None], (trials, 1, 1))
    b0 = b0 * rng.normal(1.0, 0.02, shape) * rng.normal(1.0, 0.04, (trials, 1, 1)) ** (b0 != 372.0)
    k = np.repeat([0.1, 0.24, 0.18, 0.2, 0.07], 4)[None, :, None] * rng.normal(1.0, 0.05, shape)
    net = b0 * share(k)
    lag, rate = 1.5, b0 * 0.14
    late = np.arange(JARS_A_TRIAL)[None, :, None] // 4 == 3
    bend = np.exp(-np.exp(rate * np.e / np.maximum(b0, 1.0) * (lag - start) + 1.0))
    net = np.where(late, np.diff(b0 * bend, axis=-1), net)
    inoculum = rng.normal(0.9, 0.03, shape) * share(np.full(shape, 0.06))
    return np.asarray((net * 3.8 + inoculum * 400.0) / 0.57 * 1.10)


def archive_once(place: Path, out: Path, workers: int, *more: str) -> tuple[float, float, float]:
    """Run the command; return wall seconds, processor seconds and MB at most, of all processes."""
    words = ["archive", str(place), "--out", str(out), "--workers", str(workers), *more]
    before, start = resource.getrusage(resource.RUSAGE_CHILDREN), time.perf_counter()
    running = subprocess.Popen([sys.executable, "-m", "bmp", *words], stdout=subprocess.DEVNULL)
    highest = 0.0
    while running.poll() is None:
        highest = max(highest, _megabytes(running.pid))
        time.sleep(0.05)
    seconds = time.perf_counter() - start
    assert running.returncode == 0
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    processor = after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime
    return seconds, processor, highest


def _megabytes(process: int) -> float:
    """Return the memory of a process and those it started; what they share counts once."""
    try:
        family = Path(f"/proc/{process}/task/{process}/children").read_text().split()
        lines = Path(f"/proc/{process}/smaps_rollup").read_text().splitlines()
    except OSError:
        return 0.0
    own = sum(float(line.split()[1]) for line in lines if line.startswith("Pss:")) / 1024
    return own + sum(_megabytes(int(child)) for child in family)


def read_seconds(path: Path) -> tuple[float, float]:
    """Return wall and processor seconds of `pandas.read_csv`, the middle of three."""
    times = []
    for _ in range(3):
        start, work = time.perf_counter(), time.process_time()
        pd.read_csv(path)
        times.append((time.perf_counter() - start, time.process_time() - work))
    walls, works = zip(*times, strict=True)
    return sorted(walls)[1], sorted(works)[1]


def first_order(t: FloatArray, B0: float, k: float) -> FloatArray:
    """Return the curve as a user of lmfit writes it."""
    return B0 * (1 - np.exp(-k * t))


def gompertz(t: FloatArray, B0: float, Rm: float, lag: float) -> FloatArray:
    """Return the curve as a user of lmfit writes it."""
    return B0 * np.exp(-np.exp(Rm * np.e / B0 * (lag - t) + 1))


def late_first_order(t: FloatArray, B0: float, k: float, lag: float) -> FloatArray:
    """Return the curve as a user of lmfit writes it."""
    return B0 * (1 - np.exp(-k * np.maximum(t - lag, 0.0)))


def cone(t: FloatArray, B0: float, k: float, n: float) -> FloatArray:
    """Return the curve as a user of lmfit writes it."""
    return B0 / (1 + (k * np.maximum(t, 1e-9)) ** -n)


def loop_seconds_per_jar(path: Path) -> FloatArray:
    """Return the processor seconds a jar of a loop as people write it.

    Groupby of trial and jar, dry gas, methane, running total, less the trial's mean blank, one
    lmfit fit a model from good starting values. Reading the file is not counted.

    Returns
    -------
    array, shape (3,)
        Without fits; of the fits of first order and modified Gompertz; of those of the two other
        models that the archive chooses from.
    """
    table = pd.read_csv(path, nrows=4 * SAMPLE * DAYS.size)
    models = [(lmfit.Model(first_order), {"B0": 1.0, "k": 0.1}),
              (lmfit.Model(gompertz), {"B0": 1.0, "Rm": 0.1, "lag": 1.0}),
              (lmfit.Model(late_first_order), {"B0": 1.0, "k": 0.1, "lag": 0.5}),
              (lmfit.Model(cone), {"B0": 1.0, "k": 0.2, "n": 1.5})]  # fmt: skip
    start, fitting, jars, blanks = time.process_time(), np.zeros(2), 0, {}
    for (trial, jar), rows in table.groupby(["trial", "jar"]):
        warmth = rows["temperature [°C]"]
        vapour = 0.61094 * np.exp(17.625 * warmth / (243.04 + warmth))
        factor = (rows["ambient [kPa]"] - vapour) / 101.325 * 273.15 / (warmth + 273.15)
        methane = (rows["volume [mL]"] * factor * rows["methane [%]"] / 100.0).cumsum()
        days, total = rows["time [d]"].to_numpy(), methane.to_numpy()
        if str(jar).startswith("N"):
            blanks.setdefault(trial, []).append(total)
            continue
        if jars == SAMPLE:
            break
        known = blanks.get(trial)
        net = (total - (0.0 if known is None else np.mean(known, axis=0))) / 3.8
        for number, (model, begin) in enumerate(models):
            begin_fit = time.process_time()
            given = {
                name: value * (net[-1] if name in ("B0", "Rm") else 1.0)
                for name, value in begin.items()
            }
            parameters = model.make_params(**given)
            if "n" in given:
                parameters["n"].min, parameters["k"].min = 0.1, 1e-4
            model.fit(net, parameters, t=days)
            fitting[number // 2] += time.process_time() - begin_fit
        jars += 1
    rest = time.process_time() - start - fitting.sum()
    return np.array([rest, *fitting]) / jars


def main(jars: int, workers: int) -> None:
    """Print the figures."""
    with tempfile.TemporaryDirectory() as folder:
        lines = []
        for size in sorted({1_000, 10_000, jars}):
            place = Path(folder) / f"jars-{size}"
            write_archive(place, size // JARS_A_TRIAL)
            before = read_seconds(place / "readings.csv")
            loop_before = loop_seconds_per_jar(place / "readings.csv")
            out, alone = Path(folder) / f"out-{size}", "--skip-reading-errors"
            wall, processor, memory = archive_once(place, out, workers, alone)
            if size == LOOKED_AT:
                looked, looking, _ = archive_once(place, Path(folder) / "looked", workers)
                print(
                    f"{size} jars with a look for reading errors: {looked / wall:.1f} times as"
                    f" long, {looking / processor:.1f} times the processor"
                )
            after = read_seconds(place / "readings.csv")
            reading, work = (sum(pair) / 2 for pair in zip(before, after, strict=True))
            lines.append((size, wall, processor))
            print(
                f"{size} jars, {size * DAYS.size} readings: {wall:.1f} s, processor"
                f" {processor:.1f} s, {memory:.0f} MB at most; read_csv alone {reading:.2f} s,"
                f" processor {work:.2f} s; ratios {wall / reading:.1f} and {processor / work:.1f}",
                flush=True,
            )
        loop_after = loop_seconds_per_jar(place / "readings.csv")
    without, two, others = (loop_before + loop_after) / 2
    (_, small_wall, small_work), (size, wall, processor) = lines[0], lines[-1]
    fed = 0.8 * size
    for models, loop in (("two", without + two), ("all four", without + two + others)):
        print(f"loop of groupby and lmfit, {models} models: {1000 * loop:.1f} ms of processor time")
        print(f"a jar with a sample ({SAMPLE} timed), {loop * fed:.0f} s for all {fed:.0f}:")
        print(f"{loop * fed / processor:.0f} times the processor time of the archive,")
        print(f"{loop * fed / wall:.0f} times its wall time with {workers} processes")
    print(f"from 1,000 to {size} jars: {size / 1000:.0f} times the jars, {wall / small_wall:.1f}")
    print(f"times the wall time, {processor / small_work:.1f} times the processor time")


if __name__ == "__main__":
    given = [int(word) for word in sys.argv[1:]]
    main(*(given + [100_000, os.cpu_count() or 1][len(given) :]))
