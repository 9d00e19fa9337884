"""The tables of the guide, made from the rows by which the tool reads: `python -m` this file."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from importlib.resources import files
from itertools import groupby
from pathlib import Path

from bmp.plan.items import ITEMS as PLAN_ITEMS
from bmp.plan.items import REQUEST_MATERIALS
from bmp.read.columns import (
    CRUCIBLES,
    ITEMS,
    JARS,
    MATERIALS,
    READINGS,
    TANK,
    TANK_FEEDS,
    KnownColumn,
)

TABLES: Mapping[str, Sequence[KnownColumn]] = {
    "trial": ITEMS,
    "materials": MATERIALS,
    "crucibles": CRUCIBLES,
    "jars": JARS,
    "readings": READINGS,
    "tank": TANK,
    "tank feeds": TANK_FEEDS,
    "plan": PLAN_ITEMS,
    "materials of a plan": REQUEST_MATERIALS[len(MATERIALS) :],
}
PAGES = ("trial_files.md", "plan_files.md")
_PLACE = re.compile(r"\| in `(?P<name>[a-z ]+)` \|.*\n(?:\|.*\n)*")


def filled(text: str) -> str:
    """Return a page of the guide with its tables written anew, each known by its first cell."""
    return _PLACE.sub(lambda place: table(place["name"]), text)


def table(name: str) -> str:
    """Return the columns or items of a table in Markdown; those that say the same share a row."""
    rows = TABLES[name]
    lines = [f"| in `{name}` | what it is | if left out |", "|---|---|---|"]
    for (means, otherwise), alike in groupby(rows, lambda known: (known.means, known.otherwise)):
        names = [f"`{header(known)}`" for known in alike]
        shown = f"{names[0]} … {names[-1]}" if len(names) > 2 else ", ".join(names)
        lines.append(f"| {shown} | {means} | {otherwise} |")
    return "\n".join(lines) + "\n"


def header(known: KnownColumn) -> str:
    """Return a column or item as it is written, with an example of its unit."""
    unit = {"dimensionless": "%", "degC": "°C"}.get(str(known.unit), known.unit)
    if not unit:
        return known.name
    share = known.of and known.unit == "dimensionless"
    return f"{known.name} [{unit} of {known.of[0]}]" if share else f"{known.name} [{unit}]"


def main() -> None:
    """Write the tables into the pages of the guide."""
    for name in PAGES:
        page = Path(str(files("bmp") / "guide" / name))
        page.write_text(filled(page.read_text(encoding="utf-8")), encoding="utf-8")


if __name__ == "__main__":
    main()
