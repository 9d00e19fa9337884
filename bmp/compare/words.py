"""Comparisons as plain sentences, and as the records that `results.json` holds."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from bmp.compare.between_trials import OverTrials
from bmp.compare.feed import BASES, QUANTITIES
from bmp.compare.pair import SIGNIFICANT_P, Comparison
from bmp.compare.trials import InoculaCompared
from bmp.estimate import Estimate

NUMBERS = ("no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten")


BRIDGE = (
    " Each was taken against the control of its own trial. This assumes that what moved the "
    "control moved the feed as much."
)


def sentence(c: Comparison) -> str:
    """Say in plain words which is better, by how much, and whether that is more than noise."""
    if c.verdict == "no verdict":
        return _no_verdict(c)
    a, b = _names(c)
    phrase, low, high = _size_and_ends(c)
    alone = c.verdict == "not shown" and c.p is not None and c.p < SIGNIFICANT_P
    if alone and c.adjusted_by == "Holm":
        text = f"{a} {phrase} than {b}, between {low} and {high} taken alone"
    elif c.verdict == "not shown":
        text = (
            f"{a} {phrase} than {b}, but that is not more than noise: anything between "
            f"{low} and {high} fits the readings"
        )
    else:
        text = f"{a} {phrase} than {b}, between {low} and {high}"
    bridge = BRIDGE if _bridged(c) else ""
    body = text + _what_would_show(c) + "." + bridge + _at_once(c) + _left_out(c)
    return _so_far(c) + _capital(body)


def _so_far(c: Comparison) -> str:
    """Say of which day a comparison is, where a feed had not finished by then."""
    if c.finished is not False or c.time_d is None:
        return ""
    days = " and ".join(dict.fromkeys(f"{day:.0f}" for day in c.time_d))
    return f"By day {days}, not finished (this can change): "


def mixture_sentence(c: Comparison) -> str:
    """Say whether a mixture gives more than, less than, or as much as its parts."""
    meaning = {
        "more": "the parts help each other (synergy)",
        "less": "the parts hinder each other (antagonism)",
        "not shown": "neither synergy nor antagonism is shown",
        "no verdict": "nothing is said about synergy",
    }[c.verdict]
    return f"{sentence(c)} So {meaning}."


def trials_sentence(found: OverTrials) -> str:
    """Say a feed's mean over its trials and how far trials lie apart."""
    mean, spread, next_one = found.mean, found.between_sd, found.next_trial
    scale = ", each put on the common scale of the control," if found.relative_to_control else ""
    text = (
        f"Over {number(len(found.trials))} trials{scale} {found.feed} gave {_plain(mean.value)} "
        f"{mean.unit}{_between(mean)}."
    )
    if spread.value is None:
        return f"{text} The spread between trials is not determined: {spread.why}."
    text += f" Between trials it varies by {_plain(spread.value)} {mean.unit} (standard deviation"
    text += f"{_between(spread, ', ')}), beyond the scatter of the jars;"
    text += f" one more trial is expected{_between(next_one)}."
    if len(found.trials) == 2:
        text += " Two trials say little about the spread, so the intervals are wide."
    return text


def inocula_sentence(found: InoculaCompared) -> str:
    """Say whether the inocula of two trials were alike, as far as their blanks tell."""
    a, b, ratio = found.trial_a, found.trial_b, found.ratio
    if found.alike is None:
        return f"Whether the inocula of {a} and {b} were alike is not known: {ratio.why}."
    text = f"The blanks of {a} gave {_plain(ratio.value)} times the methane of those of {b}"
    text += f" per gram{_between(ratio)}"
    if found.alike:
        return f"{text}: no difference between the inocula is shown."
    return (
        f"{text}: the inocula were not alike, so the control alone carries the comparison "
        "of feeds in different trials."
    )


