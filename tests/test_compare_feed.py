"""What of a feed enters a comparison: bases, blank, and what is refused."""

from dataclasses import replace

import numpy as np
import pytest

from bmp.compare import Feed, NotComparable, TrialBlanks
from bmp.compare.feed import blank_influence, sample_of, unit_of
from bmp.statistics import jackknife_influence
from tests.compare_feeds import BLANKS, GOAT, HAY, feed


def test_readings_of_one_jar_are_not_jars() -> None:
    with pytest.raises(ValueError, match="jar A1 of hay stands more than once: readings of one"):
        Feed("hay", "spring", ("A1", "A1", "A2"), {"yield": (1.0, 2.0, 3.0)})


def test_values_and_ratios_need_one_entry_a_jar() -> None:
    with pytest.raises(ValueError, match="2 values of yield for 3 jars"):
        Feed("hay", "spring", ("A1", "A2", "A3"), {"yield": (1.0, 2.0)})
    with pytest.raises(ValueError, match="as many inoculum ratios as jars"):
        Feed("hay", "spring", ("A1",), {"yield": (1.0,)}, inoculum_g_per_g=(1.0, 2.0))


@pytest.mark.parametrize(
    ("basis", "factor", "unit"),
    [
        ("VS", 1.0, "NmL CH4/g VS"),
        ("TS", 0.36 / 0.45, "NmL CH4/g TS"),
        ("fresh", 0.36, "NmL CH4/g fresh mass"),
        # NmL/g fresh = NL/kg fresh; 10 L at 0.30 kg/L are 3 kg
        ("bucket", 0.36 * 3.0, "NL CH4/bucket"),
    ],
)
def test_a_basis_scales_yields_and_blank_alike(basis: str, factor: float, unit: str) -> None:
    sample = sample_of(GOAT, "yield", basis)
    plain = sample_of(GOAT)
    assert sample.values == pytest.approx(plain.values * factor)
    assert sample.blank_influence is not None
    assert plain.blank_influence is not None
    assert sample.blank_influence == pytest.approx(plain.blank_influence * factor)
    assert unit_of("yield", basis) == sample.unit == unit


def test_the_error_of_the_solids_belongs_to_its_basis() -> None:
    found = {b: sample_of(GOAT, "yield", b).factors for b in ("VS", "TS", "fresh", "bucket")}
    assert found == {
        "VS": {"volatile solids of goat bedding": 0.01},
        "TS": {"dry matter of goat bedding": 0.01},
        "fresh": {},
        "bucket": {"bulk density of goat bedding": 0.05},
    }


def test_an_assumed_methane_share_is_one_error_of_all_jars() -> None:
    assumed = replace(GOAT, methane_share_relative_u=0.04)
    assert sample_of(assumed, "yield", "fresh").factors == {
        "assumed methane share of goat bedding": 0.04
    }
    assert sample_of(assumed, "rate constant").factors == {}


def test_an_error_that_was_not_given_is_named() -> None:
    assert sample_of(HAY, "yield", "TS").not_carried == ("the error of the dry matter of old hay",)
    assert sample_of(HAY, "yield", "TS", solids_cancel=True).not_carried == ()


def test_a_rate_constant_has_no_basis() -> None:
    sample = sample_of(GOAT, "rate constant", "bucket")
    assert sample.values == pytest.approx([0.12, 0.13, 0.11])
    assert sample.unit == "1/d"


def test_what_is_missing_is_said() -> None:
    dry = replace(GOAT, bulk_density_kg_per_L=None)
    with pytest.raises(NotComparable, match="the bulk density of goat bedding was not given"):
        sample_of(dry, "yield", "bucket")
    with pytest.raises(NotComparable, match="not determined in jar goat bedding 2"):
        sample_of(GOAT, "t90")
    with pytest.raises(NotComparable, match="the lag of old hay was not determined"):
        sample_of(HAY, "lag")


def test_a_yield_per_fresh_mass_needs_solids_only_to_leave_its_own_basis() -> None:
    wet = replace(GOAT, basis="fresh", VS=None, TS=None)
    assert sample_of(wet, "yield", "fresh").values == pytest.approx([232.0, 241.0, 236.0])
    with pytest.raises(NotComparable, match="the VS of goat bedding was not given"):
        sample_of(wet, "yield", "VS")


def test_the_jackknife_gives_the_blanks_influence_exactly_for_a_yield() -> None:
    gas, inoculum, solids = np.array([520.0, 533.0, 541.0]), np.array([300.0, 302.0, 305.0]), 5.0
    blanks = np.array(BLANKS.methane_NmL_per_g)
    without = [np.mean((gas - inoculum * np.delete(blanks, i).mean()) / solids) for i in range(3)]
    assert jackknife_influence(np.array(without)) == pytest.approx(
        blank_influence(inoculum / solids, blanks)
    )


def test_a_given_influence_is_used_and_a_single_blank_is_named() -> None:
    given = replace(GOAT, blank_influence={"lag": (0.1, -0.05, -0.05)})
    assert sample_of(given, "lag").blank_influence == pytest.approx([0.1, -0.05, -0.05])
    assert sample_of(GOAT, "lag").not_carried == ("the error of the blank",)
    single = feed("hay", [200.0, 210.0], blanks=TrialBlanks((1.1,)))
    assert sample_of(single).not_carried == (
        "the error of the blank (a single blank has no scatter)",
    )
