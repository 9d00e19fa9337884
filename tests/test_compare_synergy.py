"""Mixtures against their parts."""

from dataclasses import replace

import pytest

from bmp.compare import compare_mixture, mixture_sentence
from tests.compare_feeds import GOAT, HORSE, feed

HALVES = {"goat bedding": 0.5, "horse manure": 0.5}
# Half goat bedding, half horse manure by fresh mass: VS 0.5 x 0.36 + 0.5 x 0.22 = 0.29.
EXPECTED_PER_FRESH = 0.5 * 0.36 * 709 / 3 + 0.5 * 0.22 * 595 / 3


def mixture(factor: float, scatter: float = 3.0) -> object:
    middle = factor * EXPECTED_PER_FRESH / 0.29
    return feed("mix", [middle - scatter, middle + scatter, middle], VS=0.29, VS_relative_u=0.05)


def test_a_mixture_that_gives_what_its_parts_give_shows_nothing() -> None:
    found = compare_mixture(mixture(1.0), [GOAT, HORSE], HALVES)
    assert found.mean_b == pytest.approx(EXPECTED_PER_FRESH)
    assert found.difference.value == pytest.approx(0.0, abs=1e-9)
    assert found.verdict == "not shown"
    assert mixture_sentence(found).endswith("So neither synergy nor antagonism is shown.")


def test_synergy_and_antagonism() -> None:
    more = compare_mixture(mixture(1.2), [GOAT, HORSE], HALVES)
    less = compare_mixture(mixture(0.8), [GOAT, HORSE], HALVES)
    assert more.ratio.value == pytest.approx(1.2)
    assert mixture_sentence(more).endswith("So the parts help each other (synergy).")
    assert mixture_sentence(less).endswith("So the parts hinder each other (antagonism).")


def test_no_error_of_the_solids_enters() -> None:
    for basis in ("fresh", "VS"):
        found = compare_mixture(mixture(1.0), [GOAT, HORSE], HALVES, basis)
        assert not [name for name in found.variance_shares if "solids" in name]


def test_the_blank_enters_by_what_the_parts_do_not_share() -> None:
    parts = [replace(f, inoculum_g_per_g=(80.0,) * 3) for f in (GOAT, HORSE)]
    same = replace(mixture(1.0), inoculum_g_per_g=(80.0,) * 3)
    shares = {"goat bedding": 0.3, "horse manure": 0.7}
    found = compare_mixture(same, parts, shares, "VS")
    assert found.variance_shares["blanks of spring"] == pytest.approx(0.0, abs=1e-12)


def test_shares_have_to_fit() -> None:
    with pytest.raises(ValueError, match=r"add up to 0\.9, not 1"):
        compare_mixture(mixture(1.0), [GOAT, HORSE], {"goat bedding": 0.5, "horse manure": 0.4})
    with pytest.raises(ValueError, match="every part needs one share"):
        compare_mixture(mixture(1.0), [GOAT, HORSE], {"goat bedding": 0.5, "hay": 0.5})
    with pytest.raises(ValueError, match="not per bucket"):
        compare_mixture(mixture(1.0), [GOAT, HORSE], HALVES, "bucket")


def test_unknown_solids_give_no_verdict() -> None:
    found = compare_mixture(mixture(1.0), [GOAT, replace(HORSE, VS=None)], HALVES)
    assert found.no_verdict == "the VS of horse manure was not given"