def borrowed_sentences(pairs: Sequence[Comparison]) -> tuple[str, ...]:
    """Say what comparisons of few jars give with borrowed scatter, and what that is.

    Parameters
    ----------
    pairs : sequence of Comparison
        With borrowed scatter, as `TrialComparisons.borrowed` has them.
    """
    return (
        "With borrowed scatter (the other feeds of the trial and published trials also say how "
        "jars scatter; the verdict does not use it):",
        *(sentence(c) for c in pairs),
    )


def as_record(c: Comparison) -> dict[str, Any]:
    """Return a comparison as `results.json` holds it; what is not known is None."""
    return {
        "a": c.a,
        "b": c.b,
        "trial_a": c.trial_a,
        "trial_b": c.trial_b,
        "quantity": c.quantity,
        "basis": c.basis if QUANTITIES[c.quantity].per_basis else None,
        "unit": c.unit,
        "mean_a": c.mean_a,
        "mean_b": c.mean_b,
        "jars_a": c.jars_a,
        "jars_b": c.jars_b,
        "difference": c.difference.value,
        "ci95": _list(c.difference),
        "interval_for": c.difference.interval_from or None,
        "ratio": c.ratio.value,
        "ratio_ci95": _list(c.ratio),
        "ratio_why": c.ratio.why or None,
        "dof": c.dof,
        "p": c.p,
        "p_adjusted": c.p_adjusted,
        "adjusted_by": c.adjusted_by or None,
        "compared_at_once": c.compared_at_once,
        "detectable": c.detectable,
        "detectable_four_in_five": c.detectable_four_in_five,
        "variance_shares": dict(c.variance_shares),
        "not_carried": list(c.not_carried),
        "time_d": None if c.time_d is None else max(c.time_d),
        "finished": c.finished,
        "verdict": c.verdict,
        "no_verdict_because": c.no_verdict or None,
        "words": sentence(c),
        "borrowed": None if c.borrowed is None else _borrowed_record(c.borrowed),
    }


def _borrowed_record(c: Comparison) -> dict[str, Any]:
    """Return what borrowed scatter says of a comparison."""
    return {
        "difference": c.difference.value,
        "ci95": _list(c.difference),
        "ratio_ci95": _list(c.ratio),
        "p": c.p,
        "p_adjusted": c.p_adjusted,
        "dof": c.dof,
        "verdict": c.verdict,
    }


def number(count: int) -> str:
    """Return a small count as a word."""
    return NUMBERS[count] if 0 <= count < len(NUMBERS) else str(count)


def rounded(value: float, digits: int = 2) -> str:
    """Return a number to so many significant digits, whole numbers never cut short."""
    if value == 0:
        return "0"
    if abs(value) >= 10 ** (digits - 1):
        return f"{value:.0f}"
    text = f"{value:.{digits}g}"
    return f"{float(text):g}" if "e" not in text else f"{value:.{digits}e}"


def _size_and_ends(c: Comparison) -> tuple[str, str, str]:
    """Return the phrase with the size in it and both ends, in words where their signs differ."""
    rule = QUANTITIES[c.quantity]
    ratio_ends = _ends(c.ratio)
    if rule.by_ratio and c.ratio.value is not None and ratio_ends:
        size, unit = 100 * (c.ratio.value - 1), "%"
        ends = tuple(100 * (end - 1) for end in ratio_ends)
    else:
        size, unit = c.difference.value or 0.0, c.unit
        ends = _ends(c.difference)
    more = rule.more if size >= 0 else rule.less
    amount = f"{_amount(size, ends)} {unit}"
    phrase = rule.phrase.format(size=amount, more=more, basis=_basis_words(c))
    if ends[0] * ends[1] <= 0:
        return (
            phrase,
            f"{_amount(ends[0], ends)} {unit} {rule.less}",
            f"{_amount(ends[1], ends)} {unit} {rule.more}",
        )
    low, high = sorted(ends, key=abs)
    return phrase, _amount(low, ends), f"{_amount(high, ends)} {unit}"


