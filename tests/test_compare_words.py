"""The sentences, literally."""

import json
from dataclasses import replace

import pytest

from bmp.compare import as_record, compare_all, compare_pair, sentence
from bmp.compare.words import number, rounded
from tests.compare_feeds import GOAT, HAY, HORSE, SCRAPS, feed


def test_a_shown_difference_in_one_sentence() -> None:
    assert sentence(compare_pair(GOAT, HORSE)) == (
        "Goat bedding gave 19 % more methane per gram of volatile solids than horse manure, "
        "between 9 and 32 %; with three jars each a difference under 9.4 % would not have shown."
    )


def test_less_is_said_as_less() -> None:
    text = sentence(compare_pair(HORSE, GOAT))
    assert text.startswith(
        "Horse manure gave 16 % less methane per gram of volatile solids than goat bedding, "
        "between 8 and 24 %; "
    )


def test_what_is_not_more_than_noise_says_what_fits() -> None:
    assert sentence(compare_pair(GOAT, HAY)) == (
        "Goat bedding gave 13 % more methane per gram of volatile solids than old hay, but that "
        "is not more than noise: anything between 23 % less and 113 % more fits the readings; "
        "with three jars each a difference under 47 % would not have shown."
    )


def test_times_are_told_in_days() -> None:
    slower = replace(HORSE, values={**HORSE.values, "lag": (2.1, 1.8, 3.2)})
    assert sentence(compare_pair(GOAT, slower, "lag")) == (
        "Goat bedding started 1.1 d sooner than horse manure, but that is not more than noise: "
        "anything between 2.8 d sooner and 0.5 d later fits the readings; with three jars each a "
        "difference under 1.6 d would not have shown. The interval leaves out what is not known: "
        "the error of the blank."
    )
    # scipy.stats.ttest_ind(equal_var=False) of the lags: p 0.034
    assert sentence(compare_pair(GOAT, HORSE, "lag")).startswith(
        "Goat bedding started 1.1 d sooner than horse manure, between 0.1 and 2.1 d; "
    )


def test_rates_are_faster_or_slower() -> None:
    text = sentence(compare_pair(GOAT, HORSE, "rate constant"))
    assert text.startswith(
        "Goat bedding broke down 20 % faster (first-order rate constant) than horse manure"
    )
    assert "between 3 % slower and 52 % faster fits" in text


def test_a_ratio_without_bound_is_told_in_units() -> None:
    text = sentence(compare_pair(GOAT, feed("straw", [8.0, -3.0, 5.0])))
    assert text.startswith("Goat bedding gave 233 NmL CH4/g VS more methane per gram")


def test_one_jar_is_told_plainly() -> None:
    assert sentence(compare_pair(GOAT, SCRAPS)) == (
        "No verdict on goat bedding against kitchen scraps in yield per gram of volatile solids: "
        "one jar only of kitchen scraps. However often a jar was read, it is one jar. "
        "The bare figures are 236 and 388 NmL CH4/g VS."
    )


def test_a_difference_that_many_comparisons_take_away() -> None:
    feeds = [
        feed("a", [200.0, 204.0, 196.0]),
        feed("b", [207.0, 215.0, 211.0]),
        feed("c", [204.0, 209.0, 200.0]),
    ]
    found = compare_all(feeds).comparisons[0]
    assert found.p is not None
    assert found.p_adjusted is not None
    assert found.p < 0.05 <= found.p_adjusted
    text = sentence(found)
    assert text.startswith(
        "A gave 5 % less methane per gram of volatile solids than b, between 1 and 9 % taken alone;"
    )
    assert text.endswith(
        "But among three comparisons made at once (Holm, p 0.09) that is not more than noise."
    )


def test_a_record_is_json_without_gaps() -> None:
    for c in (
        *compare_all([GOAT, HORSE, HAY, SCRAPS]).comparisons,
        compare_pair(GOAT, HORSE, "t90"),
    ):
        record = as_record(c)
        assert json.loads(json.dumps(record, allow_nan=False)) == record
        assert record["words"] == sentence(c)
    lag = as_record(compare_pair(GOAT, HORSE, "lag"))
    assert lag["basis"] is None
    assert lag["unit"] == "d"


def test_unequal_numbers_of_jars_are_both_named() -> None:
    four = replace(
        HORSE,
        jars=("H1", "H2", "H3", "H4"),
        values={"yield": (200.0, 205.0, 190.0, 199.0)},
        inoculum_g_per_g=(60.0,) * 4,
    )
    assert "with three and four jars a difference" in sentence(compare_pair(GOAT, four))


@pytest.mark.parametrize(
    ("value", "text"),
    [(0.0, "0"), (14.4, "14"), (7.66, "7.7"), (0.972, "0.97"), (236.4, "236"), (0.0123, "0.012")],
)
def test_rounding(value: float, text: str) -> None:
    assert rounded(value) == text


def test_counts_as_words() -> None:
    assert (number(3), number(12)) == ("three", "12")


def test_a_feed_that_still_runs_is_told_with_its_day() -> None:
    early = [replace(one, time_d=11.2, finished=False) for one in (GOAT, HORSE)]
    text = sentence(compare_pair(*early))
    assert text.startswith("By day 11, not finished (this can change): Goat bedding gave 19 % more")
    record = as_record(compare_pair(*early))
    assert (record["time_d"], record["finished"]) == (11.2, False)
    done = replace(GOAT, time_d=40.0, finished=True), replace(HORSE, time_d=40.0, finished=True)
    assert as_record(compare_pair(*done))["finished"] is True
