"""Columns of one jar, or of one material's methane, in sheets where every jar has its own."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

AFTER, METHANE, TEMPERATURE, OTHER = "after", "methane", "temperature", "other"
"""What a column can hold besides what the columns of jars hold; `OTHER` is none of ours."""

_PART = re.compile(
    r"\b(before|after|vor|nach|przed|po|antes|vent\w*|initial|final|avant|apr[eè]s|despu[eé]s|gauge|"
    r"pressure|druck|presi[oó]n|ci[sś]nienie|volume[n]?|volumen|obj[eę]to[sś][cć]|gas|gaz|biogas|biogaz|"
    r"mass|weight|mas[ay]|peso|of|in|from)\b",
    re.IGNORECASE,
)  # fmt: skip
_AFTER = re.compile(r"\b(after|nach|po|final|apr[eè]s|despu[eé]s)\b", re.IGNORECASE)
_METHANE = re.compile(r"\b(?:ch4|ch₄|meth?an[eo]?|metanu?|méthane)\b", re.IGNORECASE)
_OTHER = re.compile(r"\b(?:co2|co₂|o2|o₂|h2s|h₂s|h2|n2|nh3|ph)\b", re.IGNORECASE)
_TEMPERATURE = re.compile(r"\btemp\w*\b\.?", re.IGNORECASE)
_NAMED_JAR = re.compile(r"(?:[^\W\d][\w .\-+&]{0,30}?[ .\-#]?\d{1,3}[a-z]?|\d{1,3}[a-zA-Z]?)")
_JAR_WORDS = (
    r"jar|bottle|flask|vessel|reactor|tube|vial|flasche|glas|röhrchen|botella|frasco|butelka|"
    r"s[lł]oik|bouteille|flacon|tubo|probówka|no|nr|núm"
)


@dataclass(frozen=True)
class OneColumn:
    """Whose a column is, and what it holds."""

    name: str
    quantity: str = ""
    """Empty: what the columns of jars hold; or `AFTER` venting, `METHANE`, `TEMPERATURE`."""
    of_material: bool = False


def bare(name: str) -> str:
    """Return a jar's name without what people call a jar, spaces and case: `Jar 01` is `1`."""
    plain = re.sub(rf"\b(?:{_JAR_WORDS})\b", "", name.lower())
    return re.sub(r"(?<!\d)0+(?=\d)", "", re.sub(r"[\W_]", "", plain))


def only_a_jar(name: str) -> bool:
    """Tell whether a name says nothing but that it is a jar: `Bottle`, `tube b`."""
    return bool(re.fullmatch(rf"(?:{_JAR_WORDS})?\s*[a-z]?", name.strip(), re.IGNORECASE))


def names_a_jar(name: str) -> bool:
    """Tell whether a text looks like the name of a jar: `Jar 1`, `3b`, `Bottle A`."""
    return bool(_NAMED_JAR.fullmatch(name)) or bool(
        re.fullmatch(rf"(?:{_JAR_WORDS})\s+[a-z]\b", name, re.IGNORECASE)
    )


def own_name(name: str) -> str:
    """Return a header's name without the words for what is measured: whose column it is."""
    for words in (_METHANE, _OTHER, _TEMPERATURE, _PART):
        name = words.sub(" ", name)
    return " ".join(re.sub(r"[%+:,_]|\(\s*\)|\[\s*\]", " ", name).split()).strip(" -–/.")


def own_quantity(header: str, unit: str, values: Sequence[float]) -> str:
    """Return what a jar's column holds, from its header, its unit and its figures."""
    methane = bool(_METHANE.search(f"{header} {unit}"))
    share = unit.startswith("%") or "fraction" in unit
    if _OTHER.search(f"{header} {unit}") and not methane:
        return OTHER
    if share or (methane and not unit and all(0 <= value <= 100 for value in values)):
        return METHANE
    if _TEMPERATURE.search(header) or re.fullmatch(r"°? ?[cf]|deg\.? ?[cf]", unit, re.IGNORECASE):
        return TEMPERATURE
    return AFTER if _AFTER.search(header) else ""


def known_as(own: str, jars: Mapping[str, str], materials: Mapping[str, str]) -> OneColumn | None:
    """Return whose column it is, where that is a jar or a material that other tables name."""
    if bare(own) in jars:
        return OneColumn(jars[bare(own)])
    if own.lower() in materials:
        return OneColumn(materials[own.lower()], METHANE, of_material=True)
    return None
