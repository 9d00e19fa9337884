"""The answer as text for a terminal: what the page shows first, in the same words."""

from __future__ import annotations

from textwrap import wrap

from bmp.report.first_screen import FeedLine, FirstScreen

WIDTH = 118


def answer_text(screen: FirstScreen) -> str:
    """Return the first screen as lines of text."""
    lines = [f"{screen.sign} {screen.verdict}".strip()]
    lines += [f"  - {reason}" for reason in screen.reasons]
    for use in screen.use:
        lines += wrap(use, WIDTH, subsequent_indent="  ")
    lines.append(screen.basis)
    lines += _feeds(screen.feeds)
    for head, sentences in (
        ("", screen.better),
        ("", (screen.tank,)),
        ("Next: ", screen.next_steps),
    ):
        for sentence in sentences:
            lines += wrap(f"{head}{sentence}", WIDTH, subsequent_indent="  ")
    return "\n".join(line for line in lines if line) + "\n"


def _feeds(feeds: tuple[FeedLine, ...]) -> list[str]:
    """Return a line a feed, its columns under one another."""
    rows = [
        (
            one.series + (" (control)" if one.role == "control" else ""),
            one.yield_words,
            f"{one.fresh_words} fresh" if one.fresh_words else "",
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
