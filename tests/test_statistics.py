"""Welch-Satterthwaite, Fieller, detectable difference: by hand and by their own definitions."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from bmp.statistics import (
    Components,
    critical_t,
    critical_value,
    detectable_difference,
    difference_interval,
    fieller_interval,
    log_interval,
    satterthwaite,
    two_sided_p,
    two_sided_sum_p,
)


def independent(variance_a: float, variance_b: float, dof: float = 4.0) -> Components:
    return Components(
        sources=("a", "b"),
        numerator=np.array([variance_a, 0.0]),
        both=np.zeros(2),
        denominator=np.array([0.0, variance_b]),
        dof=np.array([dof, dof]),
    )


def test_degrees_of_freedom_of_one_source_are_its_own() -> None:
    assert satterthwaite(np.array([3.0]), np.array([2.0])) == pytest.approx(2.0)


def test_equal_variances_add_their_degrees_of_freedom() -> None:
    assert satterthwaite(np.array([1.0, 1.0]), np.array([2.0, 2.0])) == pytest.approx(4.0)


def test_a_known_source_raises_the_degrees_of_freedom() -> None:
    # (1 + 1)^2 / (1/2) = 8
    assert satterthwaite(np.array([1.0, 1.0]), np.array([2.0, np.inf])) == pytest.approx(8.0)


def test_only_known_sources_end_in_the_normal_quantile() -> None:
    dof = satterthwaite(np.array([1.0]), np.array([np.inf]))
    assert critical_t(dof) == pytest.approx(1.959963985, abs=1e-8)


def test_p_is_one_half_tail_twice() -> None:
    # Student's t with 2 degrees of freedom: P(|T| > 4.302653) = 0.05 (any table of t)
    assert two_sided_p(np.array(4.302653), np.array(2.0)) == pytest.approx(0.05, abs=1e-7)


def test_an_interval_without_error_and_difference_is_zero_with_p_one() -> None:
    found = difference_interval(np.array(0.0), independent(0.0, 0.0))
    assert (found.low, found.high, found.p) == (0.0, 0.0, 1.0)


@given(
    a=st.floats(50, 400),
    b=st.floats(50, 400),
    u=st.floats(0.5, 5),
    v=st.floats(0.5, 5),
)
def test_fieller_ends_are_where_the_contrast_is_just_significant(
    a: float, b: float, u: float, v: float
) -> None:
    parts = independent(u**2, v**2, dof=2.0)
    for end in fieller_interval(np.array(a), np.array(b), parts):
        variances = parts.along(end)
        t = (a - end * b) / np.sqrt(variances.sum(axis=-1))
        assert two_sided_sum_p(t, variances, parts.dof) == pytest.approx(0.05, abs=1e-6)


@given(a=st.floats(50, 400), b=st.floats(50, 400), u=st.floats(0.5, 8), v=st.floats(0.5, 8))
def test_fieller_leaves_out_one_exactly_where_the_difference_shows(
    a: float, b: float, u: float, v: float
) -> None:
    parts = independent(u**2, v**2)
    plain = Components(parts.sources, np.array([u**2, v**2]), np.zeros(2), np.zeros(2), parts.dof)
    found = difference_interval(np.array(a - b), plain)
    low, high = fieller_interval(np.array(a), np.array(b), parts)
    if abs(found.p - 0.05) > 1e-6:
        assert bool(found.p < 0.05) == bool((low > 1) | (high < 1))


def test_fieller_has_no_bound_where_the_denominator_is_not_told_from_zero() -> None:
    low, high = fieller_interval(np.array(20.0), np.array(5.0), independent(4.0, 9.0))
    assert np.isinf(low)
    assert np.isinf(high)


def test_a_shared_error_that_is_proportional_leaves_the_ratio_alone() -> None:
    shared = Components(
        sources=("blank",),
        numerator=np.array([4.0]),
        both=np.array([2.0]),
        denominator=np.array([1.0]),
        dof=np.array([2.0]),
    )
    low, high = fieller_interval(np.array(200.0), np.array(100.0), shared)
    assert low == pytest.approx(2.0)
    assert high == pytest.approx(2.0)


def test_arrays_give_what_single_calls_give() -> None:
    a, b = np.array([200.0, 20.0, 150.0]), np.array([100.0, 5.0, 160.0])
    variances = np.array([[9.0, 0.0], [4.0, 0.0], [16.0, 0.0]])
    parts = Components(
        ("a", "b"), variances, np.zeros((3, 2)), variances[:, ::-1] * 1.0, np.array([2.0, 3.0])
    )
    together = fieller_interval(a, b, parts)
    for i in range(3):
        one = Components(
            parts.sources, variances[i], np.zeros(2), variances[i, ::-1], np.array([2.0, 3.0])
        )
        alone = fieller_interval(a[i], b[i], one)
        assert [float(end[i]) for end in together] == pytest.approx([float(x) for x in alone])


def test_log_interval_is_symmetric_in_the_ratio() -> None:
    low, high = log_interval(np.array(1.3), independent(0.001, 0.0))
    assert float(low * high) == pytest.approx(1.3**2)


def test_a_difference_found_four_times_in_five_is_larger_than_one_just_significant() -> None:
    one_source = Components(("jars",), *(np.array([x]) for x in (4.0, 0.0, 0.0)), np.array([4.0]))
    found = difference_interval(np.array(0.0), one_source)
    assert detectable_difference(found) == pytest.approx(2 * 2.776445, abs=1e-5)
    assert detectable_difference(found, power=0.8) > detectable_difference(found)


def test_an_interval_is_never_narrower_than_one_source_makes_it_by_itself() -> None:
    """Three jars, t(2) = 4.3027: a known error beside them may not narrow their interval."""
    jars, known = 4.0, 1.0
    critical = critical_value(np.array([jars, known]), np.array([2.0, np.inf]))
    assert critical * np.sqrt(jars + known) == pytest.approx(4.3026527 * np.sqrt(jars), abs=1e-6)
    # Welch and Satterthwaite alone: (4 + 1)^2 / (16/2) = 3.125 degrees of freedom, t = 3.112
    assert 4.3026527 * np.sqrt(jars) > 3.112 * np.sqrt(jars + known)


def test_one_source_is_students_t_and_a_known_one_the_normal_deviate() -> None:
    assert critical_value(np.array([4.0]), np.array([2.0])) == pytest.approx(4.3026527, abs=1e-6)
    known = critical_value(np.array([1.0, 3.0]), np.array([np.inf, np.inf]))
    assert known == pytest.approx(1.9599640, abs=1e-6)


@given(
    variances=st.lists(st.floats(0.01, 100), min_size=2, max_size=4),
    dof=st.lists(st.sampled_from([1.0, 2.0, 3.0, 5.0, np.inf]), min_size=4, max_size=4),
)
def test_the_critical_value_is_where_the_p_value_is_five_per_cent(
    variances: list[float], dof: list[float]
) -> None:
    v, d = np.array(variances), np.array(dof[: len(variances)])
    p = two_sided_sum_p(critical_value(v, d), v, d)
    assert p == pytest.approx(0.05, abs=1e-6)
