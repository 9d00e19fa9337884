"""The same real bottles by pressure, by volume and by mass, beside their laboratory's yields.

Justesen C.G. et al. (2019), "Development and validation of a low-cost gas density method for
measuring biochemical methane potential (BMP)", Water 11(12):2431, trial 1, day 31.1; n, SD and
yields as published. The sheets are not part of this project; the tests are skipped without them.

Temperatures and air pressure do not stand in the sheets. Taken here: bottles at 20 °C when their
pressure was read, gas at 28 °C in the syringe, 101.3 kPa. What that makes: a bottle read at 37 °C
in place of 20 °C holds 6 % less gas, a syringe at 20 °C in place of 28 °C 4 to 5 % more (vapour
included). No one temperature of both brings the two ways together: in single readings the syringes
hold 5 % more than the pressure lets out.
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
    "gas temperature [°C]": "28",
    "ambient [kPa]": "101.3",
    "incubation temperature [°C]": "37",
    "flush gas": "nitrogen",
    'material of "W3"': "not known",
}
WAYS = ("pressure", "volume", "mass")
COLD = {"incubation temperature [°C]": "20"}
"""Of the bottles while their pressure was read."""
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
    return {
        way: taken_over(folder / way, way, **(COLD if way == "pressure" else {})) for way in WAYS
    }


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
        # 10 % more: the laboratory's own three ways differ by 8 % here, its SD is 7 %
        ("pressure", "FI3", 0.105),
        ("volume", "Cellulose", 0.02),
        ("volume", "FI3", 0.025),
        ("volume", "Ethanol", 0.025),
        # 4 to 5 % more, the feed with two bottles 10 %: masses to 0.1 g, so a loss of 0.3 g is
        # known to a quarter; what was lost through leaks between the readings counts as gas here
        ("mass", "Cellulose", 0.05),
        ("mass", "FI3", 0.06),
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
    """Cellulose: 361.7 to 367.6 published, 1.6 % apart; ethanol 0.3 %. Ours 4 %.

    Theirs had the temperature and pressure of the day, which are not in the sheets.
    """
    for series in ("Cellulose", "Ethanol"):
        ours = [sound(found[way], series) for way in WAYS]
        assert max(ours) / min(ours) < 1.05


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


def test_a_warmer_bottle_holds_less(tmp_path: Path, found: Mapping[str, Results]) -> None:
    warm = taken_over(tmp_path / "warm", "pressure", **{"incubation temperature [°C]": "37"})
    ratio = sound(found["pressure"], "Cellulose") / sound(warm, "Cellulose")
    # by the gas law alone 310.15/293.15
    assert ratio == pytest.approx(310.15 / 293.15, abs=0.01)
