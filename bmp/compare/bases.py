"""The same two feeds counted per gram of VS, of dry matter, of fresh feed and per bucket."""

from __future__ import annotations

from dataclasses import dataclass

from bmp.compare.feed import BASES, Feed
from bmp.compare.pair import Comparison, compare_pair


@dataclass(frozen=True)
class AllBases:
    """One pair on every basis, and whether the winner changes between them."""

    a: Feed
    b: Feed
    by_basis: tuple[Comparison, ...]
    """In the order of `BASES`; one without verdict says what is missing."""

    @property
    def leaders(self) -> dict[str, str]:
        """Name of the feed with the larger mean, by basis that could be counted."""
        return {
            c.basis: c.a if c.difference.value >= 0 else c.b
            for c in self.by_basis
            if c.difference.value is not None
        }

    @property
    def shown(self) -> dict[str, str]:
        """Name of the better feed, by basis on which the difference is more than noise."""
        return {
            c.basis: c.a if c.verdict == "more" else c.b
            for c in self.by_basis
            if c.verdict in ("more", "less")
        }

    @property
    def winner_changes(self) -> bool:
        """Whether both feeds win on some basis beyond noise."""
        return len(set(self.shown.values())) > 1

    @property
    def order_changes(self) -> bool:
        """Whether the order of the means changes, noise or not."""
        return len(set(self.leaders.values())) > 1


def compare_on_all_bases(
    a: Feed, b: Feed, quantity: str = "yield", bucket_L: float = 10.0
) -> AllBases:
    """Compare two feeds of one trial on every basis of `BASES`.

    Parameters
    ----------
    a, b : Feed
    quantity : str
        One that is counted per mass of feed.
    bucket_L : float
        Volume of the keeper's bucket; the feed's bulk density turns it into mass.
    """
    return AllBases(a, b, tuple(compare_pair(a, b, quantity, basis, bucket_L) for basis in BASES))
