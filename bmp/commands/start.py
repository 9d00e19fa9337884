"""`bmp start`: ways to begin, each to a first result without reading a guide."""

from __future__ import annotations

import argparse
from pathlib import Path

HELP = "begin: plan a trial, take over a sheet that you have, an empty logbook, a demo"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Say what the command takes."""
    parser.add_argument(
        "place", type=Path, nargs="?", help="your own sheet, or a folder to begin in"
    )


def run(arguments: argparse.Namespace) -> int:
    """Begin."""
    from bmp.read.takeover.take import look_through, write_answers

    found, path = look_through(arguments.place)
    write_answers(found, arguments.place, path)
    print(path.read_text(encoding="utf-8-sig"))
    return 0
