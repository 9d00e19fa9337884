"""The answer, first: valid or not, a line a feed, which is better, the tank, what to do next.

The page, the terminal, the local page and a notebook all show this and nothing shorter.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from math import ceil
from typing import Final

from bmp.borrowed_scatter import FEW_JARS
from bmp.compare.feed import BASES
from bmp.compare.pair import Comparison
from bmp.finding import Finding
from bmp.fit.forecast import span_of_days
from bmp.judge.criteria import OPEN
from bmp.judge.reading_errors import READING_ERRORS
from bmp.judge.yield_use import CAUTION_WORDS
from bmp.net import MaterialYield
from bmp.report.quantities import yield_text
from bmp.report.ranking import listed, ranked
from bmp.report.rounding import change_size, interval_words, number, short, signed_change
from bmp.results import Results
from bmp.trial import no_gas_read

SIGNS: Final = {"valid": "✓", "not valid": "✗", "not finished": "…"}
MOST_REASONS: Final = 2
MOST_STEPS: Final = 3
STILL: Final = " still made "
"""In the reasons of a verdict: what the head of an unfinished trial says already."""
MOST_USES: Final = 3
MOST_NAMED: Final = 5
"""More feeds than these are not named one by one, and stand in the order of their yields."""
SERIES: Final = "\0"
"""Stands for a feed's name while sentences are compared."""
MOST_PAIRS: Final = 3
"""With more pairs than this the first screen ranks the feeds instead."""


BORROWED: Final = "with borrowed scatter"
BORROWED_MEANS: Final = (
    "Borrowed scatter: the other feeds of the trial and published trials also say how jars "
    "scatter. The verdict does not use it."
)


@dataclass(frozen=True)
class FeedLine:
    """What one feed gave."""

    series: str
    role: str
    finished: bool | None
    yield_words: str
    """`228 ± 19 NmL/g VS`; the ± is the 95 % interval."""
    fresh_words: str
    """`59.9 NL/kg`: per kg of fresh feed; empty where it is not known."""
    half_day: int | None
    """Day by which half had come, of what there is so far; `None` where it is not known."""

    @property
    def half_words(self) -> str:
        """Return by which day half had come: `half by day 9`; empty where it is not known."""
        if self.half_day is None:
            return ""
        what = "half of it so far" if self.finished is False else "half"
        return f"{what} by day {self.half_day}"

    remark: str
    """What limits its use; empty where nothing does."""


@dataclass(frozen=True)
class FirstScreen:
    """The answer of a trial in a few lines."""

    state: str
    """`valid`, `not valid` or `not finished`; empty where nothing was judged."""
    verdict: str
    reasons: tuple[str, ...]
    use: tuple[str, ...]
    """What the yields of the feeds may be used for, feeds of one kind in one sentence."""
    basis: str
    """What the figures are and up to which day."""
    feeds: tuple[FeedLine, ...]
    note: str
    """What borrowed scatter is; empty where none is shown."""
    better: tuple[str, ...]
    tank: str
    """Empty where no tank was described."""
    next_steps: tuple[str, ...]

    @property
    def sign(self) -> str:
        """Return the mark in front of the verdict."""
        return SIGNS.get(self.state, "")


def first_screen(results: Results) -> FirstScreen:
    """Return the answer of an analysed trial."""
    state = _state(results)
    verdict, reasons = _verdict(results, state)
    ordered = sorted(results.yields, key=lambda one: one.role == "control")
    if len(ordered) > MOST_NAMED + 1:
        ordered.sort(key=lambda one: (one.role == "control", -one.value))
    lines = tuple(_feed(one, results) for one in ordered)
    better = tuple(_better(results))
    shown = any(BORROWED in words for words in (*(one.remark for one in lines), *better))
    return FirstScreen(
        state=state,
        verdict=verdict,
        reasons=reasons,
        use=tuple(_use(results)),
        basis=_basis(results),
        feeds=lines,
        note=BORROWED_MEANS if shown else "",
        better=better,
        tank="" if results.tank is None else results.tank.headline,
        next_steps=tuple(_next_steps(results))[:MOST_STEPS],
    )


# --- the verdict -------------------------------------------------------------------------------


def _state(results: Results) -> str:
    if results.verdict is None:
        return ""
    if results.verdict.validated:
        return "valid"
    if any(one.finished is False for one in results.yields):
        return "not finished"
    return "not valid"


def _verdict(results: Results, state: str) -> tuple[str, tuple[str, ...]]:
    verdict = results.verdict
    if verdict is None:
        return "", ()
    if state == "valid":
        return f"Valid: it meets all criteria of {verdict.criteria}, as computed here.", ()
    reasons = tuple(_sentence(reason) for reason in verdict.reasons)
    head = f"Not valid by {verdict.criteria}:"
    if state == "not finished":
        head = f"Not finished, so not yet valid by {verdict.criteria}."
        reasons = tuple(one for one in reasons if STILL not in one and OPEN not in one)
    more = len(reasons) - MOST_REASONS
    if more > 1:
        reasons = (*reasons[:MOST_REASONS], f"{more} more reasons stand under Checks.")
    return head, reasons


