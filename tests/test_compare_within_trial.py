"""An analysed trial's feeds: jars, blank, kinetics, mixtures, and what cannot be compared."""

import csv
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from bmp.analyze import analyze
from bmp.compare import sentence
from bmp.compare.feed import blank_influence
from bmp.compare.feeds_of_trial import feeds_of
from bmp.compare.within_trial import compare_across, compare_trial
from bmp.read import read_trial
from bmp.results import Results
from tests.compare_feeds import write_trial

FEEDS = {"goat bedding": (236.0, 0.09, 3), "horse manure": (200.0, 0.07, 3)}


@pytest.fixture(scope="module")
def spring(tmp_path_factory: pytest.TempPathFactory) -> Results:
    return analyze(read_trial(write_trial(tmp_path_factory.mktemp("a") / "spring", FEEDS, 1)))


def anew(results: Results, **changes: object) -> object:
    """Compare again after changes of the trial that leave gas and curves as they are."""
    trial = replace(results.trial, **changes)
    return compare_trial(trial, results.gas, results.curves, results.yields, results.fits)


def test_a_feed_has_one_value_a_jar_and_the_trials_blanks(spring: Results) -> None:
    goat, horse = spring.comparisons.feeds
    assert (goat.name, horse.name) == ("goat bedding", "horse manure")
    assert goat.jars == ("goat bedding 1", "goat bedding 2", "goat bedding 3")
    assert goat.values["yield"] == spring.yields[1].jar_values
    assert goat.inoculum_g_per_g == pytest.approx((100.0,) * 3)
    assert goat.VS_relative_u == pytest.approx(0.2 / 25)
    assert goat.blanks is not None
    # The simulated blank gives 1.2 (1 - exp(-0.08 t)) NmL per g, jars 4 % apart.
    assert np.mean(goat.blanks.methane_NmL_per_g) == pytest.approx(
        1.2 * (1 - np.exp(-0.08 * 38)), rel=0.06
    )
    assert [c.name for c in spring.comparisons.controls] == ["cellulose"]


def test_the_blanks_of_the_comparison_are_those_of_the_net_yield(spring: Results) -> None:
    for feed, one in zip(spring.comparisons.feeds, spring.yields[1:], strict=True):
        assert feed.blanks is not None
        specific = np.array(feed.blanks.methane_NmL_per_g)
        error = specific.std(ddof=1) / np.sqrt(3) * 100.0
        assert one.parts["blank"] == pytest.approx((error, specific.size - 1))


def test_leaving_a_blank_out_and_fitting_anew_is_exact_for_a_yield(spring: Results) -> None:
    # The influence of each blank on the yield by refitting would be the linear one; the kinetics
    # have theirs from the same loop, and they add up to nought as influences do.
    for feed in spring.comparisons.feeds:
        assert set(feed.blank_influence) >= {"rate constant", "t90"}
        for influence in feed.blank_influence.values():
            assert sum(influence) == pytest.approx(0.0, abs=1e-12)
            assert max(abs(x) for x in influence) > 0
        assert feed.blanks is not None
        assert feed.inoculum_g_per_g is not None
        linear = blank_influence(
            np.array(feed.inoculum_g_per_g), np.array(feed.blanks.methane_NmL_per_g)
        )
        assert linear.sum() == pytest.approx(0.0, abs=1e-9)


def test_yields_on_four_bases_and_four_kinetic_quantities(spring: Results) -> None:
    found = spring.comparisons
    assert list(found.yields or {}) == ["VS", "TS", "fresh", "bucket"]
    assert list(found.kinetics or {}) == ["rate constant", "peak rate", "lag", "t90"]
    records = list(found.records)
    assert [c.basis for c in records[:3]] == ["VS", "TS", "fresh"]
    assert records[0].verdict == "more"
    assert found.all_bases[0].by_basis[3].no_verdict.startswith("the bulk density of")


def test_todays_feed_is_what_the_others_are_set_against(spring: Results) -> None:
    today = ({"material": "horse manure", "amount_today_kg_per_d": 5.0},)
    found = anew(spring, tank_feeds=today)
    assert found.against == "horse manure"
    assert [(c.a, c.b) for c in found.first.comparisons] == [("goat bedding", "horse manure")]
    both = (*today, {"material": "goat bedding", "amount_today_kg_per_d": 1.0})
    assert anew(spring, tank_feeds=both).against is None


def test_a_single_feed_and_gross_yields_are_not_compared(spring: Results) -> None:
    one = [y for y in spring.yields if y.series != "horse manure"]
    found = compare_trial(spring.trial, spring.gas, spring.curves, one, spring.fits)
    assert found.why_none == "the trial holds one feed only"
    assert list(found.records) == []
    gross = anew(spring, setup=replace(spring.trial.setup, blank=False))
    assert "own gas was not measured" in gross.why_none


def test_an_assumed_methane_share_is_an_error_common_to_the_jars(spring: Results) -> None:
    gas = replace(
        spring.gas,
        share_u=np.full(spring.gas.share_u.shape, 0.04),
        share_u_common=np.ones(spring.gas.share_u_common.shape, dtype=bool),
    )
    feeds = feeds_of(spring.trial, gas, spring.curves, spring.yields, spring.fits)
    assert [f.methane_share_relative_u for f in feeds] == pytest.approx([0.04] * 3)


def test_mixtures_are_read_and_set_against_their_parts(tmp_path: Path) -> None:
    feeds = {**FEEDS, "mix": (218.0, 0.08, 3)}
    place = write_trial(
        tmp_path / "mixed",
        feeds,
        4,
        columns=",mixture",
        cells={"mix": "50 % Goat bedding + 50 % horse manure"},
    )
    results = analyze(read_trial(place))
    assert results.trial.material("mix").mixture == {"goat bedding": 0.5, "horse manure": 0.5}
    (found,) = results.comparisons.mixtures
    assert found.b == "the sum of its parts"
    assert found.verdict == "not shown"
    assert found in list(results.comparisons.records)
    assert "the sum of its parts" in sentence(found)


def test_days_to_90_percent_are_not_compared_while_a_trial_runs(spring: Results) -> None:
    yields = [replace(one, three_day_rate_percent=2.0) for one in spring.yields]
    found = compare_trial(spring.trial, spring.gas, spring.curves, yields, spring.fits)
    assert found.kinetics is not None
    (one,) = found.kinetics["t90"].comparisons
    assert one.verdict == "no verdict"
    assert "still made methane when it was last read" in sentence(one)


def test_a_halved_control_bridges_no_feeds(tmp_path: Path) -> None:
    """Two equal feeds, one control at 45 %: no verdict, and the reason is said."""

    places = [write_trial(tmp_path / name, {name: (220.0, 0.08, 3)}, 5) for name in ("a", "b")]
    path = places[1] / "readings.csv"
    with path.open(encoding="utf-8", newline="") as file:
        header, *rows = csv.reader(file)
    for row in rows:
        if row[0].startswith("cellulose"):
            row[2] = f"{0.6 * float(row[2]):.2f}"
    with path.open("w", encoding="utf-8", newline="") as file:
        csv.writer(file).writerows([header, *rows])
    found = [
        compare_trial(one.trial, one.gas, one.curves, one.yields, one.fits, name=place.name)
        for place in places
        for one in [analyze(read_trial(place))]
    ]
    (pair,) = compare_across(found).family.comparisons
    assert pair.verdict == "no verdict"
    assert "does not vouch for its trial (b: yield of the control" in sentence(pair)
