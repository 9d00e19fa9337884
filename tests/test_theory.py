"""Formula parser, theory by each way, uncertainty, degradability."""

import json

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from bmp.constants import ATOMIC_MASS
from bmp.theory import (
    COMPONENT_FORMULA,
    degradability,
    from_COD,
    from_components,
    from_formula,
    parse_formula,
    theories_of,
)
from bmp.trial import Material


@pytest.mark.parametrize(
    ("text", "atoms"),
    [
        ("C6H10O5", {"C": 6, "H": 10, "O": 5}),
        ("(C6H10O5)n", {"C": 6, "H": 10, "O": 5}),
        ("C₆H₁₂O₆", {"C": 6, "H": 12, "O": 6}),
        (" C5 H7 N O2 ", {"C": 5, "H": 7, "N": 1, "O": 2}),
        ("CH1.8O0.5N0.2", {"C": 1, "H": 1.8, "O": 0.5, "N": 0.2}),
        ("CH3(CH2)14COOH", {"C": 16, "H": 32, "O": 2}),
        ("C2((CH2)2O)3", {"C": 8, "H": 12, "O": 3}),
    ],
)
def test_formulas_are_read(text, atoms):
    assert parse_formula(text) == pytest.approx(atoms)


@pytest.mark.parametrize(
    "text", ["", "H2O", "c6h10o5", "C6(H", "C6)H", "C6H10O5x", "C-6", "6C", "Cn"]
)
def test_bad_formulas_say_how_to_write_one(text):
    with pytest.raises(ValueError, match="formula"):
        parse_formula(text)


def test_foreign_element_is_named():
    with pytest.raises(ValueError, match="'Cl' cannot be used; C, H, O, N and S can"):
        parse_formula("C2H3Cl")


@pytest.mark.parametrize("text", ["CO3", "CH9"])
def test_balance_that_does_not_close_is_refused(text):
    with pytest.raises(ValueError, match="does not close"):
        from_formula(text)


atoms = st.fixed_dictionaries(
    {
        "C": st.integers(4, 60),
        "H": st.integers(4, 60),
        "O": st.integers(0, 4),
        "N": st.integers(0, 3),
        "S": st.integers(0, 1),
    }
)


@given(atoms)
def test_carbon_and_electrons_balance(counts):
    """All carbon leaves as CH4 or CO2, and methane carries the COD."""
    formula = "".join(f"{element}{count}" for element, count in counts.items() if count)
    mass = sum(ATOMIC_MASS[element] * count for element, count in counts.items())
    try:
        theory = from_formula(formula)
    except ValueError:
        return  # too much hydrogen for a balance
    assert theory.biogas_NmL_per_gVS == pytest.approx(22_414 * counts["C"] / mass)
    assert 0 <= theory.methane_share <= 1 + 1e-12
    assert from_COD(theory.COD_g_per_gVS).methane_NmL_per_gVS == pytest.approx(
        theory.methane_NmL_per_gVS
    )


@given(atoms, st.integers(2, 9))
def test_a_multiple_of_a_formula_yields_the_same(counts, times):
    formula = "".join(f"{element}{count}" for element, count in counts.items() if count)
    try:
        once = from_formula(formula)
    except ValueError:
        return
    assert from_formula(f"({formula}){times}").methane_NmL_per_gVS == pytest.approx(
        once.methane_NmL_per_gVS
    )


def test_components_mix_linearly_and_carry_uncertainty():
    theory = from_components(
        {"carbohydrate": 0.5, "protein": 0.3, "lipid": 0.2}, {"protein": 0.02, "lipid": 0.01}
    )
    pure = {
        name: from_formula(text).methane_NmL_per_gVS for name, text in COMPONENT_FORMULA.items()
    }
    expected = 0.5 * pure["carbohydrate"] + 0.3 * pure["protein"] + 0.2 * pure["lipid"]
    assert theory.methane_NmL_per_gVS == pytest.approx(expected)
    assert theory.u_NmL_per_gVS == pytest.approx(
        np.hypot(0.02 * pure["protein"], 0.01 * pure["lipid"])
    )
    assert theory.ceiling_NmL_per_gVS == pytest.approx(expected)
    assert theory.notes == ()


