"""Rules for the names in a jar's row and for what is in the jar: each once, over all jars at once.

They hold for the jars of one trial and for those of many. A table's reader tells a problem for each
jar that breaks one, in the rule's words; an archive asks only which jars do.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property
from typing import Any, Final, TypeAlias

import numpy as np
from numpy.typing import NDArray

from bmp.trial import WAYS_OF_MEASURING, BoolArray, FloatArray, IntArray

LEAST_MASS_G, MOST_MASS_G = 1e-6, 1e7
LEAST_HEADSPACE_ML, MOST_HEADSPACE_ML = 1e-3, 1e7
MASSES: Final = ("inoculum_g", "sample_g", "water_g")
LONGEST_NAME: Final = 100
EMPTY, UNKNOWN = -1, -2
"""In place of a material: the cell is empty; the jar's trial has no material of that name."""


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


Mask: TypeAlias = Callable[[Any], BoolArray]


@dataclass(frozen=True)
class JarRule:
    """One rule. In its words `{name}` is the jar's name and `{value}` what stands in the field."""

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


# --- names ----------------------------------------------------------------------------------------


@dataclass(frozen=True, eq=False)
class Names:
    """The names in the rows of some jars. Arrays have shape (jars,) where no other is told."""

    trial: IntArray
    """From 0 on."""
    name: IntArray
    """The same number for the same name of a trial, whatever its case; -1 for none."""
    length: IntArray
    """Of the name, in characters."""
    measured: NDArray[Any]
    material: IntArray
    """Which of all materials the row names, or `EMPTY` or `UNKNOWN`."""
    inoculum: IntArray
    with_blank: BoolArray
    """Whether the jar's trial has blanks."""
    role: NDArray[Any]
    """As `Material.role`, shape (materials,)."""
    of_trial: IntArray
    """The trial of each material, shape (materials,)."""
    told: BoolArray
    """A material that the row names has a problem of its own: nothing more is told of the jar."""

    @cached_property
    def inocula(self) -> IntArray:
        """Inocula of the jar's trial."""
        number: IntArray = np.bincount(
            self.of_trial[self.role == "inoculum"], minlength=int(self.trial.max(initial=-1)) + 1
        )[self.trial]
        return number

    def has_role(self, material: IntArray, *roles: str) -> BoolArray:
        """Tell which materials have one of the roles; `EMPTY` and `UNKNOWN` have none."""
        found: BoolArray = np.append(np.isin(self.role, roles), [False, False])[material]
        return found

    @cached_property
    def held(self) -> IntArray:
        """The inoculum in a jar: the one named, or the only one there is; `EMPTY` for none."""
        which = np.flatnonzero(self.role == "inoculum")
        # a trial whose jars are all refused still has materials
        last = max(self.trial.max(initial=-1), self.of_trial.max(initial=-1))
        only = np.full(int(last) + 1, EMPTY)
        only[self.of_trial[which]] = which
        only_one = np.where(self.inocula == 1, only[self.trial], EMPTY)
        named = np.where(self.has_role(self.inoculum, "inoculum"), self.inoculum, EMPTY)
        return np.where(self.inoculum == EMPTY, only_one, named)

    @cached_property
    def content(self) -> IntArray:
        """The material in a jar; without a name it is a blank of the inoculum that it holds."""
        return np.where(self.material == EMPTY, self.held, self.material)

    @cached_property
    def inoculum_held(self) -> IntArray:
        """As `held`; a blank holds the inoculum that it is named for."""
        return np.where(self.has_role(self.content, "inoculum"), self.content, self.held)

    @cached_property
    def lacks_inoculum(self) -> BoolArray:
        """Which jars need an inoculum and do not say which of several, or of none, it is."""
        whole = self.has_role(self.material, "inoculum", "weight check")
        needs = (self.measured != "net yield") & ~whole
        lacks: BoolArray = needs & (self.inoculum == EMPTY) & (self.inocula != 1)
        return lacks


def _again(jars: Names) -> BoolArray:
    """Mark jars whose name stands in a row of their trial before."""
    key = jars.trial * (int(jars.name.max(initial=0)) + 2) + jars.name
    _, first = np.unique(key, return_index=True)
    again = np.ones(key.size, dtype=bool)
    again[first] = False
    return again & (jars.name >= 0)


NAME_RULES: Final = (
    (
        JarRule("name", lambda jars: jars.name < 0, "a jar has no name", "give it one"),
        JarRule(
            "name", lambda jars: jars.length > LONGEST_NAME,
            "the name {name} has {length} characters",
            f"at most {LONGEST_NAME}, so that it fits into tables and pictures",
        ),
        JarRule("name", _again, "jar {name} stands twice", "keep one row"),
    ),
    (
        JarRule(
            "measured", lambda jars: ~np.isin(jars.measured, WAYS_OF_MEASURING),
            "{value} is no way of measuring", f"write one of: {', '.join(WAYS_OF_MEASURING)}",
        ),
    ),
    (
        JarRule(
            "inoculum",
            lambda jars: (jars.inoculum != EMPTY) & ~jars.has_role(jars.inoculum, "inoculum"),
            "{value} is no inoculum among the materials", "{inocula}",
        ),
        JarRule(
            "name", lambda jars: jars.lacks_inoculum & (jars.inocula == 0) & jars.with_blank,
            "no material has the role inoculum", "add it to the materials",
        ),
        JarRule(
            "name", lambda jars: jars.lacks_inoculum & (jars.inocula > 1),
            "there are several inocula and the jar does not say which is in it",
            "add a column “inoculum material”",
        ),
        JarRule(
            "material", lambda jars: jars.material == UNKNOWN,
            "{value} is not among the materials", "{materials}",
        ),
    ),
    (
        JarRule(
            "material", lambda jars: jars.content == EMPTY,
            "jar {name} does not say what is in it", "name its material",
        ),
    ),
)  # fmt: skip
"""Groups of rules: a jar that breaks one of a group is not held against those of the next."""


def broken_names(jars: Names) -> list[tuple[JarRule, BoolArray]]:
    """Return the rules for names, and which jars break each."""
    found: list[tuple[JarRule, BoolArray]] = []
    open_still = np.ones(jars.name.size, dtype=bool)
    for group in NAME_RULES:
        held = [(rule, rule.broken(jars) & open_still) for rule in group]
        found += held
        for _, broken in held:
            open_still &= ~broken
        # the jar's own name is looked at in any case
        open_still &= ~jars.told
    return found
