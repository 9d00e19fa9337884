"""`bmp page [FOLDER]`: everything in the browser, on this machine."""

from __future__ import annotations

import argparse
from pathlib import Path

HELP = "open a page in the browser that plans, takes readings and shows results"
PORT = 8765


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Say what the command takes."""
    parser.add_argument(
        "folder",
        type=Path,
        nargs="?",
        default=Path("trials"),
        help="folder of the trials (default: trials); made if it is not there",
    )
    parser.add_argument(
        "--port", type=int, default=PORT, help=f"of this machine (default: {PORT}; 0: any free)"
    )
    parser.add_argument("--no-browser", action="store_true", help="print the address only")
    parser.add_argument(
        "--network",
        action="store_true",
        help="also open it to the local network, such as to a telephone; asks first, and lets in "
        "only who has the code",
    )


def run(arguments: argparse.Namespace) -> int:
    """Serve the page until it is stopped."""
    from bmp.page.serve import serve

    return serve(arguments.folder, arguments.port, not arguments.no_browser, arguments.network)
