"""One pair on every basis."""

from dataclasses import replace

from bmp.compare import BASES
from bmp.report.compare_section import change_cell, why_order_changes
from tests.compare_feeds import GOAT, HORSE, SCRAPS, on_all_bases


def test_every_basis_stands_side_by_side() -> None:
    found = on_all_bases(GOAT, HORSE)
    assert [c.basis for c in found.by_basis] == list(BASES)


def test_the_winner_changes_with_the_bucket() -> None:
    # A bucket of horse manure holds 8 kg x 0.22, one of goat bedding 3 kg x 0.36 of VS.
    found = on_all_bases(GOAT, HORSE)
    verdicts = {c.basis: c.verdict for c in found.by_basis}
    assert (verdicts["VS"], verdicts["bucket"]) == ("more", "less")
    assert why_order_changes(found) == (
        "The order of goat bedding and horse manure depends on the measure: TS (dry matter) is 45 "
        "and 28 % of the fresh mass; VS is 36 and 22 % of the fresh mass; a heaped litre weighs "
        "0.30 and 0.80 kg."
    )


def test_the_order_may_hold_everywhere() -> None:
    light = replace(HORSE, bulk_density_kg_per_L=0.3)
    found = on_all_bases(GOAT, light)
    assert not found.order_changes


def test_a_change_that_is_not_more_than_noise_is_said_so() -> None:
    close = replace(HORSE, bulk_density_kg_per_L=0.60)
    found = on_all_bases(GOAT, close)
    assert found.order_changes
    assert {"more", "less"} - {c.verdict for c in found.by_basis}


def test_a_basis_that_is_not_known_says_what_is_missing() -> None:
    found = on_all_bases(GOAT, replace(HORSE, bulk_density_kg_per_L=None))
    assert found.by_basis[-1].no_verdict == "the bulk density of horse manure was not given"
    assert change_cell(found.by_basis[-1]) == "not known"


def test_one_jar_leads_without_an_interval() -> None:
    found = on_all_bases(GOAT, SCRAPS)
    assert change_cell(found.by_basis[0]).endswith("(no interval)")
