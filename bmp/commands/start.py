"""`bmp start`: ways to begin, each to a first result without reading a guide."""

from __future__ import annotations

import argparse
from pathlib import Path

from bmp.commands.terminal import DONE

HELP = "begin: plan a trial, take over a sheet that you have, an empty logbook, a demo"
WAYS = ("volume", "methane volume", "pressure", "mass")


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Say what the command takes."""
    parser.add_argument(
        "place", type=Path, nargs="?",
        help="your own sheet (.xlsx, .csv, or a folder of .csv files), or a folder to begin in",
    )  # fmt: skip
    ways = parser.add_mutually_exclusive_group()
    ways.add_argument("--plan", action="store_true", help="write a plan request to fill in")
    ways.add_argument(
        "--logbook", choices=WAYS, metavar="WAY", help=f"an empty logbook: {', '.join(WAYS)}"
    )
    ways.add_argument("--demo", action="store_true", help="a finished, invented trial to look at")
    parser.add_argument(
        "--units", nargs="+", default=[], metavar="UNIT",
        help="units of the logbook, such as: psi °F inHg oz",
    )  # fmt: skip


def run(arguments: argparse.Namespace) -> int:
    """Begin in the way that was chosen, or say which ways there are."""
    place: Path | None = arguments.place
    if place is not None and arguments.demo:
        return _demo(place)
    if place is not None and arguments.plan:
        return _plan_request(place)
    if place is not None and arguments.logbook:
        return _logbook(place, arguments.logbook, arguments.units)
    if place is not None and _holds_something(place):
        return take_over(place)
    print(_ways("FOLDER" if place is None else quoted(place)))
    return DONE


def _holds_something(place: Path) -> bool:
    """Tell whether there is a sheet to take over; a wrong name of a file is told as such."""
    if place.suffix and not place.is_dir():
        return True
    return place.is_dir() and any(place.glob("*.[cC][sS][vV]"))


def _ways(folder: str) -> str:
    return f"""Where do you begin?

  I have readings in a sheet of my own    bmp start "my sheet.xlsx"
  I want to plan a trial                  bmp start {folder} --plan
  I want an empty logbook                 bmp start {folder} --logbook pressure --units psi °F inHg
                                          (or: volume, methane volume, mass)
  I want to see an example first          bmp start {folder} --demo

All of it in the browser: bmp page"""


def take_over(place: Path) -> int:
    """Look a sheet through, write the file of answers, and say what to do with it."""
    from bmp.read.takeover.answers import is_trial
    from bmp.read.takeover.take import look_through, write_answers

    if is_trial(place):
        print(f"This folder is a trial already. Type: bmp analyze {quoted(place)}")
        return DONE
    found, path = look_through(place)
    known = path.is_file() and not found.new and not found.problems and not found.open_lines
    write_answers(found, place, path, confirmed=known and found.answers.confirmed)
    for one in found.mapped:
        table = one.table
        print(f"{table.grid.name}, rows {table.header_row} to {table.rows[-1] + 1}: {one.kind}")
    if found.taken_from:
        print(f"The columns are those of {found.taken_from}: its answers are proposed.")
    questions = found.open_lines
    print(f"Questions that only you can answer: {len(questions)}")
    for section, line in questions:
        print(f"- [{section}] {line.key}" + (f" ({line.remark})" if line.remark else ""))
    print(f"1. Open {quoted(path)}. Answer each ?, check every line, write: confirmed = yes")
    print(f"2. Type: bmp analyze {quoted(place)}")
    return DONE


def _demo(folder: Path) -> int:
    """Put the invented trial into a folder."""
    from bmp.moving import whole
    from bmp.page.demo import demo_folder

    place = new_place(folder, "cheese_dairy")
    with whole(place) as new:
        new.mkdir()
        for path in demo_folder().iterdir():
            (new / path.name).write_bytes(path.read_bytes())
    print(f"An invented trial of a small cheese dairy is in {quoted(place)}.")
    print(f"Type: bmp analyze {quoted(place)}")
    return DONE


def _plan_request(folder: Path) -> int:
    """Write a workbook that asks what a plan is made from."""
    from bmp.moving import whole
    from bmp.plan.request_form import write_request

    place = new_place(folder, "plan request.xlsx")
    with whole(place) as new:
        write_request(new)
    print(f"The plan request is {quoted(place)}: fill in its two sheets.")
    print(f"Then type: bmp plan {quoted(place)}")
    return DONE


def _logbook(folder: Path, way: str, units: list[str]) -> int:
    """Write an empty logbook for a way of measuring, in the units given."""
    from bmp.moving import whole
    from bmp.plan.empty_logbook import units_of, write_empty_logbook

    shown = units_of(units)
    place = new_place(folder, "logbook.xlsx")
    with whole(place) as new:
        write_empty_logbook(new, way, shown)
    print(f"The logbook is {quoted(place)}. The sheet “example” shows a filled row of each sheet.")
    print(f"While the trial runs and when it is done, type: bmp analyze {quoted(place)}")
    return DONE


def new_place(folder: Path, name: str) -> Path:
    """Return the place of a new file in a folder, which is made where it lacks.

    Raises
    ------
    UnusableInput
        Something of that name stands there, or the folder is a file.
    """
    from bmp.problem import Problem, UnusableInput

    place = folder / name
    if folder.exists() and not folder.is_dir():
        raise UnusableInput([Problem(str(folder), "this is a file", "name a folder to begin in")])
    if place.exists():
        wanted = "name another folder, or move it away: nothing is written over"
        raise UnusableInput([Problem(str(folder), f"there is already “{name}”", wanted)])
    folder.mkdir(parents=True, exist_ok=True)
    return place


def quoted(place: Path) -> str:
    """Return a path as it is typed on a terminal."""
    text = str(place)
    return f'"{text}"' if " " in text else text
