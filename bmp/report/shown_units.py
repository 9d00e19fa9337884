"""Figures for people in the units that they asked for, beside the SI ones.

Everything that a person reads passes through here as text, sentences and tables alike. So no
figure is forgotten, and both figures say the same, since one is made of the other as printed.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import replace
from functools import cache
from textwrap import wrap
from typing import Final

from bmp.report.rounding import MINUS, short, with_uncertainty
from bmp.shown_units import BESIDE, Beside, wanted

NUMBER: Final = rf"[{MINUS}-]?(?:\d{{1,3}}(?:,\d{{3}})+|\d+)(?:\.\d+)?"
_OTHER: Final = r"(?![\w/³²^(]| (?:VS|TS|COD|N|CH4|CaCO3)\b)"
"""Behind a unit that is only the beginning of another one."""
AIR: Final = re.compile(r"air pressure|ambient|barometer|air has", re.IGNORECASE)
_NOT_AIR: Final = re.compile(r" (?:over|above) (?:the )?air")


OWN_UNITS: Final = sorted({row.own for row in BESIDE}, key=len, reverse=True)

_BEFORE_UNIT: Final = rf" \((?P<from>{NUMBER}) to (?P<upto>{NUMBER})\)"
THEIR_UNITS: Final = sorted({row.wanted for row in BESIDE}, key=len, reverse=True)


@cache
def _pattern() -> re.Pattern[str]:
    return re.compile(
        rf"(?<![\w.,/{MINUS}-])(?P<value>{NUMBER})"
        rf"(?: (?P<how>±|to) (?P<other>{NUMBER})|{_BEFORE_UNIT})?"
        rf"[ \u00a0](?P<unit>{'|'.join(map(re.escape, OWN_UNITS))}){_OTHER}"
        rf"(?P<words>(?: of (?:methane|biogas))?(?: (?:a|per) day)?(?: outside)?)"
        rf"(?: \((?P<low>{NUMBER}) to (?P<high>{NUMBER})\))?"
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
        made = converted(match, row)
        before = text[: match.start()]
        inside = before.count("(") > before.count(")") or match["low"] is not None
        return f"{match[0]} = {made}" if inside else f"{match[0]} ({made})"

    return _pattern().sub(both, text)


def folded(
    text: str, units: Sequence[str], width: int, first: str = "", following: str = ""
) -> list[str]:
    """Return a text with the wanted units as lines, none of which ends inside a figure.

    Parameters
    ----------
    width
        In letters.
    first, following
        What the first line begins with, and the others.
    """
    glued = _GLUE.sub(lambda match: match[0].replace(" ", _NO_BREAK), beside(text, units))
    lines = wrap(glued, width, initial_indent=first, subsequent_indent=following)
    return [line.replace(_NO_BREAK, " ") for line in lines]


_NO_BREAK: Final = "\N{NO-BREAK SPACE}"
_GLUE: Final = re.compile(
    rf"(?<=\d) (?:{'|'.join(map(re.escape, (*OWN_UNITS, *THEIR_UNITS)))})"
    "(?:(?: of methane)? a day)?"
)


_FIGURE_ALONE: Final = re.compile(
    rf"^(?P<value>{NUMBER})(?: (?P<how>±|to) (?P<other>{NUMBER}))?"
    rf"(?: \((?P<low>{NUMBER}) to (?P<high>{NUMBER})\))?$",
    re.MULTILINE,
)


def in_place(text: str, row: Beside) -> str:
    """Return a text whose lines of nothing but a figure have it in the unit wanted."""
    return _FIGURE_ALONE.sub(lambda match: converted(match, row, ""), text)


_STEP: Final = re.compile(
    r"(?:\b(?:within|by|differ\w*|apart|warmer|colder|lower|higher)|±)\s$", re.IGNORECASE
)


def _row(match: re.Match[str], units: Sequence[str]) -> Beside | None:
    sentence = re.split(r"[.;] ", match.string[: match.start()])[-1]
    after = match.string[match.end() :]
    air = bool(AIR.search(sentence)) and not _NOT_AIR.match(after)
    row = wanted(match["unit"], units, air)
    if row is not None and row.offset and _STEP.search(sentence):
        # a step of temperature, not a temperature
        return replace(row, offset=0.0)
    return row


def converted(match: re.Match[str], row: Beside, unit: str | None = None) -> str:
    """Return the figures of a match in the unit wanted; `unit` stands in for its name."""
    groups = match.groupdict()

    def value(name: str) -> float:
        return _plain(match[name]) * row.factor + row.offset

    if match["how"] == "±":
        words = with_uncertainty(value("value"), _plain(match["other"]) * row.factor)
    elif match["how"] == "to":
        words = f"{short(value('value'))} to {short(value('other'))}"
    else:
        words = short(value("value"))
    if groups.get("from") is not None:
        words += f" ({short(value('from'))} to {short(value('upto'))})"
    if unit is None:
        unit = f" {row.wanted}{match['words'].replace(' of methane', '')}"
    words += unit
    if match["low"] is not None:
        words += f" ({short(value('low'))} to {short(value('high'))})"
    return words


def _plain(text: str) -> float:
    return float(text.replace(MINUS, "-").replace(",", ""))
