"""Everything that one trial says about which of its feeds is better."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

from bmp.borrowed_scatter import FEW_JARS
from bmp.compare.bases import AllBases
from bmp.compare.equal_jars import equal_jars_words
from bmp.compare.feed import BASES, QUANTITIES, Feed
from bmp.compare.feeds_of_trial import feeds_of
from bmp.compare.multiplicity import Family, compare_all
from bmp.compare.pair import Comparison
from bmp.compare.synergy import compare_mixture
from bmp.compare.trials import TrialsCompared, compare_trials
from bmp.fit.results import MaterialFits
from bmp.net import MaterialYield, NetCurves
from bmp.normalise import JarGas
from bmp.trial import Trial, no_gas_read


@dataclass(frozen=True)
class TrialComparisons:
    """The feeds of one trial against each other, in every quantity and on every basis."""

    feeds: tuple[Feed, ...] = ()
    """Controls left out."""
    controls: tuple[Feed, ...] = ()
    basis: str = "VS"
    """What the yields are counted per in the first place."""
    against: str | None = None
    """Today's feed, where the others are compared with it; `None`: all pairs."""
    bucket_L: float = 10.0
    yields: Mapping[str, Family] | None = None
    """By basis."""
    kinetics: Mapping[str, Family] | None = None
    """By quantity."""
    mixtures: tuple[Comparison, ...] = ()
    why_none: str = ""
    """Why nothing is compared; empty where something is."""
    equal_jars: tuple[str, ...] = ()
    """Without a blank: which feed made more in jars of equal doses, in plain sentences."""

    @property
    def first(self) -> Family | None:
        """The comparisons of yields on the first basis."""
        return self.yields[self.basis] if self.yields else None

    @property
    def borrowed(self) -> TrialComparisons | None:
        """The same yields on the first basis with borrowed scatter, where a feed has few jars.

        `None` where no feed has, or nothing can be said.
        """
        family = self.first
        if family is None or min(len(f.jars) for f in self.feeds) > FEW_JARS:
            return None
        found = [c.borrowed for c in family.comparisons if c.borrowed is not None]
        if len(found) < len(family.comparisons) or all(c.no_verdict for c in found):
            return None
        lent = replace(family, comparisons=tuple(found), adjusted_by="Holm")
        return replace(self, yields={self.basis: lent})

    @property
    def all_bases(self) -> tuple[AllBases, ...]:
        """Each pair with all its bases, the verdicts those of the families."""
        if not self.yields:
            return ()
        by_name = {feed.name: feed for feed in self.feeds}
        pairs = zip(*(family.comparisons for family in self.yields.values()), strict=True)
        return tuple(AllBases(by_name[p[0].a], by_name[p[0].b], tuple(p)) for p in pairs)

    @property
    def records(self) -> Iterator[Comparison]:
        """All comparisons that have figures, and on the first basis those that have none."""
        for family in (self.yields or {}).values():
            for c in family.comparisons:
                if c.difference.value is not None or c.basis == self.basis:
                    yield c
        for family in (self.kinetics or {}).values():
            yield from family.comparisons
        yield from self.mixtures


def compare_trial(
    trial: Trial,
    gas: JarGas,
    curves: NetCurves,
    yields: Sequence[MaterialYield],
    fits: Mapping[str, MaterialFits],
    name: str = "",
    against: str | None = None,
) -> TrialComparisons:
    """Compare all substrates of an analysed trial.

    Parameters
    ----------
    trial, gas, curves, yields, fits
        The steps before, as `bmp.analyze` has them.
    name : str
        What the trial is called among others; default: its title.
    against : str, optional
        The feed that all others are compared with; default: today's feed, if the tank gets just
        one of them, else all pairs.
    """
    roles = {one.series: one.role for one in yields}
    if trial.setup.gross:
        why = "the inoculum's own gas was not measured, and it is not the same part of every yield"
        return TrialComparisons(why_none=why, equal_jars=equal_jars_words(trial, gas))
    if no_gas_read(trial):
        return TrialComparisons(why_none="no gas was read in any jar")
    every = feeds_of(trial, gas, curves, yields, fits, name)
    feeds = tuple(f for f in every if roles[f.name] == "substrate")
    controls = tuple(f for f in every if roles[f.name] == "control")
    if len(feeds) < 2:
        count = "one feed only" if feeds else "no feed"
        return TrialComparisons(feeds, controls, why_none=f"the trial holds {count}")
    against = against if against in [f.name for f in feeds] else _today(trial, feeds)
    basis = "VS" if all(f.basis == "VS" for f in feeds) else feeds[0].basis
    bucket_L = trial.setup.bucket_L
    return TrialComparisons(
        feeds=feeds,
        controls=controls,
        basis=basis,
        against=against,
        bucket_L=bucket_L,
        yields={
            b: compare_all(feeds, "yield", b, against, bucket_L=bucket_L)
            for b in (basis, *(b for b in BASES if b != basis))
        },
        kinetics={
            q: compare_all(feeds, q, basis, against, bucket_L=bucket_L)
            for q in QUANTITIES
            if q != "yield"
        },
        mixtures=tuple(_mixtures(trial, feeds)),
    )


def _today(trial: Trial, feeds: Sequence[Feed]) -> str | None:
    """Return the one feed that the tank gets today, if it is one."""
    given = {
        str(row["material"])
        for row in trial.tank_feeds
        if float(row.get("amount_today_kg_per_d") or 0.0) > 0
    }
    found = [f.name for f in feeds if f.material in given]
    return found[0] if len(found) == 1 else None


def _mixtures(trial: Trial, feeds: Sequence[Feed]) -> Iterator[Comparison]:
    """Compare each feed that is a mixture of others in the trial with the sum of its parts."""
    by_name = {feed.name: feed for feed in feeds}
    for feed in feeds:
        shares = trial.material(feed.material).mixture
        if shares is not None and all(part in by_name for part in shares):
            yield compare_mixture(feed, [by_name[part] for part in shares], shares)


def compare_across(found: Sequence[TrialComparisons], against: str | None = None) -> TrialsCompared:
    """Compare the feeds of several trials, each by the control of its own trial.

    Parameters
    ----------
    found : sequence of TrialComparisons
        One a trial, each with a name of its own.
    against : str, optional
        The feed that all others are compared with.
    """
    feeds = [feed for one in found for feed in one.feeds]
    controls = {one.controls[0].trial: one.controls[0] for one in found if one.controls}
    basis = "VS" if all(f.basis == "VS" for f in feeds) else "fresh"
    return compare_trials(feeds, controls, basis, against)
