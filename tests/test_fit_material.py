"""A material as a whole: what the jars say together."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from bmp.fit.interval import BETWEEN, WITHIN, between_jars
from bmp.fit.material import MaterialCurves, fit_materials
from bmp.fit.models import MODELS
from bmp.fit.results import MaterialFits
from tests.fit_curves_made import fits_of, made_jars

GOMPERTZ = "modified Gompertz"


def values(fits: MaterialFits) -> dict[tuple[str, str], float | None]:
    return {(m, p): e.value for m, f in fits.models.items() for p, e in f.parameters.items()}


def assert_same(
    found: dict[tuple[str, str], float | None], expected: dict[tuple[str, str], float | None]
) -> None:
    assert {k for k, v in found.items() if v is None} == {
        k for k, v in expected.items() if v is None
    }
    for key, value in expected.items():
        if value is not None:
            assert found[key] == pytest.approx(value, rel=1e-6), key


def test_every_model_is_there_with_every_jar() -> None:
    fits = fits_of(*made_jars(GOMPERTZ, (350, 25, 3)))
    assert list(fits.models) == list(MODELS)
    assert all(len(fit.jars) == 3 for fit in fits.models.values())
    assert [list(f.parameters) for f in fits.models.values()] == [
        list(model.names) for model in MODELS.values()
    ]


def test_three_jars_give_the_interval_between_their_own_values() -> None:
    fits = fits_of(*made_jars(GOMPERTZ, (350, 25, 3))).models[GOMPERTZ]
    assert fits.identified
    for name in ("B0", "Rm", "lag"):
        jars = np.array([jar.parameters[name].value for jar in fits.jars], dtype=np.float64)
        assert fits.parameters[name].interval_from == BETWEEN
        assert fits.parameters[name].ci95 == pytest.approx(between_jars(jars))


@pytest.mark.parametrize("jars", [1, 2])
def test_one_or_two_jars_are_labelled_as_within_the_jar_only(jars: int) -> None:
    fits = fits_of(*made_jars("first order", (350, 0.2), jars=jars)).models["first order"]
    assert {e.interval_from for e in fits.parameters.values()} == {WITHIN}
    assert all(e.ci95 is not None for e in fits.parameters.values())


def test_an_unfinished_curve_gives_a_bound_and_no_number() -> None:
    days = np.arange(1.0, 9.0)
    times, curves = made_jars("first order", (350, 0.03), days=days, noise=1.0)
    fit = fits_of(times, curves).models["first order"]
    level = fit.parameters["B0"]
    assert not fit.identified
    assert level.value is None
    assert level.why
    assert level.ci95 is not None
    low, high = level.ci95
    assert high is None
    assert low is not None
    # at least the last reading, and the true level (350) is not excluded
    assert np.mean([curve[-1] for curve in curves]) <= low < 350


def test_a_reading_at_day_zero_is_no_measurement() -> None:
    times, curves = made_jars("first order", (350, 0.2))
    with_zero = fits_of(
        [np.concatenate([[0.0], t]) for t in times], [np.concatenate([[0.0], v]) for v in curves]
    )
    assert values(with_zero) == values(fits_of(times, curves))


def test_jars_may_be_read_at_different_times_and_have_gaps() -> None:
    times, curves = made_jars("first order", (350, 0.2), noise=0.0, scatter=0.0)
    curves[0] = np.where(np.arange(45) % 7 == 3, np.nan, curves[0])
    times[1], curves[1] = times[1][::2], curves[1][::2]
    fit = fits_of(times, curves).models["first order"]
    assert fit.parameters["B0"].value == pytest.approx(350, rel=1e-6)
    assert fit.parameters["k"].value == pytest.approx(0.2, rel=1e-6)


def test_materials_together_are_the_materials_one_by_one() -> None:
    first = made_jars("first order", (350, 0.2))
    second = made_jars(GOMPERTZ, (250, 20, 4), jars=2, seed=3, days=np.arange(1.0, 31.0))
    both = fit_materials([MaterialCurves(*first), MaterialCurves(*second)])
    for found, alone in zip(both, (fits_of(*first), fits_of(*second)), strict=True):
        assert found.choice.model == alone.choice.model
        assert_same(values(found), values(alone))


def test_bulk_and_reported_fits_agree() -> None:
    jars = made_jars(GOMPERTZ, (350, 25, 3))
    bulk, reported = fits_of(*jars, reported=False), fits_of(*jars)
    assert_same(values(bulk), values(reported))


@settings(max_examples=15, deadline=None)
@given(factor=st.floats(0.01, 100.0), order=st.permutations([0, 1, 2]))
def test_scale_and_order_of_jars_do_not_matter(factor: float, order: list[int]) -> None:
    times, curves = made_jars(GOMPERTZ, (350, 25, 3))
    plain = fits_of(times, curves, reported=False)
    turned = fits_of(times, [factor * curves[i] for i in order], reported=False)
    assert turned.choice.model == plain.choice.model
    for (model, name), value in values(plain).items():
        scaled = values(turned)[model, name]
        if value is None or scaled is None:
            assert value is None
            assert scaled is None
            continue
        by = factor if name in ("B0", "Rm") else 1.0
        assert scaled == pytest.approx(by * value, rel=1e-6)


def test_units_follow_the_yield() -> None:
    times, curves = made_jars(GOMPERTZ, (350, 25, 3))
    fits = fits_of(times, curves, unit="NmL CH4/g fresh mass")
    assert fits.models[GOMPERTZ].parameters["Rm"].unit == "NmL CH4/(g fresh mass d)"
    assert fits.peak_rate.unit == "NmL CH4/(g fresh mass d)"


@pytest.mark.parametrize(
    "net",
    [
        np.zeros(12),
        -np.arange(12.0),
        np.full(12, 7.0),
        np.arange(12.0) ** 3,
        np.array([0.0, 300, 0, 300, 0, 300, 0, 300, 0, 300, 0, 300]),
    ],
)
def test_no_curve_makes_a_number_that_is_not_one(net: np.ndarray) -> None:
    days = np.arange(1.0, 13.0)
    for jars in (1, 3):
        fits = fits_of([days] * jars, [net] * jars)
        estimates = [e for f in fits.models.values() for e in f.parameters.values()]
        estimates += [fits.t50_d, fits.t90_d, fits.peak_rate, fits.peak_d]
        for found in estimates:
            assert found.value is not None or found.why
            numbers = [found.value, *(found.ci95 or ())]
            assert all(number is None or np.isfinite(number) for number in numbers)


def test_a_material_without_a_jar_is_refused() -> None:
    with pytest.raises(ValueError, match="without a jar"):
        fits_of([], [])


def test_jars_that_agree_overrule_an_error_swollen_by_a_model_that_bends_otherwise() -> None:
    """First order after two days of lag, fitted by Gompertz: the levels of the jars agree."""
    days = np.array([*range(1, 15), *range(16, 46, 3)], dtype=float)
    jars = [b * -np.expm1(-0.4 * np.maximum(days - 2.0, 0.0)) for b in (398.0, 404.0, 401.0)]
    fit = fits_of([days] * 3, jars).models["modified Gompertz"]
    assert fit.parameters["B0"].value == pytest.approx(401.0, rel=0.02)
    assert fit.parameters["Rm"].value is not None
    far_apart = [jars[0], 2.0 * jars[1], 4.0 * jars[2]]
    apart = fits_of([days] * 3, far_apart).models["modified Gompertz"].parameters["B0"]
    assert apart.value is None or apart.ci95[1] > 2.0 * apart.value


def test_materials_with_readings_of_their_own_carry_their_blanks() -> None:
    """A material read less often than another is padded, and so are the shifts of its readings."""
    days = [np.arange(1.0, 31.0), np.arange(2.0, 31.0, 4.0)]
    materials = []
    for times in days:
        curve = 300 * (1 - np.exp(-0.2 * times))
        moves = np.stack([np.full(times.size, shift) for shift in (2.0, -1.0, -1.0)])
        jars = [curve * scale for scale in (0.99, 1.0, 1.01)]
        materials.append(MaterialCurves([times] * 3, jars, blank_moves=[moves] * 3))
    together = fit_materials(materials)
    for both, one in zip(together, materials, strict=True):
        alone = fit_materials([one])[0]
        assert both.t90_blank_moves == pytest.approx(alone.t90_blank_moves)
        for name in ("first order", "cone"):
            assert both.models[name].blank_moves == {
                parameter: pytest.approx(found)
                for parameter, found in alone.models[name].blank_moves.items()
            }
