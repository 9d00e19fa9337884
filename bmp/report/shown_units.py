"""Figures for people in the units that they asked for, beside the SI ones.

Everything that a person reads passes through here as text, sentences and tables alike. So no
figure is forgotten, and both figures say the same, since one is made of the other as printed.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from functools import cache
from typing import Final

from bmp.net import MaterialYield
from bmp.report.quantities import yield_text
from bmp.report.rounding import MINUS, number, short, with_uncertainty
from bmp.shown_units import BESIDE, Beside

_NUMBER: Final = rf"[{MINUS}-]?(?:\d{{1,3}}(?:,\d{{3}})+|\d+)(?:\.\d+)?"
_OTHER: Final = r"(?![\w/³²^(]| (?:VS|TS|COD|N|CH4|CaCO3)\b)"
"""Behind a unit that is only the beginning of another one."""
_AIR: Final = re.compile(r"air pressure|ambient|barometer|air has", re.IGNORECASE)
_NOT_AIR: Final = re.compile(r" (?:over|above) (?:the )?air")
_TEXT: Final = re.compile(r"(<svg.*?</svg>|<style.*?</style>|<script.*?</script>|<[^>]*>)", re.S)


@cache
def _pattern() -> re.Pattern[str]:
    own = sorted({row.own for row in BESIDE}, key=len, reverse=True)
    return re.compile(
        rf"(?<![\w.,/{MINUS}-])(?P<value>{_NUMBER})"
        rf"(?: (?P<how>±|to) (?P<other>{_NUMBER}))?"
        rf"[ \u00a0](?P<unit>{'|'.join(map(re.escape, own))}){_OTHER}"
        rf"(?P<words>(?: of (?:methane|biogas))?(?: (?:a|per) day)?(?: outside)?)"
        rf"(?: \((?P<low>{_NUMBER}) to (?P<high>{_NUMBER})\))?"
    )


def beside(text: str, units: Sequence[str]) -> str:
    """Return a text in which each figure has the unit that is wanted beside it.

    >>> beside("Held at 35 °C.", ("°F",))
    'Held at 35 °C (95 °F).'
    """
    if not units:
        return text

    def both(match: re.Match[str]) -> str:
        row = _row(match, units)
        if row is None:
            return match[0]
        made = _converted(match, row)
        before = text[: match.start()]
        inside = before.count("(") > before.count(")") or match["low"] is not None
        return f"{match[0]} = {made}" if inside else f"{match[0]} ({made})"

    return _pattern().sub(both, text)


def page_beside(page: str, units: Sequence[str]) -> str:
    """Return HTML with the wanted units beside its figures; pictures stay as they are."""
    if not units:
        return page
    parts = _TEXT.split(page)
    return "".join(part if place % 2 else beside(part, units) for place, part in enumerate(parts))


def yields_beside(yields: Sequence[MaterialYield], units: Sequence[str]) -> list[str]:
    """Return a line a feed with its unit, for tables that have theirs in the header.

    Only where other units are wanted: `page_beside` then puts them in.
    """
    lines = []
    for one in yields:
        words = yield_text(one)
        if one.per_fresh is not None and one.per != "fresh":
            words += f"; fresh: {number(one.per_fresh)} NL/kg"
        if beside(words, units) != words:
            lines.append(f"{one.series}: {words}")
    return lines


def _row(match: re.Match[str], units: Sequence[str]) -> Beside | None:
    sentence = re.split(r"[.;] ", match.string[: match.start()])[-1]
    after = match.string[match.end() :]
    air = bool(_AIR.search(sentence)) and not _NOT_AIR.match(after)
    return next(
        (
            row
            for row in BESIDE
            if row.own == match["unit"] and set(row.needs) <= set(units) and (air or not row.air)
        ),
        None,
    )


def _converted(match: re.Match[str], row: Beside) -> str:
    def value(name: str) -> float:
        return _plain(match[name]) * row.factor + row.offset

    if match["how"] == "±":
        words = with_uncertainty(value("value"), _plain(match["other"]) * row.factor)
    elif match["how"] == "to":
        words = f"{short(value('value'))} to {short(value('other'))}"
    else:
        words = short(value("value"))
    words = f"{words} {row.wanted}{match['words'].replace(' of methane', '')}"
    if match["low"] is not None:
        words += f" ({short(value('low'))} to {short(value('high'))})"
    return words


def _plain(text: str) -> float:
    return float(text.replace(MINUS, "-").replace(",", ""))
