"""“Told apart four times in five” is what `compare` itself then does."""

from __future__ import annotations

import numpy as np
import pytest

from bmp.borrowed_scatter import borrowed_scatter
from bmp.compare import Feed, TrialBlanks, compare_all
from bmp.plan.draft import make_draft
from bmp.plan.plan_request import MaterialRequest
from bmp.plan.power import Design, design_of, detectable_difference, just_significant
from bmp.statistics import mean_interval
from bmp.trial import Material
from tests.plan_requests import INOCULUM, LITERATURE, OPEN, but

RSD, JARS = 0.06, 3


def told_apart(
    feeds: int, difference: float, trials: int, ratios: tuple[float, ...], VS_u: float, seed: int
) -> float:
    """Return how often the first and the last feed are told apart, the others midway.

    Whole trials: yields net of the mean of three blanks, the solids of a feed off in all its jars.
    """
    random, found = np.random.default_rng(seed), 0
    means = [1 + difference / 2, 1 - difference / 2, *([1.0] * (feeds - 2))]
    own = 60.0
    for _ in range(trials):
        blanks = own * (1 + RSD * random.standard_normal(3))
        made = []
        for number, mean in enumerate(means):
            values = 300 * mean * (1 + RSD * random.standard_normal(JARS))
            values = (values - ratios[number] * (blanks.mean() - own)) / (
                1 + VS_u * random.standard_normal()
            )
            made.append(
                Feed(
                    name=f"feed {number}",
                    trial="t",
                    jars=tuple(f"{number}-{jar}" for jar in range(JARS)),
                    values={"yield": tuple(values)},
                    inoculum_g_per_g=(ratios[number],) * JARS,
                    blanks=TrialBlanks(tuple(blanks), "digestate"),
                    VS=0.2,
                    VS_relative_u=VS_u,
                )
            )
        pairs = compare_all(made).comparisons
        pair = next(c for c in pairs if {c.a, c.b} == {"feed 0", "feed 1"})
        found += pair.verdict != "no verdict" and pair.verdict != "not shown"
    return found / trials


@pytest.mark.parametrize(
    ("feeds", "ratios", "VS_u"),
    [
        (2, (2.0, 2.0), 0.0),
        (3, (2.0, 2.0, 2.0), 0.0),
        (4, (2.0, 2.0, 2.0, 2.0), 0.0),
        (2, (2.0, 2.0), 0.05),
        (2, (1.0, 4.0), 0.0),
    ],
)
def test_compare_tells_them_apart_four_times_in_five(
    feeds: int, ratios: tuple[float, ...], VS_u: float
) -> None:
    design = Design(
        jars=JARS,
        rsd=RSD,
        comparisons=feeds * (feeds - 1) // 2,
        blank_left=(max(ratios) - min(ratios)) * 60.0 / 300.0,
        solids_u=VS_u * 2**0.5,
    )
    trials = 160
    share = told_apart(feeds, detectable_difference(design), trials, ratios, VS_u, seed=feeds)
    # Three standard errors; more than promised only by the later steps of Holm's adjustment.
    assert 0.8 - 3 * (0.16 / trials) ** 0.5 <= share <= 0.93


def test_more_jars_never_see_less_and_more_feeds_never_more() -> None:
    sizes = [detectable_difference(Design(jars=n, rsd=RSD)) for n in (2, 3, 4, 6, 10)]
    assert sizes == sorted(sizes, reverse=True)
    sizes = [detectable_difference(Design(jars=3, rsd=RSD, comparisons=m)) for m in (1, 3, 6)]
    assert sizes == sorted(sizes)
    design = Design(jars=3, rsd=RSD)
    assert just_significant(design) < detectable_difference(design)


def test_the_design_is_that_of_the_hardest_pair() -> None:
    design = design_of(make_draft(OPEN, LITERATURE))
    assert design is not None
    assert (design.jars, design.comparisons, design.blanks) == (3, 1, 3)
    assert design.blank_left == 0
    # Bedding's VS is a range, scraps' was measured to 1 of 20 %.
    assert design.solids_u == pytest.approx(
        np.hypot((0.3485 - 0.238) / 2 / 3**0.5 / 0.29325, 0.05), rel=1e-6
    )
    slow = MaterialRequest(
        Material("slow", "substrate", VS=0.2), "straw", inoculum_to_substrate=1.0
    )
    fast = MaterialRequest(Material("fast", "substrate", VS=0.2), "whey", inoculum_to_substrate=4.0)
    design = design_of(make_draft(but(OPEN, materials=(INOCULUM, slow, fast)), LITERATURE))
    assert design is not None
    assert design.blank_left == pytest.approx(3 * 60 / 300)
    assert design.solids_u == 0
    assert design_of(make_draft(but(OPEN, materials=(INOCULUM, slow)), LITERATURE)) is None


@pytest.mark.parametrize("jars", [1, 2, 3])
def test_with_borrowed_scatter_fewer_jars_find_as_much(jars: int) -> None:
    """Simulated apart: two feeds of so many jars, compared with what they borrow."""
    size = detectable_difference(Design(jars=jars, rsd=0.04, blanks=1, borrowed=True))
    if jars > 1:
        own = detectable_difference(Design(jars=jars, rsd=0.04, blanks=1))
        assert size < (0.6 if jars == 2 else 1) * own
    random, trials = np.random.default_rng(4), 4000
    means = np.array([1 + size / 2, 1 - size / 2])
    values = means[:, None] * (1 + 0.04 * random.standard_normal((trials, 2, jars)))
    mean = values.mean(axis=-1)
    rsd = values.std(axis=-1, ddof=1) / mean if jars > 1 else np.full(mean.shape, np.nan)
    lent, _ = borrowed_scatter(
        rsd.ravel(), np.full(2 * trials, jars), np.repeat(np.arange(trials), 2)
    )
    # what both borrow, worth 1.5 degrees of freedom, counts once
    variances = ((lent.reshape(mean.shape) * mean) ** 2 / jars).sum(axis=1, keepdims=True)
    found = mean_interval(mean[:, 0] - mean[:, 1], variances, np.array([1.5 + 2 * (jars - 1)]))
    # the variance lent to a single jar follows its own reading, which helps a little
    assert float((found.p < 0.05).mean()) == pytest.approx(0.8, abs=0.05 if jars == 1 else 0.03)


def test_one_jar_shows_no_scatter() -> None:
    with pytest.raises(ValueError, match="at least 2"):
        detectable_difference(Design(jars=1, rsd=0.06))
