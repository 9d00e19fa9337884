"""Gas that was let go before anyone read it is said to be so, and is not taken for no gas."""

from __future__ import annotations

from pathlib import Path

import pytest

from bmp.analyze import analyze
from bmp.check import check
from bmp.judge.reading_errors import find_reading_errors
from bmp.problem import UnusableInput
from bmp.read import read_trial
from bmp.trial import Trial
from tests.tables import tables, with_item, write_csv

DAYS = (1, 3, 5, 7, 9, 12, 15, 20)
BLANK, FED = (50, 60, 40, 30, 20, 20, 15, 10), (400, 600, 500, 300, 200, 150, 90, 40)


def trial(tmp_path: Path, cell: object, note: str | None = None, wide: bool = False) -> Trial:
    """Return a trial in which jar A1 has this cell on day 5."""
    gas = {"N1": BLANK, "N2": BLANK, "A1": FED, "A2": [1.02 * v for v in FED]}
    if wide:
        rows: list[list[object]] = [["time [d]", *(f"{name} [mL]" for name in gas)]]
        for k, day in enumerate(DAYS):
            rows.append([day, *(values[k] for values in gas.values())])
        rows[3][3] = cell
    else:
        rows = [["jar", "time [d]", "volume [mL]", "note"]]
        for name, values in gas.items():
            for day, value in zip(DAYS, values, strict=True):
                here = (name, day) == ("A1", 5)
                rows.append([name, day, cell if here else value, note if here else None])
    return read_trial(write_csv(tmp_path / "t", tables(readings=rows)))


@pytest.mark.parametrize(
    ("cell", "note", "wide"),
    [("not measured", None, False), (None, "vented, not measured", False),
     ("Not measured", None, True)],
)  # fmt: skip
def test_it_is_named_with_its_size_and_nothing_else_is(
    tmp_path: Path, cell: object, note: str | None, wide: bool
) -> None:
    made = trial(tmp_path, cell, note, wide)
    named = [f for f in find_reading_errors(made) if f.outcome in ("caution", "fail")]
    assert [f.check for f in named] == ["gas not measured"]
    assert named[0].where.startswith("A1 day 5")
    # the other jar made 510 of 2325.6 mL then
    assert "22 %" in named[0].meaning
    assert "lower bound" in named[0].meaning
    assert not check(made).problems


def test_an_empty_figure_without_the_words_is_refused_with_the_way_out(tmp_path: Path) -> None:
    with pytest.raises(UnusableInput, match="not measured"):
        trial(tmp_path, None, "hm")


def test_a_bottle_vented_unweighed_loses_no_gas_and_leaks_none(tmp_path: Path) -> None:
    """The mass after the venting holds what left; the loss before it is no leak."""
    jars = {"N1": 0.1, "N2": 0.1, "A1": 1.0, "A2": 1.0}
    days, full = (1, 3, 7, 14), (500.0, 499.0, 498.4, 498.0, 497.8)
    header = ["jar", "time [d]", "mass before [g]", "mass after [g]"]

    def read(cell: object) -> Trial:
        rows: list[list[object]] = [header]
        for name, part in jars.items():
            mass = [500.0 - part * (500.0 - m) for m in full]
            rows += [[name, 0, mass[0], mass[0]]]
            rows += [[name, d, mass[k], mass[k + 1]] for k, d in enumerate(days)]
        rows[next(i for i, r in enumerate(rows) if r[:2] == ["A1", 7])][2] = cell
        setup = with_item("measured", "mass")
        return read_trial(write_csv(tmp_path / "t", tables(trial=setup, readings=rows)))

    sound, told = read(499.0), read("not measured")
    assert analyze(told).yields[0].value == pytest.approx(analyze(sound).yields[0].value)
    assert not [f for f in check(told).findings if "leak" in f.check]
    with pytest.raises(UnusableInput, match="has no value"):
        read(None)


def test_a_note_on_something_else_not_measured_takes_no_weight_away(tmp_path: Path) -> None:
    header = ["jar", "time [d]", "mass before [g]", "mass after [g]", "note"]
    yields = []
    for note in (None, "Pressure not measured."):
        rows: list[list[object]] = [header]
        for name, part in {"N1": 0.1, "N2": 0.1, "A1": 1.0, "A2": 1.0}.items():
            mass = [500.0 - part * lost for lost in (0.0, 1.0, 1.6, 2.0)]
            rows += [[name, 0, mass[0], mass[0], note]]
            rows += [[name, d, mass[k], mass[k + 1], note] for k, d in enumerate((1, 3, 7))]
        setup = with_item("measured", "mass")
        made = read_trial(write_csv(tmp_path / "t", tables(trial=setup, readings=rows)))
        yields.append(analyze(made).yields[0].value)
    assert yields[0] == yields[1]


def test_so_it_is_in_a_wide_sheet(tmp_path: Path) -> None:
    header: list[object] = ["time [d]"]
    columns: list[list[object]] = []
    for name, part in {"N1": 0.1, "N2": 0.1, "A1": 1.0, "A2": 1.0}.items():
        header += [f"{name} mass before [g]", f"{name} mass after [g]"]
        mass = [500.0 - part * lost for lost in (0.0, 1.0, 1.6, 2.0)]
        columns += [[mass[0], *mass[:3]], [mass[0], *mass[1:]]]
    setup = with_item("measured", "mass")

    def read(cell: object) -> Trial:
        columns[4][2] = cell
        rows = [
            header,
            *(
                [day, *row]
                for day, row in zip((0, 1, 3, 7), zip(*columns, strict=False), strict=True)
            ),
        ]
        return read_trial(write_csv(tmp_path / "t", tables(trial=setup, readings=rows)))

    sound, said = read(499.0), read("not measured")
    assert analyze(said).yields[0].value == pytest.approx(analyze(sound).yields[0].value)
    with pytest.raises(UnusableInput, match="has no value"):
        read(None)
