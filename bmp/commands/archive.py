"""`bmp archive PLACE`: many trials into one table of materials and one page."""

from __future__ import annotations

import argparse
import os
import shutil
from pathlib import Path

from bmp.commands.terminal import CHECK_FAILED, DONE, UNUSABLE, beside, progress, tell

HELP = "analyse many trials into one table of materials and a page that lists them by verdict"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Say what the command takes."""
    parser.add_argument(
        "place", type=Path, help="a folder of trials, or tables with a first column “trial”"
    )
    parser.add_argument(
        "--out", type=Path, metavar="DIR", help="where to (default: PLACE-archive next to it)"
    )
    parser.add_argument(
        "--replace", action="store_true", help="write even where another folder stands (it is kept)"
    )
    parser.add_argument(
        "--skip-reading-errors", action="store_true",
        help="do not look for reading errors; a large archive is then done several times faster",
    )  # fmt: skip
    parser.add_argument(
        "--workers", type=_workers, metavar="N", default=os.cpu_count() or 1,
        help="processes to work in (default and at most: one a processor)",
    )  # fmt: skip


def _workers(text: str) -> int:
    """Return a number of processes."""
    if not text.isascii() or not text.isdigit() or int(text) < 1:
        raise argparse.ArgumentTypeError(f"“{text}” is not a number of processes; write 1 or more")
    return int(text)


def run(arguments: argparse.Namespace) -> int:
    """Analyse every trial, say how many could be used, and where the table is."""
    from concurrent.futures import BrokenExecutor

    from bmp.archive.run import run_archive
    from bmp.problem import Problem, UnusableInput
    from bmp.report.archive_files import ARCHIVE_FORMAT, write_archive
    from bmp.report.folder import check_place, write_folder

    place: Path = arguments.place
    if not place.exists():
        wanted = "give a folder of trials, or tables with a first column “trial”"
        raise UnusableInput([Problem(str(place), "there is no such file or folder", wanted)])
    out: Path = arguments.out or beside(place, "-archive")
    full = place.resolve()
    stem = full.stem if full.is_file() else full.name
    check_place(out, place, ARCHIVE_FORMAT, arguments.replace)
    show = progress()
    kept = out.with_name(f".{out.name}.bmp-finished")
    show("read the archive")
    try:
        look = not arguments.skip_reading_errors
        outcome = run_archive(
            place, kept, arguments.workers, lambda done: show(f"{done} trials"), look
        )
    except (KeyboardInterrupt, BrokenExecutor) as error:
        why = "stopped" if isinstance(error, KeyboardInterrupt) else "a process was ended"
        tell([f"{why}; the trials that are done are kept: run the same again to go on"])
        return UNUSABLE
    show("write the tables")
    write_folder(out, ARCHIVE_FORMAT, lambda folder: write_archive(outcome, stem, folder))
    shutil.rmtree(kept, ignore_errors=True)
    show("")
    validated = sum(not why for why in outcome.because.values())
    print(f"Trials analysed: {len(outcome.because)}; of them validated: {validated}.")
    if outcome.refused:
        print(f"Trials not used: {len(outcome.refused)}; see {out / 'refused.csv'}")
    if look:
        touched = len({row[0] for row in outcome.errors})
        where = out / "reading_errors.csv"
        print(f"Trials with reading errors: {touched}; see {where}")
    else:
        print("Reading errors were not looked for.")
    print(f"The table is {out / 'materials.csv'}, the page {out / 'trials.html'}")
    return CHECK_FAILED if outcome.refused else DONE
