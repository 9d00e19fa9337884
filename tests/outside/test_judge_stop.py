"""The stop rule of document 100 v1.9 on exact first-order curves and sparse readings."""

import numpy as np
import pytest

from bmp.judge.stop import stop_day, three_day_rate_percent

DAYS = np.arange(1.0, 91.0)


def curve(k, time_d=DAYS):
    return (1.0 - np.exp(-k * time_d))[None, :]


def days(time_d, methane, limit=1.0, net=None):
    rate = three_day_rate_percent(time_d, methane, methane if net is None else net)
    return stop_day(time_d, rate, limit)


@pytest.mark.parametrize(
    ("k", "one", "half"),
    [(0.05, 39, 51), (0.10, 27, 33), (0.20, 18, 22), (0.30, 14, 17), (0.50, 11, 12)],
)
def test_stop_day_of_a_first_order_curve(k, one, half):
    """Closed arithmetic: (e^k - 1)/(e^(k d) - 1) < limit on days d-2 to d, flat blank."""
    assert days(DAYS, curve(k))[0] == one
    assert days(DAYS, curve(k), 0.5)[0] == half
    later = DAYS[3:]
    highest = 100 * (np.exp(k) - 1) / (np.exp(k * (later - 2)) - 1)
    assert days(DAYS, curve(k))[0] == later[np.flatnonzero(highest < 1.0)[0]]


def test_exactly_one_percent_a_day_goes_on():
    methane = np.array([[100.0, 101.0, 102.0, 103.0, 104.0]])
    net = np.full((1, 5), 100.0)
    time = np.arange(5.0) + 1
    assert np.isnan(days(time, methane, net=net)[0])
    assert days(time, methane, 1.0 + 1e-9, net=net)[0] == 4.0


def test_one_long_interval_below_the_rate_is_enough():
    time = np.array([10.0, 14.0, 15.0])
    assert days(time, np.array([[100.0, 102.0, 102.5]]))[0] == 14.0


def test_sparse_intervals_that_add_up_to_three_days():
    time = np.array([10.0, 12.0, 13.0, 14.0])
    methane = np.array([[100.0, 101.0, 101.5, 102.0]])
    assert days(time, methane)[0] == 13.0
    # Interrupted by a day above the rate: begin again.
    assert np.isnan(days(time, np.array([[100.0, 101.0, 103.0, 103.2]]))[0])


def test_two_days_are_not_enough():
    time = np.array([10.0, 11.0, 12.0])
    assert np.isnan(days(time, np.array([[100.0, 100.1, 100.2]]))[0])


def test_a_net_curve_below_zero_never_stops():
    methane = np.array([[5.0, 5.0, 5.0, 5.0, 5.0]])
    assert np.isnan(days(np.arange(5.0) + 1, methane, net=methane - 10)[0])


def test_missing_readings_join_their_intervals():
    time = np.arange(1.0, 31.0)
    gap = curve(0.3, time).copy()
    gap[0, 11] = np.nan
    assert days(time, np.vstack([gap, curve(0.3, time)])).tolist() == [14.0, 14.0]
