"""What the yield of one feed may be used for: planning a tank, ranking feeds, publishing."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from bmp.finding import Finding
from bmp.judge.control import is_too_far
from bmp.judge.criteria import reason

SOUND = "You can use the yield of {series} to plan a tank and compare it with published values."
SOUND_CONTROL = "The cellulose control is in the accepted range, so the inoculum is sound."
CAUTION_WORDS = "Caution:"


@dataclass(frozen=True)
class Reliance:
    """What one feed's yield may be used for."""

    words: str
    unusable: str = ""
    """Why nothing may be planned with it, a clause; empty: something may."""


def reliance(
    series: str,
    own: Sequence[Finding],
    shared: Sequence[Finding],
    errors: Sequence[Finding],
    gross: bool = False,
    is_control: bool = False,
) -> Reliance:
    """Return what the yield of one feed can be used for.

    Parameters
    ----------
    series : str
        The feed's name.
    own, shared : sequence of Finding
        Findings of the validity criteria about this feed, and about control, blanks and trial.
    errors : sequence of Finding
        Reading errors that touch this feed or the whole trial.
    gross : bool
        The inoculum's own gas is still in the yield.
    is_control : bool
        It is the control, whose yield is known beforehand.
    """
    failed = [f for f in errors if f.outcome == "fail"]
    if failed:
        why = f"clear up first: {_listed(failed)}"
        return Reliance(f"Do not use the yield of {series} yet. {why[:1].upper()}{why[1:]}.", why)
    broken = [f for f in own if f.outcome == "fail" and f.check.startswith("yield of the ")]
    impossible = [f for f in broken if not f.check.endswith("of the control")]
    if impossible:
        why = impossible[0].meaning.rstrip(".")
        return Reliance(f"Do not use the yield of {series}. {why}.", why[:1].lower() + why[1:])
    but = _but([f for f in (*own, *errors) if f.outcome == "caution"])
    judged = Judged(series, own, shared, gross, is_control)
    for check in CHECKS:
        sentence = check(judged)
        if sentence:
            return Reliance(sentence + but)
    return Reliance((SOUND_CONTROL if is_control else SOUND.format(series=series)) + but)


@dataclass(frozen=True)
class Judged:
    """One feed as it was judged."""

    series: str
    own: Sequence[Finding]
    shared: Sequence[Finding]
    gross: bool
    is_control: bool


def _gross(feed: Judged) -> str:
    if not feed.gross:
        return ""
    return (
        f"No blank was measured, so the gas of {feed.series} still holds the inoculum's own gas. "
        "Use it to see how fast these jars were. It is not the yield."
    )


def _few_jars(feed: Judged) -> str:
    few = [f for f in feed.own if f.check.startswith("jars of") and f.outcome == "fail"]
    if not few:
        return ""
    return f"The yield of {feed.series} is an indication only: too few jars to show their scatter."


def _unfinished(feed: Judged) -> str:
    if not _runs_still(feed.own):
        return ""
    return (
        f"The yield of {feed.series} is a lower bound: its jars still made gas at the last "
        "reading. Compare feeds at the same day; read on before you plan or publish."
    )


def _own_control(feed: Judged) -> str:
    """Say what it means that the control itself is out of its range."""
    odd = [f for f in feed.own if f.outcome == "fail"]
    if not feed.is_control or not odd:
        return ""
    why = _reasons(odd)
    return (
        f"{why[:1].upper()}{why[1:]}. More than half of first tests fail here. You can still rank "
        f"the feeds of this trial. {_planning(odd)} {odd[0].advice}"
    ).rstrip()


def _planning(failed: Sequence[Finding]) -> str:
    """Say what a failed control means for a tank and for publishing.

    Of 119 means of cellulose from 36 laboratories 45 % met both criteria (open data of Hafner et
    al. 2020, Water 12:1752).
    """
    far = any(
        f.check == "yield of the control" and isinstance(f.value, float) and is_too_far(f.value)
        for f in failed
    )
    if far:
        return "Do not plan a tank with it, and do not publish it as validated."
    return "Plan a tank only with a wider span, and do not publish it as validated."


def _odd_control(feed: Judged) -> str:
    """Say what a trial without a good control still tells of a feed."""
    failed = [f for f in feed.shared if f.outcome == "fail"]
    if not failed:
        return ""
    if _runs_still(failed):
        return (
            f"The control still makes gas, so it does not vouch for {feed.series} yet. Compare "
            "feeds at the same day; read on before you plan or publish."
        )
    return (
        f"Use {feed.series} for ranking feeds within this trial. {_planning(failed)} "
        f"Reason: {_reasons(failed)}."
    )


def _not_judged(feed: Judged) -> str:
    unknown = [f for f in (*feed.own, *feed.shared) if f.outcome == "not judged"]
    if not unknown:
        return ""
    return f"Use the yield of {feed.series} with care. Not judged: {_listed(unknown)}."


def _scattered(feed: Judged) -> str:
    apart = ("scatter of the feed", "jar unlike its replicates")
    if not any(f.check in apart and f.outcome == "caution" for f in feed.own):
        return ""
    return (
        f"The yield of {feed.series} is rough. Its jars differ too much to plan a tank with it, or "
        "to compare it with a similar feed."
    )


CHECKS: tuple[Callable[[Judged], str], ...] = (
    _gross, _few_jars, _unfinished, _own_control, _odd_control, _not_judged, _scattered,
)  # fmt: skip
"""The gravest first; the first that has something to say is the sentence."""


def _runs_still(findings: Sequence[Finding]) -> bool:
    return any(f.check.startswith("duration") and f.outcome == "fail" for f in findings)


def _reasons(failed: Sequence[Finding]) -> str:
    return "; ".join(dict.fromkeys(reason(f) for f in failed))


def _but(cautions: Sequence[Finding]) -> str:
    return f" {CAUTION_WORDS} {_listed(cautions)}." if cautions else ""


def _listed(findings: Sequence[Finding]) -> str:
    names = list(dict.fromkeys(f.check for f in findings))
    return ", ".join(names[:-1]) + " and " + names[-1] if len(names) > 1 else names[0]
