"""What came out, in sentences that anybody can read."""

from __future__ import annotations

from math import ceil
from typing import Final

from bmp.estimate import Estimate
from bmp.fit.results import MaterialFits
from bmp.net import MaterialYield
from bmp.report.rounding import interval_words, short, with_interval, with_uncertainty
from bmp.results import Results
from bmp.trial import no_gas_read

PER_GRAM: Final = {
    "VS": "per gram of volatile solids",
    "TS": "per gram of dry matter",
    "fresh": "per gram of fresh mass",
}
"""By `MaterialYield.per`."""


NEAR_A_DAY_D: Final = 0.06
"""A jar read within an hour and a half of a full day was read that day."""


def feed_sentence(one: MaterialYield, results: Results) -> str:
    """Return what one series gave: how much, how sure, how soon."""
    if no_gas_read(results.trial):
        return f"{_named(one)} gave nothing to speak of: no gas was read in any jar."
    if one.value < 0.0:
        return _less_than_blank(one, results)
    fit = results.fits.get(one.series)
    words = (
        f"{_named(one)} gave {with_uncertainty(one.value, half_width(one))} mL of methane "
        f"{PER_GRAM[one.per]} in {_days(one.time_d)}{_half_of_it(fit)}"
    )
    return ". ".join([words, *_reservations(one, results)]) + "."


def half_width(one: MaterialYield) -> float | None:
    """Return half the width of a yield's 95 % interval."""
    return None if one.ci95 is None else (one.ci95[1] - one.ci95[0]) / 2.0


def _named(one: MaterialYield) -> str:
    name = one.series
    named = name[:1].upper() + name[1:]
    return f"{named} (the control)" if one.role == "control" else named


def _days(time_d: float) -> str:
    near = abs(time_d - round(time_d)) < NEAR_A_DAY_D and round(time_d) > 0
    whole = f"{time_d:.0f}" if near or time_d >= 10.0 else short(time_d)
    return f"{whole} day" if whole == "1" else f"{whole} days"


def _half_of_it(fit: MaterialFits | None) -> str:
    """Return by which day half had come: the next whole day, so that the sentence is true."""
    if fit is None or fit.t50_d.value is None:
        return ""
    return f", half of it by day {ceil(fit.t50_d.value)}"


def _reservations(one: MaterialYield, results: Results) -> list[str]:
    """Return what the reader has to know beside the number, each without its full stop."""
    words = []
    if results.gross:
        words.append("The inoculum's own methane is still in it, as no blank was measured")
    if one.ci95 is None and one.why_no_interval:
        words.append(f"How sure that is cannot be told: {one.why_no_interval}")
    elif one.ci95 is not None and one.ci95[0] <= 0.0:
        words.append("That cannot be told from nothing at all")
    # where there is a verdict on the feed, it says so
    if one.series not in results.feed_verdicts and one.finished is False:
        words.append(
            "More may come: when the readings ended it had not met the stop rule (less than 1 % "
            "more a day for three days)"
        )
    return words


def _less_than_blank(one: MaterialYield, results: Results) -> str:
    away = with_uncertainty(-one.value, half_width(one))
    words = (
        f"{_named(one)} gave no methane of its own: its jars made {away} mL of methane "
        f"{PER_GRAM[one.per]} "
        f"less than their inoculum alone in {_days(one.time_d)}"
    )
    if one.ci95 is not None and one.ci95[1] >= 0.0:
        return f"{words}, which cannot be told from nothing at all."
    return f"{words}: a sign of inhibition, a leak or a blank that went wrong."


def meaning_of_numbers(results: Results) -> str:
    """Return once what `mL` and `±` mean on the page."""
    words = "A mL here is a mL of dry gas at 0 °C and 101.325 kPa (NmL in the tables)."
    if all(jar.measured == "net yield" for jar in results.trial.jars):
        words = (
            "The curves came corrected already: what a mL is, and what was taken off for the "
            "inoculum, is as whoever made them had it."
        )
    if any(one.ci95 is not None for one in results.yields):
        words += (
            " ± is the 95 % interval of the mean: were the trial repeated many times, about 19 of"
            " 20 such intervals would hold the true mean. It holds the scatter between jars"
        )
        words += ", that of the blanks" if results.blanks.count else ""
        words += " and, where they were given, the errors of volatile solids and methane share."
    return words


def estimate_words(estimate: Estimate) -> str:
    """Return an estimate with its interval, or that it is not determined and why."""
    if estimate.value is None:
        words = f"not determined: {estimate.why}" if estimate.why else "not determined"
        bound = estimate.ci95
        if bound is not None and (bound[0] is None) != (bound[1] is None):
            words += f" ({interval_words(bound)} {estimate.unit})"
        return words
    words = with_interval(estimate.value, estimate.ci95)
    return words if estimate.ci95 is not None or not estimate.why else f"{words}; {estimate.why}"
