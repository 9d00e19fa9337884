"""The section of the report that says where the ± of each yield comes from, and what narrows it."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from bmp.error_sources import improvements, variance_shares
from bmp.net import MaterialYield
from bmp.report.rounding import interval_words, with_uncertainty
from bmp.results import Results

SMALLEST_SHARE = 0.005


def surer(results: Results) -> Mapping[str, Any] | None:
    """Return each feed's shares of the variance, its two intervals and what would narrow them."""
    rows = [_row(one) for one in results.yields if one.ci95_borrowed is not None]
    return {"rows": rows, "sources": _sources(rows)} if rows else None


def _row(one: MaterialYield) -> Mapping[str, Any]:
    shares = variance_shares(one.parts)
    return {
        "series": one.series,
        "unit": one.unit,
        "shares": [
            {"source": name, "percent": f"{100 * share:.0f}", "width": f"{100 * share:.2f}"}
            for name, share in shares.items()
            if share >= SMALLEST_SHARE
        ],
        "own": with_uncertainty(one.value, _half(one.ci95)) if one.ci95 else "no interval",
        "borrowed": "" if one.ci95_borrowed is None else interval_words(one.ci95_borrowed),
        "jars": len(one.jars),
        "words": improvement_words(one),
    }


def improvement_words(one: MaterialYield) -> str:
    """Say in a sentence what would make a feed's yield surest; empty where nothing would much."""
    ways = improvements(one.parts, len(one.jars))
    if not ways:
        return ""
    listed = ", ".join(f"{way.what} ± {way.half_width:.0f}" for way in ways)
    today = f", today ± {_half(one.ci95):.0f}" if one.ci95 else ""
    return f"{one.series}{today}: {listed} {one.unit.replace(' CH4', '')}."


def _half(interval: tuple[float, float] | None) -> float | None:
    return None if interval is None else (interval[1] - interval[0]) / 2


def _sources(rows: list[Mapping[str, Any]]) -> list[str]:
    return list(dict.fromkeys(part["source"] for row in rows for part in row["shares"]))
