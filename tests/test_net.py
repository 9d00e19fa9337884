"""Net of the blank and the error of the mean, by hand and by property."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from bmp.jar_columns import jar_columns
from bmp.net import blank_means, net_curves, series_yields, yield_records
from bmp.normalise import normalise
from bmp.trial import Jar, Material, Setup, Trial
from tests import simulate as sim

DAYS = np.array([2.0, 5.0, 10.0, 20.0])


def trial(volumes: dict[str, list[float]], jars: list[Jar], VS_u: float | None = None) -> Trial:
    """A trial read as dry gas at the reference state, all methane: methane is what is read."""
    read = np.array([volumes[jar.name] for jar in jars])
    set_up = Setup(
        "by hand", gas_is_wet=False, gas_temperature_C=0.0, ambient_kPa=101.325,
        methane_share=1.0,
    )  # fmt: skip
    materials = (Material("seed", "inoculum"), Material("oats", "substrate", VS=0.5, VS_u=VS_u))
    return Trial(
        set_up, materials, tuple(jars), sim.readings_of({"volume_mL": read}, DAYS, len(jars))
    )


def blank(name: str, inoculum_g: float) -> Jar:
    return Jar(name, "seed", "blank", "seed", inoculum_g)


def oats(name: str, inoculum_g: float, sample_g: float, **more) -> Jar:
    return Jar(name, "oats", "substrate", "seed", inoculum_g, sample_g, **more)


JARS = [
    blank("N1", 100),
    blank("N2", 200),
    blank("N3", 100),
    oats("A1", 100, 4),
    oats("A2", 120, 4),
]
VOLUMES = {
    "N1": [10, 10, 5, 5],
    "N2": [22, 20, 12, 10],
    "N3": [9, 9, 6, 4],
    "A1": [300, 200, 200, 100],
    "A2": [310, 210, 190, 110],
}


def results(one: Trial):
    gas = normalise(one)
    jars = jar_columns(one)
    blanks = blank_means(gas, jars)
    curves = net_curves(gas, jars, blanks)
    return blanks, curves, yield_records(series_yields(gas, jars, curves, blanks), jars)


def test_document_200_by_hand() -> None:
    """Equations 1 to 7 of Standard BMP Methods 200 v1.7, worked with a pencil."""
    blanks, _, (oats_yield,) = results(trial(VOLUMES, JARS, VS_u=0.01))
    specific = np.array([30 / 100, 64 / 200, 28 / 100])
    net = np.array([(800 - specific.mean() * 100) / 2.0, (820 - specific.mean() * 120) / 2.0])
    assert blanks.of("seed")[1][-1] == pytest.approx(specific.mean())
    assert oats_yield.value == pytest.approx(net.mean())
    s1 = net.std(ddof=1) / np.sqrt(2)
    s_blank = specific.std(ddof=1) / np.sqrt(3)
    s2 = np.sqrt(np.mean((s_blank * np.array([100, 120]) / 2.0) ** 2))
    s3 = np.sqrt(np.mean((0.02 * net) ** 2))
    assert oats_yield.u == pytest.approx(np.sqrt(s1**2 + s2**2 + s3**2))
    assert oats_yield.sd == pytest.approx(np.sqrt(2) * oats_yield.u)
    freedom = oats_yield.u**4 / (s1**4 / 1 + s2**4 / 2)
    # two jars by themselves, t(1) = 12.706, count by how much better the rest is known
    rest = (s2**2 + s3**2) ** 2 / (s2**4 / 2)
    together, alone = stats.t.ppf(0.975, freedom) * oats_yield.u, stats.t.ppf(0.975, 1) * s1
    half = together + (1 - 1 / (rest + 1)) * (alone - together)
    assert oats_yield.ci95 == pytest.approx((net.mean() - half, net.mean() + half))
    assert oats_yield.per_fresh == pytest.approx(net.mean() * 0.5)


def test_one_jar_or_one_blank_has_no_interval() -> None:
    _, _, (one,) = results(trial(VOLUMES, JARS[:4]))
    assert one.ci95 is None
    assert one.why_no_interval == "one jar only: the scatter between jars is unknown"
    assert one.ci95_borrowed is not None
    assert one.ci95_borrowed[0] < one.value < one.ci95_borrowed[1]
    _, _, (two,) = results(trial(VOLUMES, [JARS[0], *JARS[3:]]))
    assert two.sd is None
    assert two.why_no_interval == "one blank only: the scatter between blanks is unknown"


def test_a_jar_left_out_is_shown_and_not_counted() -> None:
    jars = [*JARS, oats("A3", 100, 4, left_out="the lid came off")]
    volumes = VOLUMES | {"A3": [1, 1, 1, 1]}
    _, curves, (some,) = results(trial(volumes, jars))
    _, _, (all_counted,) = results(trial(VOLUMES, JARS))
    assert some.value == all_counted.value
    assert curves.of(5)[0].size == 4


def test_a_yield_below_zero_stays_below_zero() -> None:
    volumes = VOLUMES | {"A1": [5, 5, 5, 5], "A2": [6, 6, 6, 6]}
    _, _, (one,) = results(trial(volumes, JARS))
    assert one.value == pytest.approx(((20 - 30) / 2 + (24 - 36) / 2) / 2)


def test_the_curve_ends_with_the_first_blank() -> None:
    whole = trial(VOLUMES, JARS)
    kept = ~((whole.readings.jar == 0) & (whole.readings.time_d == 20.0))
    shorter = replace(whole, readings=whole.readings.where(kept))
    _, curves, (one,) = results(shorter)
    assert one.time_d == 10.0
    assert curves.cut[3:].all()


def test_a_blank_less_itself_is_nothing() -> None:
    jars = [*JARS[:3], oats("A1", 100, 4)]
    volumes = {name: VOLUMES[name] for name in ("N1", "N2", "N3")}
    specific = np.mean(
        [np.array(VOLUMES[n]) / g for n, g in (("N1", 100), ("N2", 200), ("N3", 100))], axis=0
    )
    _, curves, _ = results(trial(volumes | {"A1": list(100 * specific)}, jars))
    assert curves.net == pytest.approx(np.zeros(4), abs=1e-12)


@given(st.floats(0.1, 50.0))
def test_doubling_a_jars_content_and_gas_changes_no_yield(times: float) -> None:
    more = [replace(j, inoculum_g=j.inoculum_g * times, sample_g=j.sample_g * times) for j in JARS]
    volumes = {name: [times * v for v in read] for name, read in VOLUMES.items()}
    _, curves, (one,) = results(trial(volumes, more))
    _, plain, (same,) = results(trial(VOLUMES, JARS))
    assert curves.net == pytest.approx(plain.net)
    assert one.u == pytest.approx(same.u)


@given(st.permutations(range(5)))
def test_the_order_of_jars_does_not_matter(order: list[int]) -> None:
    _, _, (one,) = results(trial(VOLUMES, [JARS[i] for i in order]))
    _, _, (same,) = results(trial(VOLUMES, JARS))
    assert one.value == pytest.approx(same.value)
    assert one.ci95 == pytest.approx(same.ci95)