def _sentence(words: str) -> str:
    text = words[:1].upper() + words[1:]
    return text if text.endswith(".") else f"{text}."


def _use(results: Results) -> Iterator[str]:
    """Yield what the yields may be used for; what is a caution stands under what to do next."""
    names: dict[str, list[str]] = {}
    for one in results.yields:
        words = results.feed_verdicts.get(one.series, "")
        if one.role == "substrate" and words:
            use = words.partition(f" {CAUTION_WORDS}")[0]
            names.setdefault(use.replace(one.series, SERIES), []).append(one.series)
    for use, series in list(names.items())[:MOST_USES]:
        whole = len(series) > MOST_NAMED and len(names) == 1
        yield use.replace(SERIES, f"all {len(series)} feeds" if whole else listed(series))


# --- the feeds ---------------------------------------------------------------------------------


def _basis(results: Results) -> str:
    if no_gas_read(results.trial):
        return "No gas was read in any jar."
    if all(jar.given_net for jar in results.trial.jars):
        kind = "Net methane as the curves were given"
    elif results.gross:
        kind = "Methane with the inoculum's own gas still in it (dry, 0 °C, 101.325 kPa)"
    else:
        kind = "Methane without the inoculum's own (dry, 0 °C, 101.325 kPa)"
    days = sorted({short(round(one.time_d, 1)) for one in results.yields}, key=float)
    if not days:
        return "No jar with a sample has readings yet."
    span = f"day {days[0]}" if len(days) == 1 else f"days {days[0]} to {days[-1]}"
    ended = {one.finished for one in results.yields}
    so_far = ", so far" if False in ended else ""
    return f"{kind}, by {span}{so_far}; ± is the 95 % interval:"


def _feed(one: MaterialYield, results: Results) -> FeedLine:
    fit = results.fits.get(one.series)
    half = None if fit is None else fit.t50_d.value
    per_kg = one.per_fresh
    return FeedLine(
        series=one.series,
        role=one.role,
        finished=one.finished,
        yield_words=yield_text(one),
        fresh_words="" if per_kg is None or one.per == "fresh" else f"{number(per_kg)} NL/kg",
        half_day=None if half is None else ceil(half),
        remark=_remark(one, results),
    )


def shows_borrowed(one: MaterialYield) -> bool:
    """Return whether a yield's interval with borrowed scatter is shown beside its own."""
    few = one.ci95 is None or len(one.jars) <= FEW_JARS
    return few and one.value > 0.0 and one.ci95_borrowed is not None


def _remark(one: MaterialYield, results: Results) -> str:
    if one.value < 0.0:
        unsure = one.ci95 is not None and one.ci95[1] >= 0.0
        less = "less gas than the inoculum alone"
        return f"{less}; may be zero" if unsure else f"{less}: harm, a leak or a wrong blank"
    parts = []
    if one.ci95 is None and one.why_no_interval:
        parts.append(f"no interval: {one.why_no_interval}")
    elif one.ci95 is not None and one.ci95[0] <= 0.0:
        parts.append("may be zero")
    elif one.finished is False:
        parts.append("not finished")
    if shows_borrowed(one) and one.ci95_borrowed is not None:
        parts.append(f"{interval_words(one.ci95_borrowed)} {BORROWED}")
    return "; ".join(parts)


# --- which is better ---------------------------------------------------------------------------


def _better(results: Results) -> Iterator[str]:
    found = results.comparisons
    family = found.first
    if family is None:
        if found.equal_jars:
            yield " ".join(found.equal_jars)
        elif len([one for one in results.yields if one.role == "substrate"]) > 1:
            yield _sentence(f"No comparison: {found.why_none}")
        return
    judged = [c for c in family.comparisons if not c.no_verdict]
    basis = BASES[found.basis].words.format(bucket_L=found.bucket_L)
    so_far = any(one.finished is False for one in results.yields if one.role == "substrate")
    when = " So far, and this can change." if so_far else ""
    if 0 < len(family.comparisons) <= MOST_PAIRS and judged:
        words = [pair_words(c) for c in family.comparisons]
        words[0] = words[0].replace(" methane ", f" methane {basis} ", 1)
        yield " ".join(words) + when
    elif judged:
        yield ranked(found).words(basis) + when
    else:
        yield _sentence(f"No verdict on the feeds: {family.comparisons[0].no_verdict}")
    lent = borrowed_words(results, basis)
    if lent:
        yield lent + when
    other = _other_order(results)
    if other:
        yield other


