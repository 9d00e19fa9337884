"""Places for labels beside a picture, so that none covers another."""

from __future__ import annotations

from collections.abc import Sequence
from textwrap import wrap

import numpy as np

from bmp.trial import FloatArray


def spread(
    wanted: Sequence[float], heights: Sequence[float], low: float, high: float
) -> FloatArray:
    """Return centres for labels as near to where they are wanted as their heights allow.

    The least-squares places under "no overlap" are an isotonic regression of the wanted places
    less the room of the labels below (pool adjacent violators; Barlow et al. 1972, Statistical
    Inference under Order Restrictions).

    Parameters
    ----------
    wanted, heights
        Shape (labels,), in one unit.
    low, high
        Edges to stay between, as far as the labels fit at all.
    """
    order = np.argsort(wanted, kind="stable")
    size = np.asarray(heights, dtype=float)[order]
    below = np.concatenate([[0.0], np.cumsum((size[1:] + size[:-1]) / 2.0)])
    free = _isotonic(np.asarray(wanted, dtype=float)[order] - below)
    if size.size:
        first_low, last_high = low + size[0] / 2.0, high - size[-1] / 2.0 - below[-1]
        free = np.maximum(np.minimum(free, last_high), first_low)
    places = np.empty(size.shape)
    places[order] = free + below
    return places


def _isotonic(values: FloatArray) -> FloatArray:
    """Return the non-decreasing values nearest to `values`."""
    blocks: list[tuple[float, int]] = []
    for value in values:
        mean, count = float(value), 1
        while blocks and blocks[-1][0] > mean:
            before, many = blocks.pop()
            mean, count = (before * many + mean * count) / (many + count), many + count
        blocks.append((mean, count))
    return np.repeat([mean for mean, _ in blocks], [count for _, count in blocks])


def in_lines(name: str, width: int = 17, most: int = 2) -> list[str]:
    """Return a name broken into a few short lines, a longer one cut with an ellipsis."""
    lines = wrap(" ".join(name.split()), width) or [""]
    if len(lines) <= most:
        return lines
    return [*lines[: most - 1], lines[most - 1][: width - 1].rstrip() + "…"]
