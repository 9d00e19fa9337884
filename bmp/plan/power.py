"""How large a difference between two feeds a number of jars can show."""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import combinations

import numpy as np

from bmp.plan.draft import Draft
from bmp.trial import FloatArray

USUAL_POWER = 0.8
USUAL_LEVEL = 0.05
# Draws of the errors: the size found is good to about half a percent of itself.
DRAWS, SEED = 20_000, 0


@dataclass(frozen=True)
class Design:
    """What decides how small a difference between two feeds of a trial shows."""

    jars: int
    """Of each feed."""
    rsd: float
    """Relative SD between jars of one feed."""
    comparisons: int = 1
    """Pairs that are compared at once."""
    blanks: int = 3
    blank_left: float = 0.0
    """Blank's gas that does not cancel between the two feeds, over their common yield."""
    solids_u: float = 0.0
    """Relative standard uncertainty of the ratio of both feeds' solids."""


def detectable_difference(
    design: Design, power: float = USUAL_POWER, level: float = USUAL_LEVEL
) -> float:
    """Return the true relative difference that `bmp.compare` finds with the given power.

    Notes
    -----
    `compare` uses Welch's test with the degrees of freedom of all sources of error (jars of either
    feed, blanks, solids: JCGM 100:2008, eq. G.2b) and Holm's adjustment. The size is worked out by
    drawing the errors, with a fixed seed, for Holm's first step: a pair is held to level/pairs,
    which the later steps only ease.

    Raises
    ------
    ValueError
        For fewer than 2 jars, whose scatter nobody can see.
    """
    difference = 0.0
    # The scatter grows with the yield, so it depends a little on the difference itself.
    for _ in range(4):
        needed, error = _thresholds(design, difference, level)
        difference = float(np.quantile(needed - error, power))
    return difference


def just_significant(design: Design, level: float = USUAL_LEVEL) -> float:
    """Return the observed relative difference that is significant with the usual scatter.

    In half of all trials a smaller one is enough, in half a larger one is needed.
    """
    return float(np.median(_thresholds(design, 0.0, level)[0]))


def _thresholds(design: Design, difference: float, level: float) -> tuple[FloatArray, FloatArray]:
    """Return what an observed difference must pass in each draw, and the error it has there."""
    from scipy.special import stdtrit

    if design.jars < 2:
        raise ValueError("one jar of each feed shows no scatter: at least 2")
    rng = np.random.default_rng(SEED)
    known = design.solids_u**2
    sides = (1 + difference / 2, 1 - difference / 2)
    sources = [((side * design.rsd) ** 2 / design.jars, design.jars - 1) for side in sides]
    if design.blanks > 1:
        left = (design.blank_left * design.rsd) ** 2 / design.blanks
        sources.append((left, design.blanks - 1))
    estimated = [v * rng.chisquare(dof, DRAWS) / dof for v, dof in sources]
    spent = sum(v**2 / dof for v, (_, dof) in zip(estimated, sources, strict=True))
    total = np.asarray(sum(estimated) + known)
    dof = total**2 / spent
    needed = stdtrit(dof, 1 - level / 2 / design.comparisons) * np.sqrt(total)
    true = sum(v for v, _ in sources) + known
    return np.asarray(needed), rng.standard_normal(DRAWS) * math.sqrt(true)


def design_of(draft: Draft, jars: int | None = None, fresh: bool = False) -> Design | None:
    """Return the design of the hardest pair of feeds; `None` with one feed or one jar of each.

    Parameters
    ----------
    jars
        Of each feed, where another number than planned is asked about.
    fresh
        Compare per fresh mass, where the solids do not enter.
    """
    feeds = [s for s in draft.samples if s.role == "substrate"]
    count = draft.wishes.planned_jars if jars is None else jars
    if len(feeds) < 2 or count < 2:
        return None
    own = draft.inoculum_literature.methane_NmL_per_gVS.middle
    blank_left = solids = 0.0
    for one, other in combinations(feeds, 2):
        common = sum(s.literature.methane_NmL_per_gVS.middle for s in (one, other)) / 2
        blank_left = max(blank_left, abs(one.ratio - other.ratio) * own / common)
        solids = max(solids, math.hypot(one.solids.relative_u, other.solids.relative_u))
    return Design(
        jars=count,
        rsd=math.hypot(draft.wishes.expected_rsd, weighing_rsd(draft)),
        comparisons=len(feeds) * (len(feeds) - 1) // 2,
        blanks=draft.wishes.planned_blanks,
        blank_left=blank_left,
        solids_u=0.0 if fresh else solids,
    )


def weighing_rsd(draft: Draft) -> float:
    """Return the relative SD that a scale's step gives the smallest sample of a feed.

    A reading rounded to a step is rectangular: half the step over the square root of three.
    """
    step = draft.wishes.scale_g
    least = min((d.sample_g for d in draft.doses if d.role == "substrate"), default=0.0)
    return step / 2 / math.sqrt(3) / least if least > 0 else 0.0
