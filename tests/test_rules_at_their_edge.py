"""Rules that decide, each just inside and just outside of its limit, worked apart from the code."""

from __future__ import annotations

from dataclasses import replace
from math import sqrt
from pathlib import Path

import numpy as np
import pytest

from bmp.fit.choice import CANDIDATES, Scores, choose
from bmp.fit.models import MODELS
from bmp.jar_columns import jar_columns
from bmp.net import blank_means, net_curves, series_yields, yield_records
from bmp.normalise import normalise
from bmp.read import read_trial
from bmp.trial import Trial
from tests.tables import tables, write_csv
from tests.test_net import JARS, VOLUMES, trial


def curves_and_yield(one: Trial):
    gas, jars = normalise(one), jar_columns(one)
    blanks = blank_means(gas, jars)
    curves = net_curves(gas, jars, blanks)
    return curves, yield_records(series_yields(gas, jars, curves, blanks), jars)


def test_the_blanks_bring_one_degree_of_freedom_less_than_there_are_blanks() -> None:
    """Document 200 v1.7 and JCGM 100:2008, G.4: here nearly all error is that of three blanks."""
    volumes = VOLUMES | {"N1": [5, 5, 5, 5], "N3": [20, 20, 20, 20], "A2": [310, 210, 190, 105]}
    _, (one,) = curves_and_yield(trial(volumes, JARS, VS_u=0.0))
    specific = np.array([20 / 100, 64 / 200, 80 / 100])
    net = np.array([(800 - specific.mean() * 100) / 2, (815 - specific.mean() * 120) / 2])
    s_jars = net.std(ddof=1) / sqrt(2)
    s_blank = specific.std(ddof=1) / sqrt(3) * sqrt(np.mean((np.array([100, 120]) / 2) ** 2))
    assert s_blank > 2 * s_jars
    freedom = (s_jars**2 + s_blank**2) ** 2 / (s_jars**4 / 1 + s_blank**4 / 2)
    assert one.freedom == pytest.approx(freedom)
    assert one.parts["blank"] == pytest.approx((s_blank, 2.0))
    assert one.parts["jars"] == pytest.approx((s_jars, 1.0))


@pytest.mark.parametrize(("late_d", "kept"), [(0.0, True), (0.49, True), (0.51, False)])
def test_a_jar_may_be_read_half_a_day_after_the_last_blank(late_d: float, kept: bool) -> None:
    """The same round of readings; common practice, no source."""
    whole = trial(VOLUMES, JARS)
    readings = whole.readings
    last = (readings.jar >= 3) & (readings.time_d == 20.0)
    later = replace(readings, time_d=np.where(last, 20.0 + late_d, readings.time_d))
    curves, (one,) = curves_and_yield(replace(whole, readings=later))
    assert one.time_d == (20.0 + late_d if kept else 10.0)
    assert bool(curves.cut[3:].any()) is not kept


def test_VS_typed_per_TS_takes_the_error_of_both(tmp_path: Path) -> None:
    """VS = TS (VS of TS): relative errors add in quadrature (JCGM 100:2008, 5.1.6)."""
    part = "VS [% of TS]", "VS uncertainty [% of TS]"
    materials = [
        ["material", "role", "TS [% of fresh mass]", "TS uncertainty [% of fresh mass]", *part],
        ["digestate", "inoculum", 3, 0.1, 66, 1],
        ["oats", "substrate", 20, 1, 80, 2],
    ]
    found = read_trial(write_csv(tmp_path / "trial", tables(materials=materials))).material("oats")
    assert pytest.approx(0.16) == found.VS
    assert found.VS_u == pytest.approx(0.16 * sqrt((1 / 20) ** 2 + (2 / 80) ** 2))


def scores_with(gap: float) -> Scores:
    """Return scores in which a model of more parameters is better than first order by `gap`."""
    better = max(CANDIDATES, key=lambda name: len(MODELS[name].names))
    assert len(MODELS[better].names) > len(MODELS["first order"].names)
    aicc = {name: np.array([1e6]) for name in CANDIDATES}
    aicc |= {"first order": np.array([100.0 + gap]), better: np.array([100.0])}
    true = {name: np.array([True]) for name in CANDIDATES}
    fields = Scores.__dataclass_fields__
    other = {name: None for name in fields if name not in ("aicc", "follows", "determined")}
    return Scores(aicc=aicc, follows=true, determined=true, **other)  # type: ignore[arg-type]


@pytest.mark.parametrize(("gap", "simple"), [(1.9, True), (2.1, False)])
def test_the_simpler_model_serves_within_two_units_of_AICc(gap: float, simple: bool) -> None:
    """Burnham & Anderson (2002), p. 70: models within 2 of the best have substantial support."""
    (chosen,) = choose(scores_with(gap))
    assert (chosen == "first order") is simple
