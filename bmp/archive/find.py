"""Where the trials of an archive lie: a folder of trials, or tables with a column `trial`."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

from bmp.archive.cell_by_cell import KINDS, by_trial, cell_parts
from bmp.archive.parts import ArchivePart, FilePart
from bmp.problem import Problem, Problems, UnusableInput
from bmp.read.tables import WORKBOOKS, read_tables

FILES_IN_A_PART = 20
DEEPEST = 5
"""Folders inside folders that are looked through for trials that were put too deep."""


def find_archive(place: Path) -> Iterator[ArchivePart]:
    """Return the archive that lies in a folder or workbook, in parts that are worked on alone.

    Raises
    ------
    UnusableInput
        There is no trial in the place.
    """
    if place.is_dir() and not _has_tables(place):
        return _files(place)
    if not place.is_dir():
        problems = Problems()
        tables = read_tables(place, KINDS, problems)
        return cell_parts(by_trial(tables, problems))
    from bmp.archive.four_tables import chunk_parts

    return chunk_parts(place)


def _has_tables(place: Path) -> bool:
    return any(path.name.lower() == "trial.csv" for path in place.iterdir())


def _files(place: Path) -> Iterator[ArchivePart]:
    found = sorted(path for path in place.iterdir() if _is_trial(path))
    if not found:
        what = "the folder holds no trial"
        wanted = "put folders or workbooks of trials into it, or tables with a column “trial”"
        raise UnusableInput([Problem(place.name, what, wanted)])
    stems = [path.stem if path.is_file() else path.name for path in found]
    names = [
        stem if stems.count(stem) == 1 else path.name
        for stem, path in zip(stems, found, strict=True)
    ]
    if len(set(names)) < len(names):
        names = [path.name for path in found]
    starts = range(0, len(found), FILES_IN_A_PART)
    pieces = [slice(start, start + FILES_IN_A_PART) for start in starts]
    return (FilePart(tuple(names[piece]), tuple(found[piece])) for piece in pieces)


def _is_trial(path: Path) -> bool:
    if path.name.startswith((".", "~$")):
        return False
    if path.is_dir():
        return (
            any(child.suffix.lower() == ".csv" for child in path.iterdir())
            and not (path / "files.json").exists()
        )
    # those that cannot be read are told with what to do
    return path.suffix.lower() in (*WORKBOOKS, ".xls", ".ods")


def deeper_trials(place: Path) -> dict[str, tuple[str, ...]]:
    """Return the trials that lie deeper in a folder of trials, each with what to do about it."""
    if not place.is_dir() or _has_tables(place):
        return {}
    what = "this trial lies deeper in the folder and was not read"
    wanted = "move it up to the others, or give its own folder"
    found = sorted(path.relative_to(place).as_posix() for path in _below(place, 0))
    return {name: (str(Problem(name, what, wanted)),) for name in found}


def _below(folder: Path, depth: int) -> Iterator[Path]:
    """Yield the trials in folders that are no trials themselves; results and links are left."""
    for path in folder.iterdir():
        if path.name.startswith(".") or path.is_symlink():
            continue
        if _is_trial(path):
            if depth:
                yield path
        elif path.is_dir() and depth < DEEPEST and not (path / "files.json").exists():
            yield from _below(path, depth + 1)
