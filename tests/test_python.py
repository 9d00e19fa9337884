"""The interface for Python and notebooks, as a person uses it."""

from __future__ import annotations

import doctest
import inspect
import re
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import matplotlib as mpl
import matplotlib.pyplot as plt
import numpy as np
import pandas as pd
import pytest
from matplotlib.figure import Figure

import bmp
from bmp import interface
from bmp.interface import Analysis
from bmp.problem import UnusableInput

ROOT = Path(__file__).parents[1]
DEMO = ROOT / "examples" / "cheese_dairy"
FRAMES = (
    "yields", "curves", "readings", "kinetics", "checks", "comparisons", "reading_errors", "tank",
)  # fmt: skip
# Whatever is not one of these has its unit at the end of its name, or in the column `unit`.
UNITS = ("_d", "_mL", "_NmL", "_kPa", "_C", "_g", "_cm", "_percent", "_NmL_per_gVS", "_per_g")


@pytest.fixture(scope="module")
def dairy() -> Analysis:
    return bmp.analyze(DEMO)


@pytest.fixture(autouse=True)
def _beside_the_examples(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(ROOT)
    mpl.use("agg")


def documented() -> Iterator[tuple[str, str]]:
    """Yield what a person can call or look at, and what stands there in its documentation."""
    for name in bmp.__all__:
        yield name, inspect.getdoc(getattr(bmp, name)) or ""
    for one in (interface.Analysis, interface.Planned, interface.Archive):
        yield one.__name__, inspect.getdoc(one) or ""
        for name, member in vars(one).items():
            if not name.startswith("_"):
                yield f"{one.__name__}.{name}", inspect.getdoc(member) or ""


def test_the_examples_of_every_function_frame_and_picture_run() -> None:
    """Those of a class's members go on with the names of the class's own example."""
    known: dict[str, object] = {}
    runner = doctest.DocTestRunner()
    for name, text in documented():
        if "." not in name:
            known = {}
        test = doctest.DocTestParser().get_doctest(text, known, name, None, None)
        assert test.examples, f"{name} has no example"
        assert not runner.run(test, clear_globs=False).failed, name
        known = test.globs
    plt.close("all")


@pytest.mark.parametrize("name", [*bmp.__all__, "Analysis.plot_net", "Planned.write"])
def test_every_parameter_is_described_with_what_it_may_be(name: str) -> None:
    owner, _, member = name.rpartition(".")
    called = getattr(getattr(interface, owner) if owner else interface, member)
    text = inspect.getdoc(called) or ""
    for parameter in set(inspect.signature(called).parameters) - {"self"}:
        line = re.search(rf"^[*\w, ]*\b{parameter}\b.* : .+\n    \S", text, re.MULTILINE)
        assert line, f"{name}: {parameter}"
    assert "Raises\n------" in text, name


def test_the_examples_of_the_guide_run() -> None:
    place = ROOT / "bmp" / "guide" / "python.md"
    flags = doctest.NORMALIZE_WHITESPACE
    failed, tried = doctest.testfile(str(place), module_relative=False, optionflags=flags)
    assert not failed
    assert tried >= 10


@pytest.mark.parametrize("name", bmp.__all__)
def test_a_function_stays_a_function_after_the_step_of_its_name_was_imported(name: str) -> None:
    code = (
        f"import bmp, sys; from importlib import import_module; import_module('bmp.{name}'); "
        f"f = getattr(bmp, '{name}'); print(callable(f), f.__module__, '{name}' in dir(bmp), "
        "'pandas' in sys.modules, 'matplotlib' in sys.modules)"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.split() == ["True", "bmp.interface", "True", "False", "False"]


def test_importing_loads_nothing() -> None:
    code = (
        "import sys; import bmp; print([m for m in ('numpy', 'pandas', 'matplotlib', 'scipy',"
        " 'bmp.interface') if m in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


@pytest.mark.parametrize("name", FRAMES)
def test_frames_say_their_reference_state_and_units(dairy: Analysis, name: str) -> None:
    frame = getattr(dairy, name)
    assert isinstance(frame, pd.DataFrame)
    assert frame.attrs["gas"] == "dry"
    assert frame.attrs["temperature_C"] == 0.0
    assert frame.attrs["pressure_kPa"] == 101.325
    without = {"row", "jars", "jars_left_out", "factor", "r2", "rmse", "aicc", "durbin_watson",
               "p_adjusted"}  # fmt: skip
    for column in frame.select_dtypes("number").columns:
        assert column.endswith(UNITS) or column in without or {"unit", "limit"} & set(frame), column


def test_a_row_a_thing(dairy: Analysis) -> None:
    trial = dairy.results.trial
    assert len(dairy.readings) == trial.readings.jar.size
    assert set(dairy.curves["jar"]) == {jar.name for jar in trial.jars}
    assert dairy.yields["series"].is_unique
    assert not dairy.comparisons.duplicated(["a", "b", "quantity", "basis"]).any()


def test_the_frames_hold_what_follows_from_one_another(dairy: Analysis) -> None:
    """The mean of the jars' last net yields is the yield; the blank and the net add up."""
    last = dairy.curves.dropna(subset="net").sort_values("time_d").groupby(["series", "jar"]).last()
    mean = last[last["counted"]].groupby("series")["net"].mean()
    yields = dairy.yields.set_index("series")["bmp"]
    # read some minutes before or after the common end of the jars
    assert np.allclose(mean[yields.index], yields, rtol=1e-4)
    pairs = dairy.comparisons.query("quantity == 'yield' and basis == 'VS'")
    for pair in pairs.itertuples():
        assert pair.difference == pytest.approx(yields[pair.a] - yields[pair.b], rel=1e-9)


def test_csv_and_frame_hold_the_same_curves(dairy: Analysis, tmp_path: Path) -> None:
    dairy.write(tmp_path / "out")
    file = pd.read_csv(tmp_path / "out" / "curves.csv")
    for column in ("time_d", "methane_NmL", "net_NmL_per_gVS"):
        assert np.allclose(file[column], dairy.curves[column], rtol=1e-12, equal_nan=True)
    with pytest.raises(UnusableInput, match="holds other files"):
        dairy.write(ROOT / "tests")


@pytest.mark.parametrize(
    "picture",
    ["net", "rate", "methane", "residuals", "yields", "differences", "tank"],
)
def test_pictures_take_axes_and_return_them(dairy: Analysis, picture: str) -> None:
    ax = Figure().add_subplot()
    draw = getattr(dairy, f"plot_{picture}")
    assert draw(ax) is ax
    assert ax.has_data()
    own = draw()
    assert own is not ax
    mpl.pyplot.close(own.figure)


def test_a_notebook_shows_the_first_screen(dairy: Analysis) -> None:
    html = dairy._repr_html_()
    text = repr(dairy)
    assert text.splitlines()[0].startswith("✓ Valid")
    assert len(text.splitlines()) < 20
    for series in dairy.yields["series"]:
        assert series in html
        assert series in text
    assert "What to do next" in html
    assert "<html" not in html


def test_data_frames_are_read_by_the_rules_of_files(tmp_path: Path) -> None:
    """The demo's own tables through pandas give the demo's yields, NaN and dates included."""
    files = {path.stem: pd.read_csv(path) for path in DEMO.glob("*.csv")}
    setup = dict(files.pop("trial").itertuples(index=False, name=None))
    others = {name.replace(" ", "_"): one for name, one in files.items()}
    again = bmp.analyze(bmp.trial(setup, **others))
    assert np.allclose(again.yields["bmp"], bmp.analyze(DEMO).yields["bmp"], rtol=1e-12)


def test_a_wrong_cell_of_a_frame_is_told_with_its_place() -> None:
    files = {path.stem.replace(" ", "_"): pd.read_csv(path) for path in DEMO.glob("*.csv")}
    setup = dict(files.pop("trial").itertuples(index=False, name=None))
    column = next(name for name in files["readings"] if "[" in name and "time" not in name)
    files["readings"] = files["readings"].astype({column: object})
    files["readings"].loc[3, column] = "abc"
    with pytest.raises(UnusableInput, match="readings, row 5, column"):
        bmp.trial(setup, **files)


def test_what_is_missing_is_told() -> None:
    with pytest.raises(UnusableInput, match="there is no such file or folder"):
        bmp.read("no such place")
    with pytest.raises(UnusableInput, match="not a feed here"):
        bmp.compare(DEMO, against="moon dust")
    with pytest.raises(AttributeError, match="no attribute 'analyse'"):
        bmp.analyse  # type: ignore[attr-defined]  # noqa: B018


def test_check_gives_a_row_a_finding() -> None:
    found = bmp.check(DEMO)
    assert list(found.columns)[:3] == ["check", "outcome", "where"]


def test_many_trials_in_one_frame(tmp_path: Path) -> None:
    pytest.importorskip("pyarrow")
    (tmp_path / "dairy").symlink_to(DEMO, target_is_directory=True)
    table = bmp.archive(tmp_path).materials
    yields = bmp.analyze(DEMO).yields.set_index("series")
    for one in table.itertuples():
        assert one.bmp == pytest.approx(yields.loc[one.series, "bmp"], rel=1e-9)
    assert set(table["trial"]) == {"dairy"}


def test_a_plan_is_not_written_over_a_logbook(tmp_path: Path) -> None:
    planned = bmp.plan(ROOT / "examples" / "cheese_dairy_request")
    assert len(planned.jars) == len(planned.plan.jars)
    planned.write(tmp_path / "plan")
    assert (tmp_path / "plan" / "logbook.xlsx").is_file()
    with pytest.raises(UnusableInput, match="something stands there already"):
        planned.write(tmp_path / "plan")
