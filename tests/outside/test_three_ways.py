"""The same real bottles by pressure, by volume and by mass, beside their laboratory's yields.

Justesen C.G. et al. (2019), "Development and validation of a low-cost gas density method for
measuring biochemical methane potential (BMP)", Water 11(12):2431, trial 1, day 31.1; n, SD and
yields as published. The sheets are not part of this project; the tests are skipped without them.

Air pressure does not stand in the sheets, temperatures only in two notes: gas in the syringe was
21.7 °C, and 20.1 °C, "same as" the room's. Bottles and gas are taken here at 21.7 °C and 101.3 kPa.
What that leaves is explained by size:

* carbon dioxide leaves the liquor as the pressure falls: syringes hold 7 % less gas than the
  pressure lets out where that is below 0.2 bar, and 6 % more above 0.8 bar (a test below). No one
  temperature brings the two ways together; bottles at 37 °C would hold 5 % less.
* shares are of methane and carbon dioxide only, so what was flushed in counts as biogas. Followed
  by a balance of the headspace (a test below), the volumes give 3 to 5 % less.
* masses stand to 0.1 g, a loss of 0.3 g to a quarter; what leaks between the readings counts as gas
  in the mass alone.
"""

from __future__ import annotations

import csv
import shutil
from collections.abc import Mapping
from pathlib import Path

import numpy as np
import pytest

from bmp.analyze import analyze
from bmp.cli import main
from bmp.read import read_trial
from bmp.results import Results
from bmp.trial import FloatArray, Jar, Trial
from tests.references import REAL
from tests.test_read_takeover import answer

PLACE = REAL / "real-trials" / "sdu-2016"
ANSWERS = {
    "the trial to read is": "1",
    'cell C80 "NAME"': "not known",
    'column H "Initial headspace pressure (kPa)"': "gauge before [bar]",
    'column N "Substrate VS conc. (g/kg)"': "VS [g/kg of fresh mass]",
    'column O "Inoculum VS conc. (g/kg)"': "VS of inoculum [g/kg of fresh mass]",
    "where a reading has no figure": "the jar is left out",
    "gas": "wet",
    "gas temperature [°C]": "21.7",
    "ambient [kPa]": "101.3",
    "incubation temperature [°C]": "21.7",
    "flush gas": "nitrogen",
    'material of "W3"': "not known",
}
WAYS = ("pressure", "volume", "mass")
LEAKED = "E1"
"""It lost 0.2 g of gas between the readings, twice: in the masses, not in pressure or volume."""

pytestmark = pytest.mark.skipif(
    not PLACE.is_dir(), reason="the real sheets are not beside this checkout"
)


def taken_over(folder: Path, way: str, **changed: str) -> Results:
    """Return the sheets as they are, read by one way of measuring, with other answers."""
    shutil.copytree(PLACE, folder)
    main(["start", str(folder)])
    answers = {**ANSWERS, "measured": way, **changed}
    assert not answer(folder, answers)
    return analyze(read_trial(folder))


@pytest.fixture(scope="module")
def found(tmp_path_factory: pytest.TempPathFactory) -> Mapping[str, Results]:
    folder = tmp_path_factory.mktemp("sheets")
    return {way: taken_over(folder / way, way) for way in WAYS}


@pytest.fixture(scope="module")
def second(tmp_path_factory: pytest.TempPathFactory) -> Mapping[str, Results]:
    """Return the second trial, read to day 94; nothing of it is in print."""
    folder = tmp_path_factory.mktemp("second")
    return {way: taken_over(folder / way, way, **{"the trial to read is": "2"}) for way in WAYS}


@pytest.fixture(scope="module")
def published() -> Mapping[tuple[str, str], float]:
    with (PLACE / "published.csv").open(encoding="utf-8") as table:
        return {
            (row["measured"], row["feed"]): float(row["bmp_mL_per_gVS"])
            for row in csv.DictReader(table)
        }


def jars(results: Results, series: str) -> dict[str, float]:
    """Return the yield of each jar of a feed."""
    for one in results.yields:
        if one.series == series:
            names = [results.trial.jars[index].name for index in one.jars]
            return dict(zip(names, one.jar_values, strict=True))
    return {}


