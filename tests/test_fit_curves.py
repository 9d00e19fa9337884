"""Padding, and the times at which curves cross a level."""

from __future__ import annotations

import numpy as np
import pytest

from bmp.fit.curves import crossing, joined, pack, plateau


def test_pack_sorts_drops_gaps_and_pads_with_the_last_reading() -> None:
    curves = pack(
        [np.array([3.0, 1.0, 2.0]), np.array([1.0, np.nan])],
        [np.array([30.0, 10.0, np.nan]), np.array([5.0, 7.0])],
    )
    np.testing.assert_array_equal(curves.time_d, [[1.0, 3.0], [1.0, 1.0]])
    np.testing.assert_array_equal(curves.value, [[10.0, 30.0], [5.0, 5.0]])
    np.testing.assert_array_equal(curves.valid, [[True, True], [True, False]])
    np.testing.assert_array_equal(curves.count, [2, 1])


def test_pack_refuses_a_jar_without_readings() -> None:
    with pytest.raises(ValueError, match="curve 1 has no finite reading"):
        pack([np.array([1.0]), np.array([1.0])], [np.array([1.0]), np.array([np.nan])])


def test_pack_refuses_times_without_values() -> None:
    with pytest.raises(ValueError, match="curve 0"):
        pack([np.array([1.0, 2.0])], [np.array([1.0])])


def test_joined_holds_every_reading_in_order_of_time() -> None:
    curves = pack(
        [np.array([1.0, 3.0]), np.array([2.0])], [np.array([10.0, 30.0]), np.array([20.0])]
    )
    ((_, one),) = joined(curves, np.zeros(len(curves.value), int))
    np.testing.assert_array_equal(one.time_d, [[1.0, 2.0, 3.0]])
    np.testing.assert_array_equal(one.value, [[10.0, 20.0, 30.0]])


def test_jars_read_at_the_same_times_join_to_their_mean() -> None:
    days = np.array([1.0, 3.0])
    curves = pack([days, days], [np.array([10.0, 30.0]), np.array([20.0, 50.0])])
    ((_, one),) = joined(curves, np.zeros(2, int))
    np.testing.assert_array_equal(one.time_d, [[1.0, 3.0]])
    np.testing.assert_array_equal(one.value, [[15.0, 40.0]])


def test_plateau_is_the_mean_of_the_last_three_readings() -> None:
    curves = pack(
        [np.arange(1.0, 6.0), np.arange(1.0, 4.0)],
        [np.array([1.0, 2.0, 3.0, 4.0, 8.0]), np.array([1.0, 2.0, 6.0])],
    )
    np.testing.assert_allclose(plateau(curves), [5.0, 3.0])


def test_crossing_runs_straight_between_readings_and_from_the_origin() -> None:
    curves = pack([np.array([2.0, 4.0])] * 3, [np.array([10.0, 30.0])] * 3)
    np.testing.assert_allclose(crossing(curves, np.array([5.0, 20.0, 99.0])), [1.0, 3.0, 4.0])
