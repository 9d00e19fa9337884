"""Whether wishes can be planned, and if not, the nearest that can."""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping

from bmp.plan.jar_checks import DRAFT_CHECKS, bears_its_gas, fits
from bmp.plan.literature import LiteratureFeed
from bmp.plan.refusal import Refusal
from bmp.plan.rounds import fitting_draft
from bmp.plan.wish_checks import WISH_CHECKS, senseless, unusable_materials
from bmp.plan.wishes import Wishes


def refusals(wishes: Wishes, literature: Mapping[str, LiteratureFeed]) -> tuple[Refusal, ...]:
    """Return everything that is impossible about the wishes; empty: they can be planned."""
    unusable = (*senseless(wishes), *unusable_materials(wishes, literature))
    if unusable:
        return unusable
    first = tuple(r for check in WISH_CHECKS for r in [check(wishes)] if r is not None)
    if first:
        return first
    draft = fitting_draft(wishes, literature)
    fit = fits(draft)
    if fit is not None:
        return (fit,)
    found = tuple(r for check in DRAFT_CHECKS for r in [check(draft)] if r is not None)
    if found:
        return found
    burst = bears_its_gas(draft)
    return () if burst is None else (burst,)


def nearest(
    wishes: Wishes, literature: Mapping[str, LiteratureFeed], most_rounds: int = 25
) -> Wishes | None:
    """Return possible wishes reached by the refusals' own changes; `None`: there are none."""
    for _ in range(most_rounds):
        found = refusals(wishes, literature)
        if not found:
            return wishes
        if any(not r.change for r in found):
            return None
        wishes = dataclasses.replace(wishes, **found[0].change)
    return None
