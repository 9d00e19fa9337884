"""The stop rule of document 100 v1.9 (2021) by closed forms and by hand, day by day.

Daily methane of the jar itself below 1.0 % of its net accumulated methane on three days running.
"""

from __future__ import annotations

import math

import numpy as np
import pytest

from bmp.stop_rule import (
    finished,
    lowest_rates_percent,
    stop_days,
    stop_days_read_together,
)

DAYS = np.arange(1.0, 401.0)


def day(time_d, own, net=None):
    """Return the stop day of one jar by both entrances, which must agree."""
    time_d, own = np.asarray(time_d, dtype=float), np.asarray(own, dtype=float)
    net = own if net is None else np.asarray(net, dtype=float)
    run = np.zeros(time_d.size, dtype=np.int64)
    found = float(stop_days(run, time_d, own, net)[0])
    assert stop_days_read_together(time_d, own[None], net[None])[0] == found
    assert bool(lowest_rates_percent(run, time_d, own, net)[0] < 1.0) == math.isfinite(found)
    return found


def rate(time_d, own, net=None):
    time_d, own = np.asarray(time_d, dtype=float), np.asarray(own, dtype=float)
    net = own if net is None else np.asarray(net, dtype=float)
    return float(lowest_rates_percent(np.zeros(time_d.size, dtype=np.int64), time_d, own, net)[0])


@pytest.mark.parametrize(
    ("k", "expected"),
    [(0.013, 67), (0.05, 39), (0.10, 27), (0.20, 18), (0.30, 14), (0.50, 11), (0.73, 9)],
)
def test_first_order_with_a_flat_blank(k, expected):
    """(e^k - 1)/(e^(k d) - 1) < 1 % from d = ln(1 + 100 (e^k - 1))/k on, and two days more."""
    assert math.floor(math.log1p(100 * math.expm1(k)) / k) + 1 + 2 == expected
    assert day(DAYS, 350 * (1 - np.exp(-k * DAYS))) == expected


@pytest.mark.parametrize(("k", "share"), [(0.10, 0.1), (0.20, 0.3), (0.30, 0.4), (0.50, 0.45)])
def test_the_own_gas_counts_against_the_net_gas(k, share):
    """A blank that gives a constant daily amount delays the day: worked by its two sums.

    Own gas of day d: B (e^(-k (d-1)) - e^(-k d)) + b; net to date: B (1 - e^(-k d)).
    """
    blank_per_day = share * 0.02
    daily = np.exp(-k * (DAYS - 1)) - np.exp(-k * DAYS) + blank_per_day
    quiet = daily < 0.01 * (1 - np.exp(-k * DAYS))
    by_hand = [d for d in range(3, 400) if quiet[d - 3 : d].all()]
    net = 1 - np.exp(-k * DAYS)
    own = net + blank_per_day * DAYS
    assert day(DAYS, own, net) == (by_hand[0] if by_hand else math.inf)
    assert day(DAYS, own, net) > day(DAYS, net)


def test_a_blank_that_gives_one_percent_of_the_net_a_day_keeps_the_jar_going():
    net = 1 - np.exp(-0.3 * DAYS)
    assert math.isinf(day(DAYS, net + 0.0101 * DAYS, net))
    assert math.isfinite(day(DAYS, net + 0.0095 * DAYS, net))


def test_exactly_one_percent_a_day_goes_on():
    time, own, net = [1, 2, 3, 4, 5], [100, 101, 102, 103, 104], [100] * 5
    assert math.isinf(day(time, own, net))
    assert rate(time, own, net) == 1.0
    assert finished(1.0) is False
    less = [100, 100.999, 101.998, 102.997, 103.996]
    assert day(time, less, net) == 4.0


def test_whether_it_is_finished_can_be_unknown():
    assert finished(None) is None
    assert finished(0.99) is True
    assert finished(1.19) is False


