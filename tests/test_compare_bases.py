"""One pair on every basis."""

from dataclasses import replace

from bmp.compare import BASES, bases_sentence, compare_on_all_bases
from tests.compare_feeds import GOAT, HORSE, SCRAPS


def test_every_basis_stands_side_by_side() -> None:
    found = compare_on_all_bases(GOAT, HORSE)
    assert [c.basis for c in found.by_basis] == list(BASES)


def test_the_winner_changes_with_the_bucket() -> None:
    # A bucket of horse manure holds 8 kg x 0.22, one of goat bedding 3 kg x 0.36 of VS.
    found = compare_on_all_bases(GOAT, HORSE)
    assert found.shown["VS"] == "goat bedding"
    assert found.shown["bucket"] == "horse manure"
    assert found.winner_changes
    words = bases_sentence(found)
    assert words.startswith("The winner depends on what is counted: per gram of volatile solids ")
    assert "per bucket of 10 L horse manure is ahead by" in words
    assert "volatile solids are 36 % of the fresh mass of goat bedding and 22 % of" in words
    assert "a heaped litre weighs 0.30 and 0.80 kg" in words


def test_the_order_may_hold_everywhere() -> None:
    light = replace(HORSE, bulk_density_kg_per_L=0.3)
    found = compare_on_all_bases(GOAT, light)
    assert not found.order_changes
    assert bases_sentence(found).startswith("The order is the same on every basis: ")


def test_a_change_that_is_not_more_than_noise_is_said_so() -> None:
    close = replace(HORSE, bulk_density_kg_per_L=0.60)
    found = compare_on_all_bases(GOAT, close)
    assert found.order_changes
    assert not found.winner_changes
    assert "though not beyond noise" in bases_sentence(found)


def test_a_basis_that_is_not_known_says_what_is_missing() -> None:
    found = compare_on_all_bases(GOAT, replace(HORSE, bulk_density_kg_per_L=None))
    assert found.by_basis[-1].no_verdict == "the bulk density of horse manure was not given"
    assert "Per bucket of 10 L it is not counted: the bulk density" in bases_sentence(found)


def test_one_jar_leads_without_a_verdict() -> None:
    words = bases_sentence(compare_on_all_bases(GOAT, SCRAPS))
    assert "kitchen scraps is ahead by 64 %, no verdict" in words
