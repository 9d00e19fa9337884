"""The interface for Python and notebooks: trials in, data frames, pictures and words out.

`import bmp` offers these functions and loads them with the first one that is used. pandas and
matplotlib are loaded where a frame or a picture is asked for.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING, Any

from bmp import tables
from bmp.compare.within_trial import compare_across, compare_trial
from bmp.data_frames import frame, frame_of_rows, trial_of_frames
from bmp.problem import Problem, UnusableInput
from bmp.results import Results
from bmp.trial import Trial

if TYPE_CHECKING:
    import pandas as pd
    from matplotlib.axes import Axes

    from bmp.plan.plan import Plan


class Analysis:
    """What came of one trial: data frames, pictures, and the answer in words.

    Numbers that are not known are NaN. `print(analysis)` gives the answer as `bmp analyze` does; a
    notebook shows it as a page's first screen.

    Every frame says the state of the gas in its `attrs`: dry, 0 °C, 101.325 kPa. Units stand at
    the end of a column's name or in the column `unit`.

    Attributes
    ----------
    results : bmp.results.Results
        All results as frozen records, for those who need more than the frames hold.

    Examples
    --------
    The examples below go on with this analysis.

    >>> import bmp
    >>> dairy = bmp.analyze("examples/cheese_dairy")
    >>> print(str(dairy).partition(":")[0])
    ✓ Valid
    """

    def __init__(self, results: Results) -> None:
        self.results = results

    @cached_property
    def yields(self) -> pd.DataFrame:
        """A row a series of jars: methane yield `bmp` [column `unit`] with its 95 % interval.

        `u` is the standard uncertainty of the mean, `sd` the scatter between jars, blank and VS in
        it (Standard BMP Methods 200 v1.7, 2020, Eqs. 4 to 7). `time_d` [d] is the day of the yield,
        `per_fresh_NmL_per_g` [NmL/g] the yield of fresh mass, `blank_percent` [%] the blank's share
        of the gas, `t50_d` and `t90_d` [d] the days by which half and nine tenths had come.

        Examples
        --------
        >>> dairy.yields[["series", "bmp", "unit"]].round(0).head(2)
                 series    bmp          unit
        0     cellulose  375.0  NmL CH4/g VS
        1  goat bedding  228.0  NmL CH4/g VS
        """
        return self._frame(tables.yields_table(self.results))

    @cached_property
    def curves(self) -> pd.DataFrame:
        """A row a reading and jar: methane since closing [NmL], net yield `net` [column `unit`].

        `time_d` [d] since closing; `from_blank` [column `unit`] is the blank's mean at that time
        (Standard BMP Methods 200 v1.7, 2020, Eqs. 1 to 3); `counted` says whether the jar is in the
        mean. Blanks have no net yield.

        Examples
        --------
        >>> last = dairy.curves.query("series == 'whey'").groupby("jar")["net"].last()
        >>> last.round(0).to_dict()
        {'W1': 394.0, 'W2': 415.0, 'W3': 413.0}
        """
        return self._frame(tables.curves_table(self.results))

    @cached_property
    def readings(self) -> pd.DataFrame:
        """A row a reading: what was read, the state of the gas, its factor, what came of it.

        What was read has the unit of its column (`volume_mL`, `mass_g`, `gauge_before_kPa` and
        others). `gas_kPa`, `gas_C` and `gas_vapour_kPa` are the state in which it was measured,
        `factor` [1] takes the volume to dry gas at 0 °C and 101.325 kPa (Standard BMP Methods 201
        v1.6, Eq. 1), `gas_NmL` and `methane_NmL` [NmL] are what came of it.

        Examples
        --------
        >>> bool(dairy.readings["factor"].between(0.86, 0.89).all())
        True
        """
        return self._frame(tables.readings_table(self.results))

    @cached_property
    def kinetics(self) -> pd.DataFrame:
        """A row a parameter of each model, series and jar, with its 95 % interval [`unit`].

        Without a jar a row is of the whole series. `chosen` marks the model that is reported;
        `rmse` [unit of the yield], `r2` [1] and `aicc` [1] say how it follows the curve.

        Examples
        --------
        >>> whey = dairy.kinetics.query("chosen and series == 'whey' and jar.isna()")
        >>> whey["quantity"].tolist()
        ['B0', 'k', 'lag']
        """
        return self._frame(tables.kinetics_table(self.results))

    @cached_property
    def checks(self) -> pd.DataFrame:
        """The verdict and a row a check: outcome, value, limit, meaning, advice and source.

        `outcome` is pass, caution or fail; the unit of `value` is that of `limit`.

        Examples
        --------
        >>> dairy.checks[["check", "outcome"]].head(2)
                     check outcome
        0          verdict    pass
        1  control present    pass
        """
        return self._frame(tables.checks_table(self.results))

    @cached_property
    def comparisons(self) -> pd.DataFrame:
        """A row a pair of feeds and quantity: difference [`unit`] and ratio with 95 % intervals.

        `p_adjusted` [1] allows for all pairs of the trial (Welch's t, Holm's adjustment), `verdict`
        is by it; `detectable` [%] is the difference that these jars would have shown.

        Examples
        --------
        >>> dairy.comparisons.query("quantity == 'yield'")[["a", "b", "verdict"]].head(1)
              a             b verdict
        0  whey  goat bedding    more
        """
        return self._frame(tables.comparisons_table(self.results))

    @cached_property
    def reading_errors(self) -> pd.DataFrame:
        """A row a reading error and jar that it names, with the day `time_d` [d].

        Examples
        --------
        >>> len(dairy.reading_errors)
        0
        """
        return self._frame(tables.reading_errors_table(self.results))

    @cached_property
    def tank(self) -> pd.DataFrame:
        """A row an estimate of the main tank [`unit`], today and planned, with their spans.

        Empty where the trial has no tables `tank` and `tank feeds`. The guide (`method`) names the
        source of each estimate.

        Examples
        --------
        >>> dairy.tank.query("estimate == 'methane a day'")[["unit", "planned"]].round(0)
           unit  planned
        10   NL    399.0
        """
        return self._frame(tables.tank_table(self.results))

    def _frame(self, table: tables.Table) -> pd.DataFrame:
        return frame(table, self.results.trial.setup.title)

    def __repr__(self) -> str:
        """Return the answer in a few lines."""
        from bmp.report.answer_text import answer_text
        from bmp.report.first_screen import first_screen

        return answer_text(first_screen(self.results)).rstrip("\n")

    def _repr_html_(self) -> str:
        """Return the first screen of the report, for a notebook."""
        from bmp.report.notebook import first_screen_html

        return first_screen_html(self.results)

    def write(self, out: str | Path) -> None:
        """Write all that `bmp analyze` writes into a folder.

        Parameters
        ----------
        out : str or pathlib.Path
            A new folder, or one with such results, which are then replaced.

        Raises
        ------
        bmp.problem.UnusableInput
            The folder holds other files.

        Examples
        --------
        >>> from tempfile import TemporaryDirectory
        >>> with TemporaryDirectory() as folder:
        ...     dairy.write(f"{folder}/results")
        """
        from bmp.report.folder import check_place
        from bmp.report.results_json import FORMAT
        from bmp.report.write import write_results

        check_place(Path(out), None, FORMAT, replace=False)
        write_results(self.results, Path(out))

    # --- pictures ------------------------------------------------------------------------------

    def plot_net(self, ax: Axes | None = None, unit: str | None = None) -> Axes:
        """Draw net methane of every jar, the mean and the chosen model.

        Parameters
        ----------
        ax : matplotlib.axes.Axes, optional
            A new one by default.
        unit : str, optional
            Series of this unit; by default that of the first series.

        Returns
        -------
        matplotlib.axes.Axes

        Raises
        ------
        ValueError
            There is no series, or none of this unit.

        Examples
        --------
        >>> ax = dairy.plot_net()
        >>> ax.get_ylabel()
        'Net methane [NmL CH4/g VS]'
        """
        from bmp.report.draw_curves import net_curves

        return net_curves(_axes(ax), self.results, self._of_unit(unit))

    def plot_rate(self, ax: Axes | None = None, unit: str | None = None) -> Axes:
        """Draw methane a day [NmL/g VS, or the unit of the series]; parameters as of `plot_net`.

        Examples
        --------
        >>> dairy.plot_rate().get_ylabel()
        'Methane a day [NmL/g VS]'
        """
        from bmp.report.draw_rate import daily_rate

        return daily_rate(_axes(ax), self.results, self._of_unit(unit))

    def plot_methane(self, ax: Axes | None = None) -> Axes:
        """Draw the methane of every jar and of the blanks [NmL], nothing subtracted.

        Parameters
        ----------
        ax : matplotlib.axes.Axes, optional
            A new one by default.

        Examples
        --------
        >>> dairy.plot_methane().get_ylabel()
        'Methane of the whole jar [NmL CH4]'
        """
        from bmp.report.draw_curves import raw_methane

        return raw_methane(_axes(ax), self.results)

    def plot_residuals(self, ax: Axes | None = None) -> Axes:
        """Draw what the chosen models leave over [% of the yield].

        Parameters
        ----------
        ax : matplotlib.axes.Axes, optional
            A new one by default.

        Examples
        --------
        >>> dairy.plot_residuals().get_ylabel()
        'Residual [% of yield]'
        """
        from bmp.report.draw_residuals import residuals

        return residuals(_axes(ax), self.results)

    def plot_yields(self, ax: Axes | None = None) -> Axes:
        """Draw the feeds' yields with their 95 % intervals beside one another.

        Parameters
        ----------
        ax : matplotlib.axes.Axes, optional
            A new one by default.

        Raises
        ------
        ValueError
            Nothing is compared; the message says why.

        Examples
        --------
        >>> dairy.plot_yields().get_xlabel()
        'Yield [NmL CH4/g VS]'
        """
        from bmp.report.compare_figures import draw_means

        found = self.results.comparisons
        feeds = (*found.controls, *found.feeds)
        if not feeds:
            raise ValueError(found.why_none)
        return draw_means(_axes(ax), feeds, basis=found.basis)

    def plot_differences(self, ax: Axes | None = None) -> Axes:
        """Draw the differences between feeds with their 95 % intervals; raises as `plot_yields`.

        Parameters
        ----------
        ax : matplotlib.axes.Axes, optional
            A new one by default.

        Examples
        --------
        >>> dairy.plot_differences().get_xlabel()
        'Difference in yield [% of the second]'
        """
        from bmp.report.compare_figures import draw_differences

        return draw_differences(_axes(ax), self._compared())

    def plot_tank(self, ax: Axes | None = None) -> Axes:
        """Draw the tank's methane a day by feed [NL/d], today and planned.

        Parameters
        ----------
        ax : matplotlib.axes.Axes, optional
            A new one by default.

        Raises
        ------
        ValueError
            The trial describes no tank.

        Examples
        --------
        >>> dairy.plot_tank().get_ylabel()
        'Methane, estimate [NL/d]'
        """
        from bmp.report.tank_figures import draw_gas_by_material

        if self.results.tank is None:
            raise ValueError("the trial has no tables “tank” and “tank feeds”")
        return draw_gas_by_material(_axes(ax), self.results.tank)

    def _of_unit(self, unit: str | None) -> Sequence[Any]:
        yields = self.results.yields
        if not yields:
            raise ValueError("no jar with a sample has readings yet")
        wanted = yields[0].unit if unit is None else unit
        found = [one for one in yields if one.unit == wanted]
        if not found:
            raise ValueError(f"no series has the unit {wanted!r}")
        return found

    def _compared(self) -> Sequence[Any]:
        family = self.results.comparisons.first
        if family is None:
            raise ValueError(self.results.comparisons.why_none)
        return family.comparisons


def _axes(ax: Axes | None) -> Axes:
    if ax is not None:
        return ax
    import matplotlib.pyplot as plt

    from bmp.report.series_style import STYLE

    with plt.rc_context(STYLE):
        _, made = plt.subplots(layout="constrained")
    return made


# --- the functions -----------------------------------------------------------------------------


def read(place: str | Path, unfinished: bool = False) -> Trial:
    """Read a trial from a workbook, a folder of tables, or a sheet that was taken over.

    Parameters
    ----------
    place : str or pathlib.Path
        Workbook, folder of .csv files, or a sheet of one's own with its `.answers.txt`.
    unfinished : bool
        Whether the trial still runs, so that a jar may have no reading yet.

    Returns
    -------
    bmp.trial.Trial
        Frozen records; readings are flat arrays, one run a jar, in mL, kPa, °C, g and d.

    Raises
    ------
    bmp.problem.UnusableInput
        With every problem found, each with its table, row and column.

    Examples
    --------
    >>> import bmp
    >>> trial = bmp.read("examples/cheese_dairy")
    >>> [one.name for one in trial.materials]
    ['tank digestate', 'cellulose', 'goat bedding', 'whey', 'spent grain']
    """
    from bmp.read.reader import read_trial

    return read_trial(Path(place), unfinished)


def trial(
    trial: Mapping[str, Any],
    materials: pd.DataFrame,
    jars: pd.DataFrame,
    readings: pd.DataFrame,
    **others: pd.DataFrame,
) -> Trial:
    """Return the trial whose tables stand in data frames.

    Parameters
    ----------
    trial : mapping
        Items of the table `trial`, with the unit in the name: `{"ambient [kPa]": 101.3}`.
    materials, jars, readings : pandas.DataFrame
        The tables of the guide, with their headers, such as `volume [mL]`.
    **others : pandas.DataFrame
        `crucibles`, `tank` and `tank_feeds`, where there are such.

    Returns
    -------
    bmp.trial.Trial
        As from `read`.

    Raises
    ------
    bmp.problem.UnusableInput
        With every problem found; rows count as in a sheet, whose header is row 1.

    Examples
    --------
    >>> import bmp, pandas as pd
    >>> materials = pd.DataFrame({"material": ["sludge", "oats"], "role": ["inoculum", "substrate"],
    ...                           "TS [%]": [4.0, 88.0], "VS [% of TS]": [60.0, 95.0]})
    >>> jars = pd.DataFrame({"jar": ["B1", "A1"], "material": [None, "oats"],
    ...                      "inoculum [g]": [300.0, 300.0], "sample [g]": [None, 4.0],
    ...                      "headspace [mL]": [200.0, 200.0]})
    >>> readings = pd.DataFrame({"jar": ["B1", "B1", "A1", "A1"], "time [d]": [1, 20, 1, 20],
    ...                          "volume [mL]": [20.0, 180.0, 150.0, 1600.0]})
    >>> setup = {"gas temperature [°C]": 21, "ambient [kPa]": 101.3, "methane [%]": 60}
    >>> oats = bmp.trial(setup, materials=materials, jars=jars, readings=readings)
    >>> [jar.name for jar in oats.jars]
    ['B1', 'A1']
    """
    frames = {"materials": materials, "jars": jars, "readings": readings}
    frames |= {name.replace("_", " "): one for name, one in others.items()}
    return trial_of_frames(trial, frames, "trial")


def analyze(source: str | Path | Trial, criteria: str | Path | None = None) -> Analysis:
    """Carry a trial from its readings to yields, kinetics, verdict, comparisons and the tank.

    Parameters
    ----------
    source : str or pathlib.Path or Trial
        Where the trial is, or a trial from `read` or `trial`.
    criteria : str or pathlib.Path, optional
        A laboratory's own validity criteria (.csv); the published ones by default.

    Returns
    -------
    Analysis
        Data frames, pictures, and the answer in words.

    Raises
    ------
    bmp.problem.UnusableInput
        With every problem found.

    Notes
    -----
    All gas is dry, at 0 °C and 101.325 kPa. The sources of each step stand in the guide (`method`).

    Examples
    --------
    >>> import bmp
    >>> dairy = bmp.analyze("examples/cheese_dairy")
    >>> list(dairy.yields["series"])
    ['cellulose', 'goat bedding', 'whey', 'spent grain']
    >>> dairy.yields.attrs["gas"], dairy.yields.attrs["pressure_kPa"]
    ('dry', 101.325)
    >>> dairy.curves.query("series == 'whey'")["jar"].nunique()
    3
    """
    from bmp.analyze import analyze as analyze_trial
    from bmp.judge.criteria import read_criteria

    own = None if criteria is None else read_criteria(Path(criteria))
    return Analysis(analyze_trial(_trial(source), criteria=own))


def check(source: str | Path | Trial) -> pd.DataFrame:
    """Look for reading errors, also while a trial runs; a row a finding, none where all is well.

    Parameters
    ----------
    source : str or pathlib.Path or Trial
        Where the trial is, or a trial from `read` or `trial`.

    Returns
    -------
    pandas.DataFrame
        Columns as of `Analysis.checks`; empty where nothing was found.

    Raises
    ------
    bmp.problem.UnusableInput
        The tables cannot be read.

    Examples
    --------
    >>> import bmp
    >>> found = bmp.check("examples/cheese_dairy")
    >>> set(found["outcome"]) <= {"caution", "fail"}
    True
    """
    from bmp.check import check as check_trial

    found = _trial(source, unfinished=True)
    return frame(tables.findings_table(check_trial(found).findings), found.setup.title)


def compare(*sources: str | Path | Trial, against: str | None = None) -> pd.DataFrame:
    """Say which feed is better, in one trial or over several; a row a pair and quantity.

    Parameters
    ----------
    *sources : str or pathlib.Path or Trial
        One trial or more.
    against : str, optional
        Compare all others with this feed only.

    Returns
    -------
    pandas.DataFrame
        As `Analysis.comparisons`; after them the pairs across trials.

    Raises
    ------
    bmp.problem.UnusableInput
        With every problem found, or `against` is no feed of the trials.

    Examples
    --------
    >>> import bmp
    >>> pairs = bmp.compare("examples/cheese_dairy", against="goat bedding")
    >>> pairs.query("quantity == 'yield' and basis == 'VS'")[["a", "verdict"]].to_dict("list")
    {'a': ['whey', 'spent grain'], 'verdict': ['more', 'more']}
    """
    from bmp.analyze import analyze as analyze_trial

    found = []
    for one in map(_trial, sources):
        done = analyze_trial(one)
        found.append(
            compare_trial(
                one, done.gas, done.curves, done.yields, done.fits, name=one.setup.title,
                against=against,
            )
        )  # fmt: skip
    feeds = sorted({feed.name for each in found for feed in each.feeds})
    if against is not None and against not in feeds:
        wanted = f"write one of: {', '.join(feeds)}"
        raise UnusableInput([Problem("against", f"“{against}” is not a feed here", wanted)])
    across = compare_across(found, against).family.comparisons if len(found) > 1 else ()
    records = [*(record for each in found for record in each.records), *across]
    return frame(tables.records_table(records))


def tank(source: str | Path | Trial) -> pd.DataFrame:
    """Carry the yields of a trial to its main tank; a row an estimate, today and planned.

    Parameters
    ----------
    source : str or pathlib.Path or Trial
        With the tables `tank` and `tank feeds`; without them the frame is empty.

    Returns
    -------
    pandas.DataFrame
        As `Analysis.tank`: estimates [`unit`], none of them a promise.

    Raises
    ------
    bmp.problem.UnusableInput
        With every problem found.

    Examples
    --------
    >>> import bmp
    >>> estimates = bmp.tank("examples/cheese_dairy").set_index("estimate")
    >>> bool(estimates.loc["methane a day", "planned"] > estimates.loc["methane a day", "today"])
    True
    """
    return analyze(source).tank


class Planned:
    """A planned trial.

    Attributes
    ----------
    plan : bmp.plan.plan.Plan
        Everything to do, as frozen records.

    Examples
    --------
    The examples below go on with this plan.

    >>> import bmp
    >>> planned = bmp.plan("examples/cheese_dairy_request")
    >>> print(str(planned).partition(" ")[0])
    jars
    """

    def __init__(self, plan: Plan) -> None:
        self.plan = plan

    @cached_property
    def jars(self) -> pd.DataFrame:
        """A row a jar: what to weigh in [g], its headspace [mL] and its place on the shelf.

        Examples
        --------
        >>> planned.jars[["jar", "inoculum_g", "sample_g", "headspace_mL"]].head(1)
          jar  inoculum_g  sample_g  headspace_mL
        0  B1       400.0       0.0         450.9
        """
        import pandas as pd

        from bmp.plan.plan import to_dict

        return pd.DataFrame(to_dict(self.plan)["jars"])

    @property
    def cautions(self) -> tuple[str, ...]:
        """What to take care of, a sentence each. Local codes and licensed practice come first.

        Examples
        --------
        >>> planned.cautions[0].partition(",")[0]
        'Local codes'
        """
        return tuple(caution.text for caution in self.plan.cautions)

    def __repr__(self) -> str:
        """Return the doses and the cautions."""
        from bmp.plan.plan import dosing_lines

        return "\n".join([*dosing_lines(self.plan), *(f"! {text}" for text in self.cautions)])

    def write(self, out: str | Path) -> None:
        """Write logbook, wall sheet and `plan.json` into a folder that holds no logbook yet.

        Parameters
        ----------
        out : str or pathlib.Path
            A new or empty folder.

        Raises
        ------
        bmp.problem.UnusableInput
            The folder holds files.

        Examples
        --------
        >>> from tempfile import TemporaryDirectory
        >>> with TemporaryDirectory() as folder:
        ...     planned.write(f"{folder}/next trial")
        """
        from bmp.plan.write import FORMAT, write_plan
        from bmp.report.folder import write_folder

        place = Path(out)
        if place.exists() and (not place.is_dir() or any(place.iterdir())):
            what, wanted = "something stands there already", "name a new folder"
            raise UnusableInput([Problem(str(place), what, wanted)])
        write_folder(place, FORMAT, lambda folder: write_plan(self.plan, folder), keep=True)


def plan(request: str | Path) -> Planned:
    """Plan a trial from a request: doses, rounds of readings, expected gas, cautions.

    Parameters
    ----------
    request : str or pathlib.Path
        A workbook or folder with the tables `plan` and `materials`.

    Returns
    -------
    Planned
        Doses, cautions, and the files to work with.

    Raises
    ------
    bmp.problem.UnusableInput
        With every problem found, or every reason why the plan cannot be.

    Examples
    --------
    >>> import bmp
    >>> planned = bmp.plan("examples/cheese_dairy_request")
    >>> planned.jars["material"].unique().tolist()[:2]
    ['tank digestate', 'microcrystalline cellulose']
    """
    from bmp.plan.literature import read_literature
    from bmp.plan.plan import plan_trial
    from bmp.plan.read_request import read_request, refused_problems
    from bmp.plan.refusal import PlanRefused

    written = read_request(Path(request))
    try:
        return Planned(plan_trial(written.request, read_literature()))
    except PlanRefused as refused:
        raise UnusableInput(refused_problems(written, refused)) from None


class Archive:
    """What came of many trials.

    Attributes
    ----------
    outcome : bmp.archive.outcome.Outcome
        The rows of all tables as plain values.

    Examples
    --------
    The examples below go on with this archive of one trial and one folder that is none.

    >>> import bmp
    >>> found = bmp.archive("examples")
    """

    def __init__(self, outcome: Any) -> None:
        self.outcome = outcome

    @cached_property
    def materials(self) -> pd.DataFrame:
        """A row a trial and series; columns as in `materials.csv` of `bmp archive`.

        `bmp`, its limits and `B0` are in `unit`, `k` is in 1/d, `lag`, `t50` and `t90` are in d.

        Examples
        --------
        >>> found.materials[["trial", "material", "bmp"]].round(0).head(1)
                  trial   material    bmp
        0  cheese_dairy  cellulose  375.0
        """
        from bmp.archive.outcome import COLUMNS

        return frame_of_rows(COLUMNS, self.outcome.rows)

    @cached_property
    def reading_errors(self) -> pd.DataFrame:
        """A row a reading error and jar, with the day `time_d` [d].

        Examples
        --------
        >>> len(found.reading_errors)
        0
        """
        from bmp.archive.reading_errors import ERROR_COLUMNS

        return frame_of_rows(ERROR_COLUMNS, self.outcome.errors)

    @cached_property
    def refused(self) -> pd.DataFrame:
        """A row a problem of a trial that cannot be used.

        Examples
        --------
        >>> found.refused["trial"].unique().tolist()
        ['cheese_dairy_request']
        """
        rows = [(name, line) for name, lines in self.outcome.refused.items() for line in lines]
        return frame_of_rows(("trial", "problem"), rows)


def archive(place: str | Path, workers: int = 1, reading_errors: bool = True) -> Archive:
    """Analyse many trials into one table of materials.

    Parameters
    ----------
    place : str or pathlib.Path
        A folder of trials, or tables with a first column `trial`.
    workers : int
        Processes to work in, 1 or more; never more than processors.
    reading_errors : bool
        Whether to look for them, which takes several times as long as all the rest.

    Returns
    -------
    Archive
        Data frames of all trials together.

    Raises
    ------
    bmp.problem.UnusableInput
        There is no trial in the place, or pyarrow is not installed.

    Examples
    --------
    >>> import bmp
    >>> bmp.archive("examples").materials["material"].tolist()
    ['cellulose', 'goat bedding', 'spent grain', 'whey']
    """
    from tempfile import TemporaryDirectory

    from bmp.archive.run import run_archive

    with TemporaryDirectory() as kept:
        return Archive(run_archive(Path(place), Path(kept), workers, look=reading_errors))


def _trial(source: str | Path | Trial, unfinished: bool = False) -> Trial:
    return source if isinstance(source, Trial) else read(source, unfinished)
