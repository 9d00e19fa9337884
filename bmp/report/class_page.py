"""One page for a class: a picture, a table, and a short text to copy."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from markupsafe import Markup

from bmp.compare.words import number as number_word
from bmp.net import MaterialYield
from bmp.report.first_screen import MOST_PAIRS, borrowed_words, pair_words, shows_borrowed
from bmp.report.groups import groups
from bmp.report.page import environment, inline_svg
from bmp.report.page_beside import page_beside
from bmp.report.quantities import yield_number, yield_unit_short
from bmp.report.ranking import ranked
from bmp.report.rounding import interval_words, short
from bmp.results import Results
from bmp.trial import no_gas_read


def has_class_page(results: Results) -> bool:
    """Tell whether there is anything to show a class."""
    feeds = any(one.role == "substrate" for one in results.yields)
    return feeds and not no_gas_read(results.trial)


def class_page(results: Results, svg: Mapping[str, str]) -> str | None:
    """Return the page as HTML, `None` where no feed gave anything to speak of."""
    if not has_class_page(results):
        return None
    picture = Markup("")
    if "net-curves" in svg:
        picture = inline_svg("net-curves", svg["net-curves"])
    text: str = (
        environment()
        .get_template("class.html")
        .render(
            title=results.trial.setup.title,
            picture=picture,
            rows=[
                (
                    one.series,
                    len(one.jars),
                    _yield_words(one),
                    "–" if one.per_fresh is None else short(one.per_fresh),
                )
                for one in results.yields
            ],
            unit=yield_unit_short(results.yields[0]),
            words=list(class_words(results)),
            c=groups(results),
        )
    )
    return page_beside(text, results.trial.setup.show_units)


def _yield_words(one: MaterialYield) -> str:
    """Return a yield; with few jars the interval with borrowed scatter in brackets."""
    if one.ci95_borrowed is None or not shows_borrowed(one):
        return yield_number(one)
    return f"{yield_number(one)} ({interval_words(one.ci95_borrowed)})"


def class_words(results: Results) -> Iterator[str]:
    """Yield the sentences to copy: at most 120 words, no names of tests."""
    feeds = [one for one in results.yields if one.role == "substrate"]
    counts = sorted({len(one.jars) for one in feeds})
    jars = number_word(counts[0])
    if len(counts) > 1:
        jars = f"{jars} to {number_word(counts[-1])}"
    plural = "s" if len(feeds) > 1 else ""
    in_jars = f"{jars} jar{'' if counts == [1] else 's'} each"
    days = short(round(max(one.time_d for one in feeds), 0))
    yield f"We tested {number_word(len(feeds))} feed{plural} in {in_jars} for {days} days."
    if results.gross:
        yield "The gas of the inoculum is still in our figures, because we had no blank."
    else:
        yield "We subtracted the gas that the inoculum makes by itself."
    yield from _better(results)
    control = next((one for one in results.yields if one.role == "control"), None)
    if control is not None:
        yield f"{control.series.capitalize()}, our control, gave {yield_number(control)} NmL per g."
    if any(one.finished is False for one in feeds):
        yield "The jars still made gas at the end, so these figures can rise."
    if any(shows_borrowed(one) for one in results.yields):
        yield (
            "Few jars say little of how jars scatter. The intervals in brackets also use the "
            "other feeds and published trials (borrowed scatter)."
        )
    yield (
        "± is the 95 % interval: of 20 such intervals about 19 hold the true value. It does not "
        "cover a mistake that all jars share, such as a wrong thermometer."
    )


def _better(results: Results) -> Iterator[str]:
    family = results.comparisons.first
    yield from results.comparisons.equal_jars
    lent = borrowed_words(results, "per gram of volatile solids")
    if lent:
        yield lent
        return
    if family is None or all(c.no_verdict for c in family.comparisons):
        return
    if len(family.comparisons) <= MOST_PAIRS:
        yield from (pair_words(c) for c in family.comparisons)
    else:
        yield ranked(results.comparisons).words("per gram of volatile solids")
    if any(c.verdict == "not shown" for c in family.comparisons):
        yield "No difference shown does not mean equal: this trial could not see one."