def test_unaccounted_rest_raises_only_the_ceiling():
    theory = from_components({"carbohydrate": 0.8})
    assert theory.methane_NmL_per_gVS == pytest.approx(0.8 * 414.713, rel=1e-5)
    assert theory.ceiling_NmL_per_gVS == pytest.approx(0.8 * 414.713 + 0.2 * 1012.54, rel=1e-4)
    assert theory.notes == ("20 % of VS was not analysed",)


@pytest.mark.parametrize("shares", [{}, {"fibre": 0.5}, {"protein": 0.7, "lipid": 0.5}])
def test_bad_components_are_refused(shares):
    with pytest.raises(ValueError, match="components"):
        from_components(shares)


def test_bad_COD_is_refused():
    with pytest.raises(ValueError, match="positive number"):
        from_COD(0.0)


def test_ways_of_a_material_in_order():
    material = Material(
        "feed",
        "substrate",
        formula="C6H10O5",
        COD_g_per_gVS=1.19,
        carbohydrate=1,
        protein=0,
        lipid=0,
    )
    assert [theory.by for theory in theories_of(material)] == ["formula", "COD", "components"]
    assert theories_of(Material("feed", "substrate", lipid=0.1)) == ()


@pytest.mark.parametrize(
    ("measured", "ci95", "verdict"),
    [
        (350.0, (340.0, 360.0), "possible"),
        (420.0, (400.0, 440.0), "above 1 within error"),
        (460.0, (450.0, 470.0), "impossible"),
        (420.0, None, "impossible"),
        (-20.0, (-40.0, 0.0), "possible"),
    ],
)
def test_degradability_flags_the_impossible(measured, ci95, verdict):
    assert degradability(measured, ci95, from_formula("C6H10O5")).verdict == verdict


def test_pure_lipid_is_the_highest_yield_even_for_a_richer_theory():
    """A COD of 4 g/g would allow 1401 NmL/g VS; nothing that grows gives that."""
    assert degradability(1100.0, (1090.0, 1110.0), from_COD(4.0)).verdict == "impossible"


def test_degradability_interval_joins_both_errors():
    theory = from_components({"carbohydrate": 1.0}, {"carbohydrate": 0.03})
    judged = degradability(300.0, (280.0, 320.0), theory)
    half = np.hypot(20 / 300, 1.96 * 0.03) * judged.value
    assert judged.ci95 == pytest.approx((judged.value - half, judged.value + half))


def test_dictionaries_are_json():
    theory = from_components({"carbohydrate": 0.8})
    judged = degradability(300.0, (280.0, 320.0), theory)
    assert json.loads(json.dumps(theory.to_dict(), allow_nan=False))["by"] == "components"
    assert json.loads(json.dumps(judged.to_dict(), allow_nan=False))["verdict"] == "possible"


def test_a_part_that_was_not_analysed_is_counted_like_the_rest_and_said():
    """With 18 % of VS left out a feed once read "100 % of what it could give"."""
    theory = from_components({"carbohydrate": 0.66, "protein": 0.13, "lipid": 0.03})
    assert theory.accounted == pytest.approx(0.82)
    assert theory.whole_NmL_per_gVS == pytest.approx(theory.methane_NmL_per_gVS / 0.82)
    judged = degradability(theory.methane_NmL_per_gVS, None, theory)
    assert judged.value == pytest.approx(0.82)
    assert "18 % of VS was not analysed" in judged.meaning
    whole = from_components({"carbohydrate": 0.8, "protein": 0.2})
    assert whole.whole_NmL_per_gVS == whole.methane_NmL_per_gVS
