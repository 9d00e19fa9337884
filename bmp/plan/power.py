"""How large a difference between two feeds a number of jars can show."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cache
from itertools import combinations

import numpy as np

from bmp.borrowed_scatter import PRIOR_FREEDOM, borrowed_scatter
from bmp.plan.draft import Draft
from bmp.statistics import critical_value
from bmp.trial import FloatArray

USUAL_POWER = 0.8
USUAL_LEVEL = 0.05
# Draws of the errors: the size found is good to about one percent of itself.
DRAWS, SEED = 5_000, 0


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
    borrowed: bool = False
    """Whether the scatter between jars is borrowed (`bmp.borrowed_scatter`), from each other and
    published trials; one jar of each feed is then enough."""


@cache
def detectable_difference(
    design: Design, power: float = USUAL_POWER, level: float = USUAL_LEVEL
) -> float:
    """Return the true relative difference that `bmp.compare` finds with the given power.

    Notes
    -----
    `compare` uses Welch's test with the degrees of freedom of all sources of error (jars of either
    feed, blanks, solids: JCGM 100:2008, eq. G.2b), widened where one source has few of them
    (`bmp.statistics.critical_value`), and Holm's adjustment. The size is worked out by
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
    if design.jars < 2 and not design.borrowed:
        raise ValueError("one jar of each feed shows no scatter: at least 2")
    rng = np.random.default_rng(SEED)
    known = design.solids_u**2
    sides = (1 + difference / 2, 1 - difference / 2)
    between = [(side * design.rsd) ** 2 / design.jars for side in sides]
    sources = [] if design.borrowed else [(v, design.jars - 1) for v in between]
    if design.blanks > 1:
        left = (design.blank_left * design.rsd) ** 2 / design.blanks
        sources.append((left, design.blanks - 1))
    estimated = [(v * rng.chisquare(dof, DRAWS) / dof, float(dof)) for v, dof in sources]
    if design.borrowed:
        estimated.append(_lent(design, sides, rng))
    variances = np.stack([*(v for v, _ in estimated), np.full(DRAWS, known)], axis=-1)
    dof = np.array([*(dof for _, dof in estimated), np.inf])
    critical = critical_value(variances, dof, 1 - level / design.comparisons)
    needed = critical * np.sqrt(variances.sum(axis=-1))
    left = 0.0 if design.blanks < 2 else (design.blank_left * design.rsd) ** 2 / design.blanks
    true = sum(between) + left + known
    return np.asarray(needed), rng.standard_normal(DRAWS) * math.sqrt(true)


def _lent(
    design: Design, sides: tuple[float, float], rng: np.random.Generator
) -> tuple[FloatArray, float]:
    """Return the variance of the difference with borrowed scatter in each draw, and its freedom.

    What both feeds borrow is one piece of knowledge (`bmp.compare.contrast`).
    """
    own = design.jars - 1
    found = np.full((DRAWS, 2), np.nan)
    if own:
        found = design.rsd * np.sqrt(rng.chisquare(own, (DRAWS, 2)) / own)
    trial = np.repeat(np.arange(DRAWS), 2)
    rsd, _ = borrowed_scatter(found.ravel(), np.full(trial.size, design.jars), trial)
    variance = (rsd.reshape(DRAWS, 2) * np.array(sides)) ** 2 / design.jars
    return variance.sum(axis=1), PRIOR_FREEDOM + 2.0 * own


def design_of(
    draft: Draft, jars: int | None = None, fresh: bool = False, borrowed: bool = False
) -> Design | None:
    """Return the design of the hardest pair of feeds; `None` with one feed or one jar of each.

    Parameters
    ----------
    jars
        Of each feed, where another number than planned is asked about.
    fresh
        Compare per fresh mass, where the solids do not enter.
    borrowed
        With borrowed scatter; one jar of each is then a design too.
    """
    feeds = [s for s in draft.samples if s.role == "substrate"]
    count = draft.request.planned_jars if jars is None else jars
    if len(feeds) < 2 or count < (1 if borrowed else 2):
        return None
    own = draft.inoculum_literature.methane_NmL_per_gVS.middle
    blank_left = solids = 0.0
    for one, other in combinations(feeds, 2):
        common = sum(s.literature.methane_NmL_per_gVS.middle for s in (one, other)) / 2
        blank_left = max(blank_left, abs(one.ratio - other.ratio) * own / common)
        solids = max(solids, math.hypot(one.solids.relative_u, other.solids.relative_u))
    return Design(
        jars=count,
        rsd=math.hypot(draft.request.expected_rsd, weighing_rsd(draft)),
        comparisons=len(feeds) * (len(feeds) - 1) // 2,
        blanks=draft.request.planned_blanks,
        blank_left=blank_left,
        solids_u=0.0 if fresh else solids,
        borrowed=borrowed,
    )


def weighing_rsd(draft: Draft) -> float:
    """Return the relative SD that a scale's step gives the smallest sample of a feed.

    A reading rounded to a step is rectangular: half the step over the square root of three.
    """
    step = draft.request.scale_g
    least = min((d.sample_g for d in draft.doses if d.role == "substrate"), default=0.0)
    return step / 2 / math.sqrt(3) / least if least > 0 else 0.0
