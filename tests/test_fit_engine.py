"""The batched search: it finds the curve that made the data, whatever stands beside it."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from bmp.fit.curves import Curves, pack
from bmp.fit.engine import fit_curves
from bmp.fit.model import Model
from bmp.fit.models import MODELS
from bmp.trial import FloatArray
from tests.test_fit_models import NAMED

EVERY_MODEL = pytest.mark.parametrize("model", MODELS.values(), ids=lambda model: model.name)
DAYS = np.arange(0.5, 45.0, 1.0)


def made(model: Model, named: FloatArray, days: FloatArray = DAYS) -> Curves:
    value = model.value(days, named)
    return Curves(np.tile(days, (len(named), 1)), value, np.ones(value.shape, dtype=np.bool_))


@EVERY_MODEL
@given(factors=st.lists(st.floats(0.7, 1.4), min_size=4, max_size=4), scale=st.floats(1e-3, 1e3))
def test_a_curve_made_from_a_model_comes_back_as_that_model(
    model: Model, factors: list[float], scale: float
) -> None:
    named = np.array([NAMED[model.name]]) * factors[: len(model.names)]
    for i, parameter in enumerate(model.parameters):
        named[0, i] *= scale if parameter.unit.startswith("yield") else 1.0
    fit = fit_curves(model, made(model, named))
    assert fit.converged.all()
    np.testing.assert_allclose(fit.named, named, rtol=1e-6)


@EVERY_MODEL
def test_a_jar_does_not_feel_its_neighbours(model: Model) -> None:
    rng = np.random.default_rng(7)
    named = np.array([NAMED[model.name]]) * rng.uniform(0.8, 1.2, (30, len(model.names)))
    curves = made(model, named)
    curves = Curves(
        curves.time_d, curves.value * rng.normal(1, 0.01, curves.value.shape), curves.valid
    )
    together = fit_curves(model, curves).named
    alone = np.concatenate(
        [fit_curves(model, curves.rows(slice(i, i + 1))).named for i in range(30)]
    )
    np.testing.assert_allclose(together, alone, rtol=1e-6)


@EVERY_MODEL
def test_padding_changes_nothing(model: Model) -> None:
    named = np.array([NAMED[model.name]])
    full = model.value(DAYS, named)[0] * (1 + 0.01 * np.sin(DAYS))
    short = pack([DAYS[:30]], [full[:30]])
    padded = pack([DAYS, DAYS[:30]], [full, full[:30]])
    np.testing.assert_allclose(
        fit_curves(model, padded).named[1], fit_curves(model, short).named[0], rtol=1e-6
    )


def test_search_in_many_chunks_is_the_search_in_one(monkeypatch: pytest.MonkeyPatch) -> None:
    model = MODELS["modified Gompertz"]
    rng = np.random.default_rng(3)
    named = np.array([NAMED[model.name]]) * rng.uniform(0.6, 1.6, (50, 3))
    curves = made(model, named)
    one = fit_curves(model, curves).named
    monkeypatch.setattr("bmp.fit.engine.CHUNK_READINGS", 7 * DAYS.size)
    np.testing.assert_allclose(fit_curves(model, curves).named, one, rtol=1e-6)


def test_first_order_with_lag_finds_the_deepest_of_its_valleys() -> None:
    """A fine grid over lag and rate, B0 solved at each point, finds no lower sum of squares."""
    model = MODELS["first order with lag"]
    rng = np.random.default_rng(11)
    days = np.array([1.0, 2.0, 3.0, 5.0, 7.0, 10.0, 14.0, 20.0, 28.0])
    named = np.column_stack(
        [np.full(40, 300.0), rng.uniform(0.1, 0.6, 40), rng.uniform(0.0, 6.0, 40)]
    )
    curves = made(model, named, days)
    noisy = curves.value + rng.normal(0.0, 15.0, curves.value.shape)
    fit = fit_curves(model, Curves(curves.time_d, noisy, curves.valid))
    lags, rates = np.meshgrid(np.linspace(0.0, 9.0, 181), np.geomspace(0.02, 5.0, 160))
    grid = np.column_stack([np.ones(lags.size), rates.ravel(), lags.ravel()])
    shape = model.value(days, grid)
    explained = (noisy @ shape.T) ** 2 / np.maximum((shape**2).sum(axis=1), 1e-300)
    lowest = (noisy**2).sum(axis=1) - explained.max(axis=1)
    assert (fit.rss <= lowest * (1 + 1e-9)).all()


def test_a_straight_line_ends_at_the_slowest_rate_and_says_so() -> None:
    curves = pack([DAYS], [3.0 * DAYS])
    fit = fit_curves(MODELS["first order"], curves)
    assert fit.at_bound[0]
    assert fit.named[0, 0] * fit.named[0, 1] == pytest.approx(3.0, rel=1e-3)


@EVERY_MODEL
@pytest.mark.parametrize("value", [np.zeros(45), -DAYS, np.full(45, 5.0), DAYS**3])
def test_curves_that_no_model_is_made_for_give_numbers_all_the_same(
    model: Model, value: FloatArray
) -> None:
    fit = fit_curves(model, pack([DAYS], [value]))
    assert np.isfinite(fit.rss).all()
