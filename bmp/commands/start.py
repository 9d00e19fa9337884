"""`bmp start`: ways to begin, each to a first result without reading a guide."""

from __future__ import annotations

import argparse
from pathlib import Path

from bmp.commands.terminal import DONE

HELP = "begin: plan a trial, take over a sheet that you have, an empty logbook, a demo"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Say what the command takes."""
    parser.add_argument(
        "place", type=Path, nargs="?", help="your own sheet, or a folder to begin in"
    )


def run(arguments: argparse.Namespace) -> int:
    """Begin."""
    return take_over(arguments.place)


def take_over(place: Path) -> int:
    """Look a sheet through, write the file of answers, and say what to do with it."""
    from bmp.read.takeover.take import look_through, write_answers

    found, path = look_through(place)
    if not found.mapped:
        print(f"There is no table of readings in {place.name}.")
    old = path.is_file() and not found.new and not found.problems
    write_answers(found, place, path, confirmed=old and found.answers.confirmed)
    for one in found.mapped:
        table = one.table
        print(f"{table.grid.name}, rows {table.header_row} to {table.rows[-1] + 1}: {one.kind}")
    questions = found.open_lines
    print(
        f"{len(questions)} questions are open:"
        if questions
        else "Nothing is left open. Please check:"
    )
    for section, line in questions:
        print(f"- [{section}] {line.key}" + (f"  ({line.remark})" if line.remark else ""))
    print(f"1. Open {path}, answer each ?, correct what is wrong, write  confirmed = yes")
    print(f"2. Type: bmp analyze {_quoted(place)}")
    return DONE


def _quoted(place: Path) -> str:
    return f'"{place}"' if " " in str(place) else str(place)