def test_a_pause_in_the_first_half_of_the_gas_is_a_lag():
    """0.5 % a day on days 2 to 5, then the gas comes: not finished by the end of this record."""
    own = [10, 10.05, 10.10, 10.15, 10.20, 30, 60, 90, 110, 120]
    time = np.arange(1.0, 11.0)
    assert math.isinf(day(time, own))
    assert rate(time, own) == pytest.approx(100 * 30 / 90)
    # the same pause with nothing after it is an end, as far as anyone can tell
    assert day(time[:5], own[:5]) == 4.0


@pytest.mark.parametrize(("last", "expected"), [(20.2, 4.0), (20.4, 5.0), (20.6, math.inf)])
def test_half_of_the_gas_is_told_by_the_last_reading(last, expected):
    time = [1, 2, 3, 4, 5, 6, 7]
    assert day(time, [10, 10.05, 10.1, 10.15, 10.2, 15.0, last]) == expected


def test_one_long_interval_below_the_rate_is_enough():
    assert day([10.0, 14.0, 15.0], [100.0, 102.0, 102.5]) == 14.0
    assert day([10.0, 13.0], [100.0, 102.9]) == 13.0


def test_sparse_intervals_that_add_up_to_three_days():
    assert day([10.0, 12.0, 13.0, 14.0], [100.0, 101.0, 101.5, 102.0]) == 13.0
    # interrupted by a day above the rate: begin again
    assert math.isinf(day([10.0, 12.0, 13.0, 14.0], [100.0, 101.0, 103.0, 103.2]))


def test_a_loud_day_starts_the_count_again():
    own = [100.0, 100.5, 101.0, 105.0, 105.5, 106.0, 106.5, 107.0]
    assert day(np.arange(10.0, 18.0), own) == 16.0


def test_two_days_are_not_enough():
    assert math.isinf(day([10.0, 11.0, 12.0], [100.0, 100.1, 100.2]))


def test_a_net_curve_below_zero_never_stops():
    assert math.isinf(day(np.arange(1.0, 20.0), np.full(19, 5.0), np.full(19, -5.0)))


def test_readings_within_a_day_are_taken_once_a_day():
    """Every six hours, all gas of a day in its last quarter: 0.9 % a day, not 3.6 % a day.

    A day's gas comes between its 18th and its 24th hour, so no quarter of a day in a row is quiet
    for three days; whole days are. Counted back from the last reading, at a full day.
    """
    quarter = np.arange(0.25, 12.01, 0.25)
    own = 100.0 + 0.9 * np.floor(quarter + 1e-9)
    own[quarter < 1] = 100.0 * quarter[quarter < 1]
    assert math.isfinite(day(quarter, own))
    daily = np.arange(1.0, 13.0)
    assert day(quarter, own) == day(daily, 100.0 + 0.9 * daily)


@pytest.mark.parametrize(("early", "expected"), [(0.05, 4.95), (0.2, math.inf)])
def test_a_reading_a_little_before_its_day_is_that_days(early, expected):
    """Readings 0.95 d apart are daily ones; 0.8 d apart every second is taken, 1.6 d apart."""
    step = 1.0 - early
    time = 2.1 + step * np.arange(4)
    own = np.array([100.0, 100.5, 101.0, 101.5])
    if early == 0.05:
        assert day(np.append(time, time[-1] + step), np.append(own, 102.0)) == pytest.approx(
            2.1 + 4 * step
        )
    else:
        assert math.isinf(day(time, own))


def test_jars_read_at_their_own_times_are_judged_each_by_itself():
    fast = np.arange(1.0, 31.0)
    slow = np.arange(1.0, 31.0, 3.0)
    run = np.repeat([4, 9], [fast.size, slow.size])
    time = np.concatenate([fast, slow])
    net = 1 - np.exp(-0.3 * time)
    days = stop_days(run, time, net, net)
    assert days.tolist() == [14.0, day(slow, 1 - np.exp(-0.3 * slow))]