def sound(results: Results, series: str) -> float:
    """Return the mean of the jars that did not leak, or whose leak is counted."""
    return float(np.mean([v for jar, v in jars(results, series).items() if jar != LEAKED]))


@pytest.mark.parametrize(
    ("way", "series", "within"),
    [
        ("pressure", "Cellulose", 0.02),
        ("pressure", "FI1", 0.02),
        ("pressure", "Ethanol", 0.02),
        # 9 % more: the laboratory's own three ways differ by 8 % here, its SD is 7 %
        ("pressure", "FI3", 0.10),
        # 2 to 5 % more: the flushed gas that counts as biogas
        ("volume", "Cellulose", 0.03),
        ("volume", "FI3", 0.05),
        ("volume", "Ethanol", 0.025),
        # 3 to 7 % more: leaks count as gas, and the flushed gas; FI1, under up to 1.9 bar, 11 %
        ("mass", "Cellulose", 0.06),
        ("mass", "FI3", 0.07),
        ("mass", "Ethanol", 0.03),
        ("mass", "FI1", 0.11),
    ],
)
def test_each_way_lies_near_its_published_yield(
    found: Mapping[str, Results],
    published: Mapping[tuple[str, str], float],
    way: str,
    series: str,
    within: float,
) -> None:
    assert sound(found[way], series) == pytest.approx(published[way, series], rel=within)


def test_three_ways_of_the_same_bottles_agree(found: Mapping[str, Results]) -> None:
    """Cellulose 372, 378 and 383, 2.8 % apart (361.7 to 367.6 published, 1.6 %); ethanol 733, 750
    and 754, 2.9 % (0.3 %)."""
    for series in ("Cellulose", "Ethanol"):
        ours = [sound(found[way], series) for way in WAYS]
        assert max(ours) / min(ours) < 1.03


@pytest.mark.parametrize(("series", "all_three"), [("FI1", 0.05), ("FI2", 0.05), ("FI3", 0.03)])
def test_three_ways_agree_in_the_second_trial(
    second: Mapping[str, Results], series: str, all_three: float
) -> None:
    """407, 392 and 393; 404, 385 and 392; 534, 544 and 539: volume and mass to 2 %.

    By pressure 4 to 5 % more for two feeds: bottles a few kelvin warmer than the room hold less.
    """
    ours = {way: sound(second[way], series) for way in WAYS}
    assert ours["volume"] == pytest.approx(ours["mass"], rel=0.02)
    assert max(ours.values()) / min(ours.values()) < 1 + all_three


@pytest.mark.parametrize(("series", "leaked"), [("Cellulose", "L2"), ("CB", "C5")])
def test_what_leaked_between_readings_is_in_the_mass_alone(
    second: Mapping[str, Results], series: str, leaked: str
) -> None:
    for way in ("pressure", "volume"):
        by_jar = jars(second[way], series)
        assert by_jar.pop(leaked) < 0.65 * np.mean(list(by_jar.values()))
    by_mass = jars(second["mass"], series)
    assert by_mass.pop(leaked) == pytest.approx(np.mean(list(by_mass.values())), rel=0.1)


def headspaces() -> dict[str, float]:
    """Return the headspace of each bottle of trial 1 [mL]."""
    with (PLACE / "setup.csv").open(encoding="utf-8") as table:
        rows = [row for row in csv.reader(table) if row[0] == "1" and row[19]]
    return {row[1]: float(row[19]) for row in rows}


def _jar(trial: Trial, name: str) -> Jar:
    return next(jar for jar in trial.jars if jar.name == name)


def single_readings() -> tuple[FloatArray, FloatArray]:
    """Return gauge pressure [bar], and gas in the syringe over gas that this pressure lets out.

    By the gas law, both at one temperature and at 101.3 kPa.
    """
    headspace = headspaces()
    bar, ratio = [], []
    with (PLACE / "gas.csv").open(encoding="utf-8") as table:
        for row in csv.reader(table):
            told = row[0] == "1" and row[7] and row[8] and row[1] in headspace
            if told and float(row[7]) > 0 and float(row[8]) > 0:
                bar.append(float(row[7]))
                let_out = float(row[7]) / 1.013 * headspace[row[1]]
                ratio.append(float(row[8]) / let_out)
    return np.array(bar), np.array(ratio)


