"""What a mixed material was mixed from: `60 % goat bedding + 40 % whey`, by fresh mass."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping

from bmp.read.cells import PERCENTAGE, percent

EXAMPLE = "such as “60 % goat bedding + 40 % whey” (shares of the fresh mass, 100 % in all)"

_PART = re.compile(rf"\s*{PERCENTAGE}\s*(.+?)\s*")


class NoMixture(ValueError):
    """The text does not say what was mixed; the message says what is wrong with it."""


def mixture(text: str, materials: Iterable[str]) -> Mapping[str, float]:
    """Return the share of each part in the fresh mass, by the material's own name.

    Parameters
    ----------
    text : str
        Parts joined by `+`, each a percentage and the name of a material.
    materials : iterable of str
        Names of all materials of the trial.

    Raises
    ------
    NoMixture
        Where a part is not of that form, is no material or stands twice, or the shares do not add
        up to 100 %.
    """
    by_name = {name.lower(): name for name in materials}
    shares: dict[str, float] = {}
    for part in text.split("+"):
        match = _PART.fullmatch(part)
        if match is None:
            raise NoMixture(f"“{part.strip()[:40]}” is not a percentage and a material")
        name = by_name.get(match[2].lower())
        if name is None:
            raise NoMixture(f"“{match[2][:40]}” is not among the materials")
        if name in shares:
            raise NoMixture(f"“{name}” stands twice in the mixture")
        shares[name] = percent(match[1]) / 100
    if abs(sum(shares.values()) - 1.0) > 0.005:
        raise NoMixture(f"the shares add up to {100 * sum(shares.values()):g} %")
    return shares
