"""The answer as text for a terminal: what the page shows first, in the same words."""

from __future__ import annotations

from collections.abc import Sequence

from bmp.report.first_screen import FeedLine, FirstScreen
from bmp.report.shown_units import beside, folded

WIDTH = 118


def answer_text(screen: FirstScreen, units: Sequence[str] = ()) -> str:
    """Return the first screen as lines of text, with `units` beside the SI ones."""
    lines = [f"{screen.sign} {screen.verdict}".strip()]
    lines += [f"  - {beside(reason, units)}" for reason in screen.reasons]
    for use in (*screen.use, screen.basis):
        lines += folded(use, units, WIDTH, following="  ")
    lines += _feeds(screen.feeds, units)
    lines += folded(screen.note, units, WIDTH, following="  ")
    for head, sentences in (
        ("", screen.better),
        ("", (screen.tank,)),
        ("Next: ", screen.next_steps),
    ):
        for sentence in sentences:
            lines += folded(f"{head}{sentence}", units, WIDTH, following="  ")
    return "\n".join(line for line in lines if line) + "\n"


def _feeds(feeds: tuple[FeedLine, ...], units: Sequence[str]) -> list[str]:
    """Return a line a feed, its columns under one another."""
    rows = [
        (
            one.series + (" (control)" if one.role == "control" else ""),
            beside(one.yield_words, units),
            f"{beside(one.fresh_words, units)} fresh" if one.fresh_words else "",
            one.half_words,
            one.remark,
        )
        for one in feeds
    ]
    widths = [max(len(row[column]) for row in rows) for column in range(5)] if rows else []
    return [
        "  "
        + "  ".join(
            cell.ljust(width) for cell, width in zip(row, widths, strict=True) if width
        ).rstrip()
        for row in rows
    ]