def test_gas_leaves_the_liquor_when_a_bottle_is_opened() -> None:
    """Half of the carbon dioxide dissolved at 1 bar more, by Henry's law, is 10 % of the gas.

    0.034 mol/(L bar) at 25 °C (Sander 2015, Atmos. Chem. Phys. 15:4399), 0.026 at 37 °C; 0.49 L of
    liquor, 0.63 L of gas of which 45 % is carbon dioxide.
    """
    bar, ratio = single_readings()
    low, high = np.median(ratio[bar < 0.2]), np.median(ratio[bar > 0.8])
    dissolved, in_gas = 0.026 * 0.45 * 0.49, 0.63 / (0.08314 * 310.15)
    assert high - low == pytest.approx(dissolved / in_gas / 2, abs=0.03)
    assert low < 1 < high


def test_the_bottle_that_leaked_is_low_by_volume_and_pressure(
    found: Mapping[str, Results],
) -> None:
    for way in ("pressure", "volume"):
        ethanol = jars(found[way], "Ethanol")
        assert ethanol[LEAKED] < 0.8 * sound(found[way], "Ethanol")
    by_mass = jars(found["mass"], "Ethanol")
    assert by_mass.pop(LEAKED) == pytest.approx(np.mean(list(by_mass.values())), rel=0.02)


def test_ethanol_gives_no_more_than_its_theory(found: Mapping[str, Results]) -> None:
    """C2H6O gives 1.5 mol of methane a mol: 1.5 x 22 360 / 46.07 = 728 NmL/g; VS as typed."""
    theory = 1.5 * 22_360 / 46.07
    for way in WAYS:
        assert sound(found[way], "Ethanol") == pytest.approx(theory, rel=0.04)


@pytest.mark.parametrize(("series", "jar_names"), [("FI3", "C1 C2 C3"), ("Ethanol", "E2 E3")])
def test_by_a_balance_of_the_headspace_the_volumes_are_the_published_ones(
    found: Mapping[str, Results], published: Mapping[tuple[str, str], float],
    series: str, jar_names: str,
) -> None:  # fmt: skip
    """Nitrogen is washed out as gas is let go; what stays under the lid at the end counts.

    A calculation apart from the tool, from its readings alone; cellulose and FI1 lack a volume.
    """
    trial = found["volume"].trial
    names = [jar.name for jar in trial.jars]

    def methane_mL(name: str) -> float:
        here = trial.readings.jar == names.index(name)
        volume, share = (
            trial.readings.column(column)[here][1:] for column in ("volume_mL", "methane_share")
        )
        dry = (101.3 - 2.6) / 101.325 * 273.15 / 294.85
        headspace = headspaces()[name] * dry
        nitrogen, made = headspace, 0.0
        for let_go, x in zip(volume * dry, share, strict=True):
            part = nitrogen / (headspace + let_go)
            made += let_go * x * (1 - part)
            nitrogen -= part * let_go
        return float(made + (headspace - nitrogen) * share[-1])

    blank = np.mean([methane_mL(f"I{n}") / _jar(trial, f"I{n}").inoculum_g for n in range(1, 5)])
    yields = []
    for name in jar_names.split():
        jar = _jar(trial, name)
        VS = next(m.VS for m in trial.materials if m.name == jar.material)
        own = methane_mL(name) - blank * jar.inoculum_g
        yields.append(own / (jar.sample_g * VS))
    assert np.mean(yields) == pytest.approx(published["volume", series], rel=0.02)
    assert 0.02 < sound(found["volume"], series) / np.mean(yields) - 1 < 0.06


def test_a_warmer_bottle_holds_less(tmp_path: Path, found: Mapping[str, Results]) -> None:
    warm = taken_over(tmp_path / "warm", "pressure", **{"incubation temperature [°C]": "37"})
    ratio = sound(found["pressure"], "Cellulose") / sound(warm, "Cellulose")
    # by the gas law alone 310.15/294.85
    assert ratio == pytest.approx(310.15 / 294.85, abs=0.01)
