"""Theoretical methane yield from a formula, components or COD, and degradability.

The balance of Buswell & Mueller and Boyle, for C_a H_b O_c N_d S_e with nitrogen leaving as NH3
and sulphur as H2S:

    CH4 = a/2 + b/8 - c/4 - 3d/8 - e/4        CO2 = a/2 - b/8 + c/4 + 3d/8 + e/4

All volumes are dry gas at 0 °C and 101.325 kPa by the ideal molar volume, as the published tables
have them (the real molar volume of methane would give 0.24 % less). The gas composition leaves
out the CO2 that stays dissolved: the gas of a tank is richer in methane.

References
----------
.. [1] Buswell A.M., Mueller H.F. (1952) Mechanism of methane fermentation, Ind. Eng. Chem. 44:550;
   Boyle W.C. (1977) Energy recovery from sanitary landfills, in Microbial Energy Conversion
   (citations from memory; the coefficients are checked against published yields).
.. [2] Angelidaki I., Sanders W. (2004) Assessment of the anaerobic biodegradability of
   macropollutants, Rev. Environ. Sci. Biotechnol. 3:117-129.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import asdict, dataclass
from math import hypot
from typing import Any, Final

from bmp.constants import (
    ATOMIC_MASS,
    HIGHEST_POSSIBLE_YIELD_NML_PER_G_VS,
    MOLAR_VOLUME_IDEAL_ML,
)
from bmp.trial import Material

# Moles of gas per mole of each element in the substrate.
METHANE_PER_ATOM: Final = {"C": 1 / 2, "H": 1 / 8, "O": -1 / 4, "N": -3 / 8, "S": -1 / 4}
CARBON_DIOXIDE_PER_ATOM: Final = {"C": 1 / 2, "H": -1 / 8, "O": 1 / 4, "N": 3 / 8, "S": 1 / 4}

# The compound that stands for each component (Angelidaki & Sanders 2004; VDI 4630).
COMPONENT_FORMULA: Final = {
    "carbohydrate": "C6H10O5",
    "protein": "C5H7NO2",
    "lipid": "C57H104O6",
}

# One mole of methane takes two of O2, so 1 g of COD gives V / (2 M(O2)) = 350.2 NmL.
METHANE_NML_PER_G_COD: Final = MOLAR_VOLUME_IDEAL_ML / (4 * ATOMIC_MASS["O"])

# Coverage factor of a 95 % interval.
COVERAGE: Final = 1.96

_SUBSCRIPTS: Final = str.maketrans("₀₁₂₃₄₅₆₇₈₉", "0123456789")
_TOKEN: Final = re.compile(r"([A-Z][a-z]?|\(|\))(\d+(?:\.\d+)?|n(?![a-z]))?")


@dataclass(frozen=True)
class Theory:
    """What mass balance allows at most from 1 g of volatile solids."""

    methane_NmL_per_gVS: float
    u_NmL_per_gVS: float
    """Standard uncertainty, carried from the analysis; 0 where none was given."""
    ceiling_NmL_per_gVS: float
    """The most that the figures allow: what the analysis leaves out counted as lipid."""
    COD_g_per_gVS: float
    by: str
    """`formula`, `components` or `COD`."""
    biogas_NmL_per_gVS: float | None = None
    methane_share: float | None = None
    """CH4/(CH4 + CO2); None by COD, which does not tell it."""
    ammonia_N_g_per_gVS: float | None = None
    sulphide_S_g_per_gVS: float | None = None
    notes: tuple[str, ...] = ()
    accounted: float = 1.0
    """Share of VS that the analysis accounts for; the yield above is of that share alone."""

    @property
    def whole_NmL_per_gVS(self) -> float:
        """Return the yield of all VS, what was not analysed taken to be like the rest."""
        return self.methane_NmL_per_gVS / self.accounted

    def to_dict(self) -> dict[str, Any]:
        """Return the plain dictionary that `results.json` holds."""
        plain = {**asdict(self), "notes": list(self.notes)}
        return {**plain, "whole_NmL_per_gVS": self.whole_NmL_per_gVS}


@dataclass(frozen=True)
class Degradability:
    """Measured over theoretical yield."""

    value: float
    ci95: tuple[float, float] | None
    verdict: str
    """`possible`, `above 1 within error` or `impossible`."""
    meaning: str

    def to_dict(self) -> dict[str, Any]:
        """Return the plain dictionary that `results.json` holds."""
        return {**asdict(self), "ci95": None if self.ci95 is None else list(self.ci95)}


def parse_formula(text: str) -> dict[str, float]:
    """Return the number of atoms of each element in a formula such as `C6H10O5`.

    Brackets and decimal counts are read (`(C6H10O5)n`, `CH1.8O0.5N0.2`); a repeat `n` counts once,
    since yields are per gram.

    Raises
    ------
    ValueError
        For anything but C, H, O, N and S, unbalanced brackets, or a formula with no carbon.
    """
    cleaned = text.translate(_SUBSCRIPTS).replace(" ", "")
    levels: list[dict[str, float]] = [{}]
    position = 0
    for token in _TOKEN.finditer(cleaned):
        if token.start() != position:
            break
        position = token.end()
        symbol, count = token.groups()
        times = 1.0 if count in (None, "n") else float(count)
        if symbol == "(" and count is None:
            levels.append({})
        elif symbol == ")" and len(levels) > 1:
            for element, atoms in levels.pop().items():
                levels[-1][element] = levels[-1].get(element, 0.0) + times * atoms
        elif symbol in ATOMIC_MASS and count != "n":
            levels[-1][symbol] = levels[-1].get(symbol, 0.0) + times
        else:
            raise ValueError(f"formula {text!r}: {symbol!r} cannot be used; C, H, O, N and S can")
    if position != len(cleaned) or len(levels) != 1 or not levels[0].get("C"):
        raise ValueError(f"formula {text!r} cannot be read; write it like C6H10O5")
    return levels[0]


def from_formula(formula: str) -> Theory:
    """Return the theory of a pure compound.

    Raises
    ------
    ValueError
        As `parse_formula`, and for a compound too oxidised to give methane.
    """
    atoms = parse_formula(formula)
    mass = sum(ATOMIC_MASS[element] * count for element, count in atoms.items())
    shares = {element: ATOMIC_MASS[element] * count / mass for element, count in atoms.items()}
    return _from_mass_shares(shares, 0.0, by="formula")


def from_components(shares: Mapping[str, float], u: Mapping[str, float] | None = None) -> Theory:
    """Return the theory of VS made of carbohydrate, protein and lipid.

    Parameters
    ----------
    shares
        Fractions of VS, 0 to 1, by the names of `COMPONENT_FORMULA`.
    u
        Standard uncertainty of each fraction, taken as independent.

    Raises
    ------
    ValueError
        For another name, no fraction at all, or fractions that add up to more than 1.02.
    """
    unknown = set(shares) - set(COMPONENT_FORMULA)
    total = sum(shares.values())
    if unknown or not shares:
        raise ValueError(f"components are {', '.join(COMPONENT_FORMULA)}; got {list(shares)}")
    if total > 1.02 or min(shares.values()) < 0:
        raise ValueError(f"components add up to {total:.3f} of VS; at most 1 is possible")
    pure = {name: from_formula(COMPONENT_FORMULA[name]) for name in COMPONENT_FORMULA}

    def mixed(field: str) -> float:
        return sum(float(getattr(pure[name], field)) * share for name, share in shares.items())

    methane, biogas = mixed("methane_NmL_per_gVS"), mixed("biogas_NmL_per_gVS")
    rest = max(0.0, 1.0 - total)
    spread = [pure[name].methane_NmL_per_gVS * value for name, value in (u or {}).items()]
    return Theory(
        methane_NmL_per_gVS=methane,
        u_NmL_per_gVS=hypot(*spread) if spread else 0.0,
        ceiling_NmL_per_gVS=methane + rest * pure["lipid"].methane_NmL_per_gVS,
        COD_g_per_gVS=mixed("COD_g_per_gVS"),
        by="components",
        biogas_NmL_per_gVS=biogas,
        methane_share=methane / biogas if biogas else None,
        ammonia_N_g_per_gVS=mixed("ammonia_N_g_per_gVS"),
        sulphide_S_g_per_gVS=0.0,
        notes=(f"{100 * rest:.0f} % of VS was not analysed",) if rest > 0.02 else (),
        accounted=min(1.0, total) if rest > 0.02 and methane > 0 else 1.0,
    )


def from_COD(COD_g_per_gVS: float, u_g_per_gVS: float = 0.0) -> Theory:
    """Return the theory of VS with a chemical oxygen demand: 350.2 NmL CH4 per g COD.

    Raises
    ------
    ValueError
        For a negative or zero COD.
    """
    if COD_g_per_gVS <= 0:
        raise ValueError(f"COD is {COD_g_per_gVS} g/g VS; a positive number is expected")
    methane = METHANE_NML_PER_G_COD * COD_g_per_gVS
    return Theory(
        methane_NmL_per_gVS=methane,
        u_NmL_per_gVS=METHANE_NML_PER_G_COD * u_g_per_gVS,
        ceiling_NmL_per_gVS=methane,
        COD_g_per_gVS=COD_g_per_gVS,
        by="COD",
    )


def theories_of(material: Material) -> tuple[Theory, ...]:
    """Return every theory that a material's analysis allows, the most direct first.

    The formula of a pure compound comes first, then COD (a count of electrons), then components.
    A material with none gives an empty tuple. Components count only when all three are given:
    what was not analysed is not zero.

    Raises
    ------
    ValueError
        As the function of each way.
    """
    found: list[Theory] = []
    if material.formula:
        found.append(from_formula(material.formula))
    if material.COD_g_per_gVS is not None:
        found.append(from_COD(material.COD_g_per_gVS))
    if material.carbohydrate is not None:
        shares = {name: getattr(material, name) for name in COMPONENT_FORMULA}
        if all(share is not None for share in shares.values()):
            found.append(from_components(shares))
    return tuple(found)


def highest_yield_NmL_per_gVS(material: Material) -> float | None:
    """Return the most methane that a material's analysis allows, None where there is none.

    VS that the analysis leaves out counts as lipid.

    Raises
    ------
    ValueError
        As `theories_of`.
    """
    ways = theories_of(material)
    return ways[0].ceiling_NmL_per_gVS if ways else None


def degradability(
    measured_NmL_per_gVS: float, ci95: tuple[float, float] | None, theory: Theory
) -> Degradability:
    """Return measured over theoretical yield, and whether mass balance allows it.

    Theory is of all VS: what was not analysed is taken to be like the rest, which the meaning says.
    The relative half widths of both 95 % intervals are added in quadrature. `impossible` means
    that the whole interval lies above 1, against the ceiling of the theory and never above the
    yield of pure lipid.
    """
    ceiling = min(theory.ceiling_NmL_per_gVS, HIGHEST_POSSIBLE_YIELD_NML_PER_G_VS)
    value = measured_NmL_per_gVS / theory.whole_NmL_per_gVS
    half = 0.0 if ci95 is None else (ci95[1] - ci95[0]) / 2
    theory_half = COVERAGE * theory.u_NmL_per_gVS / theory.accounted
    ratio_half = hypot(half, value * theory_half) / theory.whole_NmL_per_gVS
    over = measured_NmL_per_gVS - ceiling
    if over > hypot(half, theory_half):
        verdict, meaning = (
            "impossible",
            f"{measured_NmL_per_gVS:.0f} NmL CH4/g VS is more than mass balance allows "
            f"({ceiling:.0f}): look for a wrong VS, a wrong unit, or the inoculum's gas left in",
        )
    elif over > 0:
        verdict, meaning = "above 1 within error", "as much as mass balance allows, within error"
    else:
        verdict = "possible"
        meaning = f"{100 * value:.0f} % of what the feed could give was given"
        if theory.accounted < 1.0:
            rest = 100 * (1 - theory.accounted)
            meaning += f" ({rest:.0f} % of VS was not analysed and is taken to be like the rest)"
    known = ci95 is not None or theory_half > 0
    interval = (value - ratio_half, value + ratio_half) if known else None
    return Degradability(value, interval, verdict, meaning)


def _from_mass_shares(shares: Mapping[str, float], u: float, by: str) -> Theory:
    moles = {element: share / ATOMIC_MASS[element] for element, share in shares.items()}
    methane = sum(METHANE_PER_ATOM[element] * n for element, n in moles.items())
    carbon_dioxide = sum(CARBON_DIOXIDE_PER_ATOM[element] * n for element, n in moles.items())
    if methane < -1e-12 or carbon_dioxide < -1e-12:
        raise ValueError("the balance does not close: too much oxygen or too much hydrogen")
    methane = max(methane, 0.0)
    biogas = methane + carbon_dioxide
    yield_NmL = MOLAR_VOLUME_IDEAL_ML * methane
    return Theory(
        methane_NmL_per_gVS=yield_NmL,
        u_NmL_per_gVS=u,
        ceiling_NmL_per_gVS=yield_NmL,
        COD_g_per_gVS=4 * ATOMIC_MASS["O"] * methane,
        by=by,
        biogas_NmL_per_gVS=MOLAR_VOLUME_IDEAL_ML * biogas,
        methane_share=methane / biogas if biogas else None,
        ammonia_N_g_per_gVS=shares.get("N", 0.0),
        sulphide_S_g_per_gVS=shares.get("S", 0.0),
    )
