"""Independent: readings of eight laboratories. Do models follow, and do forecasts hold?

Source and licence: `tests/real_curves.py`.
"""

from __future__ import annotations

import numpy as np
import pytest

from bmp.analyze import analyze
from bmp.fit.material import MaterialCurves, fit_materials
from bmp.fit.real_tails import TAILS
from bmp.fit.results import MaterialFits
from bmp.trial import Jar, Material, Readings, Setup, Trial
from tests.benchmarks.kinetics_forecast import real
from tests.benchmarks.real_tails import rows
from tests.real_curves import MISSING, RealSeries, published_yields, real_series

SERIES = real_series()
pytestmark = pytest.mark.skipif(not SERIES, reason=MISSING)


def fitted(series: list[RealSeries]) -> list[MaterialFits]:
    return fit_materials([MaterialCurves(s.time_d, s.net) for s in series], reported=False)


@pytest.fixture(scope="module")
def whole() -> list[MaterialFits]:
    return fitted(SERIES)


def test_every_series_runs_and_has_a_model_that_follows_it(whole: list[MaterialFits]) -> None:
    for series, fits in zip(SERIES, whole, strict=True):
        assert fits.choice.model is not None, series.name
        jars = zip(fits.models[fits.choice.model].jars, series.net, strict=True)
        assert np.mean([jar.rmse / net[-1] for jar, net in jars]) < 0.05, series.name
        assert fits.t50_d.value is not None
        assert fits.peak_rate.value is not None


def test_first_order_and_gompertz_stand_beside_it(whole: list[MaterialFits]) -> None:
    for series, fits in zip(SERIES, whole, strict=True):
        for name, rate in (("first order", "k"), ("modified Gompertz", "Rm")):
            parameters = fits.models[name].parameters
            assert parameters["B0"].value is not None, series.name
            assert parameters[rate].value is not None, series.name


def test_the_cone_model_bends_as_most_real_curves_do(whole: list[MaterialFits]) -> None:
    """On these series an independent fit has it best of five in 26 of 29, by RMSE."""
    best = 0
    for fits in whole:
        rmse = {
            name: np.mean([jar.rmse for jar in fits.models[name].jars])
            for name in ("first order", "first order with lag", "modified Gompertz", "cone")
        }
        best += min(rmse, key=rmse.__getitem__) == "cone"
    assert best >= 0.7 * len(SERIES)


def as_trial(series: list[RealSeries]) -> Trial:
    """Return the net curves of one laboratory's test as a trial."""
    materials, jars, times, nets = [], [], [], []
    for one in series:
        role = "control" if one.feed == "cellulose" else "substrate"
        materials.append(Material(one.feed, role))
        for time_d, net in zip(one.time_d, one.net, strict=True):
            name = f"{one.feed} {len(jars) + 1}"
            jars.append(Jar(name, one.feed, role, "", measured="net yield"))
            times.append(time_d)
            nets.append(net)
    jar = np.repeat(np.arange(len(jars)), [time.size for time in times])
    none = np.zeros(jar.size, dtype=bool)
    columns = {"net_yield_mL_per_g": np.concatenate(nets)}
    row = np.arange(2, jar.size + 2)
    readings = Readings(jar, np.concatenate(times), row, columns, none, none, ("",) * jar.size)
    setup = Setup("a laboratory's test", measured="net yield")
    return Trial(setup, tuple(materials), tuple(jars), readings)


@pytest.mark.parametrize("test", sorted({one.test for one in SERIES}))
def test_a_whole_trial_gives_the_published_yields(test: str) -> None:
    """`yields.csv` of the same data set, as its authors computed them; both are rounded to 0.01."""
    published = published_yields()
    results = analyze(as_trial([one for one in SERIES if one.test == test]))
    compared = 0
    for one in results.yields:
        found = published.get((test, one.material, len(one.jars)))
        if found is not None:
            compared += 1
            assert one.value == pytest.approx(found, abs=0.0101)
        assert results.fits[one.series].choice.model is not None
    assert compared >= 3


@pytest.mark.parametrize("day", [10, 15, 20])
@pytest.mark.parametrize("one_phase", [True, False])
def test_forecasts_of_real_curves_hold(day: int, one_phase: bool) -> None:
    """The spread of tails is learnt without the laboratory on which it is tried."""
    count = real(SERIES, day, one_phase)
    assert len(count.held) >= 0.6 * count.trials
    assert np.mean(count.held) >= 0.85
    assert np.mean(count.stop_held) >= 0.8


def test_the_table_of_tails_is_what_these_curves_give() -> None:
    assert rows(SERIES) == list(TAILS)
