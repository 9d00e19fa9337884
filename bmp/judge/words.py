"""One sentence a feed: can its yield be relied upon, and for what."""

from __future__ import annotations

from collections.abc import Sequence

from bmp.finding import Finding


def reliance(
    series: str,
    own: Sequence[Finding],
    control: Sequence[Finding],
    traps: Sequence[Finding],
    gross: bool = False,
    is_control: bool = False,
) -> str:
    """Return what the yield of one feed can be relied upon for.

    Parameters
    ----------
    series : str
        The feed's name.
    own, control : sequence of Finding
        Findings of the validity criteria about this feed, and about control, blanks and trial.
    traps : sequence of Finding
        Slips that touch this feed or the whole trial.
    gross : bool
        The inoculum's own gas is still in the yield.
    is_control : bool
        It is the control, whose yield is known beforehand.
    """
    failed = [f for f in traps if f.outcome == "fail"]
    if failed:
        return f"Do not use the yield of {series} yet: {_listed(failed)} must be cleared up first."
    broken = {f.check.split(" of the ")[0]: f for f in own if f.outcome == "fail"}
    if any(name.startswith("yield") for name in broken):
        reason = next(f for name, f in broken.items() if name.startswith("yield"))
        return f"Do not use the yield of {series}: {_first_clause(reason.meaning)}"
    cautions = [f for f in (*own, *traps) if f.outcome == "caution"]
    for check in (_gross, _few_jars, _unfinished, _odd_control, _not_judged, _scattered):
        sentence = check(series, own, control, gross)
        if sentence:
            return sentence + _but(cautions)
    if is_control:
        return "The control held: this inoculum gives what others get." + _but(cautions)
    for_what = "for planning a tank and beside published yields"
    return f"The yield of {series} can be relied upon, {for_what}." + _but(cautions)


def _gross(series: str, own: Sequence[Finding], control: Sequence[Finding], gross: bool) -> str:
    if not gross:
        return ""
    return (
        f"The figure of {series} still holds the inoculum's own gas: use it to see how fast and "
        "how much these jars made, not as the feed's yield."
    )


def _few_jars(series: str, own: Sequence[Finding], control: Sequence[Finding], gross: bool) -> str:
    few = [f for f in own if f.check.startswith("jars of") and f.outcome == "fail"]
    if not few:
        return ""
    return f"The yield of {series} is an indication only: too few jars to show their scatter."


def _unfinished(
    series: str, own: Sequence[Finding], control: Sequence[Finding], gross: bool
) -> str:
    if not any(f.check.startswith("duration") and f.outcome == "fail" for f in own):
        return ""
    return (
        f"The yield of {series} is a lower bound: the jars still made gas when they were last "
        "read. It will do for comparing feeds at the same day, not as an ultimate yield."
    )


def _odd_control(
    series: str, own: Sequence[Finding], control: Sequence[Finding], gross: bool
) -> str:
    failed = [f for f in control if f.outcome == "fail"]
    if not failed:
        return ""
    return (
        f"The yield of {series} will do for ranking feeds within this trial, not beside other "
        f"trials or published yields: {_listed(failed)} did not hold."
    )


def _not_judged(
    series: str, own: Sequence[Finding], control: Sequence[Finding], gross: bool
) -> str:
    unknown = [f for f in (*own, *control) if f.outcome == "not judged"]
    if not unknown:
        return ""
    return f"The yield of {series} can be used with care: {_listed(unknown)} could not be judged."


def _scattered(series: str, own: Sequence[Finding], control: Sequence[Finding], gross: bool) -> str:
    apart = ("scatter of the feed", "jar unlike its sisters")
    if not any(f.check in apart and f.outcome == "caution" for f in own):
        return ""
    return (
        f"The yield of {series} is a rough figure: its jars differ too much for planning a tank, "
        "or for telling it from another feed by less than that."
    )


CAUTION_WORDS = "A caution stands at"


def _but(cautions: Sequence[Finding]) -> str:
    return f" {CAUTION_WORDS}: {_listed(cautions)}." if cautions else ""


def _listed(findings: Sequence[Finding]) -> str:
    names = list(dict.fromkeys(f.check for f in findings))
    return ", ".join(names[:-1]) + " and " + names[-1] if len(names) > 1 else names[0]


def _first_clause(text: str) -> str:
    return text[0].lower() + text[1:]
