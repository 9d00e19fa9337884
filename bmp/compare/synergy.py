"""A mixed feed against the sum of its parts: synergy, antagonism, or neither shown."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from bmp.compare.feed import Feed, NotComparable, sample_of
from bmp.compare.pair import Comparison, Side, compare_samples, not_comparable

SUM_OF_PARTS = "the sum of its parts"


def compare_mixture(
    mixed: Feed, parts: Sequence[Feed], shares: Mapping[str, float], basis: str = "fresh"
) -> Comparison:
    """Compare the yield of a mixed feed with the sum of share times yield of its parts.

    The error of the solids does not enter. Per gram of fresh mass it is not in the yields; per
    gram of VS it moves the parts and a mixture whose VS is counted from its parts alike.

    Parameters
    ----------
    mixed : Feed
        Tested in the same trial as its parts, so that the blank's error cancels as it should.
    parts : sequence of Feed
    shares : mapping
        Share of each part, by name, in what the basis counts of the mixture; together 1.
    basis : str
        `fresh` (shares of the fresh mass) or `VS` (shares of the volatile solids).

    Raises
    ------
    ValueError
        Where the shares do not add up to 1, do not belong to the parts, or the basis is another.
    """
    if basis not in ("fresh", "VS"):
        raise ValueError(f"a mixture is compared per fresh mass or VS, not per {basis}")
    if abs(sum(shares.values()) - 1) > 0.005:
        raise ValueError(f"shares of {mixed.name} add up to {sum(shares.values()):g}, not 1")
    if sorted(shares) != sorted(part.name for part in parts):
        raise ValueError(f"{mixed.name}: every part needs one share and every share one part")
    try:
        samples = [sample_of(f, "yield", basis, solids_cancel=True) for f in (mixed, *parts)]
    except NotComparable as missing:
        return not_comparable(mixed.name, SUM_OF_PARTS, "yield", basis, str(missing))
    return compare_samples(
        samples,
        Side(mixed.name, (1.0, *(0.0 for _ in parts))),
        Side(SUM_OF_PARTS, (0.0, *(shares[part.name] for part in parts))),
        "yield",
        basis,
    )
