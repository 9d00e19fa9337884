"""Standard errors with shared parts against `uncertainties`, which tracks covariance itself.

Each jar's yield is built from its measured parts, (gas - inoculum x blank) / VS, with the mean
blank and the solids as uncertain numbers common to all jars.
"""

from __future__ import annotations

import numpy as np
import pytest
from uncertainties import ufloat, umath

from bmp.compare import Feed, TrialBlanks, compare_mixture, compare_over_bridge, compare_pair

BLANKS = {"spring": (1.10, 1.31, 1.18), "autumn": (1.52, 1.66, 1.43)}
MEAN_BLANK = {
    trial: ufloat(np.mean(b), np.std(b, ddof=1) / np.sqrt(len(b))) for trial, b in BLANKS.items()
}
MASS_VS = 5.0
SOLIDS: dict = {}


def made(name: str, trial: str, inoculum_g: float, net: list[float], u: float) -> tuple:
    """Return a feed and its mean yield as an uncertain number that knows what it shares."""
    blank = MEAN_BLANK[trial]
    gas = [y * MASS_VS + inoculum_g * blank.n for y in net]
    solids = SOLIDS[name] = ufloat(MASS_VS, MASS_VS * u)
    scatter = ufloat(0.0, np.std(net, ddof=1) / np.sqrt(len(net)))
    mean = (np.mean(gas) - inoculum_g * blank) / solids + scatter
    feed = Feed(
        name,
        trial,
        tuple(f"{name} {i}" for i in range(len(net))),
        {"yield": tuple(net)},
        (inoculum_g / MASS_VS,) * len(net),
        TrialBlanks(BLANKS[trial]),
        VS=0.2,
        VS_relative_u=u,
    )
    return feed, mean


GOAT, GOAT_MEAN = made("goat", "spring", 300.0, [232.0, 241.0, 236.0], 0.02)
HORSE, HORSE_MEAN = made("horse", "spring", 420.0, [200.0, 205.0, 190.0, 199.0], 0.03)
CONTROL, CONTROL_MEAN = made("cellulose", "spring", 280.0, [360.0, 366.0, 371.0], 0.005)
HAY, HAY_MEAN = made("hay", "autumn", 350.0, [210.0, 217.0, 204.0], 0.02)
CONTROL_2, CONTROL_2_MEAN = made("cellulose", "autumn", 280.0, [340.0, 352.0, 349.0], 0.005)


MEANS = {"goat": GOAT_MEAN, "horse": HORSE_MEAN}


def test_a_pair_with_a_shared_blank() -> None:
    found = compare_pair(GOAT, HORSE)
    expected = GOAT_MEAN - HORSE_MEAN
    assert found.difference.value == pytest.approx(expected.n, rel=1e-12)
    assert found.standard_error == pytest.approx(expected.s, rel=1e-9)


def test_leaving_the_covariance_out_would_show() -> None:
    apart = np.hypot(GOAT_MEAN.s, HORSE_MEAN.s)
    assert compare_pair(GOAT, HORSE).standard_error < 0.95 * apart


def test_a_mixture_per_fresh_mass() -> None:
    # Yield per g VS times VS per g fresh: the solids are in both and cancel, the blank does not.
    mix, mix_mean = made("mix", "spring", 350.0, [228.0, 235.0, 222.0], 0.04)
    found = compare_mixture(mix, [GOAT, HORSE], {"goat": 0.4, "horse": 0.6})
    fresh = [m * SOLIDS[name] * 0.2 / MASS_VS for name, m in MEANS.items()]
    expected = mix_mean * SOLIDS["mix"] * 0.2 / MASS_VS - 0.4 * fresh[0] - 0.6 * fresh[1]
    assert found.difference.value == pytest.approx(expected.n, rel=1e-12)
    assert found.standard_error == pytest.approx(expected.s, rel=1e-9)


def test_a_bridge_over_the_control() -> None:
    found = compare_over_bridge(GOAT, CONTROL, HAY, CONTROL_2)
    expected = umath.log((GOAT_MEAN / CONTROL_MEAN) / (HAY_MEAN / CONTROL_2_MEAN))
    assert np.log(found.ratio.value) == pytest.approx(expected.n, rel=1e-12)
    half = np.log(found.ratio.ci95[1] / found.ratio.ci95[0]) / 2
    from scipy.stats import t

    assert half / t.ppf(0.975, found.dof) == pytest.approx(expected.s, rel=1e-9)
