"""Trials of the folder renamed, copied, put away and brought back. Nothing is ever deleted."""

from __future__ import annotations

import csv
import io
import os
import shutil
from pathlib import Path
from typing import Final

from bmp.page.open_trial import OpenTrial, digest
from bmp.page.trial_folders import Place, find, free_place, new_folder, safe_name

AWAY: Final = "put away"
"""Folder inside that of the trials; what lies there is in no list but its own."""


def retitled(text: str, title: str) -> str:
    """Return the table `trial` with another title, all else as it is."""
    separator = ";" if ";" in text.partition("\n")[0] else ","
    rows = list(csv.reader(io.StringIO(text), delimiter=separator))
    names = [row[0].strip().lower() if row else "" for row in rows]
    if "title" in names:
        row = rows[names.index("title")]
        rows[names.index("title")] = [row[0], title, *row[2:]]
    else:
        rows.insert(1, ["title", title])
    out = io.StringIO()
    csv.writer(out, delimiter=separator, lineterminator="\n").writerows(rows)
    return out.getvalue()


def retitle(trial: OpenTrial, title: str) -> None:
    """Write another title into the table of a trial; a change that can be taken back."""
    text = trial.table_text("trial")
    new = retitled(text, title)
    if new != text:
        trial.change_table("trial", new, digest(text))


def rename(trial: OpenTrial, root: Path, title: str) -> Path:
    """Give a trial another title, and its folder the name that follows from it."""
    with trial.lock:
        retitle(trial, title)
        if safe_name(title) == trial.folder.name:
            return trial.folder
        trial.flush()
        place = free_place(root, safe_name(title))
        trial.note_name(trial.folder.name, place.name)
        os.rename(trial.folder, place)
    return place


def copy(trial: OpenTrial, root: Path, title: str) -> Path:
    """Lay a copy of a trial into the folder, with all its readings and changes."""
    with trial.lock:
        trial.flush()
        folder = new_folder(root)
        try:
            shutil.copytree(trial.folder, folder, dirs_exist_ok=True)
            retitle(OpenTrial(folder), title)
            place = free_place(root, safe_name(title))
            os.rename(folder, place)
        finally:
            shutil.rmtree(folder, ignore_errors=True)
    return place


def put_away(place: Place, root: Path) -> Path:
    """Move a trial where it is in no list any more."""
    away = root / AWAY
    away.mkdir(exist_ok=True)
    stem, suffix = (place.path.stem, ".xlsx") if place.is_workbook else (place.name, "")
    new = free_place(away, stem, suffix)
    os.rename(place.path, new)
    return new


def away(root: Path) -> list[Place]:
    """Return the trials that were put away."""
    folder = root / AWAY
    if not folder.is_dir() or folder.is_symlink():
        return []
    names = sorted(os.listdir(folder), key=str.lower)
    return [place for name in names if (place := find(folder, name)) is not None]


def bring_back(place: Place, root: Path) -> Path:
    """Move a trial back into the list."""
    stem, suffix = (place.path.stem, ".xlsx") if place.is_workbook else (place.name, "")
    new = free_place(root, stem, suffix)
    os.rename(place.path, new)
    return new