def _names(c: Comparison) -> tuple[str, str]:
    """Return both names, with their trials where these differ."""
    if c.trial_a == c.trial_b or not (c.trial_a and c.trial_b):
        return c.a, c.b
    return f"{c.a} ({c.trial_a})", f"{c.b} ({c.trial_b})"


def _bridged(c: Comparison) -> bool:
    return c.trial_a != c.trial_b and not c.no_verdict


def _amount(value: float, ends: Sequence[float]) -> str:
    """Return a size with as many decimals as its interval deserves."""
    width = abs(ends[1] - ends[0])
    decimals = 0 if width >= 5 else 1 if width >= 0.5 else 2 if width >= 0.05 else 3
    return f"{abs(value):.{decimals}f}"


def _what_would_show(c: Comparison) -> str:
    if c.detectable is None:
        return ""
    jars = (
        f"{number(c.jars_a)} jar{'' if c.jars_a == 1 else 's'} each"
        if c.jars_a == c.jars_b
        else f"{number(c.jars_a)} and {number(c.jars_b)} jars"
    )
    by_ratio = QUANTITIES[c.quantity].by_ratio and c.ratio.ci95 is not None
    if by_ratio and c.mean_b is not None and c.mean_b > 0:
        size = f"{rounded(100 * c.detectable / c.mean_b)} %"
    else:
        size = f"{rounded(c.detectable)} {c.unit}"
    return f"; with {jars} a difference under {size} would not have shown"


def _at_once(c: Comparison) -> str:
    if not c.adjusted_by or c.p_adjusted is None:
        return ""
    at_once = f"{number(c.compared_at_once)} comparisons made at once ({c.adjusted_by}"
    p = f"p {_p_words(c.p_adjusted)})"
    if c.verdict == "not shown" and c.p is not None and c.p < SIGNIFICANT_P:
        return f" But among {at_once}, {p} that is not more than noise."
    if c.verdict == "not shown":
        return f" This allows for {at_once}, {p}."
    return f" This holds among {at_once}, {p}."


def _p_words(p: float) -> str:
    return "under 0.001" if p < 0.001 else f"{p:.2g}"


def _left_out(c: Comparison) -> str:
    if not c.not_carried:
        return ""
    return f" The interval leaves out what is not known: {' and '.join(c.not_carried)}."


def _no_verdict(c: Comparison) -> str:
    a, b = _names(c)
    text = f"No verdict on {a} against {b} in {_quantity_words(c)}: {c.no_verdict}."
    if c.no_verdict.startswith("one jar only"):
        text += " However often a jar was read, it is one jar."
    if c.mean_a is not None and c.mean_b is not None:
        text += f" The bare figures are {_plain(c.mean_a)} and {_plain(c.mean_b)} {c.unit}."
    return text


def _quantity_words(c: Comparison) -> str:
    rule = QUANTITIES[c.quantity]
    return f"{rule.noun} {_basis_words(c)}" if rule.per_basis else rule.noun


def _basis_words(c: Comparison) -> str:
    return BASES[c.basis].words.format(bucket_L=c.bucket_L)


def _between(estimate: Estimate, lead: str = ", ") -> str:
    ends = _ends(estimate)
    if not ends:
        return ""
    joint = lead if estimate.interval_from != "mean of one more trial" else " "
    return f"{joint}between {_plain(ends[0])} and {_plain(ends[1])}"


def _ends(estimate: Estimate) -> tuple[float, ...]:
    """Return both ends of an interval; empty where an end is not known."""
    ends = estimate.ci95 or ()
    known = tuple(end for end in ends if end is not None)
    return known if len(known) == 2 else ()


def _plain(value: float | None) -> str:
    return "nothing" if value is None else rounded(value, 3)


def _list(estimate: Estimate) -> list[float | None] | None:
    return None if estimate.ci95 is None else list(estimate.ci95)


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]
