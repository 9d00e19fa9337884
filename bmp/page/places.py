"""Which trials a folder holds, and where new ones go. No name leads out of the folder."""

from __future__ import annotations

import os
import re
import tempfile
import unicodedata
from dataclasses import dataclass
from pathlib import Path

# how what is still being made is called
NEW, UPLOAD = ".bmp-new-", ".bmp-upload-"


@dataclass(frozen=True)
class Place:
    """A trial as it lies in the folder."""

    name: str
    """Of its folder or file: also its name in addresses."""
    path: Path

    @property
    def is_workbook(self) -> bool:
        """Tell whether it is a workbook, which is kept as it was handed in."""
        return self.path.suffix.lower() == ".xlsx"

    @property
    def results(self) -> Path:
        """Return where `bmp analyze` puts its results by default."""
        stem = self.path.stem if self.is_workbook else self.path.name
        return self.path.with_name(f"{stem}-results")


def places(root: Path) -> list[Place]:
    """Return the trials of a folder by name; links that lead elsewhere are left out."""
    found = [
        Place(path.name, path)
        for path in sorted(root.iterdir(), key=lambda p: p.name.lower())
        if not path.name.startswith((".", "~")) and not path.is_symlink() and _is_trial(path)
    ]
    return found


def _is_trial(path: Path) -> bool:
    if path.is_file():
        return path.suffix.lower() == ".xlsx"
    names = {p.name.lower() for p in path.iterdir()} if path.is_dir() else set()
    return "trial.csv" in names and "files.json" not in names


def find(root: Path, name: str) -> Place | None:
    """Return the trial of that name; `None` for any name that is not in the list."""
    return next((place for place in places(root) if place.name == name), None)


def safe_name(title: str) -> str:
    """Return a name for a folder or file that every system takes."""
    plain = unicodedata.normalize("NFKC", title)
    kept = re.sub(r"[^\w.-]+", "-", plain).strip("-._")[:60].strip("-._")
    # names that mean a device on Windows
    if re.fullmatch(r"(con|prn|aux|nul|com\d|lpt\d)(\..*)?", kept, re.IGNORECASE):
        kept += "-trial"
    return kept or "trial"


def free_place(root: Path, name: str, suffix: str = "") -> Path:
    """Return a path that nothing stands at: the name, or with a number behind it."""
    numbered = (f"{name}-{number}" for number in range(2, 10_000))
    candidates = (root / f"{one}{suffix}" for one in (name, *numbered))
    return next(path for path in candidates if not os.path.lexists(path))


def new_folder(root: Path) -> Path:
    """Return a new folder that is not in the list yet, to be filled and then renamed."""
    folder = Path(tempfile.mkdtemp(prefix=NEW, dir=root))
    folder.chmod(0o755)
    return folder


def keep_upload(root: Path, name: str, content: bytes) -> Path:
    """Keep a workbook byte by byte as it was handed in, under a free name."""
    path = free_place(root, safe_name(Path(name.replace("\\", "/")).stem), ".xlsx")
    handle, new = tempfile.mkstemp(prefix=UPLOAD, dir=root)
    with os.fdopen(handle, "wb") as file:
        file.write(content)
        file.flush()
        os.fsync(file.fileno())
    Path(new).chmod(0o644)
    os.replace(new, path)
    return path
