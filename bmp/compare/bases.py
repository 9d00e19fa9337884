"""The same two feeds counted per gram of VS, of dry matter, of fresh feed and per bucket."""

from __future__ import annotations

from dataclasses import dataclass

from bmp.compare.feed import Feed
from bmp.compare.pair import Comparison


@dataclass(frozen=True)
class AllBases:
    """One pair on every basis, and whether its order changes between them."""

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
    def order_changes(self) -> bool:
        """Whether the order of the means changes, noise or not."""
        return len(set(self.leaders.values())) > 1
