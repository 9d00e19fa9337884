"""The workbook's sheet of comparisons."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any, Final

from bmp.compare import Comparison, sentence

# header, number format, width in characters
COLUMNS: Final = (
    ("feed", "@", 24),
    ("against", "@", 24),
    ("quantity", "@", 14),
    ("unit", "@", 20),
    ("difference", "0.0000", 12),
    ("95 % interval from", "0.0000", 12),
    ("to", "0.0000", 12),
    ("ratio", "0.000", 9),
    ("95 % interval of the ratio from", "0.000", 12),
    ("to", "0.000", 9),
    ("p, all comparisons allowed for", "0.0000", 12),
    ("verdict", "@", 12),
    ("would not have shown below", "0.0000", 12),
    ("in words", "@", 110),
)


def comparison_rows(comparisons: Iterator[Comparison]) -> Iterator[Sequence[Any]]:
    """Yield a row a comparison; what is not known is `None`."""
    for one in comparisons:
        low, high = one.difference.ci95 or (None, None)
        ratio_low, ratio_high = one.ratio.ci95 or (None, None)
        yield (
            one.a, one.b, one.quantity, one.unit, one.difference.value, low, high,
            one.ratio.value, ratio_low, ratio_high, one.p_adjusted, one.verdict, one.detectable,
            sentence(one),
        )  # fmt: skip
