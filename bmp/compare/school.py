"""A table for a school report, and the words to write under it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from bmp.compare.family import Family
from bmp.compare.feed import BASES, Feed, unit_of
from bmp.compare.pair import Comparison, mean_of
from bmp.compare.words import number, rounded, sentence

COLUMNS = ("feed", "jars", "mean [{unit}]", "95 % interval [{unit}]", "compared")


@dataclass(frozen=True)
class SchoolTable:
    """A table of ready strings with the words that belong under it."""

    caption: str
    columns: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    words: tuple[str, ...]
    """Sentences to write under the table, one after the other."""


def school_table(
    feeds: Sequence[Feed], family: Family, basis: str = "VS", bucket_L: float = 10.0
) -> SchoolTable:
    """Return the table of mean yields, a row a feed, with what to write under it.

    Parameters
    ----------
    feeds : sequence of Feed
    family : Family
        The comparisons of the same feeds in yield on the same basis.
    basis : str
    bucket_L : float
    """
    unit = unit_of("yield", basis)
    kind = (
        "net curves as they were handed in"
        if _handed_in(feeds)
        else "dry gas at 0 °C and 101.325 kPa, the inoculum's own taken off"
    )
    return SchoolTable(
        caption=f"Methane {BASES[basis].words.format(bucket_L=bucket_L)}, {kind}",
        columns=tuple(c.format(unit=unit) for c in COLUMNS),
        rows=tuple(_row(feed, family.comparisons, basis, bucket_L) for feed in feeds),
        words=_words(feeds, family),
    )


def _handed_in(feeds: Sequence[Feed]) -> bool:
    """Tell whether the yields came net already, corrected by whoever made them."""
    return all(feed.inoculum_g_per_g is None and feed.blanks is None for feed in feeds)


def _row(
    feed: Feed, comparisons: Sequence[Comparison], basis: str, bucket_L: float
) -> tuple[str, ...]:
    mean = mean_of(feed, "yield", basis, bucket_L)
    value = "not known" if mean.value is None else rounded(mean.value, 3)
    interval = "none: " + mean.why
    if mean.ci95 is not None and mean.ci95[0] is not None and mean.ci95[1] is not None:
        interval = f"{rounded(mean.ci95[0], 3)} to {rounded(mean.ci95[1], 3)}"
    return (feed.name, str(len(feed.jars)), value, interval, _standing(feed, comparisons))


def _standing(feed: Feed, comparisons: Sequence[Comparison]) -> str:
    """Say what this feed beats, and what it is not told apart from."""
    standing: dict[str, list[str]] = {
        "more than": [],
        "less than": [],
        "not told apart from": [],
        "no verdict against": [],
    }
    for c in comparisons:
        if feed.name not in (c.a, c.b):
            continue
        first = c.a == feed.name
        words = {
            "more": "more than" if first else "less than",
            "less": "less than" if first else "more than",
            "not shown": "not told apart from",
            "no verdict": "no verdict against",
        }[c.verdict]
        standing[words].append(c.b if first else c.a)
    return "; ".join(f"{words} {', '.join(names)}" for words, names in standing.items() if names)


def _words(feeds: Sequence[Feed], family: Family) -> tuple[str, ...]:
    counts = sorted({len(f.jars) for f in feeds})
    jars = number(counts[0]) if len(counts) == 1 else f"{number(counts[0])} to {number(counts[-1])}"
    plural = "" if counts == [1] else "s"
    taken_off = (
        ". Whoever made the curves took off what the inoculum gives by itself."
        if _handed_in(feeds)
        else " and took off the gas that the inoculum gives by itself."
    )
    return (
        f"We tested {number(len(feeds))} feeds in {jars} jar{plural} each{taken_off}",
        *(sentence(c) for c in family.comparisons),
        family.why,
        "A 95 % interval is made by a rule that catches the true value in 19 trials out of 20. "
        "It holds the scatter between jars, of the blank and of the solids as far as they are "
        "known; it does not hold a mistake that all jars share, such as a wrong thermometer.",
        "Not told apart does not mean equal: it means that this trial could not see a difference.",
    )
