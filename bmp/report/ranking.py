"""Feeds in the order of their yields, with groups of those that cannot be told apart."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from bmp.compare import mean_of
from bmp.compare.within_trial import TrialComparisons
from bmp.report.rounding import number


@dataclass(frozen=True)
class Ranked:
    """One feed in its place."""

    series: str
    value: float
    letters: str
    """Feeds that share a letter cannot be told apart; empty where not every pair was compared."""
    standing: str
    """Against the one feed that all are compared with: `more`, `less`, `not shown`,
    `no verdict`; empty for that feed itself and where every pair was compared."""


@dataclass(frozen=True)
class Ranking:
    """All feeds of a trial, the highest yield first."""

    feeds: tuple[Ranked, ...]
    against: str | None

    def words(self, basis: str) -> str:
        """Return the ranking in one or two sentences."""
        return self._against_words(basis) if self.against else self._top_words(basis)

    def _top_words(self, basis: str) -> str:
        first, last = self.feeds[0], self.feeds[-1]
        level = [one for one in self.feeds[1:] if set(one.letters) & set(first.letters)]
        text = f"Most methane {basis}: {first.series} ({number(first.value)} NmL)"
        if level:
            text += f"; no difference shown from {listed([one.series for one in level])}"
        return f"{text}. Least: {last.series} ({number(last.value)} NmL)."

    def _against_words(self, basis: str) -> str:
        groups = {
            standing: [one.series for one in self.feeds if one.standing == standing]
            for standing in ("more", "not shown", "less")
        }
        heads = {
            "more": f"More methane {basis} than {self.against}",
            "not shown": "No difference shown",
            "less": "Less",
        }
        return " ".join(f"{heads[key]}: {listed(names)}." for key, names in groups.items() if names)


def ranked(found: TrialComparisons) -> Ranking:
    """Rank the feeds of a trial by their yields on the first basis.

    Parameters
    ----------
    found : TrialComparisons
        With at least one comparison.
    """
    means = {feed.name: mean_of(feed, "yield", found.basis).value for feed in found.feeds}
    values = {name: mean for name, mean in means.items() if mean is not None}
    names = sorted(values, key=lambda name: -values[name])
    comparisons = found.first.comparisons if found.first else ()
    told = {frozenset((c.a, c.b)): c.verdict for c in comparisons}
    letters = (
        {}
        if found.against
        else _letters(
            names, {pair for pair, verdict in told.items() if verdict in ("more", "less")}
        )
    )
    standing = {}
    for c in comparisons if found.against else ():
        turned = {"more": "less", "less": "more"}
        if c.b == found.against:
            standing[c.a] = c.verdict
        else:
            standing[c.b] = turned.get(c.verdict, c.verdict)
    return Ranking(
        tuple(
            Ranked(name, values[name], letters.get(name, ""), standing.get(name, ""))
            for name in names
        ),
        found.against,
    )


def _letters(names: Sequence[str], apart: set[frozenset[str]]) -> dict[str, str]:
    """Return the letters of each feed, those of the highest yield first.

    The insert-and-absorb algorithm for a compact letter display (Piepho 2004, J. Comput. Graph.
    Stat. 13(2):456): groups start as one, every pair told apart splits the groups that hold both,
    and a group inside another goes.
    """
    groups: list[set[str]] = [set(names)]
    for pair in sorted(apart, key=sorted):
        one, other = sorted(pair)
        split: list[set[str]] = []
        for group in groups:
            split += [group - {one}, group - {other}] if pair <= group else [group]
        unique = [g for i, g in enumerate(split) if g and g not in split[:i]]
        groups = [g for g in unique if not any(g < wider for wider in unique)]
    places = {name: index for index, name in enumerate(names)}
    groups.sort(key=lambda group: sorted(places[name] for name in group))
    return {
        name: "".join(_letter(i) for i, group in enumerate(groups) if name in group)
        for name in names
    }


def _letter(index: int) -> str:
    turn, place = divmod(index, 26)
    return chr(ord("a") + place) + (str(turn) if turn else "")


def listed(names: Sequence[str], most: int = 5) -> str:
    """Return names as a person lists them, many cut short."""
    if len(names) > most:
        return f"{', '.join(names[:most])} and {len(names) - most} more"
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"
