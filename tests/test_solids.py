from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from bmp.solids import CrucibleError, solids_from_crucibles

TARE, WET, DRY, ASH = (
    [20.0, 21.0, 19.0],
    [40.0, 41.0, 39.0],
    [21.0, 22.02, 19.98],
    [20.3, 21.3, 19.3],
)


def test_three_crucibles() -> None:
    found = solids_from_crucibles(TARE, WET, DRY, ASH)
    assert found.VS is not None
    assert found.VS_of_TS is not None
    assert found.TS.value == pytest.approx(0.05)
    # Dry masses 1.00, 1.02, 0.98 g in 20 g: SD 0.001, SE 0.001/sqrt(3).
    assert found.TS.u == pytest.approx(0.001 / 3**0.5)
    assert found.TS.u_from == "scatter of 3 crucibles"
    assert found.VS.value == pytest.approx((0.7 + 0.72 + 0.68) / 60)
    assert found.VS_of_TS.value == pytest.approx((0.7 + 0.72 / 1.02 + 0.68 / 0.98) / 3)
    assert found.cautions == ()


def test_without_a_furnace_there_is_ts_only() -> None:
    found = solids_from_crucibles(TARE, WET, DRY)
    assert found.TS.value == pytest.approx(0.05)
    assert found.VS is None
    assert found.VS_of_TS is None


def test_one_crucible_has_no_scatter() -> None:
    found = solids_from_crucibles([20.0], [40.0], [21.0], [20.3])
    assert found.TS.u is None
    assert found.TS.u_from == "one crucible and no balance uncertainty: the scatter is unknown"
    assert found.cautions == ("1 of the 3 crucibles that the BMP requirements ask for",)
    weighed = solids_from_crucibles([20.0], [40.0], [21.0], [20.3], balance_u_g=0.01)
    assert weighed.TS.u is not None
    assert weighed.TS.u_from.startswith("balance only")


def test_lucky_agreement_does_not_hide_the_balance() -> None:
    alike = solids_from_crucibles([20.0] * 3, [40.0] * 3, [21.0] * 3, [20.3] * 3, balance_u_g=0.01)
    one = solids_from_crucibles([20.0], [40.0], [21.0], [20.3], balance_u_g=0.01)
    assert alike.TS.u is not None
    assert one.TS.u is not None
    assert alike.TS.u == pytest.approx(one.TS.u / 3**0.5)
    assert alike.TS.u_from == "balance (larger than the scatter of the crucibles)"


def test_crucibles_that_differ_are_said() -> None:
    found = solids_from_crucibles([20.0] * 3, [40.0] * 3, [21.0, 21.2, 20.8])
    assert found.cautions == (
        "TS: the crucibles differ by 20.0 % (relative SD); they should agree within 5 %: mix the "
        "sample and repeat",
    )


@pytest.mark.parametrize(
    ("weights", "line"),
    [
        (([20], [19], [19.5], None), "crucible 1: with sample it must weigh more than empty"),
        (([20], [40], [19], None), "crucible 1: after 105 °C it must weigh more than empty"),
        (([20], [40], [41], None), "crucible 1: drying cannot make it heavier"),
        (
            ([20, 20], [40, 40], [21, 21], [20.5, 21.5]),
            "crucible 2: ignition cannot make it heavier",
        ),
        (([20], [40], [21], [19]), "crucible 1: after 550 °C it cannot weigh less than empty"),
        (([0], [40], [21], None), "crucible 1: the empty crucible must weigh more than nothing"),
        (([20], [40], [float("nan")], None), "crucible 1: a weight is missing"),
        (
            ([20, 21], [40], [21], None),
            "every crucible needs each of its weights, found 2, 1, 1 of them",
        ),
        (([], [], [], None), "every crucible needs each of its weights, found 0, 0, 0 of them"),
    ],
)
def test_impossible_weights(weights: tuple[list[float], ...], line: str) -> None:
    with pytest.raises(CrucibleError) as error:
        solids_from_crucibles(*weights)
    assert line in error.value.problems
    assert str(error.value).splitlines() == list(error.value.problems)


@given(st.floats(1.0, 1000.0))
def test_unit_of_mass_does_not_matter(factor: float) -> None:
    scaled = [[factor * m for m in weights] for weights in (TARE, WET, DRY, ASH)]
    one, other = solids_from_crucibles(TARE, WET, DRY, ASH), solids_from_crucibles(*scaled)
    assert one.VS is not None
    assert other.VS is not None
    assert other.VS.value == pytest.approx(one.VS.value, rel=1e-9)
    assert other.VS.u == pytest.approx(one.VS.u, rel=1e-6)
