"""Rules for what is in a jar: each once, over all jars at once, with its words.

A table's reader tells a problem for each jar that breaks one; an archive asks only which jars do.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, Final, TypeAlias

import numpy as np
from numpy.typing import NDArray

from bmp.trial import BoolArray, FloatArray

LEAST_MASS_G, MOST_MASS_G = 1e-6, 1e7
LEAST_HEADSPACE_ML, MOST_HEADSPACE_ML = 1e-3, 1e7
MASSES: Final = ("inoculum_g", "sample_g", "water_g")


@dataclass(frozen=True, eq=False)
class Contents:
    """What is in some jars. Every array has shape (jars,)."""

    role: NDArray[Any]
    """As `Jar.role`."""
    measured: NDArray[Any]
    """As `Jar.measured`."""
    with_blank: BoolArray
    """Whether the jar's trial has blanks."""
    inoculum_g: FloatArray
    sample_g: FloatArray
    water_g: FloatArray
    headspace_mL: FloatArray
    """NaN where it was not given."""

    @property
    def mixed_by_hand(self) -> BoolArray:
        """Which jars were filled for this trial: no ready net yields, no weight check."""
        found: BoolArray = (self.measured != "net yield") & (self.role != "weight check")
        return found


Mask: TypeAlias = Callable[[Contents], BoolArray]


@dataclass(frozen=True)
class JarRule:
    """One rule. `{name}` and `{value}` in its words are the jar's name and the field's number."""

    field: str
    broken: Mask
    what: str
    wanted: str


def _no_mass(field: str) -> Mask:
    def broken(jars: Contents) -> BoolArray:
        grams: FloatArray = getattr(jars, field)
        fits: BoolArray = (grams == 0.0) | ((grams >= LEAST_MASS_G) & (grams < MOST_MASS_G))
        return ~fits

    return broken


def _no_space(jars: Contents) -> BoolArray:
    space = jars.headspace_mL
    fits: BoolArray = (space >= LEAST_HEADSPACE_ML) & (space < MOST_HEADSPACE_ML)
    return ~np.isnan(space) & ~fits


JAR_RULES: Final = (
    *(
        JarRule(
            field, _no_mass(field), "{value:.4g} g cannot be",
            "a mass is not below zero, nor less than anybody can weigh",
        )
        for field in MASSES
    ),
    JarRule(
        "inoculum_g", lambda jars: jars.with_blank & (jars.inoculum_g == 0.0),
        "jar {name} has no inoculum", "give its mass in a column “inoculum [g]”",
    ),
    JarRule(
        "sample_g", lambda jars: (jars.role != "blank") & (jars.sample_g == 0.0),
        "jar {name} has no sample",
        "give its mass in a column “sample [g]”, or leave its material empty: a blank",
    ),
    JarRule(
        "sample_g", lambda jars: (jars.role == "blank") & (jars.sample_g > 0.0),
        "jar {name} is a blank and has {value:g} g of sample",
        "name the material of the sample, or clear the mass",
    ),
    JarRule(
        "headspace_mL", lambda jars: (jars.measured == "pressure") & np.isnan(jars.headspace_mL),
        "jar {name} has no headspace",
        "pressure gives gas only with the headspace: enter it in a column “headspace [mL]”",
    ),
    JarRule(
        "headspace_mL", _no_space, "{value:.4g} mL cannot be", "a headspace is more than nothing"
    ),
)  # fmt: skip


def broken_rules(jars: Contents) -> BoolArray:
    """Tell which rule each jar breaks, shape (`JAR_RULES`, jars)."""
    broken: BoolArray = np.stack([rule.broken(jars) for rule in JAR_RULES]) & jars.mixed_by_hand
    return broken
