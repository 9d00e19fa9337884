"""The command line: it picks the command, calls it, and turns what went wrong into words."""

from __future__ import annotations

import argparse
import os
import sys
import warnings
from importlib import import_module
from typing import TYPE_CHECKING

from bmp import __version__

if TYPE_CHECKING:
    from collections.abc import Sequence

# In the order in which a trial goes. A command's file loads nothing heavy before it runs.
COMMANDS = ("start", "plan", "due", "check", "analyze", "compare", "tank", "archive", "page")


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
    arguments = parser().parse_args(words)
    from bmp.commands.terminal import UNUSABLE, tell
    from bmp.problem import UnusableInput

    try:
        return int(arguments.run(arguments))
    except UnusableInput as unusable:
        tell(unusable.problems)
    except BrokenPipeError:
        # whoever read the output has had enough; nothing is wrong with the work
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return 0
    except OSError as error:
        tell([f"{error.filename or 'the files'}: {error.strerror or error}"])
    except KeyboardInterrupt:
        tell(["stopped; nothing was written"])
    except Exception as error:
        # whatever a stranger's file holds, a person sees a sentence; the tests see the error
        tell([f"bmp cannot use this and does not know why ({type(error).__name__}: {error})"])
    return UNUSABLE


if __name__ == "__main__":
    sys.exit(main())
