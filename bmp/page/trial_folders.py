"""Which trials a folder holds, and where new ones go. No name leads out of the folder."""

from __future__ import annotations

import os
import re
import secrets
import shutil
import unicodedata
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from bmp.moving import move
from bmp.page.trial_setup import setting
from bmp.problem import Problem, UnusableInput
from bmp.read.reader import TABLES
from bmp.read.tank import TANK_TABLES

# how what is still being made is called
NEW, UPLOAD = ".bmp-new-", ".bmp-upload-"
PLAN = "plan"
"""Folder inside a trial that holds what was planned and how."""


@dataclass(frozen=True)
class Place:
    """A trial as it lies in the folder."""

    name: str
    """Of its folder or file: also its name in addresses."""
    path: Path
    is_workbook: bool = False
    """A workbook is kept as it was handed in."""
    refused: str = ""
    """Why it is not opened; empty where it can be."""

    @property
    def results(self) -> Path:
        """Return where `bmp analyze` puts its results by default."""
        stem = self.path.stem if self.is_workbook else self.path.name
        return self.path.with_name(f"{stem}-results")


def places(root: Path) -> list[Place]:
    """Return the trials of a folder by name; links that lead elsewhere are left out."""
    names = sorted(os.listdir(root), key=str.lower)
    return [place for name in names if (place := find(root, name)) is not None]


def find(root: Path, name: str) -> Place | None:
    """Return the trial of that name; `None` for any name that is none of the folder's own."""
    if not name or name.startswith((".", "~")) or name != Path(name.replace("\\", "/")).name:
        return None
    path = root / name
    if path.is_symlink():
        return None
    if path.is_file():
        return Place(name, path, True) if path.suffix.lower() == ".xlsx" else None
    try:
        names = {one.lower() for one in os.listdir(path)} if path.is_dir() else set()
        if "trial.csv" not in names or "files.json" in names:
            return None
        return Place(name, path, refused=links_inside(path))
    except OSError as error:
        return Place(name, path, refused=f"this folder cannot be read: {error.strerror or error}")


def links_inside(folder: Path) -> str:
    """Say which links a trial holds: what is written to them would land elsewhere."""
    inside = [folder, folder / PLAN] if (folder / PLAN).is_dir() else [folder]
    links = [one.name for place in inside for one in os.scandir(place) if one.is_symlink()]
    if not links:
        return ""
    return f"“{links[0]}” is a link to another place: put the file itself there"


def safe_name(title: str) -> str:
    """Return a name for a folder or file that every system takes."""
    plain = unicodedata.normalize("NFKC", title)
    kept = re.sub(r"[^\w.-]+", "-", plain).strip("-._")[:60].strip("-._")
    # a folder is no workbook, whatever its title says
    kept = re.sub(r"(\.xlsx)+$", "", kept, flags=re.IGNORECASE).strip("-._")
    # names that mean a device on Windows
    if re.fullmatch(r"(con|prn|aux|nul|com\d|lpt\d)(\..*)?", kept, re.IGNORECASE):
        kept = f"trial-{kept}"
    return kept or "trial"


def free_place(root: Path, name: str, suffix: str = "") -> Path:
    """Return a path that nothing stands at: the name, or with a number behind it."""
    numbered = (f"{name}-{number}" for number in range(2, 10_000))
    candidates = (root / f"{one}{suffix}" for one in (name, *numbered))
    return next(path for path in candidates if not os.path.lexists(path))


def new_folder(root: Path) -> Path:
    """Return a new folder that is not in the list yet, to be filled and then renamed."""
    folder = root / f"{NEW}{secrets.token_hex(6)}"
    folder.mkdir()
    return folder


def lay_files(root: Path, files: Mapping[str, bytes]) -> Path:
    """Lay the tables of a trial byte by byte into a new folder, which has the trial's title.

    Raises
    ------
    UnusableInput
        A file is none of its tables: nothing is kept then.
    """
    known = [f"{name}.csv" for name in (*TABLES, "crucibles", *TANK_TABLES)]
    strange = [name for name in files if name.lower() not in known]
    if strange:
        what, wanted = "this is no table of a trial", f"upload {', '.join(known)} alone"
        raise UnusableInput([Problem(one[:60], what, wanted) for one in strange])
    folder = new_folder(root)
    try:
        for name, content in files.items():
            (folder / name.lower()).write_bytes(content)
        title = setting(folder).setup.title
        path = free_place(root, "trial" if title == folder.name else safe_name(title))
        os.rename(folder, path)
    finally:
        shutil.rmtree(folder, ignore_errors=True)
    return path


def keep_upload(root: Path, name: str, content: bytes) -> Path:
    """Keep a workbook byte by byte as it was handed in, under a free name."""
    path = free_place(root, safe_name(Path(name.replace("\\", "/")).stem), ".xlsx")
    new = root / f"{UPLOAD}{secrets.token_hex(6)}"
    try:
        with new.open("xb") as file:
            file.write(content)
            file.flush()
            os.fsync(file.fileno())
        move(new, path)
    except OSError:
        new.unlink(missing_ok=True)
        raise
    return path