def borrowed_words(results: Results, basis: str) -> str:
    """Say which feed is better with borrowed scatter; empty where every feed has jars enough."""
    lent = results.comparisons.borrowed
    if lent is None or lent.first is None:
        return ""
    pairs = lent.first.comparisons
    if len(pairs) > MOST_PAIRS:
        return f"{_capital(BORROWED)}: {ranked(lent).words(basis)}"
    return f"{_capital(BORROWED)}: {' '.join(pair_words(c) for c in pairs)}"


def pair_words(c: Comparison) -> str:
    """Return one comparison in one short sentence: by how much, and how sure."""
    a, b = c.a, c.b
    if c.no_verdict or c.ratio.value is None:
        apart = c.no_verdict if " only and still made " in c.no_verdict else ""
        return f"{_capital(a)} against {b}: no verdict" + f", {apart}" * bool(apart) + "."
    ends = c.ratio.ci95
    if c.verdict == "not shown":
        span = "" if ends is None else f" (difference {_change(ends)})"
        return f"{_capital(a)} and {b}: no difference shown{span}."
    up = c.ratio.value >= 1.0
    size = f"{change_size(c.ratio.value)} % {'more' if up else 'less'} methane"
    sure = "" if ends is None else f" (95 %: {_size(ends, up)})"
    return f"{_capital(a)} gave {size} than {b}{sure}."


def _size(ends: tuple[float | None, float | None], up: bool) -> str:
    """Return by how much, at least and at most."""
    low, high = ends if up else (ends[1], ends[0])
    at_least = "" if low is None else change_size(low)
    at_most = "" if high is None else change_size(high)
    if at_least and at_most:
        return f"{at_least} to {at_most} %"
    return f"at least {at_least} %" if at_least else f"at most {at_most} %"


def _change(ends: tuple[float | None, float | None]) -> str:
    signed = ["no bound" if end is None else signed_change(end) for end in ends]
    return f"{signed[0]} to {signed[1]}"


def _other_order(results: Results) -> str:
    """Say where the order is another one per kg of fresh feed."""
    found = results.comparisons
    family = (found.yields or {}).get("fresh")
    if (
        family is None
        or found.basis == "fresh"
        or not any(pair.order_changes for pair in found.all_bases)
    ):
        return ""
    feeds = [one for one in results.yields if one.role == "substrate" and one.per_fresh is not None]
    if len(feeds) < 2:
        return ""
    best = sorted(feeds, key=lambda one: -float(one.per_fresh or 0.0))
    listed = ", ".join(
        f"{one.series} {number(float(one.per_fresh or 0.0))} NL/kg" for one in best[:5]
    )
    return f"Per kg of fresh feed the order differs: {listed}."


# --- what to do next ---------------------------------------------------------------------------


def _next_steps(results: Results) -> Iterator[str]:
    steps = list(_from_findings(results.checks))
    yield from steps[: MOST_STEPS - 1]
    going = [one.series for one in results.yields if one.finished is False]
    if going:
        yield _keep_reading(going, results)
    yield from steps[MOST_STEPS - 1 :]
    if not steps and not going and results.verdict is not None and results.verdict.validated:
        yield "Nothing to correct. Keep the readings with this report."


def _from_findings(checks: Sequence[Finding]) -> Iterator[str]:
    """Yield the advice of failed checks and cautions, the gravest first, a line a kind."""
    order = {"fail": 0, "caution": 1}
    # what is wrong with the readings comes first of its kind: it may explain the rest
    misread = {error.name for error in READING_ERRORS}
    urgent = [
        finding
        for finding in checks
        if finding.outcome in order and finding.advice and not finding.check.startswith("duration")
    ]
    places: dict[tuple[str, str], list[str]] = {}
    for finding in sorted(urgent, key=lambda f: (order[f.outcome], f.check not in misread)):
        places.setdefault((finding.check, finding.advice), []).append(finding.where)
    for (check, advice), where in places.items():
        first = advice.split(". ")[0].rstrip(".")
        named = [place for place in dict.fromkeys(where) if place]
        place = f" ({', '.join(named[:3])}{' …' if len(named) > 3 else ''})" if named else ""
        yield f"{_capital(check)}{place}: {first[:1].lower()}{first[1:]}."


def _keep_reading(going: Sequence[str], results: Results) -> str:
    days = []
    for series in going:
        fit = results.fits.get(series)
        stop = None if fit is None or fit.forecast is None else fit.forecast.stop_day_d
        if stop is not None and stop.value is not None:
            days.append((stop.value, stop.ci95))
    names = ", ".join(going[:4]) + (" and others" if len(going) > 4 else "")
    if not days:
        return f"Keep reading {names} until the stop rule is met."
    last, ends = max(days, key=lambda pair: pair[0])
    span = "" if ends is None else f" ({span_of_days(ends)})"
    return f"Keep reading {names}, until about day {ceil(last)}{span}."


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]
