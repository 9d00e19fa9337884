"""Places for labels beside a picture, so that none covers another."""

from __future__ import annotations

from collections.abc import Sequence
from textwrap import wrap
from unicodedata import east_asian_width

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


def in_lines(name: str, width: int = 14, most: int = 2) -> list[str]:
    """Return a name broken into a few short lines, a longer one shortened in the middle.

    Parameters
    ----------
    width
        In letters of usual breadth; broad ones count for more.
    """
    words = " ".join(name.split())
    mean = breadth(words) / max(len(words), 1)
    letters = max(int(width / max(mean, 1.0)), 2)
    lines = wrap(words, letters) or [""]
    if len(lines) <= most:
        return lines
    # names often differ at their ends only: what is dropped is dropped in the middle
    head = lines[: most - 1]
    rest = words[len(" ".join(head)) :].lstrip()
    end = rest[-_letters_within(rest[::-1], 0.55 * width) :].lstrip()
    start = rest[: _letters_within(rest, 0.4 * width)].rstrip()
    return [*head, f"{start}…{end}"]


def _letters_within(words: str, width: float) -> int:
    """Return how many of the first letters fit into a width; at least one."""
    across = np.cumsum([_breadth(letter) for letter in words])
    return max(int((across <= width).sum()), 1)


def breadth(words: str) -> float:
    """Return the breadth of words in letters of usual breadth."""
    return sum(map(_breadth, words))


def _breadth(letter: str) -> float:
    """Return the breadth of a letter in usual ones."""
    if east_asian_width(letter) in "WF":
        return 2.0
    return 1.65 if letter in "mwMW@%" else 1.25 if letter.isupper() else 1.0
