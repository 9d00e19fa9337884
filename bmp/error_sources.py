"""Where the ± of a yield comes from, and what would make it surer next time.

Computed from the parts of a yield's uncertainty as they stand; what more jars, blanks or crucibles
would bring is what the same scatter gives with more of them.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from bmp.statistics import critical_value

Parts = Mapping[str, tuple[float, float]]
"""Standard uncertainty and degrees of freedom by source, as `bmp.net.MaterialYield.parts`."""

SOURCES: Mapping[str, str] = {
    "jars": "jars",
    "blank": "blank",
    "solids": "volatile solids",
    "assumed solids": "volatile solids",
    "share": "methane share",
}
"""What each part is called in the results."""


@dataclass(frozen=True)
class Improvement:
    """One way to make the next trial's yield surer."""

    what: str
    """Such as `two more jars`."""
    half_width: float
    """Half the 95 % interval that it would leave, in the yield's unit."""


def variance_shares(parts: Parts) -> dict[str, float]:
    """Return each source's share of the variance of a mean yield; they add to 1.

    Empty where there is no error at all, or where jars or blanks tell none.
    """
    total = sum(u**2 for u, _ in parts.values())
    if total <= 0.0 or "jars" not in parts or "blank" not in parts:
        return {}
    shares: dict[str, float] = {}
    for name, (u, _) in parts.items():
        if u > 0.0:
            shares[SOURCES[name]] = shares.get(SOURCES[name], 0.0) + u**2 / total
    return shares


def half_width(parts: Parts) -> float:
    """Return half the 95 % interval that these parts give."""
    variances = np.array([u**2 for u, _ in parts.values()])
    dof = np.array([max(freedom, 1.0) for _, freedom in parts.values()])
    return float(critical_value(variances, dof) * np.sqrt(variances.sum()))


def improvements(parts: Parts, jars: int) -> tuple[Improvement, ...]:
    """Return what would narrow the interval by a twentieth or more, the best first.

    Parameters
    ----------
    parts
        Of a yield with an interval.
    jars
        Jars that it is the mean of.
    """
    if not variance_shares(parts):
        return ()
    useful = [one for one in ways(parts, jars) if one.half_width < 0.95 * half_width(parts)]
    return tuple(sorted(useful, key=lambda one: one.half_width))


def ways(parts: Parts, jars: int) -> list[Improvement]:
    """Return everything that could be done next time, whether or not it narrows the interval."""
    tried = [
        Improvement("two more jars", half_width({**parts, "jars": _more(parts["jars"], jars, 2)}))
    ]
    blanks = parts["blank"][1] + 1
    if np.isfinite(blanks) and parts["blank"][0] > 0:
        more = {**parts, "blank": _more(parts["blank"], blanks, 1)}
        tried.append(Improvement("one more blank", half_width(more)))
    crucibles = parts.get("solids", (0.0, 0.0))[1] + 1
    if np.isfinite(crucibles) and parts.get("solids", (0.0, 0.0))[0] > 0:
        more = {**parts, "solids": _more(parts["solids"], crucibles, 3)}
        tried.append(Improvement("three more crucibles", half_width(more)))
    return tried


def _more(part: tuple[float, float], count: float, more: int) -> tuple[float, float]:
    """Return a part with more replicates of the same scatter.

    Few replicates mostly show less scatter than there is, more of them show more of it: by the
    ratio of the medians of chi-squared over its degrees of freedom.
    """
    u, freedom = part
    shown = _median(freedom + more) / _median(freedom) if freedom >= 1 else 1.0
    return u * float(np.sqrt(shown * count / (count + more))), freedom + more


def _median(freedom: float) -> float:
    """Return the median of chi-squared over its degrees of freedom (Wilson & Hilferty 1931)."""
    return (1 - 2 / (9 * freedom)) ** 3
