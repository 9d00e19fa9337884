"""`bmp guide`: the guide in the browser, from this computer."""

from __future__ import annotations

import argparse

HELP = "open the guide in the browser; it lies on this computer"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Say what the command takes."""
    parser.add_argument("--no-browser", action="store_true", help="say only where the guide is")


def run(arguments: argparse.Namespace) -> int:
    """Say where the guide is, and open it."""
    import webbrowser

    from bmp.commands.terminal import DONE, UNUSABLE, tell
    from bmp.page.guide import NOT_RENDERED, RENDERED

    first = RENDERED / "index.html"
    if not first.is_file():
        tell([NOT_RENDERED])
        return UNUSABLE
    print(f"The guide is {first}")
    if not arguments.no_browser:
        webbrowser.open(first.as_uri())
    return DONE
