"""The stop rule on noise-free curves, against its closed form."""

from __future__ import annotations

import math

import numpy as np
import pytest

from bmp.fit.stop import stop_rule_met_d


@pytest.mark.parametrize("k", [0.05, 0.1, 0.2, 0.3, 0.5])
def test_first_order_read_daily_meets_it_when_the_formula_says(k: float) -> None:
    """Daily share (e^k − 1)/(e^(kd) − 1) < 1 % from d = ln(1 + 100 (e^k − 1))/k on; two days more.

    The rule: Standard BMP Methods, document 100 v1.9 (2021).
    """
    days = np.arange(1.0, 80.0)
    net = 350 * (1 - np.exp(-k * days))
    expected = math.floor(math.log(1 + 100 * (math.exp(k) - 1)) / k) + 1 + 2
    assert stop_rule_met_d(days, net[None])[0] == expected


def test_readings_further_apart_add_up_to_three_days() -> None:
    days = np.array([[10.0, 12.0, 14.0, 15.0]])
    net = np.array([[100.0, 101.0, 102.0, 102.5]])
    assert stop_rule_met_d(days, net)[0] == 14.0


def test_one_interval_of_three_days_is_enough() -> None:
    assert stop_rule_met_d(np.array([[10.0, 13.0]]), np.array([[100.0, 102.9]]))[0] == 13.0


def test_exactly_one_percent_is_not_below() -> None:
    assert np.isinf(stop_rule_met_d(np.array([[10.0, 20.0]]), np.array([[90.0, 100.0]]))[0])


def test_a_loud_day_starts_the_count_again() -> None:
    days = np.arange(10.0, 18.0)[None]
    net = np.array([[100.0, 100.5, 101.0, 105.0, 105.5, 106.0, 106.5, 107.0]])
    assert stop_rule_met_d(days, net)[0] == 16.0


def test_padding_does_not_count_as_quiet_days() -> None:
    days = np.array([[10.0, 11.0, 11.0, 11.0]])
    valid = np.array([[True, True, False, False]])
    net = np.array([[100.0, 100.1, 100.1, 100.1]])
    assert np.isinf(stop_rule_met_d(days, net, valid)[0])


def test_no_net_gas_never_meets_it() -> None:
    days = np.arange(1.0, 20.0)[None]
    assert np.isinf(stop_rule_met_d(days, -days)[0])
