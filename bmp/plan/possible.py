"""Whether a request can be planned, and if not, the nearest that can."""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping

from bmp.plan.jar_checks import DRAFT_CHECKS, bears_its_gas, fits
from bmp.plan.literature import LiteratureFeed
from bmp.plan.plan_request import PlanRequest
from bmp.plan.reading_rounds import fitting_draft
from bmp.plan.refusal import Refusal
from bmp.plan.request_checks import REQUEST_CHECKS, senseless, unusable_materials


def refusals(request: PlanRequest, literature: Mapping[str, LiteratureFeed]) -> tuple[Refusal, ...]:
    """Return everything that is impossible about the request; empty: it can be planned."""
    unusable = (*senseless(request), *unusable_materials(request, literature))
    if unusable:
        return unusable
    first = tuple(r for check in REQUEST_CHECKS for r in [check(request)] if r is not None)
    if first:
        return first
    draft = fitting_draft(request, literature)
    fit = fits(draft)
    if fit is not None:
        return (fit,)
    found = tuple(r for check in DRAFT_CHECKS for r in [check(draft)] if r is not None)
    if found:
        return found
    burst = bears_its_gas(draft)
    return () if burst is None else (burst,)


def nearest(
    request: PlanRequest, literature: Mapping[str, LiteratureFeed], most_rounds: int = 25
) -> tuple[PlanRequest | None, tuple[Refusal, ...]]:
    """Return the possible request reached by the refusals' own changes, and what is met on the way.

    Returns
    -------
    PlanRequest or None
        `None`: there is none.
    tuple of Refusal
        Of items that the request itself is not refused for: who changes only what was told first
        would meet them next.
    """
    met: dict[str, Refusal] = {}
    first: set[str] | None = None
    leads_there = True
    for _ in range(most_rounds):
        found = refusals(request, literature)
        first = {one.item for one in found} if first is None else first
        met |= {one.item: one for one in found if one.item not in {*first, *met}}
        if not found:
            return request if leads_there else None, tuple(met.values())
        stuck = [one for one in found if not one.change]
        if any(not one.meanwhile for one in stuck):
            break
        for one in stuck:
            # only the person can say: what is usual stands in, so that the rest is looked at
            leads_there = False
            request = dataclasses.replace(request, **one.meanwhile)
        if not stuck:
            request = dataclasses.replace(request, **found[0].change)
    return None, tuple(met.values())
