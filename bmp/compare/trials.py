"""Several trials side by side: their feeds over the control, their inocula, and repeated feeds."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations

from bmp.compare.between_trials import (
    OverTrials,
    compare_inocula,
    compare_over_bridge,
    mean_over_trials,
)
from bmp.compare.feed import Feed, NotComparable
from bmp.compare.multiplicity import Family, with_holm
from bmp.compare.pair import Comparison, not_comparable
from bmp.estimate import Estimate


@dataclass(frozen=True)
class InoculaCompared:
    """The blanks of two trials against each other."""

    trial_a: str
    trial_b: str
    ratio: Estimate
    """Methane per gram of inoculum, the first over the second."""

    @property
    def alike(self) -> bool | None:
        """Whether the interval of the ratio holds 1; `None`: no interval."""
        ends = self.ratio.ci95
        if ends is None or ends[0] is None or ends[1] is None:
            return None
        return ends[0] <= 1 <= ends[1]


@dataclass(frozen=True)
class TrialsCompared:
    """All that several trials say about their feeds."""

    trials: tuple[str, ...]
    family: Family
    """Pairs of feeds that no trial holds both of, over the control of each one's trial."""
    repeated: tuple[OverTrials, ...]
    """Each feed that stands in several trials: its mean as measured, and again over the control
    where every one of its trials has one."""
    control: OverTrials | None
    """The control itself over the trials: how far the trials lie apart."""
    inocula: tuple[InoculaCompared, ...]
    unsound: tuple[str, ...] = ()
    """A sentence for each trial whose control does not vouch for it."""


def compare_trials(
    feeds: Sequence[Feed],
    controls: Mapping[str, Feed],
    basis: str = "VS",
    against: str | None = None,
    bucket_L: float = 10.0,
) -> TrialsCompared:
    """Compare feeds of different trials in yield; those of one trial are that trial's matter.

    Parameters
    ----------
    feeds : sequence of Feed
        Of all trials, controls left out.
    controls : mapping
        The positive control of each trial that has one, by trial.
    basis : str
        Key of `BASES`.
    against : str, optional
        Only comparisons with the feed of this name.
    bucket_L : float
        Size of the bucket.
    """
    trials = tuple(dict.fromkeys(f.trial for f in feeds))
    pairs = [_compare(a, b, controls, basis, bucket_L) for a, b in _pairs_asked(feeds, against)]
    done = tuple(with_holm(pairs))
    judged = sum(c.p is not None for c in done)
    question = "all pairs" if against is None else f"all against {against}"
    why = (
        f"{judged} comparisons between trials were made ({question}): Holm's adjustment."
        if judged > 1
        else "At most one comparison between trials."
    )
    standing = [controls[t] for t in trials if t in controls]
    return TrialsCompared(
        trials=trials,
        family=Family(question, against, done, "Holm" if judged > 1 else "", why),
        repeated=tuple(_repeated(feeds, controls, basis)),
        control=mean_over_trials(standing) if len(standing) > 1 else None,
        inocula=tuple(_inocula(feeds)),
        unsound=tuple(
            f"The control of {one.trial} does not vouch for its trial ({one.no_bridge}). Rely on "
            "no mean over trials that holds it."
            for one in standing
            if one.no_bridge
        ),
    )


def _pairs_asked(feeds: Sequence[Feed], against: str | None) -> list[tuple[Feed, Feed]]:
    """Pairs of different feeds that never stood in one trial: those that did need no bridge."""
    together = {
        frozenset((a.name, b.name)) for a, b in combinations(feeds, 2) if a.trial == b.trial
    }
    apart = [
        (a, b)
        for a, b in combinations(feeds, 2)
        if a.name != b.name and frozenset((a.name, b.name)) not in together
    ]
    if against is None:
        return apart
    return [
        (b, a) if a.name == against else (a, b) for a, b in apart if against in (a.name, b.name)
    ]


def _compare(
    a: Feed, b: Feed, controls: Mapping[str, Feed], basis: str, bucket_L: float
) -> Comparison:
    try:
        return compare_over_bridge(
            a, controls.get(a.trial), b, controls.get(b.trial), basis, bucket_L
        )
    except NotComparable as missing:
        return not_comparable(a.name, b.name, "yield", basis, str(missing))


def _repeated(feeds: Sequence[Feed], controls: Mapping[str, Feed], basis: str) -> list[OverTrials]:
    found = []
    for name in dict.fromkeys(f.name for f in feeds):
        same = [f for f in feeds if f.name == name]
        if len(same) < 2:
            continue
        try:
            found.append(mean_over_trials(same, basis=basis))
            bridges = [controls.get(f.trial) for f in same]
            if all(control is not None and not control.no_bridge for control in bridges):
                found.append(mean_over_trials(same, [controls[f.trial] for f in same], basis))
        except NotComparable:
            # Its pairs say what is missing.
            continue
    return found


def _inocula(feeds: Sequence[Feed]) -> list[InoculaCompared]:
    blanks = {f.trial: f.blanks for f in feeds if f.blanks is not None}
    return [
        InoculaCompared(a, b, compare_inocula(blanks[a], blanks[b]))
        for a, b in combinations(blanks, 2)
    ]
