"""How a figure that stands in several places is written: once, here.

Every place of the report that shows one of these takes its text from here, so that no figure reads
one way in a sentence and another way in a table.
"""

from __future__ import annotations

from bmp.net import MaterialYield
from bmp.report.rounding import with_uncertainty


def half_width(one: MaterialYield) -> float | None:
    """Return half the width of a yield's 95 % interval."""
    return None if one.ci95 is None else (one.ci95[1] - one.ci95[0]) / 2.0


def yield_number(one: MaterialYield) -> str:
    """Return a yield with half its 95 % interval: `228 ± 19`."""
    return with_uncertainty(one.value, half_width(one))


def yield_unit_short(one: MaterialYield) -> str:
    """Return the unit of a yield as people read it: `NmL/g VS`."""
    return one.unit.replace(" CH4", "")


def yield_text(one: MaterialYield) -> str:
    """Return a yield with its interval and its unit: `228 ± 19 NmL/g VS`."""
    return f"{yield_number(one)} {yield_unit_short(one)}"
