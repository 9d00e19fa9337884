"""Problems of every stage planted into one workbook are all told in the first run."""

from __future__ import annotations

import re
from collections.abc import Callable
from pathlib import Path

import pytest

from bmp.cli import main
from tests.tables import Rows, tables, with_item, write_xlsx

RUNNING: Rows = [
    ["jar", "time [d]", "volume [mL]", "temperature [°C]"],
    *[
        [jar, day, volume, 20]
        for jar, volumes in {
            "N1": (50, 90, 120, 140),
            "N2": (52, 94, 125, 145),
            "A1": (500, 1200, 1600, 1800),
            "A2": (520, 1240, 1650, 1840),
        }.items()
        for day, volume in zip((1, 3, 7, 14), volumes, strict=True)
    ],
]
Tables = dict[str, Rows]


def sound() -> Tables:
    trial = with_item("readings are", "cumulative", with_item("gas temperature [°C]", None))
    return tables(trial=trial, readings=[list(row) for row in RUNNING])


def header(t: Tables) -> None:
    t["jars"][0][4] = "headspace [mugs]"


def setup_item(t: Tables) -> None:
    t["trial"].append(["flush gas", "smoke"])


def out_of_range_item(t: Tables) -> None:
    t["trial"] = with_item("ambient [kPa]", 1000, t["trial"])


def material_cell(t: Tables) -> None:
    t["materials"][2][3] = "lots"


def unknown_material(t: Tables) -> None:
    t["jars"].append(["B1", "barley", 400, 5, 500])


def jar_without_reading(t: Tables) -> None:
    t["jars"].append(["A3", "oats", 400, 5, 500])


def unknown_jar(t: Tables) -> None:
    t["readings"].append(["Z9", 3, 40, 20])


def reading_cell(t: Tables) -> None:
    t["readings"][2][2] = "about 90"


def reading_out_of_range(t: Tables) -> None:
    t["readings"][6][3] = 400


def no_temperature(t: Tables) -> None:
    t["readings"][8][3] = None


def same_time_twice(t: Tables) -> None:
    t["readings"].append(["N1", 14, 141, 20])


def falls(t: Tables) -> None:
    t["readings"][15][2] = 165.0


def day_before_start(t: Tables) -> None:
    t["readings"][13][1] = -1


PLANTS: tuple[Callable[[Tables], None], ...] = (
    header, setup_item, out_of_range_item, material_cell, unknown_material, jar_without_reading,
    unknown_jar, reading_cell, reading_out_of_range, no_temperature, same_time_twice, falls,
    day_before_start,
)  # fmt: skip


FOLLOWS = {jar_without_reading: unknown_jar}
"""What may only follow from another plant: a jar without readings from a name mistyped."""
_ROW = re.compile(r"row \d+")


def told(place: Path, capsys: pytest.CaptureFixture[str]) -> list[str]:
    """Return the problems that a run prints, without their rows, which other plants move."""
    main(["analyze", str(place)])
    lines = capsys.readouterr().err.splitlines()
    return [_ROW.sub("row", line) for line in lines if "sheet " in line]


@pytest.mark.parametrize("plant", PLANTS)
def test_each_is_told_alone_and_beside_all_others(
    plant: Callable[[Tables], None], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    alone, together = sound(), sound()
    plant(alone)
    for one in PLANTS:
        if one is not FOLLOWS.get(plant):
            one(together)
    first = told(write_xlsx(tmp_path / "alone.xlsx", alone), capsys)
    assert first, "the plant is no problem"
    whole = told(write_xlsx(tmp_path / "together.xlsx", together), capsys)
    assert not [line for line in first if line not in whole]


def test_without_a_plant_nothing_is_told(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert told(write_xlsx(tmp_path / "sound.xlsx", sound()), capsys) == []
