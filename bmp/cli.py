"""The command line: it picks the command, calls it, and turns what went wrong into words."""

from __future__ import annotations

import argparse
import errno
import os
import sys
import warnings
from contextlib import suppress
from importlib import import_module
from io import TextIOWrapper
from typing import TYPE_CHECKING

from bmp import __version__

if TYPE_CHECKING:
    from collections.abc import Sequence

# In the order in which a trial goes. A command's file loads nothing heavy before it runs.
COMMANDS = (
    "start", "plan", "due", "check", "analyze", "compare", "tank", "archive", "page", "guide",
)  # fmt: skip


def parser() -> argparse.ArgumentParser:
    """Return the parser of the whole command line."""
    whole = argparse.ArgumentParser(
        prog="bmp",
        description="From a few jars of a batch methane potential test to yields and kinetics, "
        "their validity, and what they mean for the tank.",
    )
    whole.add_argument("--version", action="version", version=f"bmp {__version__}")
    commands = whole.add_subparsers(dest="command", metavar="COMMAND", required=True)
    for name in COMMANDS:
        module = import_module(f"bmp.commands.{name}")
        one = commands.add_parser(name, help=module.HELP, description=module.HELP)
        module.add_arguments(one)
        one.set_defaults(run=module.run)
    return whole


def main(words: Sequence[str] | None = None) -> int:
    """Run one command and return its exit status: 0 done, 1 a check failed, 2 unusable input."""
    if words is None and not sys.warnoptions:
        # run as a program: what numpy remarks about a hopeless file is for us, not for its owner
        warnings.simplefilter("ignore")
    for stream in (sys.stdout, sys.stderr):
        # a console that lacks a letter shows another in its place
        if isinstance(stream, TextIOWrapper):
            stream.reconfigure(errors="replace")
    arguments = parser().parse_args(words)
    from bmp.commands.terminal import UNUSABLE, tell, words_of
    from bmp.problem import UnusableInput

    try:
        status = int(arguments.run(arguments))
        sys.stdout.flush()
        return status
    except UnusableInput as unusable:
        tell(unusable.problems)
    except OSError as error:
        if _pipe_closed(error):
            # whoever read the output has had enough; nothing is wrong with the work
            _drop_output()
            return 0
        tell([words_of(error)])
    except KeyboardInterrupt:
        tell(["stopped; nothing was written"])
    except Exception as error:
        # whatever a stranger's file holds, a person sees a sentence; the tests see the error
        tell([f"bmp cannot use this and does not know why ({type(error).__name__}: {error})"])
    _flushed()
    return UNUSABLE


def _pipe_closed(error: OSError) -> bool:
    """Tell whether the output was closed; Windows calls that an invalid argument."""
    windows = os.name == "nt" and error.errno == errno.EINVAL and error.filename is None
    return isinstance(error, BrokenPipeError) or windows


def _flushed() -> None:
    """Write out what waits; where that fails it is dropped, so that Python does not try again."""
    try:
        sys.stdout.flush()
    except (OSError, ValueError):
        _drop_output()


def _drop_output() -> None:
    with suppress(OSError, ValueError):
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


if __name__ == "__main__":
    sys.exit(main())
